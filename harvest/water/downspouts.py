"""Downspouts: how many a roof has, which part of it drains to each, and at which a barrel can stand.

A barrel drinks from one downspout, so its catchment is the roof's part there, never the whole roof. Nobody has mapped
the downspouts: these are rules with settable numbers, not observations.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

MOST_INEQUALITY = 0.9


def downspout_count(
    area_m2: Floats, eave_m: Floats, *, area_served_m2: float, spacing_m: float, least: int
) -> Counts:
    """Downspouts of each roof [n] from its ``area_m2`` [n; m², from above] and eaves ``eave_m`` [n; m].

    The largest of ``least``, ⌈area / ``area_served_m2``⌉ and ⌈eave / ``spacing_m``⌉. Raises ``ValueError`` for an
    area or eave that is negative or not finite, or a rule that is not above 0.
    """
    if not (area_served_m2 > 0 and spacing_m > 0 and least >= 1):
        raise ValueError("a downspout serves more than 0 m², spacing is above 0 m, and a roof has at least 1")
    _check_size("area", area_m2)
    _check_size("eave length", eave_m)
    by_area, by_eave = np.ceil(area_m2 / area_served_m2), np.ceil(eave_m / spacing_m)
    return np.asarray(np.maximum(np.maximum(by_area, by_eave), least), dtype=np.int64)


def unequal_weights(most: int, inequality: float) -> Floats:
    """Served area of the first ``most`` downspouts of any roof [most; 1], as a multiple of the middle one's.

    1 - ``inequality`` and 1 + ``inequality`` in turn, the smaller first; 0 makes all equal. Raises ``ValueError`` for
    an inequality outside 0 to 0.9.
    """
    _check_inequality(inequality)
    return np.where(np.arange(most) % 2 == 0, 1 - inequality, 1 + inequality)


def mean_served_area(area_m2: Floats, downspouts: Counts, inequality: float) -> Floats:
    """Area of the middle downspout [n; m²] of roofs of ``area_m2`` [n; m²] with ``downspouts`` [n].

    Times :func:`unequal_weights` it is what each downspout serves; all together serve the whole roof. Raises
    ``ValueError`` for an area that is negative or not finite, a count below 1, or an inequality outside 0 to 0.9.
    """
    _check_size("area", area_m2)
    _check_count(downspouts)
    _check_inequality(inequality)
    return np.asarray(area_m2 / (downspouts - inequality * (downspouts % 2)))


def usable_downspouts(count: Counts, share_usable: float) -> Counts:
    """Downspouts [n] of each roof's ``count`` [n] at which a barrel can stand; not at a front door or a buried pipe.

    ``count · share_usable`` to the nearest whole, halves down, but at least 1 where the share is above 0. Raises
    ``ValueError`` for a share outside 0 to 1 or a count below 1.
    """
    _check_count(count)
    if not 0 <= share_usable <= 1:
        raise ValueError(
            f"the share of downspouts that take a barrel lies between 0 and 1, not {share_usable}"
        )
    nearest = np.ceil(count * share_usable - 0.5).astype(np.int64)
    return np.asarray(np.minimum(np.maximum(nearest, int(share_usable > 0)), count))


def _check_size(what: str, value: Floats) -> None:
    if not np.all((value >= 0) & np.isfinite(value)):
        raise ValueError(f"the {what} of a roof must be a number and not negative")


def _check_count(count: Counts) -> None:
    if not np.all(count >= 1):
        raise ValueError("a roof has at least 1 downspout")


def _check_inequality(inequality: float) -> None:
    if not 0 <= inequality <= MOST_INEQUALITY:
        raise ValueError(
            f"the inequality of downspouts lies between 0 and {MOST_INEQUALITY}, not at {inequality}"
        )
