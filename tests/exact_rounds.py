"""The best rounds there are, found the slow way: brute force over walks, and an exact program with flows.

References for small networks only. Both take the same rules as the plan (what a walk along one or both sides costs)
from the network, and share none of its code for walks or growth.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, linprog, milp
from scipy.sparse import coo_array, vstack

from harvest.plan.canvass_time import Pace
from harvest.plan.round_graph import StreetSides


def one_pass_m(sides: StreetSides, pace: Pace, segment: int) -> float:
    """Metres of one pass that works both sides of ``segment``, infinite where it may not be crossed."""
    if sides.no_crossing[segment]:
        return np.inf
    fewer, more = sorted(sides.doors[segment].tolist())
    return float(sides.length_m[segment] + min(2 * fewer, more) * pace.crossing_m)


def shortest_walk(sides: StreetSides, pace: Pace, chosen: Collection[int], start: int | None = None) -> float:
    """Metres of the shortest walk that works the sides ``chosen``: Dijkstra's search over (node, sides worked)."""
    wanted = sorted(chosen)
    everything = (1 << len(wanted)) - 1
    firsts = range(sides.node_count) if start is None else [start]
    if not pace.back:
        return _search(sides, pace, wanted, list(firsts), everything, None)
    return min(_search(sides, pace, wanted, [first], everything, first) for first in firsts)


def _search(
    sides: StreetSides, pace: Pace, wanted: list[int], firsts: list[int], everything: int, last: int | None
) -> float:
    waiting = [(0.0, node, 0) for node in firsts]
    done: set[tuple[int, int]] = set()
    while waiting:
        metres, node, worked = heapq.heappop(waiting)
        if (node, worked) in done:
            continue
        done.add((node, worked))
        if worked == everything and last in (None, node):
            return metres
        for segment in np.flatnonzero((sides.node_from == node) | (sides.node_to == node)).tolist():
            other = int(sides.node_from[segment] + sides.node_to[segment] - node)
            length = float(sides.length_m[segment])
            here = [1 << n for n, side in enumerate(wanted) if side // 2 == segment]
            steps = [(0, length), *((one, length) for one in here)]
            if len(here) == 2:
                steps.append((sum(here), one_pass_m(sides, pace, segment)))
            for more, walked in steps:
                if walked < np.inf and (other, worked | more) not in done:
                    heapq.heappush(waiting, (metres + walked, other, worked | more))
    return np.inf


def best_by_force(sides: StreetSides, pace: Pace, rounds: int) -> float:
    """The most value that ``rounds`` shifts win: every set of sides is walked, every split of sets compared."""
    value, minutes, doors = sides.value.ravel(), sides.minutes.ravel(), sides.doors.ravel()
    useful = [side for side in range(2 * len(sides)) if doors[side] > 0]
    fits: dict[int, float] = {0: 0.0}
    for mask in range(1, 1 << len(useful)):
        chosen = [side for n, side in enumerate(useful) if mask >> n & 1]
        at_doors = float(minutes[chosen].sum())
        if at_doors <= pace.shift_min:
            walk = shortest_walk(sides, pace, chosen)
            if at_doors + walk / pace.metres_a_min <= pace.shift_min + 1e-9:
                fits[mask] = float(value[chosen].sum())
    return _split(sorted(fits.items(), key=lambda item: -item[1]), rounds, 0)


def _split(order: list[tuple[int, float]], rounds: int, taken: int) -> float:
    """The most value of ``rounds`` sets of ``order`` (the highest first) that share no side, nor any ``taken``."""
    best = 0.0
    for mask, value in order:
        if value * rounds <= best:
            break
        if not mask & taken:
            best = max(best, value + (_split(order, rounds - 1, taken | mask) if rounds > 1 else 0.0))
    return best


@dataclass(frozen=True)
class Exact:
    """What HiGHS proved: ``found`` [value] by rounds that fit, and ``proven`` that none can beat."""

    found: float
    proven: float


def exact(sides: StreetSides, pace: Pace, share: float) -> Exact:
    """The best round as an integer program in which a flow from one of its places reaches all that it walks; solved
    until what is proven is within ``share`` of what is found.

    Sides worked, segments worked in one pass, plain walks along each segment, nodes where an odd number of them meet
    (two at most, the ends of the walk), and a flow that only walked segments carry.
    """
    solved = _Program(sides, pace).solved({"mip_rel_gap": share})
    return Exact(float(-solved.fun), float(-solved.mip_dual_bound))


def most(
    sides: StreetSides,
    pace: Pace,
    rounds: int,
    known: Collection[frozenset[int]],
    enough: float,
    turns: int = 8,
) -> float:
    """What no ``rounds`` rounds that share no side can win more than; stops where that is ``enough``.

    For any prices of sides they win at most the sum of the prices and, each, what the best round wins beyond them,
    which HiGHS bounds. Prices come from a linear program over the rounds ``known`` and those found on the way: they
    decide how low the bound comes and never whether it holds.
    """
    columns = {tuple(sorted(one)) for one in known if one}
    lowest = np.inf
    for _ in range(turns):
        prices = _prices(sides, columns, rounds)
        beyond = np.maximum(sides.value.ravel() - prices, 0.0)
        solved = _Program(replace(sides, value=beyond.reshape(-1, 2)), pace).solved({"mip_rel_gap": 0.01})
        lowest = min(lowest, float(prices.sum() - rounds * solved.mip_dual_bound))
        if lowest <= enough:
            break
        columns.add(tuple(np.flatnonzero(solved.x[: 2 * len(sides)] > 0.5).tolist()))
    return lowest


def _prices(sides: StreetSides, columns: Collection[tuple[int, ...]], rounds: int) -> np.ndarray:
    """What each side is worth to ``rounds`` rounds out of ``columns``: duals of choosing shares of them."""
    ordered = sorted(columns)
    row = np.concatenate([np.array(one) for one in ordered])
    column = np.repeat(np.arange(len(ordered)), [len(one) for one in ordered])
    uses = coo_array((np.ones(len(row)), (row, column)), shape=(2 * len(sides), len(ordered)))
    every = coo_array(np.ones((1, len(ordered))))
    worth = np.array([sides.value.ravel()[list(one)].sum() for one in ordered])
    limits = np.append(np.ones(2 * len(sides)), float(rounds))
    solved = linprog(-worth, A_ub=vstack([uses, every]), b_ub=limits, method="highs")
    return np.maximum(-solved.ineqlin.marginals[:-1], 0.0)


class _Program:
    """Columns and rows of the program of :func:`exact`."""

    def __init__(self, sides: StreetSides, pace: Pace) -> None:
        self.sides, self.pace = sides, pace
        segments, nodes = len(sides), sides.node_count
        one_pass = np.array([one_pass_m(sides, pace, s) for s in range(segments)])
        worth = sides.doors.ravel() > 0
        crossed = np.isfinite(one_pass) & worth.reshape(-1, 2).all(axis=1)
        self.one_pass_m = np.where(crossed, one_pass, 0.0)
        blocks = {
            "side": (2 * segments, worth.astype(float), 1),
            "pass": (segments, crossed.astype(float), 1),
            "plain": (segments, np.where(worth.reshape(-1, 2).all(axis=1), 3.0, 2.0), 1),
            "used": (segments, np.ones(segments), 1),
            "met": (nodes, np.ones(nodes), 1),
            "odd": (nodes, np.ones(nodes), 1),
            "half": (nodes, np.full(nodes, 50.0), 1),
            "root": (nodes, np.ones(nodes), 1),
            "given": (nodes, np.full(nodes, float(nodes)), 0),
            "there": (segments, np.full(segments, float(nodes)), 0),
            "back": (segments, np.full(segments, float(nodes)), 0),
        }
        self.width = sum(count for count, _, _ in blocks.values())
        self.first, place = {}, 0
        for name, (count, _, _) in blocks.items():
            self.first[name] = place
            place += count
        self.high = np.concatenate([high for _, high, _ in blocks.values()])
        self.low = np.zeros_like(self.high)
        self.whole = np.concatenate([np.full(n, w) for n, _, w in blocks.values()])
        self.entries: list[tuple[int, int, float]] = []
        self.lower: list[float] = []
        self.upper: list[float] = []

    def solved(self, options: dict[str, float]) -> OptimizeResult:
        """What HiGHS found."""
        cost = np.zeros(self.width)
        cost[: 2 * len(self.sides)] = -self.sides.value.ravel()
        return milp(
            cost,
            integrality=self.whole,
            bounds=Bounds(self.low, self.high),
            constraints=self.constraints(),
            options=options,
        )

    def at(self, name: str, number: int) -> int:
        return self.first[name] + number

    def row(self, terms: list[tuple[int, float]], low: float, high: float) -> None:
        self.entries += [(len(self.lower), column, factor) for column, factor in terms]
        self.lower.append(low)
        self.upper.append(high)

    def constraints(self) -> LinearConstraint:
        nodes = self.sides.node_count
        self._time()
        for s in range(len(self.sides)):
            self._segment(s)
        for v in range(nodes):
            self._node(v)
        self.row([(self.at("odd", v), 1.0) for v in range(nodes)], 0, 2)
        self.row([(self.at("root", v), 1.0) for v in range(nodes)], 0, 1)
        for v in range(nodes):  # the root is the first node met, so that it is not any of them
            roots = [(self.at("root", u), 1.0) for u in range(v + 1)]
            self.row([*roots, (self.at("met", v), -1.0)], 0, np.inf)
        rows, columns, factors = zip(*self.entries, strict=True)
        matrix = coo_array((factors, (rows, columns)), shape=(len(self.lower), self.width)).tocsr()
        return LinearConstraint(matrix, self.lower, self.upper)

    def _time(self) -> None:
        sides, speed = self.sides, self.pace.metres_a_min
        terms = [(self.at("side", i), float(m)) for i, m in enumerate(sides.minutes.ravel())]
        terms += [(self.at("plain", s), float(m) / speed) for s, m in enumerate(sides.length_m)]
        terms += [(self.at("pass", s), float(m) / speed) for s, m in enumerate(self.one_pass_m)]
        self.row(terms, 0, self.pace.shift_min)

    def _segment(self, s: int) -> None:
        one, other = self.at("side", 2 * s), self.at("side", 2 * s + 1)
        passed, plain, used = self.at("pass", s), self.at("plain", s), self.at("used", s)
        self.row([(plain, 1), (passed, 2), (one, -1), (other, -1)], 0, np.inf)
        for side in (one, other):
            self.row([(side, 1), (passed, -1)], 0, np.inf)
            self.row([(used, 1), (side, -1)], 0, np.inf)
        self.row([(plain, 1), (passed, 1), (used, -1)], 0, np.inf)
        self.row([(used, 4), (plain, -1), (passed, -1)], 0, np.inf)
        for way in ("there", "back"):
            self.row([(used, float(self.sides.node_count)), (self.at(way, s), -1)], 0, np.inf)
        for node in (self.sides.node_from[s], self.sides.node_to[s]):
            self.row([(self.at("met", int(node)), 1), (used, -1)], 0, np.inf)

    def _node(self, v: int) -> None:
        sides = self.sides
        ends = [(s, 1.0) for s in np.flatnonzero(sides.node_from == v)]
        ends += [(s, -1.0) for s in np.flatnonzero(sides.node_to == v)]
        parity = [(self.at(name, int(s)), 1.0) for s, _ in ends for name in ("plain", "pass")]
        self.row([*parity, (self.at("half", v), -2.0), (self.at("odd", v), -1.0)], 0, 0)
        flow = [(self.at("there", int(s)), -sign) for s, sign in ends]
        flow += [(self.at("back", int(s)), sign) for s, sign in ends]
        self.row([*flow, (self.at("given", v), 1), (self.at("met", v), -1)], 0, 0)
        self.row([(self.at("root", v), float(sides.node_count)), (self.at("given", v), -1)], 0, np.inf)
