"""What has to be known of groups of homes to tell whether their sums may be shown, and which groups join."""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Positions = NDArray[np.intp]


@dataclass(frozen=True)
class Rule:
    """When a sum may be shown: it is one of at least ``least_homes``, none of which has more than ``most_share``.

    With no more than 0.4 for one home, whoever knows their own litres and subtracts them is left with at least one
    and a half times those of any other home, so the second largest can't work out the largest.
    """

    least_homes: int
    most_share: float


@dataclass(frozen=True)
class Tally:
    """Homes [groups], and of each measure the sum and the largest home's part [groups, measures; L/yr]."""

    count: NDArray[np.int64]
    total: Floats
    largest: Floats

    @classmethod
    def of(cls, group: Positions, litres: Floats, groups: int) -> Tally:
        """Homes with ``litres`` [homes, measures], each in ``group`` [homes; -1 for none] of ``groups``."""
        placed = group >= 0
        at, known = group[placed], litres[placed]
        total, largest = np.zeros((2, groups, litres.shape[1]))
        np.add.at(total, at, known)
        np.maximum.at(largest, at, known)
        return cls(np.bincount(at, minlength=groups), total, largest)

    def shows(self, rule: Rule) -> NDArray[np.bool_]:
        """Whether each group's sums may be shown by ``rule`` [groups]."""
        level = (self.largest <= rule.most_share * self.total * (1 + 1e-12)).all(axis=1)
        return np.asarray((self.count >= rule.least_homes) & level)

    def together(self, groups: NDArray[np.bool_] | Positions) -> Tally:
        """``groups`` (positions or flags) as one group."""
        count, total = self.count[groups].sum(keepdims=True), self.total[groups].sum(axis=0, keepdims=True)
        return Tally(count, total, self.largest[groups].max(axis=0, initial=0, keepdims=True))


def joined(tally: Tally, neighbours: Iterable[tuple[int, int]], rule: Rule) -> Positions:
    """Which group each group [groups] is joined to, itself if to none, until all may be shown that can be.

    Again and again, of those that may not be shown the one with the fewest homes is joined to whichever of its
    neighbours has the fewest; among equals the first goes first. A joined group has the position of its first.
    Groups without homes take no part.
    """
    count, total, largest = tally.count.copy(), tally.total.copy(), tally.largest.copy()
    beside: dict[int, set[int]] = {one: set() for one in range(len(count))}
    for one, other in neighbours:
        if count[one] == 0 or count[other] == 0:
            continue
        beside[one].add(other)
        beside[other].add(one)
    root = np.arange(len(count))
    waiting = [(int(count[one]), int(one)) for one in np.flatnonzero(~tally.shows(rule) & (count > 0))]
    heapq.heapify(waiting)
    while waiting:
        homes, one = heapq.heappop(waiting)
        if root[one] != one or count[one] != homes or not beside[one]:
            continue
        if Tally(count, total, largest).together(np.array([one])).shows(rule)[0]:
            continue
        other = min(beside[one], key=lambda near: (count[near], near))
        kept, gone = sorted((one, other))
        root[gone] = kept
        count[kept] += count[gone]
        total[kept] += total[gone]
        largest[kept] = np.maximum(largest[kept], largest[gone])
        beside[kept] = (beside[kept] | beside.pop(gone)) - {kept, gone}
        for near in beside[kept]:
            beside[near].discard(gone)
            beside[near].add(kept)
        heapq.heappush(waiting, (int(count[kept]), kept))
    for one in range(len(root)):
        root[one] = root[root[one]]
    return root


def hidden(tally: Tally, left_out: Tally, rule: Rule) -> NDArray[np.bool_]:
    """Which groups [groups] are hidden: those that may not be shown, and as many more as protect them.

    All that is hidden, with ``left_out`` (one group: homes in none), can be worked out by whoever has a total. So
    together it must be empty or something that may be shown itself; the smallest shown group joins it until then.
    """
    away = ~tally.shows(rule)
    order = sorted(np.flatnonzero(~away), key=lambda one: (tally.count[one], one))
    for one in order:
        rest = _both(tally.together(away), left_out)
        if rest.count[0] == 0 or rest.shows(rule)[0]:
            return away
        away[one] = True
    return away


def _both(one: Tally, other: Tally) -> Tally:
    return Tally(one.count + other.count, one.total + other.total, np.maximum(one.largest, other.largest))
