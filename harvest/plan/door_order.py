"""The order in which the walk of a round comes to its doors."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from harvest.plan.round_graph import Floats, Integers
from harvest.plan.round_route import Leg


def doors_in_order(
    legs: Iterable[Leg],
    segment: Integers,
    side: Integers,
    along_m: Floats,
    node_from: Integers,
) -> Integers:
    """Rows of the doors [n] in the order in which ``legs`` come to them.

    ``segment``, ``side`` [n] say where each door is and ``along_m`` [n; m] how far from the segment's ``node_from``
    [s]. Doors of one side come as they stand. In one pass along both sides they come as they stand too where one side
    has at least twice as many; else door by door of the shorter row, each with its share of the other row, across
    after the first and back before the second. Doors on no side of the legs are left out; equal places go by row.
    """
    rows: dict[tuple[int, int], list[int]] = {}
    order = np.lexsort((np.arange(len(along_m)), along_m, side, segment))
    for row in order.tolist():
        rows.setdefault((int(segment[row]), int(side[row])), []).append(row)
    found: list[int] = []
    for leg in legs:
        strips = [rows.get((leg.segment, k), []) for k in leg.sides]
        if leg.node_from != node_from[leg.segment]:
            strips = [strip[::-1] for strip in strips]
        found += strips[0] if len(strips) == 1 else _one_pass(strips, along_m)
    return np.array(found, dtype=np.int64)


def _one_pass(strips: list[list[int]], along_m: Floats) -> list[int]:
    """Rows of both ``strips``, each in walking order, so that the street is crossed seldom."""
    fewer, more = sorted(strips, key=len) if strips else ([], [])
    if len(more) >= 2 * len(fewer):
        first, last = (more[0], more[-1]) if more else (0, 0)
        forward = not more or along_m[first] <= along_m[last]
        return sorted(fewer + more, key=lambda row: along_m[row] if forward else -along_m[row])
    found: list[int] = []
    taken = 0
    for number, row in enumerate(fewer, start=1):
        share = more[taken : round(number * len(more) / len(fewer))]
        taken += len(share)
        found += [row, *share] if number % 2 else [*share, row]
    return found
