"""Invented weather: a monthly rain grid, twenty years of daily gauge readings, monthly temperatures."""

from __future__ import annotations

import calendar
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

MONTHS = tuple(calendar.month_name[1:])
# Maritime middle latitudes: wet winters, about 1,100 mm a year. Wet days are those with 0.1 mm or more.
NORMAL_MM = (112, 98, 104, 91, 79, 73, 71, 83, 89, 98, 106, 111)
WET_DAYS = (15, 13, 13, 12, 11, 10, 9, 10, 10, 12, 13, 15)
T_MIN_C = (-0.6, -0.9, 1.2, 4.6, 9.1, 13.8, 17.2, 17.5, 14.6, 9.9, 5.5, 1.6)
T_MAX_C = (5.6, 5.5, 7.8, 11.9, 16.7, 21.4, 24.8, 24.9, 21.9, 17.0, 12.1, 7.9)
CELL_DEG = 0.008
SCALE_MM = 0.1
NO_DATA = -9999
GAUGE_FACTOR = 0.985


@dataclass(frozen=True)
class MonthlyGrid:
    """Mean monthly rain, 12 bands of whole tenths of a millimetre [12, rows, columns], ``NO_DATA`` far at sea;
    ``west`` and ``north`` are the outer corner in degrees, cells ``CELL_DEG`` wide and high."""

    tenths: NDArray[np.int16]
    west: float
    north: float


def monthly_grid(bounds: NDArray[np.float64], depth_m: float) -> MonthlyGrid:
    """A grid over ``bounds`` (west, south, east, north in degrees) and three cells more on each side."""
    margin = 3 * CELL_DEG
    west = np.floor((bounds[0] - margin) / CELL_DEG) * CELL_DEG
    north = np.ceil((bounds[3] + margin) / CELL_DEG) * CELL_DEG
    columns = int(np.ceil((bounds[2] + margin - west) / CELL_DEG))
    rows = int(np.ceil((north - bounds[1] + margin) / CELL_DEG))
    lon = west + (np.arange(columns) + 0.5) * CELL_DEG
    lat = north - (np.arange(rows) + 0.5) * CELL_DEG
    inland, eastward = (lat[:, None] - 41.0) / 0.02, (lon[None, :] + 58.0) / 0.02
    month = np.arange(12)[:, None, None]
    winter = np.cos(2 * np.pi * (month - 0.5) / 12)
    slope = (0.030 + 0.012 * winter) * np.tanh(inland) - 0.012 * np.tanh(eastward)
    ripple = 0.006 * np.sin(1.7 * inland + month) * np.cos(1.3 * eastward - 0.5 * month)
    depth = np.array(NORMAL_MM, dtype=float)[:, None, None] * (1 + slope + ripple)
    tenths = np.round(depth / SCALE_MM).astype(np.int16)
    tenths[:, lat < bounds[1] - 1.2 * CELL_DEG, :] = NO_DATA
    return MonthlyGrid(tenths, float(west), float(north))


def daily_gauge(seed: int) -> pd.DataFrame:
    """Daily rain 2004 to 2023: ``date`` and ``rain_mm``, missing where the gauge was not read.

    Wet days follow a two-state chain, amounts a gamma law. One dry-looking weekend was read on Monday as one
    total, twelve days of 2011 are blank, and three days of 2017 have no row.
    """
    rng = np.random.default_rng([seed, 9])
    days = pd.date_range("2004-01-01", "2023-12-31", freq="D")
    month = days.month.to_numpy() - 1
    year = days.year.to_numpy() - 2004
    share = np.array(WET_DAYS)[month] / days.days_in_month.to_numpy()
    chance = rng.random(len(days))
    wet = np.zeros(len(days), dtype=bool)
    for day in range(1, len(days)):
        after_wet = min(0.95, share[day] + 0.22 * (1 - share[day]))
        after_dry = share[day] * (1 - after_wet) / (1 - share[day])
        wet[day] = chance[day] < (after_wet if wet[day - 1] else after_dry)
    amount = np.where(wet, rng.gamma(0.72, 1.0, len(days)), 0.0)
    mean = np.bincount(month, amount, 12) / 20
    wetter = rng.normal(1.0, 0.09, 20)
    amount *= (np.array(NORMAL_MM) * GAUGE_FACTOR / mean)[month] * (wetter / wetter.mean())[year]
    rain = pd.Series(np.round(amount, 1), days)
    monday = pd.Timestamp("2015-10-05")
    weekend = [monday - pd.Timedelta(days=2), monday - pd.Timedelta(days=1)]
    rain[weekend] = 6.4, 11.8
    rain[monday] += rain[weekend].sum()
    rain[weekend] = np.nan
    rain["2011-02-08":"2011-02-19"] = np.nan
    rain = rain.drop(pd.date_range("2017-06-21", "2017-06-23"))
    return pd.DataFrame({"date": rain.index.strftime("%Y-%m-%d"), "rain_mm": rain.to_numpy()})


def monthly_temperature() -> pd.DataFrame:
    """Mean daily minimum and maximum by month."""
    return pd.DataFrame({"month": np.arange(1, 13), "tmin_c": T_MIN_C, "tmax_c": T_MAX_C})
