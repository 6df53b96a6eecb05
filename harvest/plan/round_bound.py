"""What no set of rounds can beat, and how far a plan stays below it.

The bound lets go of what makes rounds hard: that the sides of a round are joined by streets, that a round starts and
ends somewhere, and that each shift is filled by itself. What stays is that a side is worked once, that its doors and
the walk along it take time (the second side of a street by the shorter of out and back or one pass with crossings),
and that all shifts together hold only so many minutes. Parts of a side are allowed. That linear program is solved by
HiGHS; because the walk between streets is not in it, the bound lies above what is possible, most where good streets
lie far apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import coo_array, vstack

from harvest.plan.round_graph import Flags, Floats, Ground

IGNORED = (
    "that the streets of a round are joined, the walk between them, and that each shift is filled by itself"
)
"""What the bound leaves out, for a sentence that begins with "The bound leaves out"."""


def upper_bound(ground: Ground, rounds: int) -> float:
    """The most value that ``rounds`` shifts could win on ``ground`` by any plan; raises ``ValueError`` below 0 rounds.

    maximise Σ value × share, over one side, the other side, or both sides of each segment, with shares of a segment
    adding up to at most 1, and Σ minutes × share at most rounds × shift.
    """
    if rounds < 0:
        raise ValueError(f"there can't be {rounds} rounds")
    value, minutes, segment = choices(ground)
    if rounds == 0 or not len(value):
        return 0.0
    columns = np.arange(len(value))
    _, row = np.unique(segment, return_inverse=True)
    once = coo_array((np.ones(len(value)), (row, columns)), shape=(row.max() + 1, len(value)))
    time = coo_array(minutes[None, :] / ground.pace.shift_min)
    limits = np.append(np.ones(row.max() + 1), float(rounds))
    solved = linprog(-value, A_ub=vstack([once, time]), b_ub=limits, bounds=(0, None), method="highs")
    if not solved.success:
        raise ValueError(f"the bound was not found: {solved.message}")
    return float(-solved.fun)


def choices(ground: Ground) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Value, minutes and segment of each way to work a segment that fits a shift: one side, the other, both."""
    sides, pace = ground.sides, ground.pace
    worth = ground.worth.reshape(-1, 2)
    ways: list[tuple[Flags, Floats, Floats, Floats]] = [
        (worth[:, k], sides.value[:, k], sides.minutes[:, k], sides.length_m) for k in (0, 1)
    ]
    ways.append(
        (worth[:, 0] & worth[:, 1], sides.value.sum(axis=1), sides.minutes.sum(axis=1), ground.both_m)
    )
    value, minutes, segment = [], [], []
    for possible, worth_l, at_doors, walk_m in ways:
        takes = at_doors + walk_m / pace.metres_a_min
        kept = np.flatnonzero(possible)
        value.append(worth_l[kept])
        minutes.append(takes[kept])
        segment.append(kept)
    return np.concatenate(value), np.concatenate(minutes), np.concatenate(segment)


def gap(found: float, bound: float) -> float:
    """How far ``found`` stays below ``bound``, as a share of it [1]; 0 where all is won or there is nothing to win."""
    return max((bound - found) / bound, 0.0) if bound > 0 else 0.0
