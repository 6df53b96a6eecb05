"""From rain to litres: what a roof sheds in a year, in a season, and in one storm.

Losses are counted once, by the *annual ratio*: one volumetric coefficient that already contains wetting.
1 mm of rain on 1 m² is 1 L, by definition of the units.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from harvest.units import L_PER_M2_MM

Floats = NDArray[np.float64]

DAYS_IN_MONTH = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
"""Days of a common year; a leap day is left out of the season's arithmetic."""


def season_shares(first: tuple[int, int], last: tuple[int, int]) -> Floats:
    """Share of each month [12; 1] that lies between ``first`` and ``last`` (month, day), both included.

    A season may run over the new year. Raises ``ValueError`` for a day that the month does not have.
    """
    starts = np.cumsum(DAYS_IN_MONTH) - DAYS_IN_MONTH
    begin, end = (_day_of_year(*day, starts) for day in (first, last))
    day = np.arange(DAYS_IN_MONTH.sum())
    inside = (day >= begin) & (day <= end) if begin <= end else (day >= begin) | (day <= end)
    return np.asarray(np.add.reduceat(inside, starts) / DAYS_IN_MONTH)


def _day_of_year(month: int, day: int, starts: NDArray[np.int64]) -> int:
    if not 1 <= month <= 12 or not 1 <= day <= DAYS_IN_MONTH[month - 1]:
        raise ValueError(f"month {month} has no day {day}")
    return int(starts[month - 1]) + day - 1


def year_depth(depth_mm: Floats) -> Floats:
    """Rain in a year [n; mm] from ``depth_mm`` [n, 12 or 1; mm]."""
    return np.asarray(depth_mm.sum(axis=1))


def season_depth(depth_mm: Floats, shares: Floats) -> Floats:
    """Rain in season [n; mm] from monthly ``depth_mm`` [n, 12; mm] and ``shares`` of each month [12; 1]."""
    return np.asarray(depth_mm @ shares)


def wetted(depth_mm: Floats, wetting_mm_yr: float) -> Floats:
    """``depth_mm`` [n, 12 or 1; mm] less a yearly wetting depth [mm], spread evenly and never below 0.

    enHealth 2010, App. B: run-off (L) = A × (rainfall - B) × roof area, with B = 2 mm a month (24 mm a year).
    """
    return np.asarray(np.maximum(depth_mm - wetting_mm_yr / depth_mm.shape[1], 0.0))


def runoff(area_m2: Floats, depth_mm: Floats, coefficient: float | Floats) -> Floats:
    """Litres that ``area_m2`` [n; m², seen from above] sheds from ``depth_mm`` [n; mm] of rain.

    area × depth × ``coefficient`` [n or one; 1]. Raises ``ValueError`` for a coefficient outside 0 to 1.
    """
    if not np.all((np.asarray(coefficient) >= 0) & (np.asarray(coefficient) <= 1)):
        raise ValueError(f"a runoff coefficient lies between 0 and 1, not at {coefficient}")
    return np.asarray(area_m2 * depth_mm * coefficient * L_PER_M2_MM)
