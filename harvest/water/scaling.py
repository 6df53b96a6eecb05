"""A gauge's days brought to the rain of another place, month by month."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Months = NDArray[np.int64]


def month_means(rain_mm: Floats, months: Months, years: int) -> Floats:
    """Mean rain of each month [12; mm] from whole ``years`` of ``rain_mm`` [days; mm] in ``months`` [days; 0 to 11].

    Raises ``ValueError`` for no year.
    """
    if years < 1:
        raise ValueError(f"a mean needs at least one year, not {years}")
    return np.asarray(np.bincount(months, weights=rain_mm, minlength=12) / years)


def monthly_factors(means_mm: Floats, normals_mm: Floats) -> Floats:
    """What each month's rain at the gauge is multiplied by [12 or n, 12; 1]: normal over mean.

    ``means_mm`` [12; mm] are the gauge's, ``normals_mm`` [12 or n, 12; mm] the other place's. A month without
    rain at the gauge has nothing that could be multiplied: its factor is 1, and the normal is not reached.
    Raises ``ValueError`` for other shapes and for rain below 0.
    """
    means, normals = np.asarray(means_mm, dtype=float), np.asarray(normals_mm, dtype=float)
    if means.shape != (12,) or normals.shape[-1:] != (12,):
        raise ValueError(f"a year has 12 months; the shapes are {means.shape} and {normals.shape}")
    if (means < 0).any() or (normals < 0).any():
        raise ValueError("rain can't be below 0")
    return np.asarray(np.where(means > 0, normals / np.where(means > 0, means, 1.0), 1.0))


def scaled(rain_mm: Floats, months: Months, factors: Floats) -> Floats:
    """``rain_mm`` [days; mm] times its month's factor: [days] for ``factors`` [12], [n, days] for [n, 12]."""
    return np.asarray(rain_mm * np.asarray(factors)[..., months])
