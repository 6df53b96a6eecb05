"""One round at a time: grown from a place side by side, filled up as a knapsack, and mended by taking parts out.

Which side comes next is judged by its value for each minute that it adds, its walk estimated from the places the
round already reaches; whether a round fits its shift is always settled by the walk itself.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from harvest.plan.round_graph import Flags, Floats, Ground, Integers, spans
from harvest.plan.round_route import Walker

DETOUR = 1.3
"""Walks to a side that does not touch the round, over their length: part of the way back is walked too."""

BINS = 240
"""Steps into which the time left is cut when a round is filled up."""

OFFERED = 40
"""Sides that compete for the time left: the best for each minute."""

MOST_DROPS = 20
"""Parts that are taken out of a round in turn, in search of a better one."""

DETOUR_OF_DROPS = 2.0
"""Walk that goes with a part taken out, at most, over its length."""

NODES_AT_ONCE = 500
"""Places whose promise is worked out at once."""

SAME = 1e-9
"""Values closer than this share are equal."""

Sides = frozenset[int]


@dataclass(frozen=True)
class Offers:
    """Sides that a round could take next, and the minutes that each would add, as estimated."""

    sides: Integers
    minutes: Floats


class Grower:
    """Grows rounds on ``ground``; ``walker`` knows how long they take."""

    def __init__(self, ground: Ground, walker: Walker) -> None:
        self.ground, self.walker = ground, walker
        self._from, self._to = ground.ends
        self._away = np.full(ground.sides.node_count, np.inf)
        self._within: Flags = np.zeros(len(ground.value), dtype=bool)
        self._taken: Flags = np.zeros(len(ground.value), dtype=bool)
        self._second_m = np.repeat(ground.both_m, 2) - ground.length
        self._values: list[float] = ground.value.tolist()

    def value(self, chosen: Sides) -> float:
        """Value of the sides ``chosen``."""
        return sum(self._values[side] for side in sorted(chosen))

    def nodes(self, chosen: Sides) -> set[int]:
        """Nodes at the ends of the sides ``chosen``."""
        sides = sorted(chosen)
        return set(self._from[sides].tolist()) | set(self._to[sides].tolist())

    def offers(self, nodes: set[int], chosen: Sides, free: Flags) -> Offers:
        """What a round with the sides ``chosen`` that reaches ``nodes`` could take next, out of the sides ``free``."""
        ground, away, within, taken = self.ground, self._away, self._within, self._taken
        for node in nodes:
            near, metres = ground.near(node)
            away[near] = np.minimum(away[near], metres)
            within[ground.near_sides(node)] = True
        mine = list(chosen)
        taken[mine] = True
        within[mine] = False
        sides = np.flatnonzero(within)
        within[sides] = False
        sides = sides[free[sides]]
        extra = ground.length[sides] + DETOUR * np.minimum(away[self._from[sides]], away[self._to[sides]])
        second = taken[sides ^ 1]
        extra[second] = self._second_m[sides[second]]
        taken[mine] = False
        for node in nodes:
            away[ground.near(node)[0]] = np.inf
        return Offers(sides, ground.minutes[sides] + extra / ground.pace.metres_a_min)

    def promises(self, nodes: Integers, free: Flags) -> Floats:
        """Roughly the most value that one shift can win around each of ``nodes`` [n]."""
        ground = self.ground
        first, near, metres = ground.near_pairs
        found = []
        for some in np.array_split(nodes, max(1, len(nodes) // NODES_AT_ONCE)):
            pairs = spans(first[some], first[some + 1])
            place = np.repeat(np.arange(len(some)), first[some + 1] - first[some])
            at, sides = ground.sides_at
            number = at[near[pairs] + 1] - at[near[pairs]]
            side = sides[spans(at[near[pairs]], at[near[pairs] + 1])]
            place, away = np.repeat(place, number), np.repeat(metres[pairs], number)
            left = free[side]
            found.append(self._promises(some, place[left], side[left], away[left]))
        return np.concatenate(found)

    def _promises(self, nodes: Integers, place: Integers, side: Integers, away: Floats) -> Floats:
        """Value that a shift can win around ``nodes`` [n]; ``side`` [m] ends ``away`` [m; m] from ``place`` [m]."""
        ground = self.ground
        order = np.lexsort((away, side, place))
        nearer = np.ones(len(order), dtype=bool)
        nearer[1:] = (place[order[1:]] != place[order[:-1]]) | (side[order[1:]] != side[order[:-1]])
        order = order[nearer]
        place, side, away = place[order], side[order], away[order]
        minutes = ground.minutes[side] + (ground.length[side] + DETOUR * away) / ground.pace.metres_a_min
        value = ground.value[side]
        order = np.lexsort((side, -value / minutes, place))
        place, value, minutes = place[order], value[order], minutes[order]
        until = np.cumsum(minutes)
        begun = np.searchsorted(place, np.arange(len(nodes)))
        until -= np.append(0.0, until)[begun][place]
        shift = ground.pace.shift_min - np.array([self.walker.minutes_from_start(n) for n in nodes.tolist()])
        part = np.clip((shift[place] - until) / minutes + 1, 0, 1)
        return np.asarray(np.bincount(place, value * part, len(nodes)) * (shift > 0), dtype=np.float64)

    def grown(self, node: int, free: Flags, greedy_share: float, taste: Floats | None = None) -> Sides:
        """A round around ``node``: side by side for ``greedy_share`` of the shift, then filled up.

        ``taste`` [2 s] multiplies values while it grows, for variety; None leaves them as they are.
        """
        value = self.ground.value if taste is None else self.ground.value * taste
        chosen: Sides = frozenset()
        nodes, used, most = {node}, self.walker.minutes_from_start(node), self.ground.pace.shift_min
        while used < greedy_share * most:
            offers = self.offers(nodes, chosen, free)
            fits = np.flatnonzero(offers.minutes <= most - used)
            if not len(fits):
                break
            best = fits[np.argmax(value[offers.sides[fits]] / offers.minutes[fits])]
            chosen |= {int(offers.sides[best])}
            used += float(offers.minutes[best])
            nodes = self.nodes(chosen)
        while self.walker.minutes(chosen) > most:
            poorest = min(chosen, key=lambda side: (value[side] / self.ground.minutes[side], side))
            chosen -= {poorest}
            nodes = self.nodes(chosen) or {node}
        return self.filled(chosen, free, value, nodes)

    def filled(self, chosen: Sides, free: Flags, value: Floats, nodes: set[int] | None = None) -> Sides:
        """``chosen`` with as much ``value`` [2 s] added as the rest of the shift holds."""
        nodes = nodes or self.nodes(chosen)
        while nodes:
            more = self._fill(chosen, free, value, nodes)
            if more == chosen:
                break
            chosen = more
            nodes = self.nodes(chosen)
        return chosen

    def _fill(self, chosen: Sides, free: Flags, value: Floats, nodes: set[int]) -> Sides:
        shift = self.ground.pace.shift_min
        left = shift - self.walker.minutes(chosen)
        offers = self.offers(nodes, chosen, free)
        fits = np.flatnonzero(offers.minutes <= left)
        ratio = value[offers.sides[fits]] / offers.minutes[fits]
        fits = fits[np.argsort(-ratio, kind="stable")[:OFFERED]]
        sides, minutes = offers.sides[fits], offers.minutes[fits]
        for _ in range(4):
            if left <= 0 or not len(sides):
                break
            added = sides[knapsack(value[sides], minutes, left)]
            more = chosen.union(added.tolist())
            over = self.walker.minutes(more) - shift
            if over <= 0:
                return more
            left -= over + left / BINS
        for side in sides[np.argsort(-value[sides], kind="stable")].tolist():
            more = chosen | {side}
            if self.walker.minutes(more) <= shift:
                return more
        return chosen

    def mended(self, chosen: Sides, free: Flags) -> Sides:
        """``chosen`` after parts were taken out and the time filled up anew, for as long as that wins more."""
        free = free.copy()
        free[sorted(chosen)] = True
        best, seen = chosen, {chosen}
        better = bool(chosen)
        while better:
            better = False
            for drop in self._drops(best, free):
                kept = best - drop
                if not kept or kept in seen:
                    continue
                seen.add(kept)
                other = self.filled(kept, free, self.ground.value)
                if self.beats(other, best):
                    best, better = other, True
                    break
        return best

    def beats(self, one: Sides, other: Sides) -> bool:
        """Whether ``one`` wins more than ``other``, or as much in less time."""
        gain = self.value(one) - self.value(other)
        if abs(gain) > SAME * self.value(other):
            return gain > 0
        return self.walker.minutes(one) < self.walker.minutes(other) - SAME

    def _drops(self, chosen: Sides, free: Flags) -> list[Sides]:
        """Parts to take out, the most promising first, at most ``MOST_DROPS``: each side, each segment, what meets at
        each node, and the poorest two.

        What a part promises is what its time and the time left could win elsewhere, as a knapsack of which parts may
        be taken, less its own value; parts that promise nothing are left out.
        """
        ground = self.ground
        offers = self.offers(self.nodes(chosen), chosen, free)
        value = ground.value[offers.sides]
        order = np.argsort(-value / offers.minutes, kind="stable")
        until = np.append(0.0, np.cumsum(offers.minutes[order]))
        won = np.append(0.0, np.cumsum(value[order]))
        parts = list(dict.fromkeys(self._parts(chosen)))
        walk = DETOUR_OF_DROPS * ground.length / ground.pace.metres_a_min
        freed = np.array([sum(ground.minutes[side] + walk[side] for side in part) for part in parts])
        lost = np.array([self.value(part) for part in parts])
        left = ground.pace.shift_min - self.walker.minutes(chosen)
        promise = np.interp(left + freed, until, won) - lost
        order = np.argsort(-promise, kind="stable")[:MOST_DROPS]
        return [parts[n] for n in order.tolist() if promise[n] > 0]

    def _parts(self, chosen: Sides) -> Iterator[Sides]:
        order = sorted(chosen, key=lambda side: (self._values[side] / self.ground.minutes[side], side))
        for side in order:
            yield frozenset([side])
        for side in order:
            if side % 2 == 0 and side + 1 in chosen:
                yield frozenset([side, side + 1])
        for one, other in itertools.pairwise(order):
            yield frozenset([one, other])
        for node in sorted(self.nodes(chosen)):
            met = frozenset(s for s in order if node in (self._from[s], self._to[s]))
            if 2 < len(met) < len(chosen):
                yield met


def knapsack(value: Floats, minutes: Floats, left: float) -> Integers:
    """Places among ``value`` [n] of the items that together are worth most within ``left`` minutes.

    Solved exactly on times rounded up to 1/``BINS`` of ``left``, so that what is chosen always fits.
    """
    bins = np.ceil(minutes / left * BINS - 1e-9).astype(np.int64)
    best = np.zeros(BINS + 1)
    taken = np.zeros((len(value), BINS + 1), dtype=bool)
    for item, (worth, width) in enumerate(zip(value.tolist(), bins.tolist(), strict=True)):
        if width > BINS:
            continue
        with_it = best[: BINS + 1 - width] + worth
        better = with_it > best[width:]
        taken[item, width:] = better
        best[width:] = np.where(better, with_it, best[width:])
    found, room = [], BINS
    for item in range(len(value) - 1, -1, -1):
        if taken[item, room]:
            found.append(item)
            room -= int(bins[item])
    return np.array(found[::-1], dtype=np.int64)
