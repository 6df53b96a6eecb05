"""Footprints to roofs: eaves added, duplicates counted once, overlaps cut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from harvest.findings import Account, Finding, counted
from harvest.place.plane import Geometries

LEAST_OVERLAP_M2 = 0.1
"""Overlaps below this are rounding of shared walls."""


@dataclass(frozen=True)
class Roofs:
    """Roofs that count.

    ``kept`` [m]: positions of the footprints that became roofs, in order. ``outline`` [m]: their outlines in
    the plane. ``changed`` [m]: whether an outline differs from its footprint.
    """

    kept: NDArray[np.intp]
    outline: Geometries
    changed: NDArray[np.bool_]
    account: Account
    findings: tuple[Finding, ...]


def roofs(
    footprints: Geometries, ids: NDArray[np.object_], *, eaves_m: float, duplicate_share: float
) -> Roofs:
    """The roofs among ``footprints`` [n; plane, m] with ``ids`` [n], which must be sorted.

    Of two overlapping footprints the smaller is dropped as a duplicate when at least ``duplicate_share`` of it
    lies on the larger; otherwise the overlap is cut from the smaller. Equal sizes (to 0.01 m²) go by id.
    """
    outline = footprints.copy()
    if eaves_m > 0:
        outline = np.asarray(
            shapely.buffer(outline, eaves_m, join_style="mitre", mitre_limit=2.0), dtype=object
        )
    area = shapely.area(outline)
    larger, smaller, overlap = _overlaps(outline, area)

    dropped = np.zeros(len(outline), dtype=bool)
    share = overlap / area[smaller]
    for big, small in zip(larger[share >= duplicate_share], smaller[share >= duplicate_share], strict=True):
        if not dropped[big]:
            dropped[small] = True

    cut = np.zeros(len(outline), dtype=bool)
    cut_m2 = 0.0
    for big, small in zip(larger, smaller, strict=True):
        if dropped[big] or dropped[small]:
            continue
        rest = shapely.difference(outline[small], outline[big])
        lost = shapely.area(outline[small]) - shapely.area(rest)
        if lost < LEAST_OVERLAP_M2:
            continue
        outline[small], cut[small], cut_m2 = rest, True, cut_m2 + lost
    swallowed = cut & (shapely.area(outline) < LEAST_OVERLAP_M2)
    keep = ~dropped & ~swallowed

    found = _findings(ids, dropped | swallowed, cut & keep, cut_m2, float(area[dropped | swallowed].sum()))
    account = Account(
        "footprints",
        len(outline),
        int(keep.sum()),
        dropped={"duplicate of another footprint": int((~keep).sum())},
    )
    changed = cut | (eaves_m > 0)
    return Roofs(np.flatnonzero(keep), outline[keep], changed[keep], account, tuple(found))


def _overlaps(
    outline: Geometries, area: NDArray[np.float64]
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
    """Overlapping pairs [k] as (larger, smaller, overlap m²), the largest first, in an order that ids fix."""
    left, right = shapely.STRtree(outline).query(outline)
    first = left < right
    left, right = left[first], right[first]
    box = shapely.bounds(outline)
    high = np.minimum(box[left, 2:], box[right, 2:])
    low = np.maximum(box[left, :2], box[right, :2])
    near = np.prod(np.clip(high - low, 0, None), axis=1) >= LEAST_OVERLAP_M2
    left, right = left[near], right[near]
    overlap = shapely.area(shapely.intersection(outline[left], outline[right]))
    real = overlap >= LEAST_OVERLAP_M2
    left, right, overlap = left[real], right[real], overlap[real]
    size = np.round(area, 2)
    swap = size[right] > size[left]
    larger, smaller = np.where(swap, right, left), np.where(swap, left, right)
    order = np.lexsort((smaller, larger, -size[larger]))
    return larger[order], smaller[order], overlap[order]


def _findings(
    ids: NDArray[np.object_],
    dropped: NDArray[np.bool_],
    cut: NDArray[np.bool_],
    cut_m2: float,
    dropped_m2: float,
) -> list[Finding]:
    found = []
    if dropped.any():
        found.append(
            Finding.of(
                "duplicate footprints",
                "footprints",
                "warning",
                ids[dropped],
                f"{counted(int(dropped.sum()), 'footprint')} ({dropped_m2:,.0f} m²) on top of a larger one: not "
                "counted again.",
                "Look at the first ones in a GIS; raise placing.duplicate_share if they are separate roofs.",
            )
        )
    if cut.any():
        found.append(
            Finding.of(
                "overlapping footprints",
                "footprints",
                "note",
                ids[cut],
                f"{counted(int(cut.sum()), 'footprint')} with a part on a larger one: {cut_m2:,.1f} m² cut off, so "
                "that no roof counts twice.",
                "Nothing to do unless the area is large.",
            )
        )
    return found
