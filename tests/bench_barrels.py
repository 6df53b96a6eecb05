"""Speed of what barrels deliver: the surface beside the daily balance itself, doubt, a whole run, and door cards.

Ways that ``bench.py`` times in processes of their own. The daily balance of all 100,000 roofs would take many
minutes, so it runs for some of them, through all days, and its time is scaled up by their number.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
ROOFS, YEARS, RUN_EXACTLY = 100_000, 30, 1_000
LEAST_EXACT_OVER_SURFACE = {"surface_one": 20, "surface_rain": 4}
MOST_DOUBT_SECONDS, MOST_DOUBT_MB = 10, 1500
MOST_CARDS_SECONDS = 30
EVERY = range(1, 7)
MORE = """
[gauge]
file = "gauge_daily.csv"
[temperature]
file = "temperature_monthly.csv"
[tariff]
per = "1000 gal"
blocks = [{ up_to = 6, price = 4.5 }, { price = 8.75 }]
"""


def with_weather(folder: Path) -> Path:
    """The bench town with a gauge, temperatures and a tariff: another project file beside its layers."""
    for name in ("gauge_daily.csv", "temperature_monthly.csv"):
        shutil.copy(SAMPLE / name, folder)
    project = folder / "weather.toml"
    project.write_text(
        (folder / "bench.toml").read_text() + MORE + f'[outputs]\nfolder = "{folder.name}-out"\n'
    )
    return project


def cases(rain: tuple[float, float]) -> Any:
    """100,000 roofs: served areas of 20 to 60 m², gardens of 2 to 14 m², 1 to 3 places, rain between ``rain``."""
    from harvest.water.surface import Case

    rng = np.random.default_rng(7)
    return Case(
        rng.uniform(20, 60, ROOFS),
        rng.uniform(2, 14, ROOFS),
        rng.uniform(*rain, ROOFS) if rain[0] < rain[1] else np.full(ROOFS, rain[0]),
        rng.integers(1, 4, ROOFS),
    )


def weather_of_years() -> Any:
    """Thirty years of days with the sample's normals and temperatures, at the default settings."""
    from harvest.project import read_project
    from harvest.read.gauge import read_gauge
    from harvest.read.temperature import read_temperature
    from harvest.water.scaling import month_means
    from harvest.weather import weather

    settings = read_project(SAMPLE / "pellwick.toml").settings
    gauge = read_gauge(settings.gauge, SAMPLE, settings.limits)
    normals = month_means(gauge.rain_mm, gauge.months, len(gauge.years))
    longer = settings.generated_rain.model_copy(update={"years": YEARS})
    heat = read_temperature(settings.temperature, SAMPLE, settings.limits)
    return weather(None, heat, normals, 41.0, settings.model_copy(update={"generated_rain": longer}))


def _surface(rain: tuple[float, float], nodes: np.ndarray) -> dict[str, Any]:
    from harvest.deliver import usable_l
    from harvest.water.barrels import deliver, layout
    from harvest.water.surface import surface

    made, case = weather_of_years(), cases(rain)
    settings = made.settings
    usable, inequality = usable_l(settings), settings.downspouts.inequality
    begun = time.perf_counter()
    days = made.days(nodes[:, None] * made.normals_mm, settings.habits.weeks_share)
    asked = surface(days, nodes, case, usable, inequality)
    yields = np.stack([asked.yields(case, number) for number in EVERY])
    ours = time.perf_counter() - begun

    some = case.at(np.arange(0, ROOFS, ROOFS // RUN_EXACTLY))
    count = len(some)
    begun = time.perf_counter()
    own = made.days(some.rain[:, None] * made.normals_mm, settings.habits.weeks_share)
    numbers = np.repeat(np.array(EVERY), count)
    areas, volumes = layout(
        numbers, np.tile(some.places, 6), np.tile(some.mean_area_m2, 6), usable, inequality
    )
    series = np.tile(np.arange(count), 6)
    true = deliver(own, series, areas, volumes, np.tile(some.garden_m2, 6)).yield_l / own.years
    exact = (time.perf_counter() - begun) * ROOFS / count
    off = np.abs(yields[:, np.arange(0, ROOFS, ROOFS // RUN_EXACTLY)].ravel() - true)
    return {
        "seconds": ours,
        "exact_seconds": exact,
        "over_bound": float((off / np.maximum(0.002 * true, 4.0)).max()),
        "points": asked.points,
    }


def surface_one(_: Path) -> dict[str, Any]:
    """Two ratios suffice: rain is the same all over town."""
    return _surface((1.0, 1.0), np.array([1.0]))


def surface_rain(_: Path) -> dict[str, Any]:
    """Local rain is a third: it differs by a sixth over the town."""
    return _surface((0.92, 1.08), np.linspace(0.92, 1.08, 4))


def doubt(folder: Path) -> dict[str, Any]:
    """500 draws for every parcel of the town: what is capturable, and what barrels deliver, one after the other."""
    from harvest.clock import Clock
    from harvest.deliver import delivered
    from harvest.estimate import estimate
    from harvest.plan.doubt import ranges, volume
    from harvest.project import read_project
    from harvest.ranges import drawn_anew, square_of, yield_draws
    from harvest.run import read_inputs

    project = read_project(with_weather(folder))
    settings = project.settings
    inputs = read_inputs(project, Clock())
    found, barrels = delivered(estimate(inputs, settings, Clock()), inputs, settings, Clock())
    blocks = square_of(found, settings.doubt.block_m)
    seconds = {}
    known = np.flatnonzero(found.parcels["runoff_l_yr"].notna())
    for name, row in (("capturable", known), ("used", barrels.row)):
        begun = time.perf_counter()
        draws = drawn_anew(found.parcels["parcel_id"].iloc[row], blocks.iloc[row], settings)
        if name == "capturable":
            measure = volume(found.parcels["capturable_l_yr"].iloc[row].to_numpy(dtype=float), 0.8)
        else:
            measure = yield_draws(barrels, draws, settings)
        ranges(draws, measure)
        seconds[name] = time.perf_counter() - begun
    return {"seconds": max(seconds.values()), "by_measure": seconds, "parcels": len(barrels.row)}


def whole(folder: Path) -> dict[str, Any]:
    """``harvest run`` with gauge, temperatures and tariff, everything written."""
    from harvest.clock import Clock
    from harvest.project import read_project
    from harvest.run import run

    clock = Clock()
    begun = time.perf_counter()
    run(read_project(with_weather(folder)), None, clock)
    return {"seconds": time.perf_counter() - begun, "steps": clock.seconds}


def cards(folder: Path) -> dict[str, Any]:
    """1,000 door cards in one PDF, from the last run of the town."""
    from harvest.cards import cards as written
    from harvest.project import read_project

    begun = time.perf_counter()
    written(read_project(folder / "weather.toml"), best=1_000, target=folder / "cards.pdf")
    return {"seconds": time.perf_counter() - begun, "mb": (folder / "cards.pdf").stat().st_size / 1e6}


WAYS = {
    "surface_one": surface_one,
    "surface_rain": surface_rain,
    "doubt": doubt,
    "whole": whole,
    "cards": cards,
}


def report(timed: Callable[[str, Path], dict[str, Any]], said: Callable[..., None], folder: Path) -> None:
    """Everything that is said of barrels, for the town of 100,000 in ``folder``."""
    for way, words in (("surface_one", "one rain"), ("surface_rain", "local rain")):
        answer = timed(way, folder)
        if answer["over_bound"] > 1:
            raise SystemExit(f"The surface lies off the exact balance: {answer}")
        ratio = answer["exact_seconds"] / answer["seconds"]
        said(
            f"100,000 roofs × 6 numbers of barrels × 30 years, {words}, daily loop over surface",
            f"{ratio:.0f} times ({answer['exact_seconds']:.0f} s by what {RUN_EXACTLY:,} roofs took, "
            f"against {answer['seconds']:.1f} s for {answer['points']:,} points; error {answer['over_bound']:.2f} of "
            "its bound)",
            ratio >= LEAST_EXACT_OVER_SURFACE[way],
            f"{LEAST_EXACT_OVER_SURFACE[way]} times",
        )
    answer = timed("doubt", folder)
    each = ", ".join(f"{name} {seconds:.1f} s" for name, seconds in answer["by_measure"].items())
    said(
        f"500 draws of doubt for {answer['parcels']:,} parcels, a measure",
        f"{each}, {answer['memory_mb']:.0f} MB with the whole town",
        answer["seconds"] <= MOST_DOUBT_SECONDS and answer["memory_mb"] <= MOST_DOUBT_MB,
        "10 s, 1,500 MB",
    )
    answer = timed("whole", folder)
    steps = sorted(answer["steps"].items(), key=lambda item: -item[1])
    print(
        f"        a whole run of 100,000: {answer['seconds']:.0f} s, {answer['memory_mb']:.0f} MB; "
        + ", ".join(f"{name} {seconds:.1f} s" for name, seconds in steps[:6])
    )
    answer = timed("cards", folder)
    said(
        "1,000 door cards in one PDF",
        f"{answer['seconds']:.1f} s, {answer['mb']:.0f} MB, {answer['memory_mb']:.0f} MB of memory",
        answer["seconds"] <= MOST_CARDS_SECONDS,
        "30 s",
    )
