"""Event losses: each taken once, in order, on the days it belongs to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from harvest.units import L_PER_GALLON, M2_PER_SQUARE_FOOT
from harvest.water.losses import effective_coefficient, event_depth

days_of_rain = arrays(float, st.tuples(st.integers(1, 3), st.integers(1, 40)), elements=st.floats(0, 150))
NO_LOSS = {"coefficient": 1.0, "wetting_mm": 0.0, "first_flush_mm": 0.0, "filter_share": 1.0}
TANK = {"coefficient": 0.9, "wetting_mm": 0.5, "first_flush_mm": 0.4, "filter_share": 0.9}


def test_a_week_by_hand() -> None:
    """Derived by hand from filter · max(0, C · max(0, P - w) - flush), one flush for each of three events.

    Day 1: 0.9 · (0.9 · 9.5 - 0.4) = 7.335. Day 2, same event: 0.9 · 0.9 · 1.5 = 1.215. Day 4: wetted only. Day 5, a new
    event: 0.9 · (0.9 · 0.6 - 0.4) = 0.126. Day 7, a third, too small for its flush: 0; day 8: 0.81 · 0.5 = 0.405.
    """
    rain = np.array([10.0, 2.0, 0.0, 0.3, 1.1, 0.0, 0.6, 1.0])
    expected = [7.335, 1.215, 0, 0, 0.126, 0, 0, 0.405]
    assert event_depth(rain, **TANK) == pytest.approx(expected, abs=1e-12)


def test_what_a_small_first_day_leaves_of_the_flush_is_not_carried_on() -> None:
    rain = np.array([0.3, 5.0])
    depth = event_depth(rain, **{**NO_LOSS, "first_flush_mm": 1.0})
    assert depth == pytest.approx([0.0, 5.0])


def test_a_day_that_only_wets_the_roof_does_not_use_up_the_flush() -> None:
    rain = np.array([0.3, 5.0])
    depth = event_depth(rain, **{**NO_LOSS, "wetting_mm": 0.5, "first_flush_mm": 1.0})
    assert depth == pytest.approx([0.0, 3.5])


def test_first_flush_volume_as_a_depth() -> None:
    """TWDB recommends 1 gal per 100 ft², quoted by Lay et al. 2024, Water 16(10):1421; that is 0.4075 mm."""
    flush_mm = L_PER_GALLON / (100 * M2_PER_SQUARE_FOOT)
    assert flush_mm == pytest.approx(0.4075, abs=1e-4)
    kept = event_depth(np.array([25.4]), **{**NO_LOSS, "first_flush_mm": flush_mm})
    assert kept[0] * 100 * M2_PER_SQUARE_FOOT / L_PER_GALLON == pytest.approx(62.338 - 1, abs=1e-3)


@given(days_of_rain, st.floats(0.05, 1), st.floats(0, 3), st.floats(0, 3), st.floats(0, 1))
def test_every_millimetre_is_lost_once(
    rain: np.ndarray, coefficient: float, wetting: float, flush: float, passes: float
) -> None:
    """The ledger: rain = wetted + splashed or blown off + flushed + held by the filter + delivered.

    Each loss is counted here on its own, day by day, from its meaning. Were wetting also inside the coefficient, or
    the flush taken on every wet day, the ledger would not close.
    """
    lost = 0.0
    for record in rain:
        dry_before = True
        for fell in record:
            wetted = min(fell, wetting)
            blown = (fell - wetted) * (1 - coefficient)
            left = fell - wetted - blown
            flushed = min(left, flush) if dry_before else 0.0
            lost += wetted + blown + flushed + (left - flushed) * (1 - passes)
            dry_before = fell <= wetting
    depth = event_depth(
        rain, coefficient=coefficient, wetting_mm=wetting, first_flush_mm=flush, filter_share=passes
    )
    assert depth.sum() + lost == pytest.approx(rain.sum(), abs=1e-6)


def test_event_losses_result_in_the_ratio_that_handbooks_print() -> None:
    """Made-up record of gamma rain days (mean 7 mm, one day in four), defaults from memory: C 0.88, wetting 0.5 mm.

    The effective coefficient lies at the yearly ratio of 0.80 to 0.85 (enHealth 2010, App. B) that holds wetting
    already. Taking that ratio *and* wetting would count wetting twice, and shows: below 0.80.
    """
    random = np.random.default_rng(4)
    rain = np.where(random.random(20 * 365) < 0.25, random.gamma(0.7, 10.0, 20 * 365), 0.0)
    once = event_depth(rain, **{**NO_LOSS, "coefficient": 0.88, "wetting_mm": 0.5})
    wetted = np.minimum(rain, 0.5).sum()
    assert once.sum() == pytest.approx(0.88 * (rain.sum() - wetted))
    assert 0.80 <= effective_coefficient(once, rain) <= 0.85
    twice = event_depth(rain, **{**NO_LOSS, "coefficient": 0.80, "wetting_mm": 0.5})
    assert effective_coefficient(twice, rain) < 0.80


@given(days_of_rain, st.floats(0, 1))
def test_without_losses_all_of_it_and_never_more_than_coefficient_times_rain(
    rain: np.ndarray, coefficient: float
) -> None:
    assert np.array_equal(event_depth(rain, **NO_LOSS), rain)
    depth = event_depth(rain, **{**TANK, "coefficient": coefficient})
    assert np.all((depth >= 0) & (depth <= coefficient * rain))


@given(days_of_rain, st.floats(0, 50), st.integers(0, 39))
def test_more_rain_on_any_day_never_brings_less_on_any(rain: np.ndarray, more: float, day: int) -> None:
    wetter = rain.copy()
    wetter[:, day % rain.shape[1]] += more
    assert np.all(event_depth(wetter, **TANK) >= event_depth(rain, **TANK) - 1e-12)


@pytest.mark.parametrize(
    ("name", "worse"),
    [("coefficient", 0.7), ("wetting_mm", 1.0), ("first_flush_mm", 1.2), ("filter_share", 0.5)],
)
@given(rain=days_of_rain)
def test_a_larger_loss_never_brings_more(name: str, worse: float, rain: np.ndarray) -> None:
    assert np.all(event_depth(rain, **{**TANK, name: worse}) <= event_depth(rain, **TANK) + 1e-12)


def test_losses_may_differ_by_record() -> None:
    rain = np.array([[10.0, 0.0], [10.0, 0.0]])
    depth = event_depth(rain, **{**NO_LOSS, "coefficient": np.array([[0.9], [0.6]])})
    assert depth[:, 0] == pytest.approx([9.0, 6.0])


def test_effective_coefficient_is_missing_without_rain() -> None:
    rain = np.array([[0.0, 0.0], [4.0, 4.0]])
    ratio = effective_coefficient(rain / 2, rain)
    assert np.isnan(ratio[0])
    assert ratio[1] == 0.5


@pytest.mark.parametrize("rain", [[-1.0], [np.nan]])
def test_refuses_rain_that_is_none(rain: list[float]) -> None:
    with pytest.raises(ValueError, match="rain must be a number and not negative"):
        event_depth(np.array(rain), **NO_LOSS)


@pytest.mark.parametrize(
    ("name", "value"),
    [("coefficient", 1.1), ("wetting_mm", -0.1), ("first_flush_mm", np.nan), ("filter_share", 1.01)],
)
def test_refuses_losses_out_of_bounds(name: str, value: float) -> None:
    with pytest.raises(ValueError, match="must"):
        event_depth(np.ones(2), **{**NO_LOSS, name: value})
