"""The one plane in which the program measures: equal-area, centred on the town, fixed for the whole run."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod, Transformer
from pyproj.enums import TransformDirection

from harvest.errors import LayerError
from harvest.findings import Finding
from harvest.layers import Extent, between
from harvest.parts import in_parts

Geometries = NDArray[Any]
Bounds = tuple[float, float, float, float]

WGS84 = CRS.from_epsg(4326)
WIDEST_KM = 300.0
"""Beyond this extent lengths in the plane drift by more than 0.02 % (areas stay true)."""


def bounds_wgs84(extents: Sequence[Extent]) -> Bounds:
    """West, south, east, north [degrees] of all ``extents``; west > east across the 180th meridian."""
    boxes = [between(one.crs, WGS84).transform_bounds(*one.bounds) for one in extents]
    spans = [(west, east) for west, _, east, _ in boxes]
    if any(west > east for west, east in spans) or max(e for _, e in spans) - min(w for w, _ in spans) > 180:
        spans = [(west % 360, east % 360) for west, east in spans]
    west, east = min(w for w, _ in spans), max(e for _, e in spans)
    south, north = min(box[1] for box in boxes), max(box[3] for box in boxes)
    return west, south, east - 360 if east > 180 else east, north


def local_plane(bounds: Bounds) -> CRS:
    """Lambert azimuthal equal-area CRS on WGS 84, centred on ``bounds`` [degrees] to a hundredth of a degree."""
    west, south, east, north = bounds
    if west > east:
        east += 360
    longitude = (round((west + east) / 2, 2) + 180) % 360 - 180
    return CRS.from_proj4(
        f"+proj=laea +lat_0={(south + north) / 2:.2f} +lon_0={longitude:.2f} +datum=WGS84 +units=m +no_defs"
    )


def check_extent(bounds: Bounds) -> list[Finding]:
    """A warning when the town is so wide that lengths drift in the plane."""
    west, south, east, north = bounds
    across_km = Geod(ellps="WGS84").inv(west, south, east, north)[2] / 1000
    if across_km <= WIDEST_KM:
        return []
    return [
        Finding(
            "extent",
            "footprints and parcels",
            "warning",
            1,
            f"The layers reach over {across_km:,.0f} km. Areas stay true, but lengths (eaves, sliver widths, "
            f"offsets) drift by more than 0.02 % beyond {WIDEST_KM:.0f} km.",
            "Check for stray rows far from the town, or run the areas one by one.",
        )
    ]


def onto_plane(frame: gpd.GeoDataFrame, plane: CRS) -> Geometries:
    """Geometries of ``frame`` [n] in ``plane`` [m]."""
    return transformed(np.asarray(frame.geometry.array, dtype=object), between(CRS(frame.crs), CRS(plane)))


def transformed(geometries: Geometries, transformer: Transformer, *, inverse: bool = False) -> Geometries:
    """``geometries`` [n] through ``transformer``, forwards or ``inverse``."""
    direction = TransformDirection.INVERSE if inverse else TransformDirection.FORWARD

    def move(x: NDArray[np.float64], y: NDArray[np.float64]) -> Any:
        return transformer.transform(x, y, direction=direction)

    def moved(some: Geometries) -> Geometries:
        return np.asarray(shapely.transform(some, move, interleaved=False), dtype=object)

    return in_parts(moved, geometries)


def check_together(footprints: Extent, parcels: Extent) -> None:
    """Raises :class:`LayerError` when ``footprints`` and ``parcels`` lie in different places."""
    ours, theirs = bounds_wgs84([footprints]), bounds_wgs84([parcels])
    if _overlap(ours, theirs):
        return
    swapped = (ours[1], ours[0], ours[3], ours[2])
    hint = (
        "One of them has longitude and latitude swapped."
        if _overlap(swapped, theirs)
        else "One of them has the wrong coordinate reference system, or covers another place."
    )
    raise LayerError(
        f"Footprints ({bounds_text(ours)}) and parcels ({bounds_text(theirs)}) do not overlap. {hint} "
        "Set its crs in the project file, or give the right file."
    )


def _overlap(one: Bounds, other: Bounds) -> bool:
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]


def bounds_text(bounds: Bounds) -> str:
    """``bounds`` [degrees] in words."""
    west, south, east, north = bounds
    return f"{west:.4f} to {east:.4f} east, {south:.4f} to {north:.4f} north"
