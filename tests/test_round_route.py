"""The walk of one round, the order of its doors, and doors added up to sides."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from exact_rounds import shortest_walk
from street_grids import grid

from harvest.plan.canvass_time import Pace
from harvest.plan.door_order import doors_in_order
from harvest.plan.round_graph import Ground, StreetSides
from harvest.plan.round_route import Leg, Walker
from harvest.plan.round_sides import LaidOut, check_sides, laid_out

SHIFT = Pace(500.0, 66.0, crossing_m=20.0)


def walker(sides: StreetSides, pace: Pace = SHIFT, starts: tuple[int, ...] = ()) -> Walker:
    return Walker(Ground(sides, pace), starts)


def one_street(doors: tuple[int, int], length_m: float, *, divided: bool = False) -> StreetSides:
    return StreetSides.of(["s"], [0], [1], [length_m], [divided], [doors], [[1, 1]], [[9, 9]])


def test_a_street_on_paper() -> None:
    """One side: its length. Both sides of 100 m with 3 doors each: one pass with 3 crossings of 20 m is 160 m, out and
    back 200 m; with 9 doors each one pass would be 280 m. A divided street is never worked in one pass. One lone door
    across a long street of nine: two crossings, 40 m."""
    assert walker(one_street((3, 3), 100.0)).metres(frozenset([0])) == 100
    assert walker(one_street((3, 3), 100.0)).metres(frozenset([0, 1])) == 160
    assert walker(one_street((9, 9), 100.0)).metres(frozenset([0, 1])) == 200
    assert walker(one_street((3, 3), 100.0, divided=True)).metres(frozenset([0, 1])) == 200
    assert walker(one_street((9, 1), 300.0)).metres(frozenset([0, 1])) == 340
    assert walker(one_street((3, 3), 100.0)).metres(frozenset()) == 0


def test_a_walk_back_counts_where_it_must() -> None:
    there_and_back = Pace(500.0, 66.0, crossing_m=20.0, back=True)
    assert walker(one_street((3, 3), 100.0), there_and_back).metres(frozenset([0])) == 200
    assert walker(one_street((3, 3), 100.0), there_and_back).metres(frozenset([0, 1])) == 200


def test_streets_in_between_are_walked_through() -> None:
    """Two sides with 50 m of another street between them, which is no part of the round."""
    sides = StreetSides.of(
        ["a", "b", "c"],
        [0, 1, 2],
        [1, 2, 3],
        [80, 50, 70],
        [1, 1, 1],
        [[3, 0], [0, 0], [3, 0]],
        *[[[9, 9]] * 3] * 2,
    )
    legs = walker(sides).route(frozenset([0, 4]))
    assert [(leg.segment, leg.sides, leg.metres) for leg in legs] == [
        (0, (0,), 80),
        (1, (), 50),
        (2, (0,), 70),
    ]


def test_no_street_to_another_island() -> None:
    sides = StreetSides.of(["a", "b"], [0, 2], [1, 3], [80, 50], [1, 1], *[[[3, 3]] * 2] * 3)
    assert walker(sides).metres(frozenset([0, 2])) == np.inf
    with pytest.raises(ValueError, match="no street joins"):
        walker(sides).route(frozenset([0, 2]))


def test_a_loop_and_a_street_of_no_length() -> None:
    sides = StreetSides.of(
        ["loop", "point", "street"], [0, 0, 1], [0, 1, 2], [90, 0, 60], [1, 1, 1], *[[[3, 3]] * 3] * 3
    )
    chosen = frozenset([0, 2, 4])
    assert walker(sides).metres(chosen) == 150
    legs = walker(sides).route(chosen)
    assert sorted(leg.segment for leg in legs) == [0, 1, 2]
    assert all(leg.node_to == later.node_from for leg, later in itertools.pairwise(legs))


def random_rounds(count: int) -> list[tuple[StreetSides, Pace, frozenset[int], int | None]]:
    rng = np.random.default_rng(0)
    made = []
    for _ in range(count):
        size = int(rng.integers(3, 5))
        sides = grid(size, size, int(rng.integers(1 << 30)), doors=(1, 8), missing=0.15, divided=0.2)
        pace = Pace(500.0, 66.0, float(rng.choice([5, 20])), back=bool(rng.random() < 0.3))
        start = int(rng.integers(sides.node_count)) if rng.random() < 0.3 else None
        number = int(rng.integers(1, 8))
        made.append(
            (sides, pace, frozenset(rng.choice(2 * len(sides), number, replace=False).tolist()), start)
        )
    return made


def test_walks_against_brute_force() -> None:
    """Sides scattered at random, which no plan would put together, so in more pieces than a round ever is. The search
    over (node, sides worked) is exact; ours is never shorter, mostly as short, and on average 1 % longer."""
    ratios = []
    for sides, pace, chosen, start in random_rounds(250):
        ours = walker(sides, pace, () if start is None else (start,)).metres(chosen)
        exact = shortest_walk(sides, pace, chosen, start)
        assert np.isfinite(ours) == np.isfinite(exact)
        if np.isfinite(exact):
            assert ours >= exact - 1e-6
            ratios.append(ours / exact)
    assert len(ratios) > 200
    assert np.mean(ratios) <= 1.01
    assert np.quantile(ratios, 0.85) <= 1 + 1e-9
    assert max(ratios) <= 1.25


def test_a_route_walks_what_was_counted() -> None:
    for sides, pace, chosen, start in random_rounds(120):
        one = walker(sides, pace, () if start is None else (start,))
        if not np.isfinite(one.metres(chosen)):
            continue
        legs = one.route(chosen)
        assert sum(leg.metres for leg in legs) == pytest.approx(one.metres(chosen))
        assert all(leg.node_to == later.node_from for leg, later in itertools.pairwise(legs))
        assert sorted(2 * leg.segment + k for leg in legs for k in leg.sides) == sorted(chosen)
        assert start is None or legs[0].node_from == start
        assert not pace.back or legs[0].node_from == legs[-1].node_to


# doors


def test_doors_come_as_they_are_walked_past() -> None:
    segment, side = np.array([0, 0, 0, 1, 1, 0]), np.array([0, 0, 0, 1, 1, 1])
    along = np.array([30.0, 10.0, 20.0, 5.0, 15.0, 9.0])
    legs = [Leg(0, 7, 8, (0,), 40.0), Leg(1, 8, 9, (1,), 20.0)]
    first = np.array([7, 9])  # the second segment begins at the far end, so its doors come backwards
    assert doors_in_order(legs, segment, side, along, first).tolist() == [1, 2, 0, 4, 3]
    assert doors_in_order([Leg(0, 8, 7, (), 40.0)], segment, side, along, first).tolist() == []


@pytest.mark.parametrize("back", [False, True])
@pytest.mark.parametrize("counts", [(6, 6), (5, 7), (1, 9), (3, 6), (0, 4), (2, 3)])
def test_one_pass_crosses_no_oftener_than_its_metres_say(counts: tuple[int, int], back: bool) -> None:
    side = np.repeat([0, 1], counts)
    along = np.concatenate([(np.arange(n) + 0.5) * 120 / n for n in counts])
    leg = Leg(0, 1, 0, (0, 1), 0.0) if back else Leg(0, 0, 1, (0, 1), 0.0)
    order = doors_in_order([leg], np.zeros(len(side), dtype=np.int64), side, along, np.array([0]))
    assert sorted(order.tolist()) == list(range(len(side)))
    crossings = int(np.abs(np.diff(side[order])).sum())
    assert crossings <= min(2 * min(counts), max(counts))
    steps = np.diff(along[order]) * (-1 if back else 1)
    assert steps.min() >= -120 / max(counts)  # at most a lot's width back


# from doors to sides


COLUMNS = (["s1", "s2"], [4, 5], [5, 6], [200.0, 90.0], [True, False], ["Elm Row", "Elm Row"])


def laid(minutes: list[float], pace: Pace, **more: object) -> LaidOut:
    doors: dict[str, object] = {
        "door_segment_id": ["s1", "s1", "s1", "s2"],
        "door_side": [0, 0, 1, 1],
        "door_along_m": [10.0, 150.0, 190.0, 20.0],
        "door_count": [1, 2, 1, 1],
        "door_value": [5.0, 7.0, 11.0, 13.0],
        "door_minutes": minutes,
    }
    return laid_out(*COLUMNS, **{**doors, **more}, pace=pace)  # type: ignore[arg-type]


def test_doors_add_up_to_sides() -> None:
    made = laid([2.0, 4.0, 2.0, 2.0], Pace(180.0, 66.0))
    assert made.sides.segment_id.tolist() == ["s1", "s2"]
    assert made.sides.doors.tolist() == [[3, 1], [0, 1]]
    assert made.sides.value.tolist() == [[12, 11], [0, 13]]
    assert made.sides.minutes.tolist() == [[6, 2], [0, 2]]
    assert (made.door_row.tolist(), made.door_along_m.tolist()) == ([0, 0, 0, 1], [10, 150, 190, 20])


def test_long_sides_are_cut_and_lose_nothing() -> None:
    """35 min on a side of the first street with shifts of 40: two parts of 100 m, joined by a new node."""
    made = laid([15.0, 20.0, 2.0, 2.0], Pace(40.0, 66.0))
    sides = made.sides
    assert sides.segment_id.tolist() == ["s1/1", "s1/2", "s2"]
    assert made.whole_id.tolist() == ["s1", "s1", "s2"]
    assert sides.street.tolist() == ["Elm Row"] * 3
    assert sides.no_crossing.tolist() == [True, True, False]
    assert sides.length_m.tolist() == [100, 100, 90]
    assert sides.minutes.tolist() == [[15, 0], [20, 2], [0, 2]]
    assert sides.value.sum() == 36
    assert sides.doors.sum() == 5
    assert (made.door_row.tolist(), made.door_along_m.tolist()) == ([0, 1, 1, 2], [10, 50, 90, 20])
    chain = [(int(a), int(b)) for a, b in zip(sides.node_from, sides.node_to, strict=True)]
    assert all(one[1] == other[0] for one, other in itertools.pairwise(chain))
    assert sides.node_count == 4


def test_a_segment_too_long_to_walk_is_cut_too() -> None:
    """200 m at 10 m/min are 20 min, half of what a shift of 20 min may be cut to: two parts of 10."""
    assert len(laid([1.0, 1.0, 1.0, 0.5], Pace(20.0, 10.0)).sides) == 3


def test_a_side_longer_than_a_shift_is_told() -> None:
    pace = Pace(40.0, 66.0)
    made = laid([60.0, 2.0, 2.0, 2.0], pace)  # 60 min at one place can't be parted
    (finding,) = check_sides(made.sides, pace)
    assert (finding.check, finding.layer, finding.count) == ("side longer than a shift", "streets", 1)
    assert finding.first[0].startswith("s1/")
    assert "more than the 40 min" in finding.message
    assert check_sides(laid([15.0, 20.0, 2.0, 2.0], pace).sides, pace) == []


def test_doors_on_no_segment_or_side_are_refused() -> None:
    minutes = [2.0, 4.0, 2.0, 2.0]
    with pytest.raises(ValueError, match="segment s9, which is not there"):
        laid(minutes, SHIFT, door_segment_id=["s1", "s9", "s1", "s2"])
    with pytest.raises(ValueError, match="side 0 or side 1"):
        laid(minutes, SHIFT, door_side=[0, 2, 1, 1])
