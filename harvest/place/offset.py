"""A steady offset between footprints and parcels: measured and reported, never applied."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.optimize import least_squares

from harvest.findings import Finding
from harvest.place.plane import Geometries

WHOLE, MOSTLY = 0.999, 0.5
"""A roof with a share between these on the parcel that holds most of it sticks out."""
LEAST_ROOFS = 30
SAMPLE = 150
LEAST_WIDTH_M, WIDEST_M, NOISE_M = 0.02, 8.0, 0.05
"""Strips outside this range say nothing; within it, steady ones agree to about the noise."""
FITTED, SPOILED = 0.25, 0.02
"""A roof fits after the move when it sticks out by less than this part of what it did; a roof that fitted is
spoiled when more than this share of it sticks out."""
LEAST_FITTED, MOST_SPOILED = 0.4, 0.1
"""An offset is seen when the move fits this part of the roofs that stick out, and spoils at most this many."""

FOOT_TOLERANCE_M = 0.3
SURVEY_FOOT_DRIFT = 2e-6
"""US survey foot over international foot, less 1: 1200/3937 m against 0.3048 m."""


@dataclass(frozen=True)
class Offset:
    """A move of the footprints that fits them clearly better to the parcels than none.

    ``east_m``, ``north_m``: how far the footprints lie from where they fit. ``fitted`` of ``roofs`` that stick
    out over their parcel would fit it.
    """

    east_m: float
    north_m: float
    fitted: int
    roofs: int

    @property
    def length_m(self) -> float:
        """Length of the vector [m]."""
        return float(np.hypot(self.east_m, self.north_m))

    def as_dict(self) -> dict[str, float]:
        """Plain values for ``run.json``."""
        return {
            "east_m": round(self.east_m, 2),
            "north_m": round(self.north_m, 2),
            "roofs_fitted": self.fitted,
            "roofs_looked_at": self.roofs,
        }


def offset(roofs: Geometries, parcels: Geometries, held: NDArray[np.float64]) -> Offset | None:
    """The steady offset of ``roofs`` [n; plane, m] against ``parcels`` [m; plane, m], or None.

    Looks at roofs that stick out over the parcel that holds most of them (``held`` [n]: its share) and at as
    many that do not. How far each sticks out, and which way, gives the offset by a robust fit; it is seen only
    if moving the roofs back makes them fit. More than half a lot's width can't be told from a neighbour's.
    """
    out = _spread((held >= MOSTLY) & (held < WHOLE))
    if len(out) < LEAST_ROOFS:
        return None
    sample = roofs[np.concatenate([out, _spread(held >= WHOLE)])]
    tree = shapely.STRtree(parcels)
    _, main = _held_by(tree, parcels, sample[: len(out)])
    east, north = _fit(sample[: len(out)], parcels[main])
    now, _ = _held_by(tree, parcels, shapely.transform(sample, lambda xy: xy - np.array([east, north])))
    sticks_out, stuck_out = 1 - now, 1 - held[out]
    fitted = int((sticks_out[: len(out)] < FITTED * stuck_out).sum())
    spoiled = int((sticks_out[len(out) :] > SPOILED).sum())
    if fitted < LEAST_FITTED * len(out) or spoiled > MOST_SPOILED * len(out):
        return None
    return Offset(east, north, fitted, len(out))


def _held_by(
    tree: shapely.STRtree, parcels: Geometries, roofs: Geometries
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """For each of ``roofs`` [n] the largest share on one parcel, and that parcel's position (0 for none)."""
    roof, parcel = tree.query(roofs, predicate="intersects")
    share = shapely.area(shapely.intersection(roofs[roof], parcels[parcel])) / shapely.area(roofs)[roof]
    most, main = np.zeros(len(roofs)), np.zeros(len(roofs), dtype=np.intp)
    order = np.argsort(share, kind="stable")
    most[roof[order]], main[roof[order]] = share[order], parcel[order]
    return most, main


def _fit(roofs: Geometries, parcels: Geometries) -> tuple[float, float]:
    """The move (east, north) [m] that best explains how ``roofs`` [n] stick out over ``parcels`` [n].

    What sticks out is mostly a strip: the way from the parcel's edge to its centroid is half its width, square
    to the edge. Each strip says how far the move goes in its own direction, and says nothing across it.
    """
    strips = shapely.centroid(shapely.difference(roofs, parcels))
    ways = shapely.get_coordinates(shapely.shortest_line(parcels, strips)).reshape(-1, 2, 2)
    half = ways[:, 1] - ways[:, 0]
    width = 2 * np.hypot(*half.T)
    clear = (width > LEAST_WIDTH_M) & (width < WIDEST_M)
    toward = 2 * half[clear] / width[clear, None]
    fit = least_squares(
        lambda move: toward @ move - width[clear], np.zeros(2), loss="cauchy", f_scale=NOISE_M
    )
    return float(fit.x[0]), float(fit.x[1])


def _spread(chosen: NDArray[np.bool_]) -> NDArray[np.intp]:
    """At most ``SAMPLE`` of the chosen positions, evenly spread."""
    places = np.flatnonzero(chosen)
    return places[np.unique(np.linspace(0, len(places) - 1, min(SAMPLE, len(places))).astype(np.intp))]


def check_offset(
    found: Offset | None, *, offset_m: float, footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame
) -> list[Finding]:
    """A finding for an offset of at least ``offset_m``, with the cause that the layers' CRSs suggest."""
    if found is None or found.length_m < offset_m:
        return []
    return [
        Finding(
            "offset between layers",
            "footprints",
            "serious" if found.length_m > 2 else "warning",
            found.roofs,
            f"The footprints lie {found.length_m:.1f} m off the parcels ({_compass(found)}), steadily: moving "
            f"them back would fit {found.fitted} of the {found.roofs} roofs that stick out. Nothing was moved.",
            f"Suspected cause: {_cause(found, footprints, parcels)}. Ask the owner of the layers, "
            "mend the layer's coordinate reference system, and run again.",
        )
    ]


def _compass(found: Offset) -> str:
    east = f"{abs(found.east_m):.1f} m {'east' if found.east_m > 0 else 'west'}"
    north = f"{abs(found.north_m):.1f} m {'north' if found.north_m > 0 else 'south'}"
    return " and ".join(
        text for text, size in ((east, found.east_m), (north, found.north_m)) if abs(size) >= 0.05
    )


def _cause(found: Offset, footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> str:
    if any(abs(_foot_drift_m(frame) - found.length_m) < FOOT_TOLERANCE_M for frame in (footprints, parcels)):
        return "US survey feet read as international feet, or the reverse"
    if _datum(footprints.crs) != _datum(parcels.crs):
        return (
            f"two datums ({_datum(footprints.crs)} and {_datum(parcels.crs)}) taken as one, or a layer "
            "labelled with the wrong one"
        )
    if found.length_m > 10:
        return "a layer labelled with the wrong datum or zone"
    return "imagery that leans or was rectified badly, or a layer shifted by hand"


def _foot_drift_m(frame: gpd.GeoDataFrame) -> float:
    """How far ``frame`` would lie off if its feet were the other foot [m]; 0 when it is not in feet."""
    axis = frame.crs.axis_info[0]
    if "foot" not in axis.unit_name:
        return 0.0
    west, south, east, north = frame.total_bounds
    return float(SURVEY_FOOT_DRIFT * axis.unit_conversion_factor * np.hypot(west + east, south + north) / 2)


def _datum(crs: CRS) -> str:
    return crs.geodetic_crs.datum.name if crs.geodetic_crs and crs.geodetic_crs.datum else "unknown"
