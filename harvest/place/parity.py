"""Odd and even house numbers: which side of a street has which, found in the numbers themselves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.findings import Finding, counted
from harvest.place.fronts import Flags, Positions


@dataclass(frozen=True)
class Parity:
    """How house numbers lie on sides of streets.

    ``found`` [n parcels]: "odd", "even", or "mixed" for the side that a parcel stands on, "unknown" with too few
    numbers or no side. ``against`` [n]: the parcel's own number is not of the side's kind. ``opposed``: share of
    streets with two known sides on which they differ; ``held``: share of the numbers on known sides that are of
    their side's kind. Both are NaN when there is nothing to tell from.
    """

    found: NDArray[np.str_]
    against: Flags
    opposed: float
    held: float


def parity(
    numbers: pd.Series, segment: Positions, side: NDArray[np.int8], *, share: float, least: int
) -> Parity:
    """Whether the sides of streets have odd or even ``numbers`` [n; Int64], by ``segment`` and ``side`` [n].

    A side with at least ``least`` numbers is odd or even when ``share`` of them are, else mixed. Nothing is
    assumed: where a town counts its houses up one side and down the other, sides come out mixed.
    """
    known = numbers.notna().to_numpy() & (segment >= 0)
    odd = (numbers.fillna(0) % 2 == 1).to_numpy(dtype=bool)
    key = segment.astype(np.int64) * 2 + (side > 0)
    size = int(key.max(initial=-1)) + 2
    count = np.bincount(key[known], minlength=size)
    odds = np.bincount(key[known & odd], minlength=size)
    kind = np.full(len(count), "unknown", dtype="<U7")
    enough = count >= least
    kind[enough] = "mixed"
    kind[enough & (odds >= share * count)] = "odd"
    kind[enough & (count - odds >= share * count)] = "even"
    found = np.where(segment >= 0, kind[np.maximum(key, 0)], "unknown")
    against = known & (((found == "odd") & ~odd) | ((found == "even") & odd))
    right, left = kind[: len(kind) // 2 * 2].reshape(-1, 2).T
    told = np.isin(right, ("odd", "even")) & np.isin(left, ("odd", "even"))
    numbered = known & (found != "unknown")
    of_kind = np.where(odds > count / 2, odds, count - odds)
    return Parity(
        found,
        against,
        float((right != left)[told].mean()) if told.any() else np.nan,
        float(of_kind[enough].sum() / numbered.sum()) if numbered.any() else np.nan,
    )


def check_parity(found: Parity, ids: NDArray[np.object_], share: float) -> list[Finding]:
    """Findings on house numbers that stand on the other side, or on a town whose sides are neither odd nor even."""
    if not found.held >= share:
        if np.isnan(found.held):
            return []
        return [
            Finding(
                "sides neither odd nor even",
                "parcels",
                "note",
                int((found.found == "mixed").sum()),
                f"Odd and even house numbers do not keep to their sides here ({found.held:.0%} do); numbers tell "
                "nothing of sides.",
                "Nothing to do, unless many parcels stand on the wrong street.",
            )
        ]
    if not found.against.any():
        return []
    return [
        Finding.of(
            "house numbers against their side",
            "parcels",
            "note",
            ids[found.against],
            f"{counted(int(found.against.sum()), 'parcel')} with an odd number among even ones, or the reverse, "
            f"while {found.held:.1%} of all keep to their side.",
            "Look whether the address is that of another parcel, or the parcel lies between two streets.",
        )
    ]
