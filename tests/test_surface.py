"""The surface of what barrels deliver, against the exact daily balance of cases that lie off its grid."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from harvest.water.barrels import MOST_BARRELS, Days, deliver, layout
from harvest.water.garden import (
    daily_temperatures,
    extraterrestrial_radiation,
    garden_need,
    hargreaves_samani,
    sessions,
    weekly_need,
)
from harvest.water.generator import days_of_years, generated_rain
from harvest.water.losses import event_depth
from harvest.water.surface import STEP, Case, Delivery, Surface, delivery, surface

USABLE_L, INEQUALITY = 174.1, 0.25
NORMALS_MM = np.array([70, 65, 85, 80, 90, 95, 100, 90, 80, 75, 80, 75.0])
MEANS_C = np.array([0, 1, 6, 12, 18, 23, 26, 25, 21, 14, 8, 2.0])
ONE, FOUR = np.array([1.0]), np.linspace(0.93, 1.07, 4)
EVERY = np.arange(1, MOST_BARRELS + 1)


@cache
def town(years: int = 20) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Generated rain [days; mm], evapotranspiration [days; mm], days on which people draw, year of each day."""
    dates = days_of_years(range(2001, 2001 + years))
    rain = generated_rain(
        NORMALS_MM,
        dates,
        seed=3,
        wet_share=0.18,
        most_wet_share=0.9,
        persistence=0.3,
        amount_shape=0.7,
        year_spread=0.15,
    )
    year = dates.astype("datetime64[Y]")
    of_year = (dates - year).astype(int) + 1.0
    mean = daily_temperatures(MEANS_C, of_year)
    lost = hargreaves_samani(mean - 6, mean + 6, extraterrestrial_radiation(40.0, of_year))
    month = dates.astype("datetime64[M]").astype(int) % 12
    draws = sessions(len(dates), weeks_share=0.5, sessions_a_week=2) & (month >= 3) & (month <= 9)
    return rain, lost, draws, year.astype(int) - year.astype(int)[0]


def days_at(rain_nodes: np.ndarray, cap_l: float = 75.7, weekly: bool = False, years: int = 20) -> Days:
    """Each series with its own rain on roof and garden; gardens want by their soil, or the same every week."""
    rain, lost, draws, year = town(years)
    own = rain * rain_nodes[:, None]
    depth = event_depth(own, coefficient=0.88, wetting_mm=0.5, first_flush_mm=0.0, filter_share=1.0)
    plain = weekly_need(25.0, draws, sessions_a_week=2)

    def wanted_l(series: np.ndarray, garden_m2: np.ndarray) -> np.ndarray:
        if weekly:
            return np.minimum(np.outer(garden_m2, plain), cap_l)
        need = garden_need(
            own[series],
            lost,
            coefficient=0.95,
            efficiency=0.8,
            available_mm=27.0,
            depletion=0.5,
            depletion_spread=0.1,
            may_water=draws & (rain < 1),
            real_rain_mm=np.inf,
            most_mm=cap_l / garden_m2,
        )
        return need * garden_m2[:, None]

    return Days(depth, wanted_l, year, rain >= 12)


def cases(n: int, rain_nodes: np.ndarray, seed: int = 1) -> Case:
    """Off the grid: areas of 10 to 70 m², gardens of 1.5 to 30 m², 1 to 4 places."""
    rng = np.random.default_rng(seed)
    return Case(
        np.exp(rng.uniform(np.log(10), np.log(70), n)),
        np.exp(rng.uniform(np.log(1.5), np.log(30), n)),
        rng.uniform(rain_nodes.min(), rain_nodes.max(), n),
        rng.integers(1, 5, n),
    )


def exact(
    case: Case, barrels: int | np.ndarray, cap_l: float = 75.7, weekly: bool = False, years: int = 20
) -> Delivery:
    """The daily balance of every case with its own rain."""
    unlike, series = np.unique(case.rain, return_inverse=True)
    days = days_at(unlike, cap_l, weekly, years)
    laid = layout(np.full(len(case), barrels), case.places, case.mean_area_m2, USABLE_L, INEQUALITY)
    return delivery(deliver(days, series, *laid, case.garden_m2), days.years)


def made(
    case: Case,
    rain_nodes: np.ndarray = ONE,
    cap_l: float = 75.7,
    weekly: bool = False,
    years: int = 20,
    **how: Any,
) -> Surface:
    return surface(days_at(rain_nodes, cap_l, weekly, years), rain_nodes, case, USABLE_L, INEQUALITY, **how)


@cache
def small() -> tuple[Case, Surface]:
    """Five years, one rain node."""
    case = cases(200, ONE)
    return case, made(case, years=5)


@cache
def small_with_rain() -> tuple[Case, Surface]:
    case = cases(200, FOUR)
    return case, surface(days_at(FOUR, years=3), FOUR, case, USABLE_L, INEQUALITY, numbers=(1, 3))


# how far from the exact balance


@pytest.mark.parametrize(
    ("rain_nodes", "cap_l", "weekly", "years", "step", "numbers"),
    [
        (ONE, 75.7, False, 20, STEP, (1, 2, 3, 4, 5, 6)),
        (FOUR, 75.7, False, 20, STEP, (1, 2, 6)),
        (ONE, 300.0, True, 6, STEP / 4, (1, 2)),
        (ONE, 75.7, True, 6, STEP, (1, 2, 3, 4, 5, 6)),
    ],
)
def test_error_within_the_bound(
    rain_nodes: np.ndarray, cap_l: float, weekly: bool, years: int, step: float, numbers: tuple[int, ...]
) -> None:
    """The design's bound: the larger of 0.2 % of the yield and 4 L a year, for every number of barrels.

    Every roof and garden has its own rain. Short records and large draws bend more sharply and need finer steps.
    """
    case = cases(300, rain_nodes)
    asked = made(case, rain_nodes, cap_l=cap_l, weekly=weekly, years=years, step=step, numbers=numbers)
    columns = (case.mean_area_m2, case.garden_m2, case.rain, case.places)
    of_each_number = Case(*(np.tile(one, len(numbers)) for one in columns))
    true = exact(of_each_number, np.repeat(numbers, len(case)), cap_l, weekly, years).yield_l_yr
    for barrels, right in zip(numbers, np.split(true, len(numbers)), strict=True):
        off = np.abs(asked(case, barrels).yield_l_yr - right)
        assert (off <= np.maximum(0.002 * right, 4.0)).all(), (barrels, off.max())


def test_every_figure_is_near_the_exact_one() -> None:
    case, asked = small()
    near = {
        "yield_l_yr": 4, "poor_l_yr": 20, "good_l_yr": 20, "inflow_l_yr": 1, "demand_l_yr": 2, "overflow_l_yr": 4,
        "room": 0.005, "filled_yr": 0.05, "demand_days_yr": 1, "days_met_yr": 1, "empty_days_yr": 5,
        "full_days_yr": 5,
    }  # fmt: skip
    assert list(near) == [one.name for one in fields(Delivery)]
    for barrels in (1, 3, 6):
        told, true = asked(case, barrels), exact(case, barrels, years=5)
        for name, most in near.items():
            off = np.abs(getattr(told, name) - getattr(true, name))
            assert off.max() <= most + 0.002 * np.abs(getattr(true, name)).max(), (barrels, name, off.max())


def test_figures_hang_together() -> None:
    """Laws that hold of the exact ones hold of the interpolated ones."""
    case, asked = small()
    for barrels in EVERY:
        told = asked(case, barrels)
        kept = told.inflow_l_yr - told.overflow_l_yr - told.yield_l_yr
        assert (kept > -1).all()
        assert (kept < barrels * USABLE_L / 5 + 1).all()
        assert told.filled_yr * barrels * USABLE_L == pytest.approx(
            told.inflow_l_yr - told.overflow_l_yr, abs=1
        )
        assert (told.days_met_yr <= told.demand_days_yr).all()
        assert (told.yield_l_yr <= told.demand_l_yr + 4).all()
        assert ((told.room >= 0) & (told.room <= 1)).all()
        assert (told.poor_l_yr <= told.good_l_yr).all()


@pytest.mark.parametrize(("cap_l", "weekly", "most_l"), [(5000.0, True, 15.0)])
def test_a_few_nodes_do_much(cap_l: float, weekly: bool, most_l: float) -> None:
    """Why nodes lie at equal steps of what gardens can get, no more than barrels hold, with cubics between: three times
    coarser than usual, straight lines or steps of plain area, or of what people could carry, are beyond these limits.
    """
    case = cases(300, ONE)
    coarse = made(case, cap_l=cap_l, weekly=weekly, years=6, step=0.3, numbers=(1,))
    true = exact(case, 1, cap_l, weekly, 6).yield_l_yr
    assert np.abs(coarse.yields(case, 1) - true).max() < most_l


def test_a_demand_above_what_barrels_hold_is_never_met() -> None:
    """20 m² want 250 L at once, one barrel holds 174."""
    case = Case(np.array([60.0, 60.0]), np.array([20.0, 5.0]), np.ones(2), np.array([2, 2]))
    asked = made(case, cap_l=300.0, weekly=True, years=3, numbers=(1,))
    told, true = asked(case, 1), exact(case, 1, 300.0, True, 3)
    assert true.days_met_yr[0] == 0
    assert told.days_met_yr == pytest.approx(true.days_met_yr, abs=1)
    assert told.days_met_yr[1] > 10


# asking


def test_yields_are_those_of_the_full_call() -> None:
    for case, asked in (small(), small_with_rain()):
        for barrels in (1, 3):
            assert asked.yields(case, barrels) == pytest.approx(asked(case, barrels).yield_l_yr, abs=1e-6)


def test_order_changes_nothing() -> None:
    case, asked = small()
    mixed = np.random.default_rng(0).permutation(len(case))
    again = made(case.at(mixed), years=5)
    for barrels in (1, 4):
        one, other = asked(case, barrels), again(case.at(mixed), barrels)
        assert all(
            (getattr(one, field.name)[mixed] == getattr(other, field.name)).all() for field in fields(one)
        )
        assert (asked.yields(case.at([3]), barrels) == asked.yields(case, barrels)[3]).all()


def test_quick_yields_are_close() -> None:
    """Off the cubic by less than 0.5 % or 2 L; draws by rows broadcast."""
    for case, asked in (small(), small_with_rain()):
        for barrels in (1, 3):
            told = asked.yields(case, barrels)
            values = (case.mean_area_m2, case.garden_m2, case.rain)
            quick = asked.quick_yields(*values, case.places, barrels)
            assert quick.dtype == np.float32
            assert (np.abs(quick - told) <= np.maximum(0.005 * told, 2)).all()
            factor = np.array([[0.9], [1.0]])
            drawn = asked.quick_yields(factor * values[0], values[1], values[2], case.places, barrels)
            assert drawn.shape == (2, len(case))
            assert drawn[1] == pytest.approx(quick, rel=1e-5)
            assert (drawn[0] <= 1.001 * drawn[1] + 0.5).all()


def test_quick_yields_know_how_many_places_there_are() -> None:
    case = cases(200, ONE)
    asked = made(case, cap_l=300.0, weekly=True, years=3, numbers=(3,))
    told = asked.yields(case, 3)
    quick = asked.quick_yields(case.mean_area_m2, case.garden_m2, case.rain, case.places, 3)
    assert (np.abs(quick - told) <= np.maximum(0.005 * told, 2)).all()
    at_one = asked.quick_yields(case.mean_area_m2, case.garden_m2, case.rain, np.ones(200, int), 3)
    assert (quick - at_one).max() > 500


def test_quick_yields_beyond_an_end_are_those_of_the_end() -> None:
    case, asked = small_with_rain()
    ends = [(case.mean_area_m2.min(), case.mean_area_m2.max()), (case.garden_m2.min(), case.garden_m2.max())]
    places, one = np.array([2, 2]), np.ones(2)
    for at, (low, high) in enumerate(ends):
        values = [np.full(2, 30.0), np.full(2, 4.0), one]
        values[at] = np.array([low / 1.02, high * 1.02])
        there = asked.quick_yields(*values, places, 3)
        values[at] = np.array([low / 50, high * 50])
        assert asked.quick_yields(*values, places, 3) == pytest.approx(there, rel=1e-4)
    assert asked.quick_yields(30 * one, 4 * one, np.array([0.5, 2]), places, 3) == pytest.approx(
        asked.quick_yields(30 * one, 4 * one, FOUR[[0, -1]], places, 3)
    )


def test_reach_widens_the_range_and_no_more() -> None:
    case = cases(20, ONE)
    wide = surface(days_at(ONE, years=2), ONE, case, USABLE_L, INEQUALITY, reach=1.5, numbers=(2,), step=0.3)
    for factor in (1 / 1.5, 1.5):
        further = replace(case, mean_area_m2=case.mean_area_m2 * factor, garden_m2=case.garden_m2 * factor)
        assert (wide.yields(further, 2) > 0).all()
    for factor in (1 / 1.6, 1.6):
        with pytest.raises(ValueError, match="served m², not to"):
            wide.yields(replace(case, mean_area_m2=case.mean_area_m2 * factor), 2)
        with pytest.raises(ValueError, match="m² of garden, not to"):
            wide(replace(case, garden_m2=case.garden_m2 * factor), 2)


def test_the_ends_of_the_range_are_as_good() -> None:
    case = cases(300, ONE)
    low, high = (np.array([np.argmin(one), np.argmax(one)]) for one in (case.mean_area_m2, case.garden_m2))
    ends = case.at(np.concatenate([low, high]))
    asked = made(case, years=5)
    for barrels in EVERY:
        true = exact(ends, barrels, years=5).yield_l_yr
        assert asked.yields(ends, barrels) == pytest.approx(true, rel=0.002, abs=4)


def test_a_town_of_one_parcel() -> None:
    for garden in (3.0, 200.0):
        case = Case(np.array([35.0]), np.array([garden]), np.array([1.0]), np.array([2]))
        asked = made(case, years=5)
        for barrels in EVERY:
            true = exact(case, barrels, years=5).yield_l_yr
            assert asked.yields(case, barrels) == pytest.approx(true, rel=1e-3)
            quick = asked.quick_yields(case.mean_area_m2, case.garden_m2, case.rain, case.places, barrels)
            assert quick == pytest.approx(true, rel=1e-3)


def test_a_town_where_nobody_draws_and_no_storm_comes() -> None:
    case = cases(10, ONE)
    days = days_at(ONE, years=2)
    still = replace(
        days,
        wanted_l=lambda _, garden_m2: np.zeros((len(garden_m2), len(days.year_of_day))),
        storm_day=np.zeros_like(days.storm_day),
    )
    told = surface(still, ONE, case, USABLE_L, INEQUALITY, numbers=(1,))(case, 1)
    assert (told.yield_l_yr == 0).all()
    assert (told.demand_l_yr == 0).all()
    assert (told.demand_days_yr == 0).all()
    assert np.isnan(told.room).all()
    assert (told.overflow_l_yr > 0).all()


# refusals


@pytest.mark.parametrize("field", ["mean_area_m2", "garden_m2", "rain"])
@pytest.mark.parametrize("wrong", [0.0, -1.0, np.nan, np.inf])
def test_cases_are_above_zero(field: str, wrong: float) -> None:
    case = cases(3, ONE)
    with pytest.raises(ValueError, match="numbers above 0"):
        replace(case, **{field: np.array([1.0, wrong, 1.0])})


def test_cases_fit_together() -> None:
    with pytest.raises(ValueError, match="at least 1 downspout"):
        replace(cases(2, ONE), places=np.array([1, 0]))
    with pytest.raises(ValueError, match="every case has"):
        replace(cases(2, ONE), garden_m2=np.ones(3))


def test_beyond_the_surface() -> None:
    case, asked = small_with_rain()
    with pytest.raises(ValueError, match=r"in rain over the mean, not to 1\.2"):
        asked(replace(case, rain=np.full(len(case), 1.2)), 1)
    with pytest.raises(ValueError, match="knows 1, 3 barrels, not 2"):
        asked.yields(case, 2)
    narrow = surface(
        days_at(ONE, years=1),
        ONE,
        replace(case, places=np.ones(len(case), int)),
        USABLE_L,
        INEQUALITY,
        step=0.5,
    )
    with pytest.raises(ValueError, match="at most 1 places"):
        narrow.yields(replace(case, places=np.full(len(case), 2)), 2)
    assert (narrow.yields(replace(case, places=np.full(len(case), 2)), 1) > 0).all()
    with pytest.raises(ValueError, match="numbers above 0"):
        asked.quick_yields(np.array([0.0]), np.ones(1), np.ones(1), np.ones(1, int), 1)
    with pytest.raises(ValueError, match="at least 1 downspout"):
        asked.quick_yields(np.ones(1), np.ones(1), np.ones(1), np.zeros(1, int), 1)


def test_what_no_surface_is_made_of() -> None:
    case, days = cases(5, ONE), days_at(FOUR, years=1)
    with pytest.raises(ValueError, match="at least one case"):
        surface(days, FOUR, case.at(slice(0, 0)), USABLE_L, INEQUALITY)
    with pytest.raises(ValueError, match="a series of days for each"):
        surface(days, ONE, case, USABLE_L, INEQUALITY)
    with pytest.raises(ValueError, match="1 node or at least 4"):
        surface(days_at(FOUR[:2], years=1), FOUR[:2], case, USABLE_L, INEQUALITY)
    for wrong in ({"reach": 0.9}, {"reach": np.nan}, {"step": 0.0}, {"usable_l": 0.0}):
        with pytest.raises(ValueError, match="as far as its cases"):
            surface(days, FOUR, case, **{"usable_l": USABLE_L, "inequality": INEQUALITY, **wrong})
