"""The streets that rounds are laid on: segments between nodes, each with two sides, and how far nodes lie apart.

A side is numbered 2 × segment + 0 or 1. Everything is kept in the order of segment ids, and nodes in the order in
which those segments name them, so that another order of rows gives the same rounds.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from harvest.plan.canvass_time import Pace

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEAR_SHARE = 0.05
"""Nodes are neighbours in the search when the walk between them takes at most this share of a shift."""

NEAR_SEGMENTS = 4
"""They are neighbours in any case when the walk is no longer than so many segments are on average."""

WIDER = 4
"""Walks between nodes that are no neighbours are first sought within so many times that reach."""

CELLS_AT_ONCE = 2_000_000
"""Walks from each node to each other that are worked out at once."""


@dataclass(frozen=True)
class StreetSides:
    """A street network [s segments] with what canvassing each side [s, 2] brings and takes.

    ``segment_id`` [s] are texts, none twice; ``node_from``, ``node_to`` [s] whole numbers of any kind; ``length_m``
    [s; m]; ``no_crossing`` [s] marks divided and busy roads; ``doors`` [s, 2; 1]; ``value`` [s, 2], any score of at
    least 0, commonly expected used litres a year [L/yr]; ``minutes`` [s, 2; min] at doors, paths included; ``street``
    [s] names the street that a segment belongs to, by default its own id.

    Raises ``ValueError`` for shapes that do not agree, missing or negative numbers, a repeated id, or a side with
    doors that take no time.
    """

    segment_id: NDArray[np.str_]
    node_from: Integers
    node_to: Integers
    length_m: Floats
    no_crossing: Flags
    doors: Integers
    value: Floats
    minutes: Floats
    street: NDArray[np.str_]
    node_count: int = field(default=0)

    @classmethod
    def of(
        cls,
        segment_id: Sequence[str] | NDArray[np.str_],
        node_from: ArrayLike,
        node_to: ArrayLike,
        length_m: ArrayLike,
        no_crossing: ArrayLike,
        doors: ArrayLike,
        value: ArrayLike,
        minutes: ArrayLike,
        street: Sequence[str] | NDArray[np.str_] | None = None,
    ) -> StreetSides:
        """The network in the order of ``segment_id``, its nodes numbered anew."""
        ids = np.asarray(segment_id, dtype=np.str_)
        count = len(ids)
        names = ids if street is None else np.asarray(street, dtype=np.str_)
        ends = np.column_stack([np.asarray(node_from), np.asarray(node_to)])
        columns: dict[str, NDArray[np.generic]] = {
            "length_m": np.asarray(length_m, dtype=np.float64),
            "no_crossing": np.asarray(no_crossing, dtype=bool),
            "doors": np.asarray(doors, dtype=np.int64),
            "value": np.asarray(value, dtype=np.float64),
            "minutes": np.asarray(minutes, dtype=np.float64),
        }
        _check(ids, names, ends, columns)
        order = np.argsort(ids, kind="stable")
        _, first, number = np.unique(ends[order].ravel(), return_index=True, return_inverse=True)
        renumbered = np.argsort(np.argsort(first))[number].reshape(count, 2)
        sorted_columns = {name: column[order] for name, column in columns.items()}
        return cls(
            segment_id=ids[order],
            node_from=renumbered[:, 0],
            node_to=renumbered[:, 1],
            street=names[order],
            node_count=len(first),
            **sorted_columns,  # type: ignore[arg-type]
        )

    def __len__(self) -> int:
        return len(self.segment_id)

    def nodes_like(
        self, node_from: ArrayLike, node_to: ArrayLike, segment_id: Sequence[str]
    ) -> dict[int, int]:
        """The number here of each node as the caller numbered it, from the columns that :meth:`of` was given."""
        order = np.argsort(np.asarray(segment_id, dtype=np.str_), kind="stable")
        given = np.column_stack([np.asarray(node_from), np.asarray(node_to)])[order].ravel()
        here = np.column_stack([self.node_from, self.node_to]).ravel()
        return dict(zip(given.tolist(), here.tolist(), strict=True))

    @cached_property
    def neighbours(self) -> list[list[tuple[int, float, int]]]:
        """For each node, (other node, metres, segment) of the segments that end there, in their order."""
        found: list[list[tuple[int, float, int]]] = [[] for _ in range(self.node_count)]
        ends = zip(self.node_from.tolist(), self.node_to.tolist(), self.length_m.tolist(), strict=True)
        for segment, (one, other, metres) in enumerate(ends):
            found[one].append((other, metres, segment))
            if one != other:
                found[other].append((one, metres, segment))
        return found


def _check(
    ids: NDArray[np.str_],
    names: NDArray[np.str_],
    ends: NDArray[np.generic],
    columns: dict[str, NDArray[np.generic]],
) -> None:
    count = len(ids)
    shapes = {name: (count, 2) if name in ("doors", "value", "minutes") else (count,) for name in columns}
    wrong = [name for name, column in columns.items() if column.shape != shapes[name]]
    if wrong or ends.shape != (count, 2) or len(names) != count:
        raise ValueError(
            f"{', '.join(wrong) or 'nodes or names'} do not match {count} segments with two sides each"
        )
    repeated = np.unique(ids)
    if len(repeated) < count:
        raise ValueError("a segment id stands more than once")
    for name in ("length_m", "doors", "value", "minutes"):
        if not np.all(
            np.isfinite(columns[name].astype(np.float64)) & (columns[name].astype(np.float64) >= 0)
        ):
            raise ValueError(f"{name} is missing or below 0 somewhere")
    if np.any((columns["doors"].astype(np.float64) > 0) & (columns["minutes"].astype(np.float64) <= 0)):
        raise ValueError("a side with doors takes some minutes")


class Ground:
    """A network with a pace: distances between nodes, worked out when they are first asked for.

    ``near(node)`` are the nodes within reach; ``metres(a, b)`` is exact however far. ``worth`` [2 s] marks sides that
    have doors and a value and fit a shift by themselves; the others are in no round.
    """

    def __init__(self, sides: StreetSides, pace: Pace) -> None:
        self.sides, self.pace = sides, pace
        segment_m = float(sides.length_m.mean()) if len(sides) else 0.0
        self.reach_m = max(NEAR_SHARE * pace.shift_min * pace.metres_a_min, NEAR_SEGMENTS * segment_m)
        self.minutes = sides.minutes.ravel()
        self.value = sides.value.ravel()
        self.doors = sides.doors.ravel()
        self.length = np.repeat(sides.length_m, 2)
        self.ends = (np.repeat(sides.node_from, 2), np.repeat(sides.node_to, 2))
        self.one_pass_m = one_pass_m(sides, pace)
        self.both_m = both_sides_m(sides, pace)
        alone = self.minutes + self.length / pace.metres_a_min
        self.worth: Flags = (self.doors > 0) & (self.value > 0) & (alone <= pace.shift_min)
        self._rows: dict[int, dict[int, float]] = {}
        self._wider: dict[int, tuple[Integers, Floats]] = {}
        self._far: dict[int, Floats] = {}
        self._near_sides: dict[int, Integers] = {}

    @cached_property
    def _streets(self) -> csr_array:
        """The shortest segment between each two nodes that one joins, both ways [nodes, nodes; m]."""
        sides = self.sides
        ends = np.sort(np.column_stack([sides.node_from, sides.node_to]), axis=1)
        order = np.lexsort((sides.length_m, ends[:, 1], ends[:, 0]))
        order = order[ends[order, 0] != ends[order, 1]]
        shortest = np.ones(len(order), dtype=bool)
        shortest[1:] = (ends[order[1:]] != ends[order[:-1]]).any(axis=1)
        order = order[shortest]
        one, other = ends[order].T
        metres = np.tile(sides.length_m[order], 2)
        pairs = np.append(one, other), np.append(other, one)
        return csr_array((metres, pairs), shape=(sides.node_count, sides.node_count))

    @cached_property
    def near_pairs(self) -> tuple[Integers, Integers, Floats]:
        """Nodes within reach of each node, one node after the other: where each begins [nodes + 1], which, how far."""
        count = self.sides.node_count
        step = max(1, CELLS_AT_ONCE // max(count, 1))
        numbers, nodes, metres = [np.zeros(1, dtype=np.int64)], [], []
        for first in range(0, count, step):
            far = self._from(np.arange(first, min(first + step, count)), self.reach_m)
            row, node = np.nonzero(far < np.inf)
            numbers.append(np.bincount(row, minlength=len(far)))
            nodes.append(node)
            metres.append(far[row, node])
        none = np.zeros(0)
        return (
            np.cumsum(np.concatenate(numbers)),
            np.concatenate([none.astype(np.int64), *nodes]),
            np.concatenate([none, *metres]),
        )

    def _from(self, nodes: Integers, limit: float) -> Floats:
        return np.asarray(dijkstra(self._streets, indices=nodes, limit=limit), dtype=np.float64)

    def near(self, node: int) -> tuple[Integers, Floats]:
        """Nodes within reach of ``node``, itself too, and how far [m] they are."""
        first, nodes, metres = self.near_pairs
        these = slice(first[node], first[node + 1])
        return nodes[these], metres[these]

    def near_metres(self, one: int, other: int) -> float:
        """Shortest walk [m] between two nodes within reach of each other; infinite where they are not."""
        one, other = min(one, other), max(one, other)
        if one not in self._rows:
            nodes, metres = self.near(one)
            self._rows[one] = dict(zip(nodes.tolist(), metres.tolist(), strict=True))
        return self._rows[one].get(other, np.inf)

    def metres(self, one: int, other: int) -> float:
        """Shortest walk [m] between two nodes; infinite where there is none."""
        one, other = min(one, other), max(one, other)
        for anchor, end in ((one, other), (other, one)):
            if anchor in self._far:
                return float(self._far[anchor][end])
        found = self.near_metres(one, other)
        if found < np.inf:
            return found
        if one not in self._wider:
            far = self._from(np.array([one]), WIDER * self.reach_m)[0]
            nodes = np.flatnonzero(far < np.inf)
            self._wider[one] = nodes, far[nodes]
        nodes, metres = self._wider[one]
        place = int(np.searchsorted(nodes, other))
        if place < len(nodes) and nodes[place] == other:
            return float(metres[place])
        return float(self.from_node(one)[other])

    def from_node(self, node: int) -> Floats:
        """How far [nodes; m] every node is from ``node``; infinite where no street leads."""
        if node not in self._far:
            self._far[node] = self._from(np.array([node]), np.inf)[0]
        return self._far[node]

    def path(self, one: int, other: int) -> list[tuple[int, int, int]]:
        """The shortest walk as (segment, from node, to node); raises ``ValueError`` where there is none."""
        distance, before = self._search(one, self.metres(one, other) * (1 + 1e-9))
        if other not in distance:
            raise ValueError("no street joins these places")
        steps: list[tuple[int, int, int]] = []
        while other != one:
            earlier, segment = before[other]
            steps.append((segment, earlier, other))
            other = earlier
        return steps[::-1]

    @cached_property
    def sides_at(self) -> tuple[Integers, Integers]:
        """Sides worth canvassing at each node, one node after the other: where each begins [nodes + 1], and which."""
        side = np.flatnonzero(self.worth)
        node, other = self.ends[0][side], self.ends[1][side]
        side, node = np.append(side, side[node != other]), np.append(node, other[node != other])
        order = np.lexsort((side, node))
        first = np.searchsorted(node[order], np.arange(self.sides.node_count + 1))
        return first, side[order]

    def near_sides(self, node: int) -> Integers:
        """Sides worth canvassing of the segments that end within reach of ``node``."""
        if node not in self._near_sides:
            first, sides = self.sides_at
            near = self.near(node)[0]
            self._near_sides[node] = np.unique(sides[spans(first[near], first[near + 1])])
        return self._near_sides[node]

    def _search(self, node: int, limit: float) -> tuple[dict[int, float], dict[int, tuple[int, int]]]:
        """Dijkstra's search from ``node``: distances [m] up to ``limit``, and how each node was reached."""
        neighbours = self.sides.neighbours
        done: dict[int, float] = {}
        best = {node: 0.0}
        before: dict[int, tuple[int, int]] = {}
        open_nodes = [(0.0, node)]
        while open_nodes:
            metres, here = heapq.heappop(open_nodes)
            if here in done:
                continue
            done[here] = metres
            for other, length, segment in neighbours[here]:
                further = metres + length
                if further <= limit and further < best.get(other, np.inf):
                    best[other] = further
                    before[other] = here, segment
                    heapq.heappush(open_nodes, (further, other))
        return done, before


def spans(first: Integers, end: Integers) -> Integers:
    """The whole numbers from each of ``first`` [n] up to before ``end`` [n], one span after the other."""
    number = end - first
    begun = np.cumsum(number) - number
    return np.asarray(np.arange(number.sum()) + np.repeat(first - begun, number))


def one_pass_m(sides: StreetSides, pace: Pace) -> Floats:
    """The walk [s; m] that works both sides of a segment in one pass; infinite on divided and busy roads.

    Once the length and the crossings: two for each door of the side that has fewer, but no more than the other side
    has doors.
    """
    crossings = np.minimum(2 * sides.doors.min(axis=1), sides.doors.max(axis=1))
    return np.where(sides.no_crossing, np.inf, sides.length_m + crossings * pace.crossing_m)


def both_sides_m(sides: StreetSides, pace: Pace) -> Floats:
    """The least walk [s; m] that works both sides of a segment: out and back, or one pass if that is shorter."""
    return np.minimum(2 * sides.length_m, one_pass_m(sides, pace))
