"""Doors worth a stop: the bound is the linear program's, no plan beats it, and skipping poor doors wins more."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
from scipy.optimize import linprog

from harvest.plan.canvass_time import Pace
from harvest.plan.door_choice import door_choice

PACE = Pace(shift_min=60.0, metres_a_min=66.0, crossing_m=20.0)


def streets(seed: int, segments: int = 12, doors: int = 60) -> dict[str, Any]:
    """Doors of uneven worth on segments without any order."""
    rng = np.random.default_rng(seed)
    return {
        "segment": rng.integers(segments, size=doors),
        "side": rng.integers(2, size=doors),
        "value": rng.gamma(1.5, 10.0, doors) * (rng.random(doors) > 0.1),
        "minutes": rng.uniform(2, 6, doors),
        "length_m": rng.uniform(40, 200, segments),
        "no_crossing": rng.random(segments) < 0.3,
    }


def solved_by_highs(town: dict[str, Any], rounds: int) -> float:
    """The linear program itself: x [doors] no more than the ways y that work its side, one way a segment at most."""
    doors, segments = len(town["value"]), len(town["length_m"])
    crossed = np.where(town["no_crossing"], np.inf, town["length_m"] + PACE.crossing_m)
    walk = np.column_stack([town["length_m"], town["length_m"], np.minimum(2 * town["length_m"], crossed)])
    cost = -np.append(town["value"], np.zeros(3 * segments))
    rows, limits = [], []
    for n in range(doors):
        row = np.zeros(doors + 3 * segments)
        row[n] = 1
        row[doors + 3 * town["segment"][n] + np.array([town["side"][n], 2])] = -1
        rows.append(row)
        limits.append(0.0)
    for s in range(segments):
        row = np.zeros(doors + 3 * segments)
        row[doors + 3 * s : doors + 3 * s + 3] = 1
        rows.append(row)
        limits.append(1.0)
    rows.append(np.append(town["minutes"], walk.ravel() / PACE.metres_a_min))
    limits.append(rounds * PACE.shift_min)
    found = linprog(cost, A_ub=np.array(rows), b_ub=limits, bounds=(0, 1), method="highs")
    assert found.success
    return float(-found.fun)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("rounds", [1, 2, 4, 40])
def test_the_bound_is_the_linear_programs(seed: int, rounds: int) -> None:
    """HiGHS is the independent solver."""
    town = streets(seed)
    found = door_choice(**town, pace=PACE, rounds=rounds)
    assert found.bound == pytest.approx(solved_by_highs(town, rounds), rel=1e-6)


def test_with_hours_to_spare_every_door_of_worth_is_a_stop() -> None:
    town = streets(1)
    found = door_choice(**town, pace=PACE, rounds=40)
    assert found.price == 0 and found.bound == pytest.approx(town["value"].sum())
    assert found.stops.tolist() == (town["value"] > 0).tolist()


@pytest.mark.parametrize("seed", range(4))
def test_no_choice_of_doors_beats_the_bound(seed: int) -> None:
    """Brute force over every set of doors, and the shortest walk along their sides, on 3 segments with 11 doors."""
    town = streets(seed, segments=3, doors=11)
    found = door_choice(**town, pace=PACE, rounds=1)
    best = 0.0
    for chosen in itertools.product((False, True), repeat=11):
        some = np.array(chosen)
        takes = town["minutes"][some].sum()
        for s in range(3):
            sides = set(town["side"][some & (town["segment"] == s)].tolist())
            length = town["length_m"][s]
            both = 2 * length if town["no_crossing"][s] else min(2 * length, length + PACE.crossing_m)
            takes += (length if len(sides) == 1 else both if sides else 0) / PACE.metres_a_min
        if takes <= PACE.shift_min:
            best = max(best, town["value"][some].sum())
    assert best <= found.bound * (1 + 1e-9)
    assert best >= 0.8 * found.bound


def test_poor_doors_are_passed_by_when_hours_are_short() -> None:
    """Ten doors of 5 min on one street, five worth 10 and five worth 1: 30 min hold the five good ones."""
    town: dict[str, Any] = {
        "segment": np.zeros(10, int),
        "side": np.zeros(10, int),
        "value": np.array([10.0, 1.0] * 5),
        "minutes": np.full(10, 5.0),
        "length_m": np.array([66.0]),
        "no_crossing": np.array([False]),
    }
    found = door_choice(**town, pace=Pace(shift_min=30.0, metres_a_min=66.0), rounds=1)
    assert found.stops.tolist() == [True, False] * 5
    assert found.price == pytest.approx(0.2, rel=1e-3) or found.price > 0.2
    assert found.bound >= 50.0


def test_order_of_doors_does_not_matter() -> None:
    town = streets(3)
    turned = {
        name: column[::-1] if name in ("segment", "side", "value", "minutes") else column
        for name, column in town.items()
    }
    one, other = (door_choice(**each, pace=PACE, rounds=2) for each in (town, turned))
    assert one.bound == pytest.approx(other.bound, rel=1e-12)
    assert one.stops.tolist() == other.stops[::-1].tolist()


@pytest.mark.parametrize(("rounds", "minutes"), [(-1, 5.0), (1, 0.0)])
def test_what_makes_no_sense_is_refused(rounds: int, minutes: float) -> None:
    town = streets(1)
    with pytest.raises(ValueError, match="a door takes some minutes"):
        door_choice(**{**town, "minutes": np.full(60, minutes)}, pace=PACE, rounds=rounds)


def test_nothing_to_win_is_no_stop() -> None:
    town = streets(1)
    found = door_choice(**{**town, "value": np.zeros(60)}, pace=PACE, rounds=2)
    assert not found.stops.any() and found.bound == 0
