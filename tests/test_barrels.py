"""Barrels at downspouts: where they stand, what they drink from, and the balance against a loop written out in full."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harvest.water.barrels import MOST_BARRELS, Days, deliver, layout, usable_volume
from harvest.water.downspouts import mean_served_area, usable_downspouts
from harvest.water.tank import Balance

USABLE_L = 174.1
inequalities = st.floats(0, 0.9)


def days_of(depth_mm, want_mm, cap_l=75.7, years=1, storm_mm=12.0, set_up=None) -> Days:
    """One series; equal stretches of it are years. Each m² wants ``want_mm``, all together at most ``cap_l``."""
    depth, want = np.asarray(depth_mm, dtype=float), np.asarray(want_mm, dtype=float)
    return Days(
        depth[None, :],
        lambda series, garden_m2: np.minimum(np.outer(garden_m2, want), cap_l),
        np.arange(len(depth)) * years // len(depth),
        depth >= storm_mm,
        set_up,
    )


def delivered(days: Days, barrels, places, mean_area_m2, garden_m2, inequality=0.25, rule="yas") -> Balance:
    n = len(barrels)
    areas, volumes = layout(
        np.asarray(barrels), np.asarray(places), np.asarray(mean_area_m2, float), USABLE_L, inequality
    )
    return deliver(days, np.zeros(n, dtype=np.intp), areas, volumes, np.asarray(garden_m2, float), rule)


def days_made(seed: int, count: int = 730, years: int = 2) -> Days:
    """Random days, dry and wet, with a draw on some."""
    rng = np.random.default_rng(seed)
    depth = np.where(rng.random(count) < 0.3, rng.gamma(0.7, 12, count), 0.0)
    want = np.where(rng.random(count) < 0.25, rng.uniform(2, 30, count), 0.0)
    return days_of(depth, want, years=years)


# layout


def test_layout_by_hand() -> None:
    """Three barrels at two downspouts of 30 and 50 m²: the extra one joins the smaller; four at one stand joined."""
    areas, volumes = layout(np.array([3, 4, 0, 1]), np.array([2, 1, 2, 3]), np.full(4, 40.0), 100.0, 0.25)
    assert areas[:2, :3].tolist() == [[30, 50, 0], [30, 0, 0]]
    assert volumes[:, :3].tolist() == [[200, 100, 0], [400, 0, 0], [0, 0, 0], [100, 0, 0]]
    assert areas.shape == volumes.shape == (4, MOST_BARRELS)
    assert not areas[:, 3:].any()
    assert not volumes[:, 3:].any()


@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.integers(1, 12), st.floats(0, 3000)),
        min_size=1,
        max_size=8,
    ),
    st.floats(0.01, 1),
    inequalities,
)
def test_layout_laws(roofs: list[tuple[int, int, float]], share: float, inequality: float) -> None:
    barrels, count, area = (np.array(one) for one in zip(*roofs, strict=True))
    places = usable_downspouts(count, share)
    areas, volumes = layout(barrels, places, mean_served_area(area, count, inequality), USABLE_L, inequality)
    tanks = (volumes > 0).sum(axis=1)
    assert volumes.sum(axis=1) == pytest.approx(barrels * USABLE_L)
    assert (areas.sum(axis=1) <= area * (1 + 1e-12)).all()
    assert tanks.tolist() == np.minimum(barrels, places).tolist()
    assert (areas[volumes == 0] == 0).all()
    joined = np.round(volumes / USABLE_L)
    assert all(
        row[:number].max(initial=0) - row[:number].min(initial=9) <= 1
        for row, number in zip(joined, tanks, strict=True)
    )


def test_layout_refusals() -> None:
    fine = {
        "barrels": np.array([1]),
        "places": np.array([1]),
        "mean_area_m2": np.ones(1),
        "usable_l": 1.0,
        "inequality": 0.0,
    }
    layout(**fine)
    for name, wrong, message in (
        ("barrels", np.array([7]), "0 to 6 barrels"),
        ("barrels", np.array([-1]), "0 to 6 barrels"),
        ("places", np.array([0]), "at least 1 downspout"),
        ("mean_area_m2", np.array([-1.0]), "not negative"),
        ("mean_area_m2", np.array([np.nan]), "not negative"),
        ("usable_l", -1.0, "not negative"),
        ("usable_l", np.nan, "not negative"),
        ("inequality", 0.95, r"between 0 and 0\.9"),
    ):
        with pytest.raises(ValueError, match=message):
            layout(**{**fine, name: wrong})


def test_usable_volume() -> None:
    """55 gal less 6 below the spigot and 3 above the overflow, in litres (derived)."""
    assert usable_volume(208.2, 22.7, 11.4) == pytest.approx(174.1)
    for size, dead, head in (
        (100, 120, 0),
        (100, 60, 40),
        (100, 0, 100),
        (0, 0, 0),
        (100, -1, 0),
        (100, 0, -1),
    ):
        with pytest.raises(ValueError, match="holds nothing that can be drawn"):
            usable_volume(size, dead, head)


# the balance


def test_two_barrels_on_paper() -> None:
    """By hand. Downspouts of 15 and 25 m² (middle 20), barrels of 174.1 L, a garden of 10 m², at most 60 L a day.

    Day 1: 4 mm bring 60 and 100 L; nothing stood there in the morning. Day 2: 5 mm · 10 m² are wanted; drawn from the
    fuller, 60 and 50 left. Day 3: 8 mm are 80 L, capped to 60: down to a common 25 each. Day 4: 10 mm bring 150 and
    250: 175 and 275, so 0.9 and 100.9 spill.
    """
    days = days_of([4, 0, 0, 10], [3, 5, 8, 0], cap_l=60)
    found = delivered(days, [2], [2], [20], [10])
    assert found.yield_l[0] == pytest.approx(50 + 60)
    assert found.demand_l[0] == pytest.approx(30 + 50 + 60)
    assert found.overflow_l[0] == pytest.approx(0.9 + 100.9)
    assert found.inflow_l[0] == pytest.approx(160 + 400)
    assert found.end_l[0] == pytest.approx(2 * USABLE_L)
    assert (found.demand_days[0], found.days_met[0], found.days_full[0], found.days_empty[0]) == (3, 2, 1, 0)


def test_barrels_set_up_in_spring_stand_empty() -> None:
    """By hand: 50 L are left on the morning of the third day and drained; the day's draw finds nothing."""
    days = days_of([5, 0, 0], [0, 5, 5], set_up=np.array([True, False, True]))
    found = delivered(days, [1], [1], [20], [5], inequality=0.0)
    assert (found.yield_l[0], found.drained_l[0], found.end_l[0]) == (25, 75, 0)
    assert found.days_empty[0] == 1


def written_out(depth, wanted_l, areas, volumes) -> dict[str, float]:
    """Yield after spillage in plain numbers: the fullest barrel is drawn down to the next fullest, and so on."""
    held = [0.0] * len(volumes)
    total = {"yield": 0.0, "spilt": 0.0, "inflow": 0.0, "met": 0.0, "empty": 0.0, "full": 0.0}
    for day in range(len(depth)):
        asked = wanted_l[day]
        drawn = [0.0] * len(volumes)
        left = asked
        while left > 1e-12 and max(held) > 1e-12:
            top = max(held)
            fullest = [k for k in range(len(held)) if held[k] > top - 1e-9]
            below = max((one for one in held if one <= top - 1e-9), default=0.0)
            each = min(left / len(fullest), top - below)
            for k in fullest:
                held[k] -= each
                drawn[k] += each
            left -= each * len(fullest)
        for k in range(len(volumes)):
            flow = areas[k] * depth[day]
            # what was drawn makes room only after the rain
            spilt = max(0.0, held[k] + drawn[k] + flow - volumes[k])
            held[k] += flow - spilt
            total["inflow"] += flow
            total["spilt"] += spilt
        total["yield"] += sum(drawn)
        total["met"] += asked > 0 and sum(drawn) >= asked - 1e-9
        total["empty"] += sum(held) <= 1e-9 * sum(volumes)
        total["full"] += sum(held) >= (1 - 1e-9) * sum(volumes)
    return total | {"held": sum(held)}


@pytest.mark.parametrize(("seed", "mean_area_m2", "garden_m2"), [(1, 20, 6), (2, 5, 30), (3, 60, 2)])
def test_three_barrels_at_two_downspouts_written_out(
    seed: int, mean_area_m2: float, garden_m2: float
) -> None:
    days = days_made(seed)
    found = delivered(days, [3], [2], [mean_area_m2], [garden_m2])
    areas, volumes = [0.75 * mean_area_m2, 1.25 * mean_area_m2], [2 * USABLE_L, USABLE_L]
    wanted_l = days.wanted_l(np.zeros(1, dtype=np.intp), np.array([garden_m2]))[0]
    told = written_out(days.depth_mm[0], wanted_l, areas, volumes)
    assert found.yield_l[0] == pytest.approx(told["yield"])
    assert found.overflow_l[0] == pytest.approx(told["spilt"])
    assert found.inflow_l[0] == pytest.approx(told["inflow"])
    assert found.end_l[0] == pytest.approx(told["held"], abs=1e-6)
    assert (found.days_met[0], found.days_empty[0], found.days_full[0]) == (
        told["met"],
        told["empty"],
        told["full"],
    )


cases = st.lists(
    st.tuples(st.integers(1, 6), st.integers(1, 6), st.floats(0.5, 200), st.floats(0.5, 100)),
    min_size=1,
    max_size=6,
)


@settings(deadline=None, max_examples=30)
@given(cases, st.integers(0, 1000), inequalities)
def test_what_comes_is_drawn_or_spilt_or_stays(
    some: list[tuple[int, int, float, float]], seed: int, inequality: float
) -> None:
    barrels, places, area, garden = zip(*some, strict=True)
    for rule in ("yas", "ybs"):
        found = delivered(days_made(seed, 120, 1), barrels, places, area, garden, inequality, rule)
        assert found.inflow_l == pytest.approx(found.yield_l + found.overflow_l + found.end_l - found.start_l)
        assert found.largest_error_l < 1e-9


@settings(deadline=None, max_examples=60)
@given(
    st.integers(1, 6),
    st.floats(0.5, 200),
    st.floats(0.5, 100),
    st.integers(0, 10_000),
    st.sampled_from([0.0, 0.25, 0.9]),
)
def test_more_barrels_never_yield_less(
    places: int, area: float, garden: float, seed: int, inequality: float
) -> None:
    """Neither as a larger barrel where one stands, nor as one more at another downspout."""
    numbers = np.arange(MOST_BARRELS + 1)
    same = np.ones(len(numbers))
    found = delivered(
        days_made(seed, 200, 1),
        numbers,
        np.full(len(numbers), places),
        area * same,
        garden * same,
        inequality,
    )
    assert found.yield_l[0] == 0
    assert (np.diff(found.yield_l) >= -1e-6).all()
