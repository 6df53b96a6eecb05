"""Losses of each day's rain, for a daily record: the *event* way, in which each loss is counted once.

The other way, one volumetric ratio for the year, is in :mod:`harvest.water.capture`. Use one of them, never both:
an event coefficient (0.88, say) leaves wetting out, a yearly ratio (0.80, say) holds it already.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def event_depth(
    rain_mm: Floats,
    *,
    coefficient: float | Floats,
    wetting_mm: float | Floats,
    first_flush_mm: float | Floats,
    filter_share: float | Floats,
) -> Floats:
    """Depth that reaches the barrel per unit of roof [..., days; mm] from daily ``rain_mm`` [..., days; mm].

    Each day ``filter_share · max(0, coefficient · max(0, rain - wetting_mm) - first flush)``. The losses
    [1, mm, mm, 1] are numbers, or arrays that broadcast against ``rain_mm``. The first flush is lost once an
    event: on a day that runs off after one that did not. A day whose rain only wets the roof counts as dry, so
    it neither starts an event nor uses up a flush. What a small first day leaves of the flush is not carried to
    the next. The record's first day counts as after a dry one.

    Raises ``ValueError`` for rain or a loss that is negative or missing, or a share above 1.
    """
    _check("rain", rain_mm, np.inf)
    _check("a runoff coefficient", coefficient, 1.0)
    _check("wetting", wetting_mm, np.inf)
    _check("a first flush", first_flush_mm, np.inf)
    _check("the share that passes a filter", filter_share, 1.0)
    shed = coefficient * np.maximum(rain_mm - wetting_mm, 0.0)
    runs = shed > 0
    begins = runs.copy()
    begins[..., 1:] &= ~runs[..., :-1]
    return np.asarray(filter_share * np.maximum(shed - begins * first_flush_mm, 0.0))


def effective_coefficient(depth_mm: Floats, rain_mm: Floats) -> Floats:
    """Volumetric coefficient [...; 1] that results: all of ``depth_mm`` over all of ``rain_mm`` [..., days; mm].

    NaN for a record without rain.
    """
    left, fell = np.broadcast_arrays(np.sum(depth_mm, axis=-1), np.sum(rain_mm, axis=-1))
    return np.asarray(np.divide(left, fell, out=np.full(fell.shape, np.nan), where=fell > 0))


def _check(what: str, value: float | Floats, most: float) -> None:
    if not np.all((np.asarray(value) >= 0) & (np.asarray(value) <= most)):
        limit = "be a number and not negative" if most == np.inf else f"lie between 0 and {most:g}"
        raise ValueError(f"{what} must {limit}")
