"""The walk of one round: how long it is, and along which streets.

Every side of the round is walked along, once; what remains is to join the pieces and to have no more loose ends than
a walk may have (two, or one where its start is given, or none where the way back counts). Pieces are joined by
shortest walks; loose ends are paired so that the walks between them are shortest in all, exactly for up to
``EXACT_ENDS`` of them. Where both sides of a street are worked, out and back or one pass with crossings is chosen for
each so that the whole walk is shortest.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from harvest.plan.round_graph import Ground

EXACT_ENDS = 8
"""Loose ends beyond this number are paired nearest first."""

LOOSE_END = 0.6
"""What a loose end costs where pieces are joined so that few are left, over the mean length of a segment."""

WAYS_BETWEEN = 6
"""Between two pieces of a round so many of the shortest walks are compared."""


@dataclass(frozen=True)
class Leg:
    """One street segment on the way: from which node to which, which of its sides are worked, metres walked."""

    segment: int
    node_from: int
    node_to: int
    sides: tuple[int, ...]
    metres: float


@dataclass(frozen=True)
class _Frame:
    """What is walked: segments in one pass, links beyond the sides, loose ends before these, and metres in all."""

    metres: float
    one_pass: frozenset[int]
    links: tuple[tuple[int, int], ...] = ()
    loose: frozenset[int] = frozenset()


@dataclass(frozen=True)
class _Pieces:
    """How many pieces of a round do not touch, and walks (metres, node, node, piece, piece) between these."""

    ways: list[tuple[float, int, int, int, int]]
    count: int
    joinable: bool

    def links(self, odd: Collection[int], loose_m: float) -> list[tuple[float, int, int]]:
        """Walks that join all pieces, nearest pieces first.

        Between two pieces that walk counts for which its length, plus ``loose_m`` for each end that becomes loose and
        less that much for each of the ends ``odd`` that no longer is, comes out least.
        """
        root = list(range(self.count))
        odd, found = set(odd), list[tuple[float, int, int]]()
        for metres, u, v, piece, other in self.ways:
            first, second = root[piece], root[other]
            if first == second:
                continue
            best, least = (metres, u, v), np.inf
            for metres, u, v, piece, other in self.ways if loose_m else ():
                if {root[piece], root[other]} == {first, second}:
                    cost = metres + (-loose_m if u in odd else loose_m) + (-loose_m if v in odd else loose_m)
                    if cost < least:
                        best, least = (metres, u, v), cost
            found.append(best)
            odd ^= {best[1], best[2]}
            root = [first if one == second else one for one in root]
            if len(found) == self.count - 1:
                break
        return found


class Walker:
    """Walks on ``ground``, from ``start`` nodes where there are any (the nearest one counts)."""

    def __init__(self, ground: Ground, starts: Collection[int] = ()) -> None:
        self.ground = ground
        self.starts = sorted(set(starts))
        self._start_m: list[list[float]] = [ground.from_node(start).tolist() for start in self.starts]
        self._known: dict[frozenset[int], float] = {}
        self._pairs: dict[tuple[frozenset[int], int], tuple[float, list[tuple[int, int]]]] = {}
        sides = ground.sides
        self._ends = list(zip(sides.node_from.tolist(), sides.node_to.tolist(), strict=True))
        self._length = sides.length_m.tolist()
        self._one_pass = ground.one_pass_m.tolist()
        self._minutes = ground.minutes.tolist()

    def minutes(self, chosen: frozenset[int]) -> float:
        """Time [min] that the sides ``chosen`` take: at their doors and on the shortest walk found."""
        if chosen not in self._known:
            metres = self.frame(chosen).metres
            self._known[chosen] = metres / self.ground.pace.metres_a_min + sum(
                self._minutes[side] for side in sorted(chosen)
            )
        return self._known[chosen]

    def metres(self, chosen: frozenset[int]) -> float:
        """Length [m] of the shortest walk found that works the sides ``chosen``; infinite if no street joins them."""
        return self.frame(chosen).metres

    def frame(self, chosen: frozenset[int]) -> _Frame:
        """What has to be walked for the sides ``chosen``, before it is put in order."""
        worked: dict[int, int] = {}
        for side in sorted(chosen):
            worked[side // 2] = worked.get(side // 2, 0) + 1
        start = self._start(worked)
        pieces = self._pieces(worked, start)
        double = [s for s, times in worked.items() if times == 2]
        shorter = frozenset(s for s in double if self._one_pass[s] < 2 * self._length[s])
        best = self._joined(worked, shorter, start, pieces)
        choice = [s for s in double if self._one_pass[s] < 3 * self._length[s]]
        better = bool(best.links or shorter)
        while better:
            better = False
            for segment in choice:
                if segment in best.one_pass or best.loose.intersection(self._ends[segment]):
                    other = self._joined(worked, best.one_pass ^ {segment}, start, pieces)
                    if other.metres < best.metres - 1e-9:
                        best, better = other, True
        return best

    def _start(self, worked: dict[int, int]) -> int | None:
        if not self.starts or not worked:
            return None
        nodes = {node for segment in worked for node in self._ends[segment]}
        walks = [min(far[node] for node in nodes) for far in self._start_m]
        return self.starts[walks.index(min(walks))]

    def minutes_from_start(self, node: int) -> float:
        """Walk [min] to ``node`` from the nearest start, and back where that counts; 0 where no start is set."""
        if not self.starts:
            return 0.0
        metres = min(far[node] for far in self._start_m)
        return metres * (2 if self.ground.pace.back else 1) / self.ground.pace.metres_a_min

    def _joined(
        self, worked: dict[int, int], one_pass: frozenset[int], start: int | None, pieces: _Pieces
    ) -> _Frame:
        """The walk when the segments of ``one_pass`` are worked in one pass, the other double ones out and back."""
        metres, odd = 0.0, set[int]()
        for segment, times in worked.items():
            if times == 1 or segment in one_pass:
                metres += self._length[segment] if times == 1 else self._one_pass[segment]
                one, other = self._ends[segment]
                if one != other:
                    odd ^= {one, other}
            else:
                metres += 2 * self._length[segment]
        free = 0 if self.ground.pace.back else 2
        if start is not None and free:
            odd ^= {start}
            free = 1
        if pieces.count < 2:
            length, pairs = self._paired(odd, free)
            return _Frame(metres + length, one_pass, tuple(pairs), frozenset(odd))
        if not pieces.joinable:
            return _Frame(np.inf, one_pass)
        mean_m = sum(self._length[segment] for segment in worked) / len(worked)
        found = []
        for loose_m in (0.0, LOOSE_END * mean_m):
            links = pieces.links(odd, loose_m)
            left = set(odd)
            for _, one, other in links:
                left ^= {one, other}
            length, pairs = self._paired(left, free)
            length += sum(link[0] for link in links)
            walked = (*(link[1:] for link in links), *pairs)
            found.append(_Frame(metres + length, one_pass, walked, frozenset(odd)))
        return min(found, key=lambda one: one.metres)

    def _pieces(self, worked: dict[int, int], start: int | None) -> _Pieces:
        """The pieces that the segments ``worked`` hang together in, and the walks between them."""
        groups: list[set[int]] = [] if start is None else [{start}]
        for segment in worked:
            ends = set(self._ends[segment])
            met = [group for group in groups if group & ends]
            groups = [group for group in groups if not group & ends]
            groups.append(ends.union(*met))
        if len(groups) < 2:
            return _Pieces([], len(groups), True)
        for far in (self.ground.near_metres, self.ground.metres):
            ways: list[tuple[float, int, int, int, int]] = []
            for (piece, one), (other, two) in itertools.combinations(enumerate(groups), 2):
                between = sorted([(far(u, v), u, v, piece, other) for u in one for v in two])[:WAYS_BETWEEN]
                ways += [way for way in between if way[0] < np.inf]
            pieces = _Pieces(sorted(ways), len(groups), True)
            if len(pieces.links((), 0.0)) == len(groups) - 1:
                return pieces
        return _Pieces([], len(groups), False)

    def _paired(self, odd: set[int], free: int) -> tuple[float, list[tuple[int, int]]]:
        """Walks [m] that pair the loose ends ``odd``, all but ``free`` of them, and these pairs."""
        if len(odd) <= free:
            return 0.0, []
        if len(odd) > EXACT_ENDS:
            return self._paired_nearest(odd, free)
        ends = frozenset(odd)
        if (ends, free) not in self._pairs:
            self._pairs[ends, free] = self._paired_best(sorted(odd), free)
        return self._pairs[ends, free]

    def _paired_best(self, nodes: list[int], free: int) -> tuple[float, list[tuple[int, int]]]:
        known: dict[tuple[int, int], tuple[float, tuple[tuple[int, int], ...]]] = {}
        far = {two: self.ground.metres(*two) for two in itertools.combinations(nodes, 2)}

        def best(left: int, free: int) -> tuple[float, tuple[tuple[int, int], ...]]:
            if left.bit_count() <= free:
                return 0.0, ()
            if (left, free) not in known:
                first = (left & -left).bit_length() - 1
                rest = left & (left - 1)
                found = best(rest, free - 1) if free else (np.inf, ())
                for second in range(first + 1, len(nodes)):
                    if rest >> second & 1:
                        length, pairs = best(rest & ~(1 << second), free)
                        two = nodes[first], nodes[second]
                        if length + far[two] < found[0]:
                            found = length + far[two], (two, *pairs)
                known[left, free] = found
            return known[left, free]

        length, pairs = best((1 << len(nodes)) - 1, free)
        return length, list(pairs)

    def _paired_nearest(self, odd: set[int], free: int) -> tuple[float, list[tuple[int, int]]]:
        far = self.ground.metres
        ways = sorted((far(*two), two) for two in itertools.combinations(sorted(odd), 2))
        left, length, pairs = set(odd), 0.0, list[tuple[int, int]]()
        for metres, two in ways:
            if len(left) > free and left.issuperset(two):
                left -= set(two)
                length += metres
                pairs.append(two)
        return length, pairs

    def route(self, chosen: frozenset[int]) -> list[Leg]:
        """The walk in order, leg by leg; the legs' metres add up to :meth:`metres`.

        Raises ``ValueError`` where no street joins the sides.
        """
        frame = self.frame(chosen)
        if not np.isfinite(frame.metres):
            raise ValueError("no street joins the sides of this round")
        edges = self._edges(chosen, frame)
        at: dict[int, list[int]] = {}
        for number, leg in enumerate(edges):
            at.setdefault(leg.node_from, []).append(number)
            if leg.node_to != leg.node_from:
                at.setdefault(leg.node_to, []).append(number)
        if not at:
            return []
        return _in_order(edges, at, self._first(chosen, edges, at))

    def _first(self, chosen: frozenset[int], edges: list[Leg], at: dict[int, list[int]]) -> int:
        start = self._start(dict.fromkeys(sorted({side // 2 for side in chosen}), 1))
        if start is not None:
            return start
        loops = {leg.node_from for leg in edges if leg.node_from == leg.node_to}
        odd = [
            node
            for node, met in sorted(at.items())
            if (len(met) + sum(edges[n].node_from == edges[n].node_to for n in met if node in loops)) % 2
        ]
        return odd[0] if odd else min(at)

    def _edges(self, chosen: frozenset[int], frame: _Frame) -> list[Leg]:
        edges = []
        for segment in sorted({side // 2 for side in chosen}):
            one, other = self._ends[segment]
            sides = tuple(k for k in (0, 1) if 2 * segment + k in chosen)
            if len(sides) == 2 and segment in frame.one_pass:
                edges.append(Leg(segment, one, other, sides, self._one_pass[segment]))
            else:
                edges += [Leg(segment, one, other, (k,), self._length[segment]) for k in sides]
        for link in frame.links:
            edges += [Leg(s, u, v, (), self._length[s]) for s, u, v in self.ground.path(*link)]
        return edges


def _in_order(edges: list[Leg], at: dict[int, list[int]], first: int) -> list[Leg]:
    """The legs ``edges`` as one walk from ``first`` (Hierholzer's way), each turned to the way it is walked."""
    waiting = {node: sorted(met, reverse=True) for node, met in at.items()}
    walked: set[int] = set()
    stack: list[tuple[int, int | None]] = [(first, None)]
    found: list[tuple[int, int]] = []
    while stack:
        here, came = stack[-1]
        met = waiting[here]
        while met and met[-1] in walked:
            met.pop()
        if met:
            number = met.pop()
            walked.add(number)
            leg = edges[number]
            stack.append((leg.node_to if leg.node_from == here else leg.node_from, number))
        else:
            stack.pop()
            if came is not None:
                found.append((came, here))
    legs = []
    for number, end in reversed(found):
        leg = edges[number]
        turned = leg.node_to != end
        ends = (leg.node_to, leg.node_from) if turned else (leg.node_from, leg.node_to)
        legs.append(Leg(leg.segment, *ends, leg.sides, leg.metres))
    return legs
