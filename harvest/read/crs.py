"""The CRS gate: no layer goes on without a coordinate reference system that places it on the earth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError, ProjError

from harvest.findings import Finding
from harvest.layers import Extent, between
from harvest.read.files import InputFile

DEGREE_SLACK = 1e-6
FAR_DEGREES = 1.0
LEAST_TYPICAL_AREA = 1e-4
"""A typical polygon below this, in squared metres or feet, is in degrees whatever the file says."""

Bounds = tuple[float, float, float, float]


def known_crs(told: Any) -> CRS | None:
    """The CRS that a file tells, None where it tells none or one that is beyond reading."""
    try:
        return CRS.from_user_input(told) if told else None
    except CRSError:
        return None


def settled_crs(file: InputFile, own: CRS | None, said: str | None) -> tuple[CRS, list[Finding]]:
    """The 2-D CRS in force: ``said`` by the project file, else the file's ``own``.

    Raises the file's refusal when there is none or it does not place anything on the earth.
    """
    own = None if own is None else _two_dimensional(own)
    if said is None:
        if own is None or _nowhere(own):
            name = "" if own is None else f" (only {own.name!r})"
            raise file.refused(
                f"does not say its coordinate reference system{name}; ask whoever made it and add "
                f'crs = "EPSG:…" to [{file.role}].'
            )
        return own, []
    try:
        chosen = _two_dimensional(CRS.from_user_input(said))
    except CRSError:
        raise file.refused(
            f'can\'t be placed: crs = "{said}" is not known; write it like "EPSG:26986".'
        ) from None
    if _nowhere(chosen):
        raise file.refused(f'can\'t be placed: crs = "{said}" is a local system tied to no place on earth.')
    if own is None or _nowhere(own) or own.equals(chosen, ignore_axis_order=True):
        return chosen, []
    return chosen, [
        Finding(
            "crs contradicted",
            file.role,
            "warning",
            1,
            f"{file.name} says {_short(own)}, the project file says {_short(chosen)}; the project file is "
            "followed.",
            f"Remove crs from [{file.role}] unless the file is known to be wrong.",
        )
    ]


def _two_dimensional(crs: CRS) -> CRS:
    """The horizontal part of a compound, bound or 3-D system."""
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    return crs.to_2d() if len(crs.axis_info) > 2 and not crs.is_geocentric else crs


def _nowhere(crs: CRS) -> bool:
    """Whether ``crs`` is no horizontal system tied to the earth."""
    named = crs.name.lower()
    return (
        not (crs.is_geographic or crs.is_projected)
        or crs.is_geocentric
        or named.startswith(("undefined", "unknown engineering", "unnamed engineering"))
    )


def _short(crs: CRS) -> str:
    code = crs.to_epsg()
    return f"EPSG:{code} ({crs.name})" if code else crs.name


def check_coordinates(
    file: InputFile, crs: CRS, bounds: Bounds, typical_area: float | None = None
) -> list[Finding]:
    """Refuse coordinates that can't be in ``crs``, naming the likely cause; tell those that hardly can.

    ``bounds`` (west, south, east, north) and ``typical_area`` (median polygon area) in units of ``crs``.
    """
    west, south, east, north = bounds
    told = f"x {west:g} to {east:g}, y {south:g} to {north:g}"
    if crs.is_geographic:
        _check_degrees(file, crs, bounds, told)
    elif typical_area is not None and 0 < typical_area < LEAST_TYPICAL_AREA and abs(west) <= 180 >= abs(east):
        raise file.refused(
            f"says {_short(crs)}, but its coordinates look like degrees ({told}); set crs, probably to "
            '"EPSG:4326".'
        )
    try:
        placed = to_wgs84(bounds, crs)
    except ProjError:
        placed = (math.inf,) * 4
    if not np.isfinite(placed).all():
        raise file.refused(f"has coordinates ({told}) that do not exist in {_short(crs)}; check its crs.")
    return _far_away(file, crs, placed)


def _check_degrees(file: InputFile, crs: CRS, bounds: Bounds, told: str) -> None:
    west, south, east, north = bounds
    half = math.pi / crs.axis_info[0].unit_conversion_factor + DEGREE_SLACK
    if -half <= west and east <= half and -half / 2 <= south and north <= half / 2:
        return
    swapped = -half / 2 <= west and east <= half / 2 and -half <= south and north <= half
    cause = (
        "latitude and longitude look swapped; swap them and export the file again"
        if swapped
        else "they look like metres or feet of a projected system; set crs to that system"
    )
    raise file.refused(f"has coordinates that are no degrees ({told}): {cause}.")


def _far_away(file: InputFile, crs: CRS, placed: Bounds) -> list[Finding]:
    """Tell a layer whose middle lies far outside the area that ``crs`` is made for."""
    area = crs.area_of_use
    x, y = (placed[0] + placed[2]) / 2, (placed[1] + placed[3]) / 2
    if area is None or area.west > area.east:
        return []
    if (
        area.west - FAR_DEGREES <= x <= area.east + FAR_DEGREES
        and area.south - FAR_DEGREES <= y <= area.north + FAR_DEGREES
    ):
        return []
    return [
        Finding(
            "outside the area of its CRS",
            file.role,
            "serious",
            1,
            f"By {_short(crs)}, {file.name} lies at longitude {x:.2f}, latitude {y:.2f}, outside the area this "
            f"system is made for ({area.name.rstrip('.')}).",
            f"Check the place; if it is wrong, set crs in [{file.role}] (another zone, or feet for metres).",
        )
    ]


def to_wgs84(bounds: Bounds, crs: CRS) -> Bounds:
    """``bounds`` in degrees (west, south, east, north)."""
    return _moved(bounds, crs, CRS.from_epsg(4326))


def from_wgs84(bounds: Bounds, crs: CRS) -> Bounds:
    """``bounds`` in degrees, as the rectangle around them in units of ``crs``."""
    return _moved(bounds, CRS.from_epsg(4326), crs)


def _moved(bounds: Bounds, start: CRS, end: CRS) -> Bounds:
    west, south, east, north = between(start, end).transform_bounds(*bounds)
    return float(west), float(south), float(east), float(north)


def widened(near: Extent, by_m: float, crs: CRS) -> Bounds:
    """The rectangle in ``crs`` that holds ``near`` and ``by_m`` metres all round."""
    west, south, east, north = to_wgs84(near.bounds, near.crs)
    local = CRS.from_proj4(
        f"+proj=laea +lat_0={(south + north) / 2:.9f} +lon_0={(west + east) / 2:.9f} +datum=WGS84 +units=m"
    )
    left, low, right, top = _moved(near.bounds, near.crs, local)
    return _moved((left - by_m, low - by_m, right + by_m, top + by_m), local, crs)


def around(near: Sequence[Extent], by_m: float | None, crs: CRS) -> Bounds | None:
    """The rectangle in ``crs`` that holds each of ``near`` and ``by_m`` metres all round; None where either lacks."""
    if by_m is None or not near:
        return None
    west, south, east, north = zip(*(widened(one, by_m, crs) for one in near), strict=True)
    return min(west), min(south), max(east), max(north)
