"""Barrels at downspouts: how many stand where, what each drinks from, and what they deliver to one garden."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from harvest.water.tank import Balance, Rule, balance

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]

MOST_BARRELS = 6


@dataclass(frozen=True)
class Days:
    """Some series of days, the same years for all.

    ``depth_mm`` [series, days]: runoff that reaches a barrel from each m² that its downspout serves.
    ``want_mm`` [series, days]: what a garden wants of each m² on a day when people draw, 0 on other days.
    ``cap_l``: the most that people draw in a day. ``year_of_day`` [days] numbers years from 0; ``storm_day``
    [days] marks days on which a storm comes.
    """

    depth_mm: Floats
    want_mm: Floats
    cap_l: float
    year_of_day: Whole
    storm_day: NDArray[np.bool_]

    @property
    def years(self) -> int:
        """How many years there are."""
        return int(self.year_of_day.max()) + 1


def usable_volume(volume_l: float, dead_l: float, head_l: float) -> float:
    """What a barrel can give [L]: its size less what stands below the spigot and above the overflow.

    Raises ``ValueError`` when nothing remains.
    """
    usable = volume_l - dead_l - head_l
    if min(volume_l, dead_l, head_l) < 0 or usable <= 0:
        raise ValueError(
            f"a barrel of {volume_l:g} L with {dead_l:g} L below the spigot and {head_l:g} L above the overflow "
            "holds nothing that can be drawn"
        )
    return usable


def mean_served_area(area_m2: Floats, downspouts: Whole, inequality: float) -> Floats:
    """Area of the middle downspout [n; m²] of roofs of ``area_m2`` [n] with ``downspouts`` [n].

    Downspouts serve unequal parts of a roof, smaller and larger in turn: 1 - ``inequality`` and 1 + ``inequality``
    times this area, the smaller first. All together serve the whole roof.
    """
    total = downspouts - inequality * (downspouts % 2)
    return np.asarray(np.divide(area_m2, total, out=np.zeros(len(area_m2)), where=downspouts > 0))


def layout(
    barrels: Whole, places: Whole, mean_area_m2: Floats, usable_l: float, inequality: float
) -> tuple[Floats, Floats]:
    """Served area [n, 6; m²] and volume [n, 6; L] of the tanks that ``barrels`` [n] make.

    Barrels go to different downspouts while there are ``places`` [n] for them, then stand joined in turn. Places
    are taken in order, the smaller downspout first, so that nothing is made to look better than it is.
    """
    if barrels.max(initial=0) > MOST_BARRELS:
        raise ValueError(f"at most {MOST_BARRELS} barrels can be laid out")
    tanks = np.minimum(barrels, places)
    number = np.arange(MOST_BARRELS)
    there = number < tanks[:, None]
    weight = np.where(number % 2 == 0, 1 - inequality, 1 + inequality)
    each = np.maximum(tanks, 1)[:, None]
    joined = barrels[:, None] // each + (number < barrels[:, None] % each)
    areas = np.where(there, mean_area_m2[:, None] * weight, 0.0)
    return areas, np.where(there, joined * usable_l, 0.0)


def deliver(
    days: Days, series: Whole, areas_m2: Floats, volumes_l: Floats, garden_m2: Floats, rule: Rule = "yas"
) -> Balance:
    """The exact daily balance of n cases: ``areas_m2`` and ``volumes_l`` [n, k], ``garden_m2`` [n].

    ``series`` [n] says which of the series each case has.
    """
    depth, want = np.ascontiguousarray(days.depth_mm.T), np.ascontiguousarray(days.want_mm.T)
    return balance(
        lambda day: areas_m2 * depth[day, series][:, None],
        lambda day: np.minimum(garden_m2 * want[day, series], days.cap_l),
        volumes_l,
        days.year_of_day,
        storm_day=days.storm_day,
        rule=rule,
    )
