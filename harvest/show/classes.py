"""Classes of a figure, and their colours: the same on the map and in the styled GeoPackage."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

CLASS_COLOURS = ("#fee838", "#bcae6c", "#7d7c78", "#434e6c", "#00224e")
"""Light is low: five samples of the cividis ramp, told apart by colour-blind readers and in grey."""

LEAST_STEP = 0.05
"""How far a bound lies above the last, as a part of it: two colours for less would tell apart what is alike. Common
practice without a source; the figures themselves are in doubt by more."""

MISSING = -1
"""The class of a missing figure."""


def quantile_breaks(values: NDArray[np.float64], classes: int = len(CLASS_COLOURS)) -> list[float]:
    """Bounds [unit of ``values``] between classes that hold about equally many of ``values`` [any shape].

    Each bound is rounded to two significant digits and begins the class above it, so n bounds make n + 1
    classes. Bounds rise by ``LEAST_STEP`` and no class is empty: where many values are equal or alike there
    are fewer classes, down to one (no bound). NaN and infinite values are ignored.
    """
    known = np.sort(values[np.isfinite(values)], axis=None)
    if not len(known):
        return []
    quantiles = np.quantile(known, np.arange(1, classes) / classes)
    rounded = np.array([float(f"{one:.1e}") for one in quantiles])
    below = np.searchsorted(known, rounded, side="left")
    distinct, first = np.unique(below, return_index=True)
    breaks: list[float] = []
    for count, i in zip(distinct, first, strict=True):
        if 0 < count < len(known) and (not breaks or rounded[i] >= (1 + LEAST_STEP) * breaks[-1]):
            breaks.append(float(rounded[i]))
    return breaks


def class_of(values: NDArray[np.float64], breaks: Sequence[float]) -> NDArray[np.int64]:
    """Number of the class that each of ``values`` falls in, 0 the lowest; ``MISSING`` (−1) for NaN."""
    found = np.searchsorted(np.asarray(breaks, dtype=float), values, side="right").astype(np.int64)
    return np.where(np.isnan(values), MISSING, found)


def class_numbers(values: NDArray[np.float64], breaks: Sequence[float]) -> NDArray[np.int64]:
    """As people meet them: the class of each of ``values`` from 1 for the lowest, 0 for nothing, −1 for NaN."""
    numbers = np.where(values == 0, 0, class_of(values, breaks) + 1)
    return np.where(np.isnan(values), MISSING, numbers)


def class_colours(classes: int) -> tuple[str, ...]:
    """Colours for ``classes`` classes (1 to 5), lowest first, spread over the whole ramp."""
    places = np.linspace(0, len(CLASS_COLOURS) - 1, classes).round().astype(int)
    return tuple(CLASS_COLOURS[place] for place in places)
