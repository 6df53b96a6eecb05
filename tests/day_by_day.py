"""Barrels through the days of a gauge's file by a plain loop, written for tests and apart from the program."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path


@dataclass
class Kept:
    """What a loop over days has counted; litres and days over all years."""

    used_by_year: dict[int, float] = field(default_factory=dict)
    inflow: float = 0.0
    overflow: float = 0.0
    asked: float = 0.0
    days_met: int = 0
    days_asked: int = 0
    room_before_storms: list[float] = field(default_factory=list)

    @property
    def years(self) -> int:
        return len(self.used_by_year)

    @property
    def used_l_yr(self) -> float:
        return sum(self.used_by_year.values()) / self.years


def rain_by_day(gauge: Path, month_mm: float) -> list[tuple[date, float]]:
    """Days of ``gauge`` with their rain brought to ``month_mm`` in the mean month; a dry month stays dry."""
    with gauge.open(encoding="utf-8") as file:
        days = [(date.fromisoformat(row["date"]), float(row["rain_mm"])) for row in csv.DictReader(file)]
    years = len({day.year for day, _ in days})
    means = [sum(rain for day, rain in days if day.month == month) / years for month in range(1, 13)]
    factors = [month_mm / mean if mean else 1.0 for mean in means]
    return [(day, rain * factors[day.month - 1]) for day, rain in days]


def stands(day: date, first: str, last: str) -> bool:
    """Whether a barrel stands on ``day``, from ``first`` to ``last`` (month-day)."""
    now = day.strftime("%m-%d")
    return first <= now <= last if first <= last else now >= first or now <= last


def by_hand(
    days: list[tuple[date, float]],
    depths_mm: list[float],
    areas_m2: list[float],
    barrel_l: float,
    want_l: float,
    season: tuple[str, str],
    storm_mm: float = 10.0,
) -> Kept:
    """One or two barrels of ``barrel_l`` that drain ``areas_m2``; ``want_l`` is asked on each day in season.

    Each day the morning's water is drawn, the fuller barrel first, and the rain that fits comes in. Barrels begin
    each season empty.
    """
    kept = Kept({day.year: 0.0 for day, _ in days})
    held = [0.0] * len(areas_m2)
    stood = False
    for (day, rain), depth in zip(days, depths_mm, strict=True):
        if not stands(day, *season):
            stood = False
            continue
        if not stood:
            held, stood = [0.0] * len(areas_m2), True
        if rain >= storm_mm:
            kept.room_before_storms.append(1 - sum(held) / (barrel_l * len(held)))
        drawn = min(want_l, sum(held))
        from_fuller = min(drawn, max(held) - min(held))
        even = (drawn - from_fuller) / len(held)
        fuller = held.index(max(held))
        taken = [even + (from_fuller if number == fuller else 0.0) for number in range(len(held))]
        flows = [area * depth for area in areas_m2]
        spilt = [max(0.0, one + flow - barrel_l) for one, flow in zip(held, flows, strict=True)]
        held = [
            one + flow - over - out for one, flow, over, out in zip(held, flows, spilt, taken, strict=True)
        ]
        kept.used_by_year[day.year] += drawn
        kept.inflow += sum(flows)
        kept.overflow += sum(spilt)
        kept.asked += want_l
        kept.days_asked += 1
        kept.days_met += drawn >= want_l - 1e-9
    return kept
