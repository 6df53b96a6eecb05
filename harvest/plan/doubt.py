"""How sure a figure is: the range that not knowing leaves, never mixed with that of the weather.

*Not knowing*: the 10th to the 90th percentile of the long-run mean when every input is drawn anew, many times over.
Sums are taken inside a draw, so adding up roofs makes a town surer of what is each roof's own, and no surer of what
they share. *Weather*, one roof in a poor and in a good year, comes from the daily balance itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import csr_array

from harvest.plan.draws import Draws, Factors, Floats

LOW, HIGH = 0.10, 0.90
"""The ends of both ranges, as shares of draws: linear between order statistics (Hyndman and Fan 1996,
*The American Statistician* 50(4), definition 7, which is also NumPy's default)."""

NO_SPREAD = 1e-20
"""Squares about the mean below this part of the plain squares are rounding, not doubt."""

Measure = Callable[[slice, Factors], Floats]
"""A figure of some rows under their draws: [draws, rows]; NaN in every draw of a row that has none."""


def volume(litres: Floats, coefficient: float | Floats) -> Measure:
    """The measure of a volume that grows in step with area, rain and coefficient: runoff, or what is capturable.

    ``litres`` [n] is the run's own figure, computed with ``coefficient`` [1 or n; 1]; no draw lets a roof shed more
    than falls on it. A yearly wetting depth is taken to grow with the rain, which it does not quite.
    """
    most = np.broadcast_to(1 / np.asarray(coefficient), litres.shape)

    def drawn(rows: slice, factors: Factors) -> Floats:
        return np.asarray(factors.area * factors.rain * np.minimum(factors.ratio, most[rows]) * litres[rows])

    return drawn


@dataclass(frozen=True)
class Ranges:
    """What not knowing makes of a figure, [n] each: 10th and 90th percentile, and what it hangs on most.

    ``matters`` is the name of an input, missing where there is no figure or no doubt about it; ``share`` [1] is the
    part of the variance that goes with that input.
    """

    low: Floats
    high: Floats
    matters: pd.Series
    share: Floats


class RowRanges:
    """Gathers the range of a measure for each row, part by part.

    The share of an input is the squared correlation, over draws, of its values with the measure's: for a measure
    that answers in a straight line to inputs drawn independently, its part of the variance.
    """

    def __init__(self, draws: Draws) -> None:
        self._draws, self._names = draws, list(draws.inputs)
        self._low, self._high, self._share = (np.full(len(draws), np.nan) for _ in range(3))
        self._which = np.full(len(draws), -1)

    def add(self, rows: slice, factors: Factors, values: Floats) -> None:
        """Take in ``values`` [draws, rows] of one part; every input that they hang on has been used by then."""
        _check_shape(values, rows, self._draws.count)
        self._low[rows], self._high[rows] = np.quantile(values, (LOW, HIGH), axis=0)
        shares = {name: _squared_correlation(one, values) for name, one in factors.used.items()}
        self._which[rows], self._share[rows] = _most(shares, self._names, values.shape[1])

    def found(self) -> Ranges:
        """The ranges, once every part is in."""
        return Ranges(self._low, self._high, _named(self._names, self._which), self._share)


class SumRanges:
    """Gathers the range of sums of a measure over ``groups`` sets of rows, part by part.

    ``group`` [n] is the set of each row, 0 to ``groups`` - 1, or -1 for none; for one total all are 0. Sums are
    taken inside each draw, so errors that roofs share do not average out. Rows without a figure add nothing. An
    input that is a roof's or a block's own stands in as its mean over the set, each roof counting by its share of
    the sum. Raises ``ValueError`` where group and draws differ in number.
    """

    def __init__(self, draws: Draws, group: NDArray[np.integer[Any]], groups: int) -> None:
        if len(group) != len(draws):
            raise ValueError(f"{len(group)} rows are grouped, but draws are for {len(draws)}")
        self._draws, self._names, self._group = draws, list(draws.inputs), group
        self._total = np.zeros((draws.count, groups))
        self._means: dict[str, Floats] = {}

    def add(self, rows: slice, factors: Factors, values: Floats) -> None:
        """Take in ``values`` [draws, rows] of one part; every input that they hang on has been used by then."""
        _check_shape(values, rows, self._draws.count)
        values = np.nan_to_num(values)
        chosen = np.flatnonzero(self._group[rows] >= 0)
        here, place = np.unique(self._group[rows][chosen], return_inverse=True)
        into = csr_array((np.ones(len(chosen)), (place, chosen)), shape=(len(here), values.shape[1]))
        self._total[:, here] += (into @ values.T).T
        for name, one in factors.used.items():
            if self._draws.inputs[name].level == "all roofs":
                self._means[name] = one
            else:
                weighted = self._means.setdefault(name, np.zeros_like(self._total))
                weighted[:, here] += (into @ (one * values.mean(axis=0)).T).T

    def found(self) -> Ranges:
        """The ranges, once every part is in."""
        low, high = np.quantile(self._total, (LOW, HIGH), axis=0)
        shares = {name: _squared_correlation(one, self._total) for name, one in self._means.items()}
        which, share = _most(shares, self._names, self._total.shape[1])
        return Ranges(low, high, _named(self._names, which), share)


def ranges(draws: Draws, measure: Measure) -> Ranges:
    """The range of ``measure`` for each row, and the input that matters most (:class:`RowRanges`)."""
    gathered = RowRanges(draws)
    for rows, factors in draws.parts():
        gathered.add(rows, factors, measure(rows, factors))
    return gathered.found()


def total_ranges(draws: Draws, measure: Measure, group: NDArray[np.integer[Any]], groups: int) -> Ranges:
    """The range of the sum of ``measure`` over each of ``groups`` sets of rows (:class:`SumRanges`)."""
    gathered = SumRanges(draws, group, groups)
    for rows, factors in draws.parts():
        gathered.add(rows, factors, measure(rows, factors))
    return gathered.found()


def _check_shape(values: Floats, rows: slice, count: int) -> None:
    wanted = (count, rows.stop - rows.start)
    if values.shape != wanted:
        raise ValueError(f"a measure gives [draws, rows] = {wanted}, not {values.shape}")


def _squared_correlation(one: Floats, values: Floats) -> Floats:
    """Squared correlation [m] over draws of ``one`` [draws, 1 or m] with ``values`` [draws, m]; NaN without spread."""
    left, spread_left = _centred(one)
    right, spread_right = _centred(values)
    both = left[:, 0] @ right if left.shape[1] == 1 else np.einsum("dm,dm->m", left, right)
    return np.asarray(both**2 / (spread_left * spread_right))


def _centred(values: Floats) -> tuple[Floats, Floats]:
    """``values`` [draws, m] less their mean over draws, and the sum [m] of its squares, NaN where there is none."""
    mean = values.mean(axis=0)
    centred = values - mean
    squares = np.einsum("dm,dm->m", centred, centred)
    return centred, np.where(squares > NO_SPREAD * len(values) * mean**2, squares, np.nan)


def _most(shares: Mapping[str, Floats], names: Sequence[str], count: int) -> tuple[NDArray[np.intp], Floats]:
    """Which of ``names`` has the largest share [count], -1 where none has any, and that share."""
    if not shares:
        return np.full(count, -1), np.full(count, np.nan)
    order = [name for name in names if name in shares]
    table = np.stack([np.broadcast_to(shares[name], count) for name in order])
    best = np.nan_to_num(table, nan=-1.0)
    row = best.argmax(axis=0)
    share = np.take_along_axis(best, row[None, :], axis=0)[0]
    position = np.array([names.index(name) for name in order])
    return np.where(share > 0, position[row], -1), np.where(share > 0, share, np.nan)


def _named(names: Sequence[str], which: NDArray[np.intp]) -> pd.Series:
    return pd.Series(pd.array([*names, None], dtype="str").take(which))
