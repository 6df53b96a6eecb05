"""The daily tank balance: a hand-checked sequence, laws on any series, barrels that share a garden."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harvest.water.tank import Balance, balance

INFLOW = [0, 80, 0, 0, 30, 0, 0, 200, 0, 0]
DEMAND = [20] * 10
# by hand from the rules in the module's head; day by day
YAS = {
    "yield": [0, 0, 20, 20, 20, 20, 20, 10, 20, 20],
    "overflow": [0, 0, 0, 0, 0, 0, 0, 110, 0, 0],
    "held": [0, 80, 60, 40, 50, 30, 10, 90, 70, 50],
}
YBS = {
    "yield": [0, 20, 20, 20, 20, 20, 10, 20, 20, 20],
    "overflow": [0, 0, 0, 0, 0, 0, 0, 80, 0, 0],
    "held": [0, 60, 40, 20, 30, 10, 0, 100, 80, 60],
}


def run(inflow, demand, usable, rule="yas", start=None) -> Balance:
    """One case: ``inflow`` [days] or [days, k], ``demand`` [days], ``usable`` number or [k]."""
    flow = np.asarray(inflow, dtype=float).reshape(len(inflow), -1)
    volume = np.asarray(usable, dtype=float).reshape(1, -1)
    first = None if start is None else np.asarray(start, dtype=float).reshape(1, -1)
    return balance(
        lambda day: flow[day][None, :],
        lambda day: np.array([float(demand[day])]),
        volume,
        np.zeros(len(flow), dtype=int),
        rule=rule,
        start_l=first,
    )


@pytest.mark.parametrize(("rule", "printed"), [("yas", YAS), ("ybs", YBS)])
def test_sequence_day_by_day(rule: str, printed: dict[str, list[int]]) -> None:
    """Ten days worked by hand (no published daily table could be read): S = 100, D = 20 every day."""
    for days in range(1, 11):
        found = run(INFLOW[:days], DEMAND[:days], 100, rule)
        assert found.yield_l[0] == sum(printed["yield"][:days])
        assert found.overflow_l[0] == sum(printed["overflow"][:days])
        assert found.end_l[0] == printed["held"][days - 1]
    assert found.largest_error_l == 0


def test_reliabilities_of_the_sequence() -> None:
    """By hand: YAS delivers 150 of 200 L and meets 7 days of 10; YBS 170 and 8."""
    yas, ybs = run(INFLOW, DEMAND, 100), run(INFLOW, DEMAND, 100, "ybs")
    assert (yas.volumetric_reliability[0], yas.time_reliability[0]) == (0.75, 0.7)
    assert (ybs.volumetric_reliability[0], ybs.time_reliability[0]) == (0.85, 0.8)
    assert yas.times_filled[0] == pytest.approx(2.0)
    assert yas.days_empty[0] == 1


def test_room_before_storms_is_read_in_the_morning() -> None:
    flow = np.array([[0.0], [80], [0], [0], [30], [0], [0], [200], [0], [0]])
    found = balance(
        lambda day: flow[day][None, :],
        lambda day: np.array([20.0]),
        np.array([[100.0]]),
        np.zeros(10, dtype=int),
        storm_day=np.array([False, True, False, False, False, False, False, True, False, False]),
    )
    # empty before the first storm, 10 L in the barrel before the second
    assert found.room_before_storm[0] == pytest.approx((1.0 + 0.9) / 2)


def test_barrels_set_up_anew_stand_empty() -> None:
    """By hand: of sequence A the 60 L held on the third evening are drained; what the later days draw follows."""
    flow = np.array(INFLOW, dtype=float).reshape(-1, 1)
    set_up = np.arange(10) == 3
    found = balance(
        lambda day: flow[day][None, :],
        lambda day: np.array([20.0]),
        np.array([[100.0]]),
        np.zeros(10, dtype=int),
        set_up=set_up,
        storm_day=set_up,
    )
    # days 4 to 10: yields 0, 0, 20, 10, 0, 20, 20; the barrel holds 0, 30, 10, 0, 100, 80, 60
    assert (found.drained_l[0], found.yield_l[0], found.end_l[0]) == (60, 20 + 70, 60)
    assert found.overflow_l[0] == 100
    assert found.room_before_storm[0] == 1
    assert found.days_empty[0] == 3
    assert found.largest_error_l == 0


series = st.lists(st.floats(0, 300), min_size=1, max_size=60)


@settings(deadline=None)
@given(series, st.floats(0, 80), st.floats(0, 400), st.floats(0, 400), st.data())
def test_laws_that_hold_on_any_series(
    inflow: list[float], want: float, usable: float, more: float, data: st.DataObject
) -> None:
    demand = data.draw(st.lists(st.floats(0, 80), min_size=len(inflow), max_size=len(inflow)))
    first = min(want, usable)
    yas, ybs = (run(inflow, demand, usable, rule, first) for rule in ("yas", "ybs"))
    for found in (yas, ybs):
        came, went = first + sum(inflow), found.yield_l[0] + found.overflow_l[0] + found.end_l[0]
        assert came == pytest.approx(went, abs=1e-6)
        assert found.largest_error_l < 1e-9
        assert 0 <= found.end_l[0] <= usable + 1e-9
    slack = 1e-6
    assert yas.yield_l[0] <= ybs.yield_l[0] + slack
    assert ybs.yield_l[0] <= min(sum(inflow) + first, sum(demand)) + slack
    assert yas.overflow_l[0] >= ybs.overflow_l[0] - slack
    for rule, found in (("yas", yas), ("ybs", ybs)):
        assert run(inflow, demand, usable + more, rule, first).yield_l[0] >= found.yield_l[0] - slack


@settings(deadline=None)
@given(series, st.lists(st.booleans(), min_size=60, max_size=60))
def test_what_is_drained_is_counted(inflow: list[float], set_up: list[bool]) -> None:
    flow = np.array(inflow)[:, None, None]
    for rule in ("yas", "ybs"):
        found = balance(
            lambda day: flow[day],
            lambda day: np.array([25.0]),
            np.array([[90.0]]),
            np.zeros(len(inflow), dtype=int),
            set_up=np.array(set_up[: len(inflow)]),
            rule=rule,
        )
        gone = found.yield_l + found.overflow_l + found.drained_l + found.end_l
        assert found.inflow_l == pytest.approx(gone, abs=1e-6)
        assert (found.drained_l > 0)[0] <= any(set_up[1 : len(inflow)])


@settings(deadline=None)
@given(series)
def test_no_barrel_spills_all_and_no_demand_yields_nothing(inflow: list[float]) -> None:
    assert run(inflow, [20] * len(inflow), 0).overflow_l[0] == pytest.approx(sum(inflow))
    assert run(inflow, [20] * len(inflow), 0).yield_l[0] == 0
    assert run(inflow, [0] * len(inflow), 100).yield_l[0] == 0
    assert np.isnan(run(inflow, [0] * len(inflow), 100).volumetric_reliability[0])


@settings(deadline=None)
@given(series, st.floats(0.1, 50))
def test_scaling_everything_scales_every_volume(inflow: list[float], k: float) -> None:
    one = run(inflow, [15] * len(inflow), 90)
    scaled = run([k * q for q in inflow], [15 * k] * len(inflow), 90 * k)
    assert scaled.yield_l[0] == pytest.approx(k * one.yield_l[0], rel=1e-9, abs=1e-9)
    assert scaled.overflow_l[0] == pytest.approx(k * one.overflow_l[0], rel=1e-9, abs=1e-9)


# several barrels


def test_the_fullest_is_drawn_first() -> None:
    """60, 50 and 10 L; 40 are wanted: down to a common 35 by hand (25 + 15), and the third gives nothing."""
    found = run([[0, 0, 0]], [40], [100, 100, 100], start=[60, 50, 10])
    assert found.yield_l[0] == 40
    after = run([[0, 0, 0], [0, 0, 0]], [40, 80], [100, 100, 100], start=[60, 50, 10])
    assert after.yield_l[0] == 40 + 80
    assert after.end_l[0] == 0


@settings(deadline=None)
@given(series)
def test_equal_barrels_on_equal_downspouts_are_one_larger_barrel(inflow: list[float]) -> None:
    three = run([[q, q, q] for q in inflow], [45] * len(inflow), [80, 80, 80])
    one = run([3 * q for q in inflow], [45] * len(inflow), 240)
    assert three.yield_l[0] == pytest.approx(one.yield_l[0], abs=1e-6)
    assert three.overflow_l[0] == pytest.approx(one.overflow_l[0], abs=1e-6)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0, 200), st.floats(0, 50)), min_size=1, max_size=40))
def test_unequal_downspouts_never_beat_sharing_the_water(pairs: list[tuple[float, float]]) -> None:
    """Two barrels that can't share their inflow yield at most what one of their joint size would."""
    split = run(pairs, [30] * len(pairs), [90, 90])
    joint = run([a + b for a, b in pairs], [30] * len(pairs), 180)
    assert split.yield_l[0] <= joint.yield_l[0] + 1e-6
    assert split.largest_error_l < 1e-9


def test_many_cases_at_once_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(4)
    flow, want = rng.exponential(40, (50, 8, 3)), rng.exponential(30, (50, 8))
    usable = rng.uniform(0, 200, (8, 3))
    together = balance(lambda day: flow[day], lambda day: want[day], usable, np.repeat([0, 1], 25))
    for case in range(8):
        alone = run(flow[:, case], want[:, case], usable[case])
        assert together.yield_l[case] == pytest.approx(alone.yield_l[0])
        assert together.end_l[case] == pytest.approx(alone.end_l[0])
    assert together.yield_by_year_l.shape == (8, 2)
    assert together.yield_by_year_l.sum(axis=1) == pytest.approx(together.yield_l)


def test_a_barrel_of_less_than_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="less than nothing"):
        run([1], [1], -5)
