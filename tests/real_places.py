"""Real places for tests of the whole barrel model: daily records from packages, and a house with barrels there.

Records are those of :data:`gauges_made.REAL` (aquacrop) and Seattle's (vega_datasets, US government work), the last
20 years of each at most. Every one is its own grid: a roof's months are the gauge's. Place, latitude and frost are
ours: the files do not state them.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from finer_days import Steps, by_steps, rain_blocks
from gauges_made import REAL, real_rain

from harvest.layers import DailyRain, MonthlyTemperature
from harvest.project import Settings
from harvest.project.gauge import Gauge
from harvest.project.outputs import Limits
from harvest.read.gauge import read_gauge
from harvest.standing import usable_l
from harvest.water.barrels import Days, deliver, layout
from harvest.water.scaling import month_means
from harvest.water.surface import Delivery, delivery
from harvest.water.tank import Balance, Rule
from harvest.weather import Weather, weather

NAMES = (*REAL, "seattle")
YEARS = 20
LATITUDE = {
    "champion": 40.4,
    "brussels": 50.8,
    "tunis": 36.8,
    "hyderabad": 17.4,
    "cordoba": -31.4,
    "seattle": 47.6,
}
"""From a map, by the places' names; champion lies in Nebraska, cordoba in Argentina (its summer is in January)."""
FROST_FREE = {
    "champion": ("05-05", "09-29"),
    "brussels": ("04-08", "11-15"),
    "tunis": ("01-01", "12-31"),
    "hyderabad": ("01-01", "12-31"),
    "cordoba": ("08-27", "06-13"),
    "seattle": ("02-20", "11-17"),
}
"""From the median last day with a low below 0 °C to the median first, in the records; frost hardly comes to two."""

FULL = {"weeks_share": 1.0, "sessions_a_week": 7, "most_l": 10_000.0}
WAYS: dict[str, dict[str, Any]] = {
    "as people do": {},
    "for its full need": {"habits": FULL},
    "an inch a week": {"garden": {"weekly_mm": 25.0}},
    "an inch, every day": {"garden": {"weekly_mm": 25.0}, "habits": FULL},
}
"""How the garden is watered: the program's defaults; every day for all that its soil lacks; as the program has it where
no temperatures are given; and a seventh of the inch on each day, rain or not."""

MEAN_AREA_M2, PLACES, GARDEN_M2 = 55.0, 2, 14.0
"""A house with two downspouts of 55 m² on average (a 2 x 3 in downspout's share), and the garden set by default."""
PUBLISHED, ONE, TWO, FOUR = range(4)
CASES = ((235.0, 46.5, 13.9), (1, None, GARDEN_M2), (2, None, GARDEN_M2), (4, None, GARDEN_M2))


def last_years(rain: DailyRain, count: int) -> DailyRain:
    """The last ``count`` whole years of a record, or all."""
    years = rain.years[-count:]
    kept = rain.dates >= np.datetime64(f"{years[0]}-01-01")
    return replace(rain, dates=rain.dates[kept], rain_mm=rain.rain_mm[kept], years=years)


@dataclass(frozen=True)
class Place:
    """A record with its temperatures, and the mean yearly reference evapotranspiration that its file has [mm]."""

    rain: DailyRain
    temperature: MonthlyTemperature
    latitude_deg: float
    file_evaporation_mm_yr: float | None


@cache
def place(name: str) -> Place:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        if name == "seattle":
            source = distribution("vega_datasets").locate_file("vega_datasets/_data/seattle-weather.csv")
            shutil.copy(str(source), folder / "seattle.csv")
            rain = read_gauge(Gauge(file="seattle.csv", unit="mm"), folder, Limits())
            table = pd.read_csv(folder / "seattle.csv")
            month = pd.to_datetime(table["date"]).dt.month
            low, high, evaporation = table["temp_min"], table["temp_max"], None
        else:
            rain = real_rain(folder, name)
            table = pd.read_csv(folder / f"{name}.csv", sep=r"\s+")
            table.columns = pd.Index(["day", "month", "year", "low", "high", "rain", "evaporation"])
            month, low, high = table["month"], table["low"], table["high"]
            evaporation = float(table.groupby("year")["evaporation"].sum().mean())
    means = [one.groupby(month).mean().to_numpy() for one in (low, high)]
    return Place(last_years(rain, YEARS), MonthlyTemperature(*means, (), ()), LATITUDE[name], evaporation)


def settings_of(**sections: Any) -> Settings:
    """The program's defaults but for ``sections``."""
    needed = {
        "town": {"name": "A"},
        "footprints": {"file": "a"},
        "rainfall": {"file": "a"},
        "gauge": {"file": "a"},
    }
    return Settings.model_validate(needed | sections)


def normals(rain: DailyRain) -> np.ndarray:
    return month_means(rain.rain_mm, rain.months, len(rain.years))


def weather_of(name: str, way: str, *, years: int = YEARS, made_up: bool = False, **sections: Any) -> Weather:
    """The weather of a place under its own months, with barrels out in the frost-free season."""
    here = place(name)
    rain = last_years(here.rain, years)
    first, last = FROST_FREE[name]
    settings = settings_of(**{"season": {"first": first, "last": last}} | WAYS[way] | sections)
    found = weather(None if made_up else rain, here.temperature, normals(rain), here.latitude_deg, settings)
    assert found is not None
    return found


def tanks(settings: Settings) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Served areas and volumes [4, 6], and gardens [4], of :data:`CASES`."""
    areas, volumes = np.zeros((len(CASES), 6)), np.zeros((len(CASES), 6))
    areas[PUBLISHED, 0], volumes[PUBLISHED, 0] = CASES[PUBLISHED][1], CASES[PUBLISHED][0]
    count = np.array([int(one[0]) for one in CASES[ONE:]])
    areas[ONE:], volumes[ONE:] = layout(
        count,
        np.full(3, PLACES),
        np.full(3, MEAN_AREA_M2),
        usable_l(settings),
        settings.downspouts.inequality,
    )
    return areas, volumes, np.array([one[2] for one in CASES])


def days_of(found: Weather) -> Days:
    return found.days(found.normals_mm[None, :], found.settings.habits.weeks_share)


def balance_of(found: Weather, rule: Rule = "yas") -> Balance:
    """The exact balance of :data:`CASES`."""
    areas, volumes, gardens = tanks(found.settings)
    return deliver(days_of(found), np.zeros(len(CASES), dtype=np.intp), areas, volumes, gardens, rule)


@cache
def balanced(name: str, way: str) -> tuple[Weather, Balance, Delivery]:
    """The weather of a place, the exact balance of :data:`CASES` there, and their mean year."""
    found = weather_of(name, way)
    exact = balance_of(found)
    return found, exact, delivery(exact, len(found.daily.years))


def stepped(found: Weather, case: int, steps: int, draw_at: int, mm_h: float = 4.0) -> Steps:
    """One of :data:`CASES` through the season's days by the plain loop of :mod:`finer_days`."""
    days = days_of(found)
    areas, volumes, gardens = tanks(found.settings)
    want = days.wanted_l(np.zeros(1, dtype=np.intp), gardens[case : case + 1])[0]
    assert days.set_up is not None
    begin, length = rain_blocks(found.daily.rain_mm, steps, mm_h, seed=1)
    blocks = begin[found.in_season], length[found.in_season]
    return by_steps(days.depth_mm[0], want, areas[case], volumes[case], blocks, draw_at, days.set_up)


def of_months(found: Weather, daily: np.ndarray, *months: int) -> float:
    """Sum of ``daily`` [days of the season] over the months named (1 is January), a year."""
    month = found.daily.months[found.in_season] + 1
    return float(daily[np.isin(month, months)].sum() / len(found.daily.years))


Keep = Callable[[str, object], None]


def tell(keep: Keep, *name: str, **figures: float) -> None:
    """Keeps a row of figures with the test (``keep`` is pytest's record_property), and prints it."""
    rounded = {key: float(f"{value:.4g}") for key, value in figures.items()}
    keep(" ".join(name), json.dumps(rounded))
    print(f"\n{' '.join(name):32}", "  ".join(f"{key} {value:g}" for key, value in rounded.items()))
