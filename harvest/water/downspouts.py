"""Downspouts: how many a roof has, which part of it drains to each, and at which a barrel can stand.

A barrel drinks from one downspout, so its catchment is the roof's part there, never the whole roof. Nobody has mapped
the downspouts: these are rules with settable numbers, not observations.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]


def downspout_count(
    area_m2: Floats, eave_m: Floats, *, area_served_m2: float, spacing_m: float, least: int
) -> Counts:
    """Downspouts of each roof [n] from its ``area_m2`` [n; m², from above] and eaves ``eave_m`` [n; m].

    The largest of ``least``, ⌈area / ``area_served_m2``⌉ and ⌈eave / ``spacing_m``⌉. Raises ``ValueError`` for an
    area or eave that is negative or not finite, or a rule that is not above 0.
    """
    if not (area_served_m2 > 0 and spacing_m > 0 and least >= 1):
        raise ValueError("a downspout serves more than 0 m², spacing is above 0 m, and a roof has at least 1")
    for what, value in (("area", area_m2), ("eave length", eave_m)):
        if not np.all((value >= 0) & np.isfinite(value)):
            raise ValueError(f"the {what} of a roof must be a number and not negative")
    by_area, by_eave = np.ceil(area_m2 / area_served_m2), np.ceil(eave_m / spacing_m)
    return np.asarray(np.maximum(np.maximum(by_area, by_eave), least), dtype=np.int64)


def served_shares(count: Counts, *, inequality: float, most: int | None = None) -> Floats:
    """Part of the roof that drains to each of its downspouts [n, most; 1], largest first, 0 beyond ``count`` [n].

    The parts fall by a constant factor from one to the next, so that the largest is ``inequality`` [1] times the
    smallest (1: all equal); they add up to 1. ``most`` columns; the largest count unless given. Raises
    ``ValueError`` for an inequality below 1 or a count below 1.
    """
    _check_count(count)
    rank = np.arange(int(count.max(initial=1)) if most is None else most)[None, :]
    return _shares(count, np.where(rank < count[:, None], rank, -1), inequality)


def usable_downspouts(count: Counts, share_usable: float) -> Counts:
    """Downspouts [n] of each roof's ``count`` [n] at which a barrel can stand; not at a front door or a buried pipe.

    ``count · share_usable`` to the nearest whole, halves down, but at least 1 where the share is above 0. Raises
    ``ValueError`` for a share outside 0 to 1.
    """
    if not 0 <= share_usable <= 1:
        raise ValueError(
            f"the share of downspouts that take a barrel lies between 0 and 1, not {share_usable}"
        )
    nearest = np.ceil(count * share_usable - 0.5).astype(np.int64)
    return np.asarray(np.minimum(np.maximum(nearest, int(share_usable > 0)), count))


def usable_ranks(count: Counts, usable: Counts, *, most: int | None = None) -> Counts:
    """Ranks by part of the roof, 0 the largest, of the ``usable`` [n] among ``count`` [n] downspouts [n, most].

    Spread evenly over the ranking: it is cut into ``usable`` equal stretches and the middle of each is taken, the
    smaller of two middles. So a roof's only place is never assumed to be its best one: of two downspouts the smaller
    takes the barrel, and several lie on average at the middle of the ranking or below.

    -1 beyond ``usable``; ``most`` columns, the largest ``usable`` unless given. Raises ``ValueError`` for more
    usable than there are, or a count below 1.
    """
    _check_count(count)
    if not np.all((usable >= 0) & (usable <= count)):
        raise ValueError("a roof cannot have more usable downspouts than downspouts, or fewer than none")
    stretch = np.arange(int(usable.max(initial=0)) if most is None else most)[None, :]
    middle = (2 * stretch + 1) * count[:, None] // (2 * np.maximum(usable, 1)[:, None])
    return np.asarray(np.where(stretch < usable[:, None], middle, -1))


def usable_shares(count: Counts, usable: Counts, *, inequality: float, most: int | None = None) -> Floats:
    """Part of the roof that drains to each usable downspout [n, most; 1], largest first, 0 beyond ``usable`` [n].

    :func:`served_shares` at :func:`usable_ranks`, made without the columns in between: a works hall may have
    hundreds of downspouts where a home has four.
    """
    return _shares(count, usable_ranks(count, usable, most=most), inequality)


def _shares(count: Counts, rank: Counts, inequality: float) -> Floats:
    """Terms of a falling geometric series over ``count`` [n] at ``rank`` [n, k], over its sum; 0 at rank -1."""
    if not 1 <= inequality < np.inf:
        raise ValueError(f"the largest part is at least as large as the smallest; inequality is {inequality}")
    log_step = -np.log(inequality) / np.maximum(count - 1, 1)
    total = np.divide(
        np.expm1(count * log_step), np.expm1(log_step), out=count.astype(float), where=log_step != 0
    )
    return np.asarray(np.where(rank >= 0, np.exp(rank * log_step[:, None]) / total[:, None], 0.0))


def _check_count(count: Counts) -> None:
    if not np.all(count >= 1):
        raise ValueError("a roof has at least 1 downspout")
