"""The daily tank balance: what barrels at downspouts deliver to one garden, day by day.

Yield after spillage (YAS): the day's draw comes from what stood in the barrel in the morning; the day's inflow
is added and what does not fit spills before the draw makes room.

    Y(t) = min{D(t); V(t-1)}
    V(t) = min{V(t-1) + Q(t) - Y(t); S - Y(t)}
    O(t) = max{0; V(t-1) + Q(t) - S}

Yield before spillage (YBS) draws after the inflow; it serves as a check of the daily step, not as a range:

    Y(t) = min{D(t); V(t-1) + Q(t)}
    V(t) = min{V(t-1) + Q(t) - Y(t); S}
    O(t) = max{0; V(t-1) + Q(t) - Y(t) - S}

Rules of Jenkins et al. 1978 as developed by Fewkes; read as quoted in *Plumbing Africa*, January 2019, with the
left side of the storage equation corrected (V, not Q). Several barrels share one garden: the fullest is drawn
first. A daily step is rough for small tanks (Campisano and Modica 2014).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rule = Literal["yas", "ybs"]

NEARLY = 1e-9
"""Of a barrel's volume: below this it is empty, above its complement full."""


@dataclass(frozen=True)
class Balance:
    """What a series of days did to each case [n]; volumes in litres over the whole series.

    ``yield_by_year_l`` [n, years]. ``start_l`` and ``end_l``: water in the barrels before and after. ``drained_l``:
    what stood in them when they were set up anew, empty.
    ``days_met``: days with a demand that was met in full, of ``demand_days``. ``days_empty``, ``days_full``: days
    that ended with all barrels empty, or full. ``times_filled``: inflow kept, in volumes of all barrels.
    ``room_before_storm``: mean share of the barrels' volume that was free on the morning of a storm day, NaN
    when there was none.
    """

    inflow_l: Floats
    demand_l: Floats
    yield_l: Floats
    overflow_l: Floats
    drained_l: Floats
    start_l: Floats
    end_l: Floats
    yield_by_year_l: Floats
    days_met: NDArray[np.int64]
    demand_days: NDArray[np.int64]
    days_empty: NDArray[np.int64]
    days_full: NDArray[np.int64]
    times_filled: Floats
    room_before_storm: Floats
    largest_error_l: float

    @property
    def volumetric_reliability(self) -> Floats:
        """Share of the demanded volume that was delivered [n]; NaN without a demand."""
        return _ratio(self.yield_l, self.demand_l)

    @property
    def time_reliability(self) -> Floats:
        """Share of the days with a demand on which it was met in full [n]; NaN without a demand."""
        return _ratio(self.days_met.astype(np.float64), self.demand_days.astype(np.float64))


def balance(
    inflow_l: Callable[[int], Floats],
    demand_l: Callable[[int], Floats],
    usable_l: Floats,
    year_of_day: NDArray[np.intp],
    *,
    storm_day: NDArray[np.bool_] | None = None,
    set_up: NDArray[np.bool_] | None = None,
    rule: Rule = "yas",
    start_l: Floats | None = None,
) -> Balance:
    """Run ``len(year_of_day)`` days over n cases of up to k barrels.

    ``inflow_l(day)`` [n, k; L] reaches each barrel, ``demand_l(day)`` [n; L] is wanted of all of them together,
    ``usable_l`` [n, k; L] is what each barrel holds (0 for no barrel). ``year_of_day`` [days] numbers the
    years from 0; ``storm_day`` [days] marks days whose morning room counts, ``set_up`` [days] those on whose
    morning barrels are set up, empty. The mass balance is kept every day;
    ``largest_error_l`` is the worst of it. Raises ``ValueError`` for a negative volume or inflow.
    """
    volume = np.asfortranarray(usable_l, dtype=np.float64)  # adding up barrels is fast along cases
    if (volume < 0).any():
        raise ValueError("a barrel can't hold less than nothing")
    cases = len(volume)
    held = np.zeros_like(volume) if start_l is None else np.minimum(start_l, volume)
    begin = held.sum(axis=1)
    whole = volume.sum(axis=1)
    empty_below, full_above = NEARLY * whole, (1 - NEARLY) * whole
    years = int(year_of_day.max()) + 1 if len(year_of_day) else 0
    by_year = np.zeros((years, cases))
    inflows, demands, overflows, drained, room = (np.zeros(cases) for _ in range(5))
    met, wanted, empty, full = (np.zeros(cases, dtype=np.int64) for _ in range(4))
    error, storms = np.zeros(cases), 0
    stood = begin
    is_empty, is_full = stood <= empty_below, stood >= full_above
    for day, year in enumerate(year_of_day.tolist()):
        flow, want = inflow_l(day), demand_l(day)
        if set_up is not None and set_up[day]:
            drained += stood
            held, stood = np.zeros_like(volume), np.zeros(cases)
            is_empty, is_full = stood <= empty_below, stood >= full_above
        if storm_day is not None and storm_day[day]:
            room += whole - stood
            storms += 1
        asked = want > 0
        draws, rains = bool(np.count_nonzero(asked)), bool(np.count_nonzero(flow))
        if draws or rains:
            held, drawn, spilt = _stepped(held, flow, want, volume, stood, rule, draws)
            used, over, came, after = (np.add.reduce(one, axis=1) for one in (drawn, spilt, flow, held))
            error = np.maximum(error, np.abs(stood + came - used - over - after))
            by_year[year] += used
            inflows += came
            demands += want
            overflows += over
            wanted += asked
            met += asked & (used >= want * (1 - NEARLY))
            stood = after
            is_empty, is_full = stood <= empty_below, stood >= full_above
        empty += is_empty
        full += is_full
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return Balance(
            inflows,
            demands,
            by_year.sum(axis=0),
            overflows,
            drained,
            begin,
            stood,
            by_year.T,
            met,
            wanted,
            empty,
            full,
            np.where(whole > 0, (inflows - overflows) / whole, 0.0),
            room / whole / storms if storms else np.full(cases, np.nan),
            float(error.max(initial=0.0)),
        )


def _stepped(
    held: Floats, flow: Floats, want: Floats, volume: Floats, stood: Floats, rule: Rule, draws: bool
) -> tuple[Floats, Floats, Floats]:
    """One day: water held at its end, drawn and spilt, [n, k] each. ``stood`` [n]: ``held`` added up."""
    filled = held + flow
    if rule == "yas":
        drawn = _drawn(held, want, stood) if draws else np.zeros_like(held)
        kept = np.minimum(filled, volume)
        return kept - drawn, drawn, filled - kept
    drawn = _drawn(filled, want, filled.sum(axis=1)) if draws else np.zeros_like(held)
    left = filled - drawn
    kept = np.minimum(left, volume)
    return kept, drawn, left - kept


def _drawn(available: Floats, want: Floats, total: Floats) -> Floats:
    """What each barrel gives [n, k] of ``want`` [n], the fullest first.

    Drawing from the fullest brings barrels down to a common level, so each gives what it holds above the level
    at which all give ``want`` together.
    """
    if available.shape[1] == 1:
        return np.minimum(available, want[:, None])
    take = np.minimum(want, total)
    ordered = -np.sort(-available, axis=1)
    count = np.arange(1, ordered.shape[1] + 1)
    levels = (np.cumsum(ordered, axis=1) - take[:, None]) / count
    level = np.maximum(np.maximum.reduce(levels, axis=1), 0.0)
    return np.asarray(np.maximum(available - level[:, None], 0.0))


def _ratio(part: Floats, whole: Floats) -> Floats:
    return np.asarray(np.divide(part, whole, out=np.full(len(whole), np.nan), where=whole > 0))
