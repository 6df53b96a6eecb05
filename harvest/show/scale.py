"""A scale bar: the longest round length that fits."""

from __future__ import annotations

import math

from harvest.units import M_PER_FOOT

M_PER_MILE = 5280 * M_PER_FOOT
M_PER_KM = 1000.0
MILES_FROM_M = M_PER_MILE / 2
"""Bars this long, and longer ones, are told in miles."""


def round_length(most_m: float, units: str) -> tuple[float, str]:
    """The longest round length [m] up to ``most_m`` [m, above 0], and its text in "us" or "metric" ``units``.

    Round is 1, 2 or 5 with any number of zeros; half a mile and 1 km and above are told in miles and kilometres.
    """
    small, large = (
        (("ft", M_PER_FOOT), ("mi", M_PER_MILE)) if units == "us" else (("m", 1.0), ("km", M_PER_KM))
    )
    unit, metres = large if most_m >= (MILES_FROM_M if units == "us" else M_PER_KM) else small
    power = 10.0 ** math.floor(math.log10(most_m / metres))
    # A bar of exactly the length allowed must not be lost to the last bit of a float.
    length = max(step * power for step in (1, 2, 5) if step * power * metres <= most_m * (1 + 1e-9))
    return length * metres, f"{length:,g} {unit}"
