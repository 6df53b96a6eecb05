"""What a planner would do without this program, held to the same hours and the same pace, for comparison.

Three ways: the longest streets, the streets with the most water, and the highest doors one by one. Where a rule of
thumb leaves something open, it is settled in its favour: going from one street to the next takes no time, and single
doors are visited nearest first.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from harvest.plan.canvass_time import pace
from harvest.plan.round_graph import Floats, Ground, Integers, StreetSides
from harvest.plan.round_growth import Grower, Sides
from harvest.plan.round_route import Walker
from harvest.project.rounds import Rounds


@dataclass(frozen=True)
class Doors:
    """Doors [n]: segment (row of the network) and side of each, metres from the segment's first node, and value."""

    segment: Integers
    side: Integers
    along_m: Floats
    value: Floats

    @classmethod
    def of(
        cls, sides: StreetSides, segment_id: Sequence[str], side: Integers, along_m: Floats, value: Floats
    ) -> Doors:
        """Doors by the id of their segment; raises ``ValueError`` for an id that is not in the network."""
        ids = np.asarray(segment_id, dtype=np.str_)
        row = np.minimum(np.searchsorted(sides.segment_id, ids), len(sides) - 1)
        if np.any(sides.segment_id[row] != ids):
            raise ValueError(f"segment {ids[sides.segment_id[row] != ids][0]} is not in the network")
        return cls(row, np.asarray(side), np.asarray(along_m), np.asarray(value))


@dataclass(frozen=True)
class ByHand:
    """What one way of planning by hand wins: ``value`` in ``rounds`` shifts, with ``doors`` knocked at."""

    way: str
    rounds: int
    doors: int
    value: float
    canvasser_hours: float

    @property
    def value_an_hour(self) -> float:
        """Value won in an hour of one canvasser's work."""
        hours = self.rounds * self.canvasser_hours
        return self.value / hours if hours else 0.0


def by_hand(sides: StreetSides, settings: Rounds, doors: Doors) -> list[ByHand]:
    """The three ways, with the canvassers, hours and pace of ``settings``."""
    ground = Ground(sides, pace(settings))
    grower = Grower(ground, Walker(ground))
    return [
        _streets(grower, settings, "the longest streets", sides.length_m),
        _streets(grower, settings, "the streets with the most water", sides.value.sum(axis=1)),
        _highest(ground, settings, doors),
    ]


def _streets(grower: Grower, settings: Rounds, way: str, measure: Floats) -> ByHand:
    """Whole streets, the largest sum of ``measure`` [s] first, each walked from an end, shift after shift."""
    ground, minutes = grower.ground, grower.walker.minutes
    names, street = np.unique(ground.sides.street, return_inverse=True)
    total = np.bincount(street, measure, len(names))
    shift, rounds, doors, value, used = ground.pace.shift_min, 0, 0, 0.0, np.inf
    for name in np.argsort(-total, kind="stable").tolist():
        part: Sides = frozenset()
        before = used
        for segment in _along(ground, np.flatnonzero(street == name).tolist()):
            for some in ((0, 1), (0,), (1,)):
                more = frozenset(2 * segment + k for k in some if ground.worth[2 * segment + k])
                if not more or more & part:
                    continue
                if before + minutes(part | more) > shift:
                    if len(some) == 2:
                        continue
                    if rounds == settings.round_count:
                        return ByHand(way, rounds, doors, value, settings.canvasser_hours)
                    rounds, before, part = rounds + 1, 0.0, frozenset()
                part |= more
                doors += int(ground.doors[sorted(more)].sum())
                value += grower.value(more)
        used = before + minutes(part)
    return ByHand(way, rounds, doors, value, settings.canvasser_hours)


def _along(ground: Ground, segments: list[int]) -> list[int]:
    """The segments of one street in the order of a walk from its end: always on to the nearest not yet walked."""
    sides = ground.sides
    ends = {s: (int(sides.node_from[s]), int(sides.node_to[s])) for s in segments}
    met: dict[int, int] = {}
    for two in ends.values():
        for node in two:
            met[node] = met.get(node, 0) + 1
    here = min((count, node) for node, count in met.items())[1]
    order, left = [], set(segments)
    while left:
        away = {s: min((ground.near_metres(here, node), node) for node in ends[s]) for s in left}
        segment = min(left, key=lambda s: (away[s][0], s))
        node = away[segment][1]
        here = ends[segment][1] if ends[segment][0] == node else ends[segment][0]
        left.remove(segment)
        order.append(segment)
    return order


def _highest(ground: Ground, settings: Rounds, doors: Doors) -> ByHand:
    """The highest doors, as many as the shifts hold, each shift from the highest one left always on to the nearest."""
    order = np.lexsort((doors.along_m, doors.side, doors.segment, -doors.value))
    side = 2 * doors.segment + doors.side
    order = order[ground.worth[side[order]]]

    def needed(count: int) -> int:
        return _visited(ground, doors, order[:count], settings.round_count)

    count = _most(needed, len(order), settings.round_count)
    rounds = min(needed(count), settings.round_count) if count else 0
    return ByHand(
        "the highest doors one by one",
        rounds,
        count,
        float(doors.value[order[:count]].sum()),
        settings.canvasser_hours,
    )


def _most(needed: Callable[[int], int], most: int, rounds: int) -> int:
    """The most doors for which ``needed`` rounds are no more than ``rounds``, by halving."""
    low, high = 0, 1
    while high <= most and needed(high) <= rounds:
        low, high = high, 2 * high
    high = min(high, most + 1)
    while high - low > max(1, low // 200):
        middle = (low + high) // 2
        low, high = (middle, high) if needed(middle) <= rounds else (low, middle)
    return low


def _visited(ground: Ground, doors: Doors, rows: Integers, enough: int) -> int:
    """How many shifts it takes to visit the doors ``rows``, the highest first; stops counting beyond ``enough``."""
    sides, pace = ground.sides, ground.pace
    segment, along = doors.segment[rows], doors.along_m[rows]
    length = sides.length_m[segment]
    along = np.minimum(along, length)
    one, other = sides.node_from[segment], sides.node_to[segment]
    side = 2 * segment + doors.side[rows]
    each = ground.minutes[side] / ground.doors[side]
    away = np.full(sides.node_count, np.inf)
    left = np.ones(len(rows), dtype=bool)
    rounds, first = 0, 0
    while first < len(rows) and rounds <= enough:
        rounds += 1
        here, used = first, float(each[first])
        left[here] = False
        while True:
            reached = []
            for node, walked in ((one[here], along[here]), (other[here], length[here] - along[here])):
                near, metres = ground.near(int(node))
                away[near] = np.minimum(away[near], metres + walked)
                reached.append(near)
            walk = np.minimum(away[one] + along, away[other] + length - along)
            same = segment == segment[here]
            walk[same] = np.minimum(walk[same], np.abs(along[same] - along[here]))
            for near in reached:
                away[near] = np.inf
            walk[~left] = np.inf
            nearest = int(np.argmin(walk))
            used += float(walk[nearest] / pace.metres_a_min + each[nearest])
            if used > pace.shift_min:
                break
            here = nearest
            left[here] = False
        waiting = np.flatnonzero(left)
        first = int(waiting[0]) if len(waiting) else len(rows)
    return rounds
