"""Days of rain made up from monthly normals, where no gauge was read.

Wet days follow a chain of two states: the chance of rain depends on the month and on whether it rained the
day before. Amounts of wet days follow a gamma law. Both are the usual daily weather generator (Richardson 1981,
Water Resour. Res. 17:182-190, from memory); how wet days follow from normals is said in :func:`wet_shares`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Days = NDArray[np.datetime64]


def days_of_years(years: Sequence[int]) -> Days:
    """Every day of the calendar years ``years``, leap days included [days; datetime64[D]]."""
    return np.concatenate(
        [np.arange(f"{year:04d}-01-01", f"{year + 1:04d}-01-01", dtype="datetime64[D]") for year in years]
    )


def wet_shares(mm_day: Floats, wet_share: float, most_wet_share: float) -> Floats:
    """Share of wet days [12; 1] in months with ``mm_day`` [12; mm] of rain a day on average.

    ``wet_share`` · √(``mm_day`` / 1 mm), at most ``most_wet_share``: as a month gets wetter, it has both more wet
    days and more rain on each, in equal proportion.
    """
    return np.asarray(np.minimum(most_wet_share, wet_share * np.sqrt(mm_day)))


def generated_rain(
    normals_mm: Floats,
    dates: Days,
    seed: int,
    *,
    wet_share: float,
    most_wet_share: float,
    persistence: float,
    amount_shape: float,
    year_spread: float,
) -> Floats:
    """Rain [days; mm] on ``dates`` [days; whole calendar years in order] from monthly ``normals_mm`` [12; mm].

    After a wet day the chance of rain is s + p·(1 - s), after a dry one s·(1 - p), with the month's share of wet
    days s and ``persistence`` p, so that s is what comes out in the long run. Amounts are gamma variates of
    ``amount_shape``, times a lognormal factor of their year whose logarithm spreads by ``year_spread``. Last, each
    month is multiplied so that its mean over all years equals the normal (to rounding); a month that has a normal
    and came out dry in every year gets its rain on its likeliest day. The same seed gives the same days. Raises
    ``ValueError`` for normals or shares that can't be.
    """
    normals = np.asarray(normals_mm, dtype=float)
    if normals.shape != (12,) or not (normals >= 0).all():
        raise ValueError("normals are 12 depths of rain, none below 0")
    if not 0 <= persistence < 1 or not 0 < most_wet_share < 1 or wet_share <= 0 or amount_shape <= 0:
        raise ValueError("shares lie between 0 and 1, and the shape is above 0")
    months = dates.astype("datetime64[M]").astype(np.int64) % 12
    _, year = np.unique(dates.astype("datetime64[Y]"), return_inverse=True)
    years = int(year.max()) + 1
    rng = np.random.default_rng(seed)
    shares = wet_shares(normals * years / np.bincount(months, minlength=12), wet_share, most_wet_share)
    wet = _wet_days(shares[months], persistence, rng.random(len(dates)), months)
    amounts = np.where(wet, rng.standard_gamma(amount_shape, len(dates)), 0.0)
    amounts *= np.exp(year_spread * rng.standard_normal(years))[year]
    means = np.bincount(months, weights=amounts, minlength=12) / years
    return np.asarray(amounts * (normals / np.where(means > 0, means, 1.0))[months])


def _wet_days(
    share: Floats, persistence: float, draws: Floats, months: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Which days are wet [days], from their ``share`` [days; 1] and uniform ``draws`` [days; 1]."""
    if_wet = draws < share + persistence * (1 - share)
    if_dry = draws < share * (1 - persistence)
    wet = np.empty(len(draws), dtype=bool)
    before = bool(draws[0] < share[0])
    for day, (after_wet, after_dry) in enumerate(zip(if_wet.tolist(), if_dry.tolist(), strict=True)):
        before = after_wet if before else after_dry
        wet[day] = before
    for month in np.flatnonzero(np.bincount(months, weights=wet, minlength=12) == 0):
        own = np.flatnonzero(months == month)
        if share[own[0]] > 0:
            wet[own[np.argmin(draws[own])]] = True
    return wet
