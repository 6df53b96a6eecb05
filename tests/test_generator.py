"""Days of rain made up from monthly normals: exact in the mean, seeded, and like real days in what matters."""

from __future__ import annotations

from importlib.metadata import distribution
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from gauges_made import REAL, real_rain
from hypothesis import given, settings
from hypothesis import strategies as st

from harvest.layers import DailyRain
from harvest.plan.gauge_check import made_up_days
from harvest.project.gauge import Gauge, GeneratedRain
from harvest.project.outputs import Limits
from harvest.read.gauge import read_gauge
from harvest.water.generator import days_of_years, generated_rain, wet_shares
from harvest.water.scaling import month_means

NORMALS = np.array([90.0, 80, 85, 70, 60, 55, 50, 60, 70, 80, 85, 90])
WET_MM = 0.25
"""A day below this counts as dry when days are compared."""

LAW = {
    "wet_share": 0.22, "most_wet_share": 0.8, "persistence": 0.35, "amount_shape": 0.7, "year_spread": 0.1,
}  # fmt: skip


def made(
    normals: np.ndarray = NORMALS, years: int = 20, seed: int = 1, **law: float
) -> tuple[np.ndarray, np.ndarray]:
    dates = days_of_years(range(2001, 2001 + years))
    return generated_rain(normals, dates, seed, **{**LAW, **law}), dates.astype("datetime64[M]").astype(
        int
    ) % 12


def test_days_of_years_have_their_leap_days() -> None:
    days = days_of_years((2011, 2012, 1900))
    assert len(days) == 365 + 366 + 365
    assert days[0] == np.datetime64("2011-01-01") and days[-1] == np.datetime64("1900-12-31")


@given(
    normals=st.lists(st.one_of(st.just(0.0), st.floats(0.01, 600)), min_size=12, max_size=12),
    seed=st.integers(0, 2**32),
    years=st.integers(1, 6),
)
@settings(max_examples=60, deadline=None)
def test_means_are_the_normals(normals: list[float], seed: int, years: int) -> None:
    """Also where a month is so dry that no day of it would have been wet."""
    rain, months = made(np.array(normals), years, seed)
    assert (rain >= 0).all() and np.isfinite(rain).all()
    assert month_means(rain, months, years) == pytest.approx(normals, rel=1e-9, abs=1e-12)


def test_the_same_seed_makes_the_same_bytes() -> None:
    one, again, other = made()[0], made()[0], made(seed=2)[0]
    assert one.tobytes() == again.tobytes() and one.tobytes() != other.tobytes()


def test_wet_shares_on_paper() -> None:
    """Share = 0.2 · √(mm a day): 0.2 at 1 mm, 0.4 at 4 mm, held at 0.8 from 16 mm on."""
    assert wet_shares(np.array([0.0, 1.0, 4.0, 25.0]), 0.2, 0.8) == pytest.approx([0.0, 0.2, 0.4, 0.8])


def test_the_chain_keeps_its_share_and_its_persistence() -> None:
    """Share s in the long run, and P(wet after wet) - P(wet after dry) = p, by the equations of the chain."""
    level = np.array([31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 2.0
    rain, _ = made(level, 400, seed=3)
    wet = rain > 0
    share = 0.22 * np.sqrt(2.0)
    assert wet.mean() == pytest.approx(share, abs=0.01)
    after_wet, after_dry = wet[1:][wet[:-1]].mean(), wet[1:][~wet[:-1]].mean()
    assert after_wet - after_dry == pytest.approx(0.35, abs=0.015)
    loose = made(level, 400, seed=3, persistence=0.0)[0] > 0
    assert loose[1:][loose[:-1]].mean() == pytest.approx(share, abs=0.015)


def test_amounts_follow_their_shape() -> None:
    """A gamma law of shape k has variance mean² / k."""
    level = np.array([31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 2.0
    for shape in (0.5, 1.0):
        rain, _ = made(level, 400, amount_shape=shape, year_spread=0.0)
        amounts = rain[rain > 0]
        assert amounts.mean() ** 2 / amounts.var() == pytest.approx(shape, rel=0.06)


def test_years_spread_as_told() -> None:
    def spread(**law: float) -> float:
        rain, _ = made(years=400, **law)
        years = days_of_years(range(2001, 2401)).astype("datetime64[Y]").astype(int)
        sums = np.bincount(years - years[0], weights=rain)
        return float(sums.std() / sums.mean())

    calm, wild = spread(year_spread=0.0), spread(year_spread=0.2)
    assert np.sqrt(wild**2 - calm**2) == pytest.approx(0.2, abs=0.03)


def seattle() -> DailyRain:
    folder = Path(str(distribution("vega_datasets").locate_file("vega_datasets/_data")))
    return read_gauge(Gauge(file="seattle-weather.csv", unit="mm"), folder, Limits())


def looks(rain: np.ndarray, years: np.ndarray) -> dict[str, float]:
    wet = rain >= WET_MM
    starts = np.flatnonzero(np.diff(np.concatenate([[1], wet.astype(int), [1]])) != 0).reshape(-1, 2)
    sums = np.bincount(years - years.min(), weights=rain)
    sums = sums[sums > 0]
    return {
        "wet": wet.mean(),
        "wettest hundredth": np.quantile(rain, 0.99),
        "dry spell": np.diff(starts).mean(),
        "years": sums.std(ddof=1) / sums.mean(),
    }


@pytest.mark.parametrize("name", [*REAL, "seattle"])
def test_made_up_days_resemble_six_real_records(tmp_path: Path, name: str) -> None:
    """Against daily records that aquacrop and vega_datasets carry; the bands are our own, plausibility only."""
    real = seattle() if name == "seattle" else real_rain(tmp_path, name)
    normals = month_means(real.rain_mm, real.months, len(real.years))
    invented = made_up_days(GeneratedRain(years=100), normals)
    true, ours = (
        looks(one.rain_mm, one.dates.astype("datetime64[Y]").astype(int)) for one in (real, invented)
    )
    assert 0.6 < ours["wet"] / true["wet"] < 1.5
    assert 0.7 < ours["wettest hundredth"] / true["wettest hundredth"] < 1.6
    assert 0.6 < ours["dry spell"] / true["dry spell"] < 1.8
    assert 0.6 < ours["years"] / true["years"] < 1.6


def test_the_defaults_lie_where_their_sources_say(tmp_path: Path) -> None:
    """Share of wet days at 1 mm a day 0.13 to 0.32; persistence 0.30 to 0.43; years 0.15 to 0.29 of their mean."""
    shares, persistence, years = [], [], []
    for real in (seattle(), *(real_rain(tmp_path, name) for name in REAL)):
        wet = real.rain_mm >= WET_MM
        month = pd.DataFrame({"wet": wet, "rain": real.rain_mm}).groupby(real.months).mean()
        shares.append(float((month["wet"] / np.sqrt(month["rain"])).median()))
        persistence.append(wet[1:][wet[:-1]].mean() - wet[1:][~wet[:-1]].mean())
        years.append(looks(real.rain_mm, real.dates.astype("datetime64[Y]").astype(int))["years"])
    assert (round(min(shares), 2), round(max(shares), 2)) == (0.13, 0.32)
    assert (round(min(persistence), 2), round(max(persistence), 2)) == (0.30, 0.43)
    assert (round(min(years), 2), round(max(years), 2)) == (0.15, 0.29)
    defaults = GeneratedRain()
    assert defaults.wet_share == pytest.approx(np.mean(shares), abs=0.01)
    assert min(persistence) < defaults.persistence < max(persistence)


def test_made_up_days_are_marked_everywhere() -> None:
    rain = made_up_days(GeneratedRain(years=3, seed=7), NORMALS)
    assert (
        rain.generated and rain.sources == () and rain.years == (2001, 2002, 2003) and rain.missing_days == 0
    )
    assert len(rain.dates) == len(rain.rain_mm) == 3 * 365
    assert [one.check for one in rain.findings] == ["days made up"] and rain.findings[0].severity == "serious"
    assert month_means(rain.rain_mm, rain.months, 3) == pytest.approx(NORMALS, rel=1e-9)


def test_what_can_not_be_is_refused() -> None:
    for bad in (np.ones(11), -NORMALS, np.full(12, np.nan)):
        with pytest.raises(ValueError, match="12 depths"):
            made(bad)
    for law in ({"persistence": 1.0}, {"most_wet_share": 1.0}, {"wet_share": 0.0}, {"amount_shape": 0.0}):
        with pytest.raises(ValueError, match="shares lie"):
            made(**law)
