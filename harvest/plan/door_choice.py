"""Which doors are worth a stop when hours are short, and what no plan can beat.

With fewer hours than doors, a minute has a price: what the best use of one more minute would win. A door whose worth
is below the price of the minutes it takes is passed by. Price and bound come from one linear program that lets go of
what makes rounds hard (that the streets of a round hang together, the walk between them, that each shift is filled by
itself): which doors to knock at, so that the minutes at doors and along their sides fit all shifts together. Its dual
has one unknown, the price λ, and falls apart into streets:

    bound = min over λ ≥ 0 of  λ · minutes there are + Σ over segments of max(0, best of one side, the other, both)

where a way of working a segment is worth Σ max(0, worth − λ · minutes) over its doors, less λ · the walk along it. By
the duality of linear programs this minimum is the program's own value; the tests solve that with HiGHS. Where the walk
is shortened by crossing the street the least that crossing can take counts, so the bound holds for every choice of
doors. Because the walk between streets is not in it, it is loose, most where good streets lie far apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar

from harvest.plan.canvass_time import Pace

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

LEFT_OUT = "the walk between streets, that a round hangs together, and that each shift is filled by itself"
"""What the bound does not count, so that no plan reaches it."""


@dataclass(frozen=True)
class DoorChoice:
    """``stops`` [n] are the doors worth a stop; ``price`` [value/min] of a minute; no plan wins more than ``bound``."""

    stops: NDArray[np.bool_]
    price: float
    bound: float


def door_choice(
    segment: ArrayLike,
    side: ArrayLike,
    value: ArrayLike,
    minutes: ArrayLike,
    *,
    length_m: Floats,
    no_crossing: NDArray[np.bool_],
    pace: Pace,
    rounds: int,
) -> DoorChoice:
    """The doors [n] worth a stop in ``rounds`` shifts.

    ``segment`` [n] and ``side`` [n; 0 or 1] say where each door (or building) is, ``value`` [n] what a visit wins,
    ``minutes`` [n; min] what it takes; ``length_m`` [s; m] and ``no_crossing`` [s] are those of the segments. Doors of
    no value are never worth a stop. Raises ``ValueError`` below 0 rounds, or for doors that take no time.
    """
    at, worth = np.asarray(segment, dtype=np.int64), np.asarray(value, dtype=np.float64)
    each = np.asarray(minutes, dtype=np.float64)
    if rounds < 0 or np.any(each <= 0):
        raise ValueError("rounds are at least 0, and a door takes some minutes")
    if not len(at) or rounds == 0:
        return DoorChoice(np.zeros(len(at), dtype=bool), 0.0, 0.0)
    key = 2 * at + np.asarray(side, dtype=np.int64)
    one_m = length_m / pace.metres_a_min
    crossed = np.where(no_crossing, np.inf, length_m + pace.crossing_m)
    both_m = np.minimum(2 * length_m, crossed) / pace.metres_a_min
    most = rounds * pace.shift_min

    def dual(price: float) -> float:
        kept = np.bincount(key, np.maximum(worth - price * each, 0), 2 * len(length_m)).reshape(-1, 2)
        ways = np.column_stack([kept - price * one_m[:, None], kept.sum(axis=1) - price * both_m])
        return float(price * most + np.maximum(ways.max(axis=1), 0).sum())

    top = float((worth / each).max())
    if top <= 0:
        return DoorChoice(np.zeros(len(at), dtype=bool), 0.0, 0.0)
    found = minimize_scalar(
        dual, bounds=(0, top), method="bounded", options={"xatol": top * 1e-9, "maxiter": 200}
    )
    price, bound = min(((float(found.x), float(found.fun)), (0.0, dual(0.0))), key=lambda pair: pair[1])
    return DoorChoice((worth > 0) & (worth >= price * each * (1 - 1e-9)), price, bound)
