"""Which parcel a roof belongs to, and in which share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from harvest.findings import Finding, counted
from harvest.parts import in_parts
from harvest.place.plane import Geometries

SAME_AREA = 1e-6
"""Pieces of a roof that add up to more than the roof by this share lie on parcels that overlap."""


@dataclass(frozen=True)
class Shares:
    """Roofs on parcels, one row for each roof on each parcel [k], sorted by roof, then parcel.

    ``roof``, ``parcel``: positions. ``share``: shares of one roof add up to 1. A roof on no parcel has no row.
    ``held`` [n roofs]: share on the parcel that holds most of it, before slivers and outside are added. ``outside``
    [n roofs]: share of the roof on no parcel.
    """

    roof: NDArray[np.intp]
    parcel: NDArray[np.intp]
    share: NDArray[np.float64]
    held: NDArray[np.float64]
    slivers: int
    outside: NDArray[np.float64]

    @property
    def divided(self) -> NDArray[np.bool_]:
        """Whether a row is one of several of its roof [k]."""
        rows = np.bincount(self.roof, minlength=len(self.held))
        return np.asarray(rows[self.roof] > 1)


def shares(
    roofs: Geometries,
    parcels: Geometries,
    *,
    sliver_share: float,
    sliver_width_m: float,
    least_share: float,
) -> Shares:
    """How ``roofs`` [n; plane, m] divide over ``parcels`` [m; plane, m].

    A roof goes to the parcels in proportion to its pieces on them. A piece below ``sliver_share`` of the roof
    that is also narrower than ``sliver_width_m`` on average is digitising error, and so is what lies on no
    parcel: the roof's real pieces take it over. Where parcels overlap, the smaller one has the ground. A roof
    with less than ``least_share`` on parcels altogether has no row.
    """
    parcel, roof = shapely.STRtree(roofs).query(parcels, predicate="intersects")
    order = np.lexsort((parcel, roof))
    roof, parcel = roof[order], parcel[order]
    roof_area = shapely.area(roofs)
    candidates = np.bincount(roof, minlength=len(roofs))
    inside = np.zeros(len(roof), dtype=bool)
    alone = candidates[roof] == 1
    inside[alone] = in_parts(shapely.covered_by, roofs[roof[alone]], parcels[parcel[alone]])

    area, width = roof_area[roof].copy(), np.full(len(roof), np.inf)
    edge = np.flatnonzero(~inside)
    pieces = in_parts(shapely.intersection, roofs[roof[edge]], parcels[parcel[edge]])
    pieces = _apart(pieces, roof[edge], shapely.area(parcels)[parcel[edge]], roof_area)
    area[edge] = shapely.area(pieces)
    with np.errstate(invalid="ignore"):
        width[edge] = 2 * area[edge] / shapely.length(pieces)

    share = area / roof_area[roof]
    on_parcels = np.bincount(roof, weights=share, minlength=len(roofs))
    largest = np.zeros(len(roofs))
    np.maximum.at(largest, roof, share)
    sliver = (share < sliver_share) & (width < sliver_width_m) & (share < largest[roof])
    real = ~sliver & (share > 1e-9)
    kept = real & (on_parcels[roof] >= least_share)
    whole = np.bincount(roof[kept], weights=share[kept], minlength=len(roofs))
    return Shares(
        roof[kept],
        parcel[kept],
        share[kept] / whole[roof[kept]],
        largest,
        int((sliver & (share > 1e-9)).sum()),
        np.clip(1 - on_parcels, 0, 1),
    )


def _apart(
    pieces: Geometries,
    roof: NDArray[np.intp],
    parcel_area: NDArray[np.float64],
    roof_area: NDArray[np.float64],
) -> Geometries:
    """``pieces`` [k] with overlaps between pieces of one roof given to the smaller parcel."""
    total = np.bincount(roof, weights=shapely.area(pieces), minlength=len(roof_area))
    crowded = (total > roof_area * (1 + SAME_AREA))[roof]
    if not crowded.any():
        return pieces
    apart = pieces.copy()
    rows = np.flatnonzero(crowded)
    for group in np.split(rows, np.flatnonzero(np.diff(roof[rows])) + 1):
        by_size = group[np.argsort(parcel_area[group], kind="stable")]
        for place, row in enumerate(by_size[1:], start=1):
            apart[row] = shapely.difference(apart[row], shapely.union_all(pieces[by_size[:place]]))
    return apart


def check_shares(found: Shares, ids: NDArray[np.object_], roof_area: NDArray[np.float64]) -> list[Finding]:
    """Findings on roofs that are on no parcel, reach far beyond one, are divided, or lost slivers."""
    findings = []
    placed = np.bincount(found.roof, minlength=len(ids)) > 0
    if not placed.all():
        findings.append(
            Finding.of(
                "roofs on no parcel",
                "footprints",
                "warning",
                ids[~placed],
                f"{counted(int((~placed).sum()), 'roof')} on no parcel ({roof_area[~placed].sum():,.0f} m²): kept in "
                "the roofs table without a parcel, and on no list.",
                "Check whether parcels are missing there, or whether the footprints lie on a street.",
            )
        )
    beyond = placed & (found.outside > 0.1)
    if beyond.any():
        findings.append(
            Finding.of(
                "roofs reaching beyond parcels",
                "footprints",
                "note",
                ids[beyond],
                f"{counted(int(beyond.sum()), 'roof')} with more than a tenth on no parcel; the whole roof counts for "
                "the parcel that holds it.",
                "Nothing to do unless many; then look for an offset between the layers.",
            )
        )
    divided = np.unique(found.roof[found.divided])
    if len(divided):
        findings.append(
            Finding.of(
                "divided roofs",
                "footprints",
                "note",
                ids[divided],
                f"{counted(len(divided), 'roof')} across parcel lines, divided in proportion to area.",
                "Nothing to do.",
            )
        )
    if found.slivers:
        findings.append(
            Finding(
                "slivers",
                "footprints",
                "note",
                found.slivers,
                f"{counted(found.slivers, 'narrow piece')} of roofs on a neighbouring parcel, taken as digitising "
                "error.",
                "Change placing.sliver_share and placing.sliver_width_m if they are real.",
            )
        )
    return findings
