"""The town's days: a gauge (or made-up rain) scaled to any roof's months, what of it runs off, what a garden asks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from harvest.findings import Finding
from harvest.layers import DailyRain, MonthlyTemperature
from harvest.plan.gauge_check import check_against_grid, made_up_days
from harvest.project import Settings
from harvest.project.capture import Season
from harvest.water.barrels import Days
from harvest.water.capture import wetted
from harvest.water.garden import (
    daily_temperatures,
    extraterrestrial_radiation,
    garden_need,
    hargreaves_samani,
    sessions,
    weekly_need,
)
from harvest.water.losses import event_depth
from harvest.water.scaling import month_means, monthly_factors, scaled

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

WEEKLY_INCH_MM = 25.0
THURSDAY = 3
"""Weekday of the day from which NumPy counts, with Monday as 0."""


@dataclass(frozen=True)
class Weather:
    """Days of rain and what they depend on.

    ``normals_mm`` [12; mm] is the town's mean rain of each month; ``daily`` holds days as read or made up, not yet
    scaled. ``evaporation_mm`` [days; mm/d] is reference evapotranspiration, None where a plain weekly draw
    stands in for it.
    """

    daily: DailyRain
    normals_mm: Floats
    evaporation_mm: Floats | None
    latitude_deg: float
    settings: Settings
    findings: tuple[Finding, ...]

    @cached_property
    def gauge_means_mm(self) -> Floats:
        """Mean rain of each month [12; mm] in ``daily``."""
        return month_means(self.daily.rain_mm, self.daily.months, len(self.daily.years))

    @cached_property
    def in_season(self) -> Flags:
        """Whether the barrels stand, day by day [days]."""
        return days_in_season(self.daily.dates, self.settings.season)

    @cached_property
    def year_of_day(self) -> NDArray[np.intp]:
        """Number of the year of each day [days], from 0."""
        return np.unique(self.daily.dates.astype("datetime64[Y]"), return_inverse=True)[1]

    def rain(self, normals_mm: Floats) -> Floats:
        """Days of rain [k, days; mm] on roofs whose months are ``normals_mm`` [k, 12; mm]."""
        factors = monthly_factors(self.gauge_means_mm, normals_mm)
        return scaled(self.daily.rain_mm, self.daily.months, factors)

    def depths(self, normals_mm: Floats, rain_mm: Floats) -> Floats:
        """What runs off each m² [k, days; mm] of ``rain_mm`` [k, days; mm], losses counted once in the set way."""
        losses = self.settings.losses
        if losses.way == "event":
            return event_depth(
                rain_mm,
                coefficient=losses.event_coefficient,
                wetting_mm=losses.wetting_mm,
                first_flush_mm=losses.first_flush_mm,
                filter_share=losses.filter_share,
            )
        left = wetted(normals_mm, losses.wetting_mm_yr)
        share = np.divide(left, normals_mm, out=np.zeros_like(left), where=normals_mm > 0)
        return np.asarray(rain_mm * share[:, self.daily.months] * losses.coefficient)

    def coefficients(self, normals_mm: Floats) -> tuple[Floats, Floats]:
        """Share of rain [k; 1] that runs off in the whole year, and in season; roofs have ``normals_mm`` [k, 12]."""
        rain = self.rain(normals_mm)
        depth = self.depths(normals_mm, rain)

        def ratio(days: Flags) -> Floats:
            fell = rain[:, days].sum(axis=1)
            return np.asarray(
                np.divide(depth[:, days].sum(axis=1), fell, out=np.zeros(len(fell)), where=fell > 0)
            )

        return ratio(np.ones(len(self.daily.dates), dtype=bool)), ratio(self.in_season)

    def sessions(self, weeks_share: float) -> Flags:
        """Days in season [days] on which people draw, in ``weeks_share`` [1] of the weeks."""
        first = int(self.daily.dates[0].astype(np.int64) + THURSDAY) % 7
        drawing = sessions(
            len(self.daily.dates),
            weeks_share=weeks_share,
            sessions_a_week=self.settings.habits.sessions_a_week,
            first_weekday=first,
        )
        return np.asarray(drawing & self.in_season)

    def days(self, normals_mm: Floats, weeks_share: float) -> Days:
        """The days of k roofs with months ``normals_mm`` [k, 12; mm]: what reaches a barrel, what a garden asks.

        Only days in season are among them: on others no barrel stands there.
        """
        stands = self.in_season
        rain = self.rain(normals_mm)
        town = self.rain(self.normals_mm[None, :])[0]
        wanted_l = self._wants(rain, self.sessions(weeks_share))
        return Days(
            self.depths(normals_mm, rain)[:, stands],
            lambda series, garden_m2: wanted_l(series, garden_m2)[:, stands],
            self.year_of_day[stands],
            town[stands] >= self.settings.storm.day_mm,
            self._set_up[stands],
        )

    def _wants(self, rain_mm: Floats, session: Flags) -> Callable[[NDArray[np.intp], Floats], Floats]:
        """What gardens want a day [L], from rain [k, days; mm] and the days on which people draw [days]."""
        garden, habits = self.settings.garden, self.settings.habits
        if self.evaporation_mm is None:
            weekly = garden.weekly_mm if garden.weekly_mm is not None else WEEKLY_INCH_MM
            want_mm = weekly_need(weekly, session, sessions_a_week=habits.sessions_a_week)
            return lambda series, garden_m2: np.minimum(garden_m2[:, None] * want_mm, habits.most_l)
        evaporation = self.evaporation_mm
        dry_enough = self.daily.rain_mm < garden.real_rain_mm

        def wanted_l(series: NDArray[np.intp], garden_m2: Floats) -> Floats:
            need = garden_need(
                rain_mm[series],
                evaporation,
                coefficient=garden.landscape_coefficient,
                efficiency=garden.efficiency,
                available_mm=garden.available_mm,
                depletion=garden.depletion,
                depletion_spread=garden.depletion_spread,
                may_water=session & dry_enough,
                real_rain_mm=np.inf,
                most_mm=habits.most_l / garden_m2,
            )
            return np.asarray(need * garden_m2[:, None])

        return wanted_l

    @cached_property
    def _set_up(self) -> Flags:
        """Days [days] on whose morning barrels are set up, empty."""
        before = np.concatenate([[False], self.in_season[:-1]])
        return np.asarray(self.in_season & ~before)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for ``run.json``."""
        means = self.gauge_means_mm
        return {
            "days": "made up from monthly normals" if self.daily.generated else "daily gauge",
            "years": list(self.daily.years),
            "missing_days_taken_as_dry": self.daily.missing_days,
            "gauge_means_mm": [round(float(one), 3) for one in means],
            "latitude_deg": self.latitude_deg,
            "town_normals_mm": [float(one) for one in self.normals_mm],
            "monthly_factors": [round(float(one), 4) for one in monthly_factors(means, self.normals_mm)],
            "garden": "plain weekly draw" if self.evaporation_mm is None else "evapotranspiration and soil",
        }


def weather(
    gauge: DailyRain | None,
    temperature: MonthlyTemperature | None,
    normals_mm: Floats,
    latitude_deg: float,
    settings: Settings,
) -> Weather | None:
    """The town's weather from what was read and its ``normals_mm`` [12 or 1; mm].

    With whole years alone, months come from the gauge's own. None where neither tells the months apart.
    """
    found: list[Finding] = []
    if gauge is None:
        if len(normals_mm) != 12:
            return None
        daily = made_up_days(settings.generated_rain, normals_mm)
        found += daily.findings
    else:
        daily = gauge
        means = month_means(gauge.rain_mm, gauge.months, len(gauge.years))
        if len(normals_mm) != 12:
            normals_mm = means * (normals_mm[0] / means.sum())
        limits = settings.gauge
        assert limits is not None
        found += check_against_grid(
            means, normals_mm, least_factor=limits.least_factor, most_factor=limits.most_factor
        )
    evaporation = None
    if settings.garden.weekly_mm is None:
        if temperature is None:
            found.append(_no_temperature())
        else:
            evaporation = _evaporation(daily, temperature, latitude_deg)
    return Weather(
        daily, np.asarray(normals_mm, dtype=np.float64), evaporation, latitude_deg, settings, tuple(found)
    )


def _evaporation(daily: DailyRain, temperature: MonthlyTemperature, latitude_deg: float) -> Floats:
    """Reference evapotranspiration of each day [days; mm/d], the same in every year.

    Between a month of small and one of large daily range the smooth highs may dip below the lows; they count as equal.
    """
    day_of_year = (daily.dates - daily.dates.astype("datetime64[Y]")).astype(np.int64) + 1.0
    low, high = (daily_temperatures(one, day_of_year) for one in (temperature.tmin_c, temperature.tmax_c))
    return hargreaves_samani(
        low, np.maximum(low, high), extraterrestrial_radiation(latitude_deg, day_of_year)
    )


def _no_temperature() -> Finding:
    return Finding(
        "no temperatures",
        "temperature",
        "warning",
        1,
        f"There are no temperatures, so the garden asks for {WEEKLY_INCH_MM:g} mm (an inch) a week whatever the "
        "weather: too much in a wet or cool week, too little in a hot one.",
        "Give mean daily lows and highs of each month in [temperature], or settle it with [garden] weekly_mm.",
    )


def days_in_season(dates: NDArray[np.datetime64], season: Season) -> Flags:
    """Whether each of ``dates`` [days] lies in ``season``; a season may run over the new year."""
    month_start = dates.astype("datetime64[M]")
    number = (month_start.astype(np.int64) % 12 + 1) * 100 + (dates - month_start).astype(np.int64) + 1
    first, last = (int(day.replace("-", "")) for day in (season.first, season.last))
    after, before = number >= first, number <= last
    return np.asarray(after & before if first <= last else after | before)
