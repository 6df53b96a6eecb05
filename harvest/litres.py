"""What of the rain leaves a roof: losses counted once, in the set way, for the year, the season and one storm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harvest.project import Settings
from harvest.project.capture import Losses, Season
from harvest.water.capture import Floats, season_depth, season_shares, wetted, year_depth
from harvest.water.losses import event_depth
from harvest.weather import Weather

COEFFICIENT_STEP = 0.02
"""The event way's coefficient is worked out where rain is a multiple of this of the town's mean, and interpolated
between, so that a roof alone has the same one as within the town."""


@dataclass(frozen=True)
class Litres:
    """Depths on roofs [n; mm] and the coefficients [n; 1] that make litres of them.

    ``year_left_mm`` and ``season_left_mm`` are rain less a yearly wetting depth, where one is set.
    ``storm_left_mm`` [mm] is what one storm sheds from each m².
    """

    season_rain_mm: Floats
    year_left_mm: Floats
    season_left_mm: Floats
    year_coefficient: Floats
    season_coefficient: Floats
    storm_left_mm: float

    @classmethod
    def of(cls, monthly_mm: Floats, settings: Settings, weather: Weather | None) -> Litres:
        """From rain on roofs ``monthly_mm`` [n, 12 or 1; mm]; the event way needs the town's ``weather``."""
        losses = settings.losses
        shares = months_in_season(settings.season) if monthly_mm.shape[1] == 12 else np.ones(1)
        rain = season_depth(monthly_mm, shares)
        storm = storm_left_mm(settings.storm.depth_mm, losses)
        if losses.way == "event":
            assert weather is not None
            year, season = _event_coefficients(year_depth(monthly_mm), weather)
            return cls(rain, year_depth(monthly_mm), rain, year, season, storm)
        left = wetted(monthly_mm, losses.wetting_mm_yr)
        coefficient = np.full(len(monthly_mm), losses.coefficient)
        return cls(rain, year_depth(left), season_depth(left, shares), coefficient, coefficient, storm)


def _event_coefficients(year_mm: Floats, weather: Weather) -> tuple[Floats, Floats]:
    """Share that runs off in the year and in season [n; 1] of ``year_mm`` [n; mm] on roofs; 0 where it is missing."""
    there = np.isfinite(year_mm)
    known = year_mm[there]
    if not len(known) or weather.normals_mm.sum() == 0:
        return np.zeros(len(year_mm)), np.zeros(len(year_mm))
    relative = known / weather.normals_mm.sum()
    first, last = np.floor(relative.min() / COEFFICIENT_STEP), np.ceil(relative.max() / COEFFICIENT_STEP)
    nodes = COEFFICIENT_STEP * np.arange(first, last + 1)
    found = np.zeros((2, len(year_mm)))
    found[:, there] = [
        np.interp(relative, nodes, one) for one in weather.coefficients(nodes[:, None] * weather.normals_mm)
    ]
    return found[0], found[1]


def storm_left_mm(depth_mm: float, losses: Losses) -> float:
    """What one storm of ``depth_mm`` [mm] sheds from each m² [mm]; a storm is an event of its own."""
    if losses.way == "annual ratio":
        return depth_mm * losses.coefficient
    return float(
        event_depth(
            np.array([depth_mm]),
            coefficient=losses.event_coefficient,
            wetting_mm=losses.wetting_mm,
            first_flush_mm=losses.first_flush_mm,
            filter_share=losses.filter_share,
        )[0]
    )


def storm_losses(losses: Losses) -> tuple[float, float]:
    """What a storm loses before any water reaches a barrel [mm], and the share that then does [1]."""
    if losses.way == "annual ratio":
        return 0.0, losses.coefficient
    first = losses.wetting_mm + losses.first_flush_mm / losses.event_coefficient
    return first, losses.event_coefficient * losses.filter_share


def by_month(depth_mm: Floats, season: Season) -> Floats:
    """Depth [n, 12 or 1; mm] by month where months are known or given as shares, else the year as it is."""
    if depth_mm.shape[1] == 12 or season.monthly_shares is None:
        return depth_mm
    return np.asarray(depth_mm * np.array(season.monthly_shares))


def months_in_season(season: Season) -> Floats:
    """Share of each month [12; 1] that lies in ``season``."""
    first, last = (tuple(int(part) for part in day.split("-")) for day in (season.first, season.last))
    return season_shares((first[0], first[1]), (last[0], last[1]))
