"""How much of a figure the map page is sent: what it shows, and a little more where it adds figures up.

The page rounds once more. A figure kept finer than it is shown could round differently there than the exact
one does (43,349.6 shows as 43,300, but 43,350 as 43,400), so such a figure is kept one step lower.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from harvest.show.figures import CENTS_BELOW, WHOLE_DOLLARS_BELOW

Floats = NDArray[np.float64]

SPARE_DIGITS = 2
"""Digits kept beyond those shown where the page adds figures up."""

MOST_DECIMALS = 9

SMALLEST_POWER = 330
POWERS = 10.0 ** np.arange(-SMALLEST_POWER, 309.0)
"""Powers of ten of every number there is; looked up, since raising ten to a power is slow."""


def significant(values: Floats, digits: int) -> Floats:
    """``values`` [n] to ``digits`` significant digits; NaN stays NaN."""
    return _rounded(values, _step(_magnitude(values), digits))


def kept(values: Floats, digits: int, spare: int = 0) -> Floats:
    """``values`` [n; 0 or more] to ``digits + spare`` significant digits, each to be shown to ``digits``."""
    if spare == 0:
        return significant(values, digits)
    magnitude = _magnitude(values)
    fine_step = _step(magnitude, digits + spare)
    fine = _rounded(values, fine_step)
    coarse = _step(_magnitude(fine), digits)
    half_up = np.floor(fine / coarse + 0.5 + 1e-9) * coarse
    too_high = half_up > _rounded(values, _step(magnitude, digits)) * (1 + 1e-9)
    return np.asarray(np.where(too_high, fine - fine_step, fine))


def dollars_kept(values: Floats) -> Floats:
    """``values`` [n; USD, 0 or more] as people are told them: cents below 10 dollars, then 2 digits, from 100 on 3."""
    cents = np.round(values, 2)
    dollars = np.where(cents < WHOLE_DOLLARS_BELOW, significant(values, 2), significant(values, 3))
    return np.asarray(np.where(cents < CENTS_BELOW, cents, dollars))


def decimals(values: Floats) -> int:
    """The fewest decimals that hold all of ``values`` [n] as they are."""
    known = values[np.isfinite(values)]
    for count in range(MOST_DECIMALS):
        scaled = known * 10**count
        if np.allclose(scaled, np.rint(scaled), rtol=1e-12, atol=1e-7):
            return count
    return MOST_DECIMALS


def _rounded(values: Floats, step: Floats) -> Floats:
    return np.asarray(np.rint(values / step) * step)


def _magnitude(values: Floats) -> NDArray[np.intp]:
    """The power of ten of the first digit of each of ``values`` [n]; 0 where it has none."""
    size = np.where(np.isfinite(values) & (values != 0), np.abs(values), 1.0)
    return np.floor(np.log10(size)).astype(np.intp)


def _step(magnitude: NDArray[np.intp], digits: int) -> Floats:
    """The last of ``digits`` significant digits of numbers of this ``magnitude`` [n], as a number."""
    return np.asarray(POWERS[magnitude - digits + 1 + SMALLEST_POWER])
