"""Barrels at downspouts: how many stand where, what each drinks from, and what they deliver to one garden."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from harvest.water.downspouts import unequal_weights
from harvest.water.tank import Balance, Rule, balance

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]

MOST_BARRELS = 6


@dataclass(frozen=True)
class Days:
    """Some series of days, the same years for all.

    ``depth_mm`` [series, days]: runoff that reaches a barrel from each m² that its downspout serves.
    ``wanted_l`` gives what gardens [n; m²], each with one of the series [n], want of the barrels [n, days; L] on
    days when people draw, 0 on other days. ``year_of_day`` [days] numbers years from 0; ``storm_day``
    [days] marks days on which a storm comes, ``set_up`` [days] those on whose morning barrels are set up, empty.
    """

    depth_mm: Floats
    wanted_l: Callable[[Whole, Floats], Floats]
    year_of_day: Whole
    storm_day: NDArray[np.bool_]
    set_up: NDArray[np.bool_] | None = None

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


def layout(
    barrels: Whole, places: Whole, mean_area_m2: Floats, usable_l: float, inequality: float
) -> tuple[Floats, Floats]:
    """Served area [n, 6; m²] and volume [n, 6; L] of the tanks that ``barrels`` [n] make.

    Barrels go to different downspouts while there are ``places`` [n] for them, then stand joined in turn. Places
    are taken in order, the smaller downspout first, so that nothing is made to look better than it is. A downspout
    serves ``mean_area_m2`` [n; m²] times its weight (see :mod:`harvest.water.downspouts`). Raises ``ValueError``
    for more than 6 barrels or fewer than none, fewer places than 1, an area or volume that is negative or missing, or
    an inequality outside 0 to 0.9.
    """
    if not np.all((barrels >= 0) & (barrels <= MOST_BARRELS)):
        raise ValueError(f"0 to {MOST_BARRELS} barrels can be laid out")
    if not np.all(places >= 1):
        raise ValueError("barrels need at least 1 downspout that can take them")
    if not np.all((mean_area_m2 >= 0) & np.isfinite(mean_area_m2)) or not 0 <= usable_l < np.inf:
        raise ValueError("a served area and a barrel's volume must be numbers and not negative")
    tanks = np.minimum(barrels, places)
    number = np.arange(MOST_BARRELS)
    there = number < tanks[:, None]
    each = np.maximum(tanks, 1)[:, None]
    joined = barrels[:, None] // each + (number < barrels[:, None] % each)
    areas = np.where(there, mean_area_m2[:, None] * unequal_weights(MOST_BARRELS, inequality), 0.0)
    return areas, np.where(there, joined * usable_l, 0.0)


def deliver(
    days: Days, series: Whole, areas_m2: Floats, volumes_l: Floats, garden_m2: Floats, rule: Rule = "yas"
) -> Balance:
    """The exact daily balance of n cases: ``areas_m2`` and ``volumes_l`` [n, k], ``garden_m2`` [n].

    ``series`` [n] says which of the series each case has; k is at most 6. ``rule``: draw before the day's inflow
    (``"yas"``) or after it (``"ybs"``). Raises ``ValueError`` for a negative volume.
    """
    depth = np.ascontiguousarray(days.depth_mm.T)
    wet = np.asarray(depth.any(axis=1))
    areas, dry = np.asfortranarray(areas_m2), np.zeros_like(areas_m2, order="F")
    alike, mine = np.unique(np.stack([series, garden_m2]), axis=1, return_inverse=True)
    want = np.ascontiguousarray(days.wanted_l(alike[0].astype(np.intp), alike[1]).T)
    return balance(
        lambda day: areas * depth[day, series][:, None] if wet[day] else dry,
        lambda day: want[day, mine],
        volumes_l,
        days.year_of_day,
        storm_day=days.storm_day,
        set_up=days.set_up,
        rule=rule,
    )
