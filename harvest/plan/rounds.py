"""Which streets to canvass with the shifts there are: rounds that fit a shift and together win the most.

First rounds are laid one after the other, each the best found among several that grow around the most promising
places still free. Then, as often as the settings say, each round and some that lie beside it are taken up and grown
anew from other places and with other tastes, and kept where together they win more. Of all rounds that were ever
grown, HiGHS then picks the set that wins the most without using a side twice. Draws are seeded and counted in
attempts, never in seconds.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from harvest.plan.canvass_time import pace
from harvest.plan.round_bound import gap, upper_bound
from harvest.plan.round_graph import Flags, Floats, Ground, StreetSides, spans
from harvest.plan.round_growth import SAME, Grower, Sides
from harvest.plan.round_route import Leg, Walker
from harvest.project.rounds import Rounds

GREEDY_SHARES = (0.4, 0.7)
"""Shares of a shift that a round grows side by side before the rest is filled up; the better one counts."""

SEEDS = 3
"""Places that compete for the next round."""

TASTES = (0.1, 1.0)
"""Spreads, from mild to wild, of the factors on values that let rounds grow in other ways."""

LEAST_ATTEMPTS = 60
"""However few rounds there are, so many attempts are made to grow some of them anew, each time over."""

HOPELESS = 0.93
"""Rounds grown anew that win less than this share of the old ones are not worth mending."""

ANEW_SHARE = 0.5
"""Chance that rounds are grown wholly anew; else a part of each stays."""

TAKEN_OUT = (0.2, 0.7)
"""Least and most share of a round's sides that are taken out when a part of it stays."""

TASTE_OF_LEFT = 3.0
"""Factor on the value of sides that no round has, where rounds are left over to take them."""

MOST_NODES = 200
"""HiGHS stops picking rounds after this many branches; the best set found until then counts."""


@dataclass(frozen=True)
class Round:
    """One canvasser's shift: its sides (2 × segment + side) and the walk that works them, with what both amount to."""

    sides: tuple[int, ...]
    legs: tuple[Leg, ...]
    doors: int
    value: float
    minutes: float
    walk_m: float


@dataclass(frozen=True)
class RoundPlan:
    """Rounds, the most valuable first. No plan beats ``bound``; ``gap_to_bound`` is how far below it this one is."""

    rounds: tuple[Round, ...]
    asked: int
    value: float
    bound: float
    gap_to_bound: float
    canvasser_hours: float

    @property
    def value_an_hour(self) -> float:
        """Value won in an hour of one canvasser's work, by the rounds there are."""
        hours = len(self.rounds) * self.canvasser_hours
        return self.value / hours if hours else 0.0


def planned(sides: StreetSides, settings: Rounds, starts: Collection[int] = ()) -> RoundPlan:
    """The rounds to walk on ``sides`` with the canvassers, hours and pace of ``settings``.

    ``starts`` are nodes where rounds begin, the nearest one each; none lets a round begin anywhere. There are fewer
    rounds than asked for where no more doors are left, or none that ``least_doors`` allows. Raises ``ValueError``
    for a start that is no node.
    """
    if any(not 0 <= node < sides.node_count for node in starts):
        raise ValueError("a start is no node of the streets")
    ground = Ground(sides, pace(settings))
    grower = Grower(ground, Walker(ground, starts))
    bound = upper_bound(ground, settings.round_count)
    found = _Search(grower, settings, bound).best()
    rounds = [as_round(grower, chosen) for chosen in found]
    rounds.sort(key=lambda one: (-one.value, one.sides))
    value = sum(one.value for one in rounds)
    return RoundPlan(
        tuple(rounds), settings.round_count, value, bound, gap(value, bound), settings.canvasser_hours
    )


def as_round(grower: Grower, chosen: Sides) -> Round:
    """The sides ``chosen`` with their walk and what they amount to."""
    legs = tuple(grower.walker.route(chosen))
    return Round(
        tuple(sorted(chosen)),
        legs,
        int(sum(grower.ground.doors[side] for side in chosen)),
        grower.value(chosen),
        grower.walker.minutes(chosen),
        sum(leg.metres for leg in legs),
    )


class _Search:
    """The search for the best ``count`` rounds, and every round it ever met; it ends early where all is won."""

    def __init__(self, grower: Grower, settings: Rounds, bound: float) -> None:
        self.grower, self.settings, self.bound = grower, settings, bound
        self.count = settings.round_count
        self.free: Flags = grower.ground.worth.copy()
        self.met: dict[Sides, float] = {}

    def best(self) -> list[Sides]:
        """The best rounds found."""
        rounds = self._laid()
        for turn in range(self.settings.effort):
            if self._value(rounds) >= self.bound * (1 - SAME):
                return rounds
            rounds = self._relaid(rounds, turn)
        return self._filled_up(self._picked(rounds))

    def _value(self, rounds: Iterable[Sides]) -> float:
        return sum(map(self.grower.value, rounds))

    def _laid(self) -> list[Sides]:
        """Rounds one after the other, each the best of those that grow around the most promising places."""
        grower = self.grower
        nodes = np.arange(grower.ground.sides.node_count)
        waiting = list(zip((-grower.promises(nodes, self.free)).tolist(), nodes.tolist(), strict=True))
        heapq.heapify(waiting)
        rounds: list[Sides] = []
        while len(rounds) < self.count:
            seeds = self._seeds(waiting)
            if not seeds:
                break
            best = self._grown([node for _, node in seeds], self.free)
            if best is None:
                continue
            for seed in seeds:
                heapq.heappush(waiting, seed)
            best = self._mended(best, self.free)
            self._take(best)
            rounds.append(best)
        return rounds

    def _seeds(self, waiting: list[tuple[float, int]]) -> list[tuple[float, int]]:
        """The ``SEEDS`` most promising places, out of ``waiting``; what was promised before can only have shrunk."""
        seeds: list[tuple[float, int]] = []
        while waiting and len(seeds) < SEEDS:
            _, node = heapq.heappop(waiting)
            now = -float(self.grower.promises(np.array([node]), self.free)[0])
            if now >= 0:
                continue
            if waiting and (now, node) > waiting[0]:
                heapq.heappush(waiting, (now, node))
            else:
                seeds.append((now, node))
        return seeds

    def _grown(
        self,
        nodes: Sequence[int],
        free: Flags,
        taste: Floats | None = None,
        shares: Sequence[float] = GREEDY_SHARES,
    ) -> Sides | None:
        """The best round around one of ``nodes``, or None where there is none."""
        best: Sides | None = None
        for node in nodes:
            for share in shares:
                chosen = self.grower.grown(node, free, share, taste)
                if self._keep(chosen) and (best is None or self.grower.beats(chosen, best)):
                    best = chosen
        return best

    def _mended(self, chosen: Sides, free: Flags) -> Sides:
        mended = self.grower.mended(chosen, free)
        return mended if self._keep(mended) else chosen

    def _keep(self, chosen: Sides) -> bool:
        """Whether ``chosen`` has doors enough; then it is kept among all rounds met."""
        if not chosen or self.grower.ground.doors[sorted(chosen)].sum() < self.settings.least_doors:
            return False
        self.met.setdefault(chosen, self.grower.value(chosen))
        return True

    def _take(self, *rounds: Sides) -> None:
        for chosen in rounds:
            self.free[sorted(chosen)] = False

    def _give(self, *rounds: Sides) -> None:
        for chosen in rounds:
            self.free[sorted(chosen)] = True

    def _relaid(self, rounds: list[Sides], turn: int) -> list[Sides]:
        """``rounds`` after each was taken up, alone or with some beside it, grown anew, and kept if that won more.

        Where fewer rounds than asked for hold nearly all there is, only those are taken up that lie beside what is
        left, and one round more may come of them.
        """
        rng = np.random.default_rng([self.settings.seed, turn])
        rounds = sorted(rounds, key=sorted)
        for place in self._order(rounds, rng):
            if not rounds[place]:
                continue
            near = self._near(rounds[place])
            group = [place, *self._beside(rounds, place, near, rng)]
            old = [rounds[one] for one in group]
            more = min(1, self.count - sum(map(bool, rounds)))
            left = self._left(near) if more else []
            if more and not left:
                continue
            self._give(*old)
            new = self._anew(old, near, left, len(old) + more, rng)
            if self._value(new) > self._value(old) * (1 + SAME):
                self._take(*new)
                for one in group:
                    rounds[one] = new.pop() if new else frozenset()
                rounds += new
            else:
                self._take(*old)
        return [chosen for chosen in rounds if chosen]

    def _order(self, rounds: list[Sides], rng: np.random.Generator) -> list[int]:
        """Places of the rounds to take up, in the order in which that is tried."""
        order: list[int] = []
        while rounds and len(order) < max(len(rounds), LEAST_ATTEMPTS):
            order += rng.permutation(len(rounds)).tolist()
        return order[: max(len(rounds), LEAST_ATTEMPTS)]

    def _near(self, chosen: Sides) -> set[int]:
        """Nodes within reach of the round ``chosen``."""
        ground = self.grower.ground
        return {near for node in self.grower.nodes(chosen) for near in ground.near(node)[0].tolist()}

    def _left(self, near: set[int]) -> list[int]:
        """Sides at ``near`` nodes that no round has."""
        first, sides = self.grower.ground.sides_at
        nodes = np.array(sorted(near), dtype=np.int64)
        met = np.unique(sides[spans(first[nodes], first[nodes + 1])])
        return [int(side) for side in met[self.free[met]]]

    def _beside(self, rounds: list[Sides], place: int, near: set[int], rng: np.random.Generator) -> list[int]:
        """None, one or two of the rounds at ``near`` nodes, drawn."""
        beside = [n for n, one in enumerate(rounds) if n != place and near & self.grower.nodes(one)]
        return [beside[n] for n in rng.permutation(len(beside))[: rng.integers(3)].tolist()]

    def _anew(
        self, old: list[Sides], near: set[int], left: list[int], count: int, rng: np.random.Generator
    ) -> list[Sides]:
        """Up to ``count`` rounds in place of ``old``, grown with tastes drawn anew from places of theirs and from
        ``near`` ones, or at the sides ``left``; none where even mended they would hardly win as much."""
        free = self.free.copy()
        own, beyond = sorted(set().union(*map(self.grower.nodes, old))), sorted(near)
        if left:
            beyond = sorted(self.grower.nodes(frozenset(left)))
        new: list[Sides] = []
        parts = [] if rng.random() < ANEW_SHARE else [self._part(one, rng) for one in old]
        free[[side for part in parts for side in part]] = False
        for number in range(count):
            taste = np.exp(rng.uniform(*TASTES) * rng.standard_normal(len(free)))
            taste[left] *= TASTE_OF_LEFT
            chosen: Sides | None
            if number < len(parts):
                chosen = self.grower.filled(parts[number], free, self.grower.ground.value * taste)
                free[sorted(parts[number])] = True
                chosen = chosen if self._keep(chosen) else None
            else:
                seeds = [own[n] for n in rng.integers(len(own), size=SEEDS - 1)]
                seeds += [beyond[n] for n in rng.integers(len(beyond), size=1)]
                chosen = self._grown(seeds, free, taste, [rng.uniform(*GREEDY_SHARES)])
            if chosen is None:
                break
            free[sorted(chosen)] = False
            new.append(chosen)
        if self._value(new) < HOPELESS * self._value(old):
            return []
        for place, chosen in enumerate(new):
            new[place] = self._mended(chosen, free)
            free[sorted(chosen)] = True
            free[sorted(new[place])] = False
        return new

    def _part(self, chosen: Sides, rng: np.random.Generator) -> Sides:
        """What stays of the round ``chosen`` when a drawn share of its sides is taken out around a drawn node."""
        ground, sides = self.grower.ground, sorted(chosen)
        nodes = sorted(self.grower.nodes(chosen))
        around = nodes[rng.integers(len(nodes))]
        ends = zip(*(ground.ends[k][sides].tolist() for k in (0, 1)), strict=True)
        away = [min(ground.metres(around, node) for node in two) for two in ends]
        order = np.lexsort((sides, away))
        out = max(1, int(rng.uniform(*TAKEN_OUT) * len(sides)))
        return frozenset(sides[n] for n in order[out:].tolist())

    def _filled_up(self, rounds: list[Sides]) -> list[Sides]:
        """``rounds``, each with what it still has time for of what no other has."""
        self.free = self.grower.ground.worth.copy()
        self._take(*rounds)
        full = []
        for chosen in sorted(rounds, key=sorted):
            full.append(self.grower.filled(chosen, self.free, self.grower.ground.value))
            self._take(full[-1])
        return full

    def _picked(self, rounds: list[Sides]) -> list[Sides]:
        """The most valuable set of all rounds met that uses no side twice; ``rounds`` where nothing better is found."""
        if len(rounds) < self.count:
            return rounds
        met = sorted(self.met, key=sorted)
        value = np.array([self.met[one] for one in met])
        column = np.repeat(np.arange(len(met)), [len(one) for one in met])
        row = np.array([side for one in met for side in sorted(one)])
        _, row = np.unique(row, return_inverse=True)
        row, column = np.append(row, np.full(len(met), row.max() + 1)), np.append(column, np.arange(len(met)))
        uses = coo_array((np.ones(len(row)), (row, column)))
        most = np.append(np.ones(uses.shape[0] - 1), float(self.count))
        solved = milp(
            -value,
            integrality=np.ones(len(met)),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(uses.tocsr(), ub=most),
            options={"mip_rel_gap": 1e-4, "node_limit": MOST_NODES},
        )
        picked = [] if solved.x is None else [one for one, x in zip(met, solved.x, strict=True) if x > 0.5]
        return picked if self._value(picked) > self._value(rounds) * (1 + SAME) else rounds


def sides_of(plan: RoundPlan) -> Iterator[tuple[int, int, int]]:
    """Each side of the plan as (round number from 1, segment, side), in the order in which it is walked."""
    for number, one in enumerate(plan.rounds, start=1):
        for leg in one.legs:
            for side in leg.sides:
                yield number, leg.segment, side
