"""From doors on street segments to the sides that rounds are made of; long sides are cut so that they fit a shift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harvest.findings import Finding
from harvest.plan.canvass_time import Pace
from harvest.plan.round_graph import Floats, Integers, StreetSides

MOST_SHARE = 0.5
"""A side that takes more of a shift than this is cut, so that rounds can be put together well."""


@dataclass(frozen=True)
class LaidOut:
    """``sides`` [s segments, long ones in parts]; ``whole_id`` [s], the segment that each part is of; for each door [n]
    ``door_row``, its row in ``sides``, and ``door_along_m`` [m] from that part's first node."""

    sides: StreetSides
    whole_id: NDArray[np.str_]
    door_row: Integers
    door_along_m: Floats


def laid_out(
    segment_id: Sequence[str],
    node_from: ArrayLike,
    node_to: ArrayLike,
    length_m: ArrayLike,
    no_crossing: ArrayLike,
    street: Sequence[str] | None,
    *,
    door_segment_id: Sequence[str],
    door_side: ArrayLike,
    door_along_m: ArrayLike,
    door_count: ArrayLike,
    door_value: ArrayLike,
    door_minutes: ArrayLike,
    pace: Pace,
) -> LaidOut:
    """Sides with their doors added up.

    The columns before the star are those of :meth:`StreetSides.of` [s], with nodes as whole numbers of at least 0.
    One row a parcel [n]: the id of its segment, side (0 or 1), metres along from ``node_from``, doors (units), and the
    value and minutes of them all. A segment of which a side takes more than ``MOST_SHARE`` of a shift, or whose walk
    does, is cut into parts of equal length, named "id/1", "id/2" ...; doors at one place can't be parted.

    Raises ``ValueError`` for a door on no segment, or a side that is neither 0 nor 1.
    """
    ids = np.asarray(segment_id, dtype=np.str_)
    ends = np.column_stack([np.asarray(node_from, dtype=np.int64), np.asarray(node_to, dtype=np.int64)])
    length, busy = np.asarray(length_m, dtype=np.float64), np.asarray(no_crossing, dtype=bool)
    names = ids if street is None else np.asarray(street, dtype=np.str_)
    row = _rows(ids, np.asarray(door_segment_id, dtype=np.str_))
    side, along = np.asarray(door_side, dtype=np.int64), np.asarray(door_along_m, dtype=np.float64)
    if not np.isin(side, (0, 1)).all():
        raise ValueError("a door is on side 0 or side 1")
    minutes = np.asarray(door_minutes, dtype=np.float64)

    longest = np.maximum(_sums(row, side, minutes, len(ids)).max(axis=1), length / pace.metres_a_min)
    parts = np.maximum(np.ceil(longest / (MOST_SHARE * pace.shift_min) - 1e-9), 1).astype(np.int64)
    first = np.cumsum(parts) - parts
    whole = np.repeat(np.arange(len(ids)), parts)
    place = np.arange(len(whole)) - first[whole]
    part_m = length[whole] / parts[whole]
    each_m = np.where(length > 0, length / parts, 1.0)
    at = np.minimum((along / each_m[row]).astype(np.int64), parts[row] - 1)
    part = first[row] + np.maximum(at, 0)

    between = ends.max(initial=0) + 1 + np.cumsum(np.where(place > 0, 1, 0)) - 1
    from_here = np.where(place == 0, ends[whole, 0], between)
    to_there = np.where(place == parts[whole] - 1, ends[whole, 1], np.append(between[1:], 0))
    cut = parts[whole] > 1
    part_id = np.where(
        cut, np.char.add(np.char.add(ids[whole], "/"), (place + 1).astype(np.str_)), ids[whole]
    )
    sides = StreetSides.of(
        part_id,
        from_here,
        to_there,
        part_m,
        busy[whole],
        _sums(part, side, np.asarray(door_count, dtype=np.float64), len(whole)).astype(np.int64),
        _sums(part, side, np.asarray(door_value, dtype=np.float64), len(whole)),
        _sums(part, side, minutes, len(whole)),
        names[whole],
    )
    order = np.argsort(part_id, kind="stable")
    now = np.argsort(order)
    return LaidOut(sides, ids[whole][order], now[part], along - place[part] * part_m[part])


def _rows(ids: NDArray[np.str_], wanted: NDArray[np.str_]) -> Integers:
    order = np.argsort(ids, kind="stable")
    found = order[np.minimum(np.searchsorted(ids, wanted, sorter=order), len(ids) - 1)]
    strange = wanted[ids[found] != wanted]
    if len(strange):
        raise ValueError(f"a door is on segment {strange[0]}, which is not there")
    return np.asarray(found)


def _sums(row: Integers, side: Integers, amount: Floats, count: int) -> Floats:
    """Sums [count, 2] by segment and side, added in an order that rows do not matter to."""
    order = np.lexsort((amount, side, row))
    added = np.bincount(2 * row[order] + side[order], amount[order], 2 * count)
    return np.asarray(added, dtype=np.float64).reshape(count, 2)


def check_sides(sides: StreetSides, pace: Pace) -> list[Finding]:
    """A finding on sides with something to win that no shift is long enough for."""
    alone = sides.minutes + sides.length_m[:, None] / pace.metres_a_min
    over = np.flatnonzero(((sides.doors > 0) & (sides.value > 0) & (alone > pace.shift_min)).any(axis=1))
    if not len(over):
        return []
    return [
        Finding.of(
            "side longer than a shift",
            "streets",
            "warning",
            sides.segment_id[over].tolist(),
            f"Canvassing one side takes more than the {pace.shift_min:.0f} min that a shift has at doors.",
            "These doors are in no round; often it is one large building: write to it, or make shifts longer.",
        )
    ]
