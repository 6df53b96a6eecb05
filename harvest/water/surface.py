"""What barrels deliver, for a whole town: simulated once on a grid of cases, then interpolated for every roof.

A case is a mean served area, a garden, and (where it matters) local rain relative to the town's mean; for each
number of barrels and of downspouts that take them there is one surface. Interpolation is by cubic splines
(SciPy). How far it lies from the exact balance is measured by whoever uses it, on the town's own parcels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from harvest.water.barrels import MOST_BARRELS, Days, Floats, Whole, deliver, layout
from harvest.water.tank import Balance

LEAST_SPREAD = 1.02
"""An axis reaches at least this factor below and above its middle, so that a spline has something to bend."""
STEP = 0.2
"""The nodes of an axis of areas lie at most this far apart, in logarithms."""
GARDEN_SHARE = 0.25
"""The nodes of an axis of gardens lie closer by this factor, in logarithms of what a garden asks for."""
SIZE_SHARE = 0.15
"""They also follow the garden itself, which matters a little after people carry all they can."""
LEAST_NODES, LEAST_RAIN_NODES = 6, 4
GARDENS_TRIED = 257
FLAT = 1e-6
"""Gardens that get this little more than the largest, in logarithms, are as good as the largest."""
CELLS = (128, 128, 8)
"""Cells of the quick table: along area, garden, rain."""

Singles = NDArray[np.float32]
Class = tuple[int, int]
"""How many barrels, at how many downspouts."""


@dataclass(frozen=True)
class Delivery:
    """What barrels do in a mean year, [n] each.

    ``yield_l_yr``, ``poor_l_yr``, ``good_l_yr``: drawn and used in the mean year, and in years at the 10th and 90th
    percentile. ``inflow_l_yr``: reaches the barrels. ``demand_l_yr``: what the garden asks on days when people draw,
    no more than they carry. ``overflow_l_yr``: goes over the top. ``room``: share of the barrels' volume that is free
    when a storm comes, NaN without a storm. ``filled_yr``: times filled. ``demand_days_yr``, ``days_met_yr``: days
    with a demand, and those on which it is met in full. ``empty_days_yr``, ``full_days_yr``: days that end with
    all barrels empty, or full.
    """

    yield_l_yr: Floats
    poor_l_yr: Floats
    good_l_yr: Floats
    inflow_l_yr: Floats
    demand_l_yr: Floats
    overflow_l_yr: Floats
    room: Floats
    filled_yr: Floats
    demand_days_yr: Floats
    days_met_yr: Floats
    empty_days_yr: Floats
    full_days_yr: Floats


FIGURES = tuple(one.name for one in fields(Delivery))


def delivery(found: Balance, years: int) -> Delivery:
    """The mean year of an exact balance over ``years``."""
    dry, wet = np.quantile(found.yield_by_year_l, [0.1, 0.9], axis=1)
    return Delivery(
        yield_l_yr=found.yield_l / years,
        poor_l_yr=dry,
        good_l_yr=wet,
        inflow_l_yr=found.inflow_l / years,
        demand_l_yr=found.demand_l / years,
        overflow_l_yr=found.overflow_l / years,
        room=found.room_before_storm,
        filled_yr=found.times_filled / years,
        demand_days_yr=found.demand_days / years,
        days_met_yr=found.days_met / years,
        empty_days_yr=found.days_empty / years,
        full_days_yr=found.days_full / years,
    )


@dataclass(frozen=True)
class Case:
    """Roofs to ask about, [n] each: ``places`` is how many downspouts can take a barrel, at least 1.

    ``rain`` is local rain over the town's mean. Raises ``ValueError`` for a served area, a garden or rain that is not
    above 0 and finite, or fewer places than 1: who has no garden is not asked about.
    """

    mean_area_m2: Floats
    garden_m2: Floats
    rain: Floats
    places: Whole

    def __post_init__(self) -> None:
        one = (len(self),)
        if not one == self.garden_m2.shape == self.rain.shape == self.places.shape:
            raise ValueError("every case has an area, a garden, rain and places")
        _check(self.places, self.mean_area_m2, self.garden_m2, self.rain)

    def __len__(self) -> int:
        return len(self.mean_area_m2)

    def at(self, which: Whole | NDArray[np.bool_]) -> Case:
        """Some of the roofs: at positions, or where true."""
        return Case(self.mean_area_m2[which], self.garden_m2[which], self.rain[which], self.places[which])


@dataclass(frozen=True)
class _Axis:
    """``nodes`` [m], rising, in the unit of what is asked; a spline bends over ``counted`` of them.

    What is asked lies from the first node to ``last``; nothing changes between the last node and there.
    """

    name: str
    nodes: Floats
    counted: Callable[[Floats], Floats]
    last: float

    def inside(self, values: Floats) -> Floats:
        """``values`` [n] as counted. Raises ``ValueError`` where they lie beyond the ends."""
        beyond = (values < self.nodes[0]) | (values > self.last)
        if beyond.any():
            raise ValueError(
                f"the surface reaches from {self.nodes[0]:.6g} to {self.last:.6g} in {self.name}, not to "
                f"{values[beyond][0]:.6g}"
            )
        return self.counted(np.minimum(values, self.nodes[-1]))

    def cell(self, values: Floats | Singles, cells: int) -> tuple[NDArray[np.int32], Singles]:
        """Which of ``cells`` equal factors each of ``values`` lies in, and how far [0 to 1]; beyond, the end."""
        low, high = np.log(self.nodes[[0, -1]])
        at = (np.log(np.asarray(values, np.float32)) - np.float32(low)) * np.float32(cells / (high - low))
        at = np.clip(at, 0, cells)
        below = np.minimum(at.astype(np.int32), np.int32(cells - 1))
        return below, at - below.astype(np.float32)


class Surface:
    """Deliveries of 1 to 6 barrels, ready to be asked for any roof within the town's range.

    ``points``: cases that were simulated.
    """

    def __init__(self, axes: dict[int, tuple[_Axis, ...]], values: dict[Class, Floats], *, storms: bool):
        """``axes`` for each number of barrels, and the exact ``values`` [each axis, figures] at their nodes."""
        self._axes, self._values, self._storms = axes, values, storms
        self._most_places = max(places for _, places in values)
        self._splines: dict[tuple[Class, bool], RegularGridInterpolator] = {}
        self._tables: dict[int, Singles] = {}
        self.points = sum(one[..., 0].size for one in values.values())

    def __call__(self, case: Case, barrels: int) -> Delivery:
        """Deliveries of ``barrels`` at each of ``case`` [n].

        Raises ``ValueError`` beyond the range or the places of the cases that the surface was made for.
        """
        figures = dict(zip(FIGURES, np.maximum(self._asked(case, barrels, whole=True), 0.0).T, strict=True))
        figures["days_met_yr"] = np.minimum(figures["days_met_yr"], figures["demand_days_yr"])
        room = np.minimum(figures["room"], 1.0) if self._storms else np.nan
        figures["room"] = np.broadcast_to(room, len(case))
        return Delivery(**figures)

    def yields(self, case: Case, barrels: int) -> Floats:
        """The mean yield alone [n; L/yr], as a full call gives it but quicker. Raises as that does."""
        return np.maximum(self._asked(case, barrels, whole=False)[:, 0], 0.0)

    def quick_yields(
        self,
        mean_area_m2: Floats | Singles,
        garden_m2: Floats | Singles,
        rain: Floats | Singles,
        places: Whole,
        barrels: int,
    ) -> Singles:
        """The mean yield [...; L/yr] of millions of cases, from a fine table by straight lines in single precision.

        For draws of what is not known; for a figure that is shown, ask :meth:`yields`. The arguments broadcast
        together. What lies beyond the surface's range counts as its end: let it :func:`surface` reach far enough. Some
        100,000 cases at a time are quickest. Raises ``ValueError`` for a value not above 0, or too many places.
        """
        _check(places, mean_area_m2, garden_m2, rain)
        tanks = self._tanks(places, barrels)
        table = self._table(barrels)
        asked = zip(self._axes[barrels], (mean_area_m2, garden_m2, rain), CELLS, strict=False)
        cells = [axis.cell(values, number) for axis, values, number in asked]
        strides = [int(np.prod(table.shape[at + 2 :])) for at in range(len(cells))]
        first = (tanks - 1).astype(np.int32) * np.int32(table[0].size)
        for (below, _), stride in zip(cells, strides, strict=True):
            first = first + below * np.int32(stride)
        flat = table.ravel()

        def between(depth: int, offset: int) -> Singles:
            if depth == len(cells):
                return np.asarray(flat.take(first + np.int32(offset), mode="clip"))
            low, high = between(depth + 1, offset), between(depth + 1, offset + strides[depth])
            return low + cells[depth][1] * (high - low)

        return between(0, 0)

    def _asked(self, case: Case, barrels: int, whole: bool) -> Floats:
        """Figures of each case [n, figures], all of them or the first alone."""
        tanks = self._tanks(case.places, barrels)
        values = (case.mean_area_m2, case.garden_m2, case.rain)
        axes = zip(self._axes[barrels], values, strict=False)
        asked = np.stack([axis.inside(one) for axis, one in axes], axis=-1)
        found = np.empty((len(case), len(FIGURES) if whole else 1))
        for number in np.unique(tanks):
            mine = tanks == number
            found[mine] = self._spline((barrels, int(number)), whole)(asked[mine])
        return found

    def _tanks(self, places: Whole, barrels: int) -> Whole:
        if barrels not in self._axes:
            raise ValueError(f"the surface knows {', '.join(map(str, self._axes))} barrels, not {barrels}")
        tanks = np.minimum(places, barrels)
        if tanks.max(initial=1) > self._most_places:
            raise ValueError(f"the surface was made for at most {self._most_places} places for barrels")
        return tanks

    def _spline(self, one: Class, whole: bool) -> RegularGridInterpolator:
        """Made when it is first asked for."""
        if (one, whole) not in self._splines:
            values = self._values[one] if whole else self._values[one][..., :1]
            nodes = tuple(axis.counted(axis.nodes) for axis in self._axes[one[0]])
            self._splines[one, whole] = RegularGridInterpolator(nodes, values, method="cubic")
        return self._splines[one, whole]

    def _table(self, barrels: int) -> Singles:
        """The yield at the corners of all cells [places, area, garden(, rain)]; made when first asked for."""
        if barrels not in self._tables:
            corners = [
                axis.counted(np.geomspace(axis.nodes[0], axis.nodes[-1], cells + 1))
                for axis, cells in zip(self._axes[barrels], CELLS, strict=False)
            ]
            asked = np.stack(np.meshgrid(*corners, indexing="ij"), axis=-1)
            most = min(barrels, self._most_places)
            rows = [
                self._spline((barrels, places), whole=False)(asked)[..., 0] for places in range(1, most + 1)
            ]
            self._tables[barrels] = np.maximum(rows, 0.0).astype(np.float32)
        return self._tables[barrels]


def surface(
    days: Days,
    rain_nodes: Floats,
    case: Case,
    usable_l: float,
    inequality: float,
    *,
    reach: float = 1.0,
    numbers: Sequence[int] = range(1, MOST_BARRELS + 1),
    step: float = STEP,
) -> Surface:
    """The surface that covers ``case`` [n], from its least area or garden over ``reach`` to its largest times that.

    ``days`` has one series for each of ``rain_nodes`` [r; rising], rain relative to the town's mean; with a single
    one, local rain is no axis and not looked at. What gardens want had better change smoothly with rain and garden:
    where it starts and stops at thresholds, yields jump and no surface holds them closely. ``numbers`` of
    barrels are covered; nodes lie ``step`` apart at most in logarithms, and a larger one is coarser and quicker. All
    cases run through one balance together. Raises ``ValueError`` for no cases, 2 or 3 rain nodes, another number of
    series, a barrel that holds nothing, a reach below 1 or a step not above 0.
    """
    if not len(case):
        raise ValueError("a surface needs at least one case")
    if len(rain_nodes) != len(days.depth_mm) or len(rain_nodes) in range(2, LEAST_RAIN_NODES):
        raise ValueError(f"rain has 1 node or at least {LEAST_RAIN_NODES}, and a series of days for each")
    if not (1 <= reach < np.inf and usable_l > 0 and step > 0):
        raise ValueError("a surface reaches as far as its cases or further, by steps and barrels above 0")
    most_places = int(min(case.places.max(), MOST_BARRELS))
    asks = _wanted(days, case.garden_m2, reach)
    area = _area_axis(case.mean_area_m2, reach, step)
    rain = () if len(rain_nodes) == 1 else (_Axis("rain over the mean", rain_nodes, np.log, rain_nodes[-1]),)
    axes = {number: (area, _garden_axis(*asks, number * usable_l, step), *rain) for number in numbers}
    classes = [(n, k) for n in axes for k in range(1, min(n, most_places) + 1)]
    grids = [
        np.meshgrid(area.nodes, axes[n][1].nodes, np.arange(len(rain_nodes)), indexing="ij")
        for n, _ in classes
    ]
    sizes = [grid[0].size for grid in grids]
    areas, gardens, series = (np.concatenate([grid[at].ravel() for grid in grids]) for at in range(3))
    barrels, places = (np.repeat(one, sizes) for one in np.array(classes).T)
    served, volumes = layout(barrels, places, areas, usable_l, inequality)
    exact = deliver(days, series, served[:, :most_places], volumes[:, :most_places], gardens)
    found = delivery(exact, days.years)
    figures = np.nan_to_num(np.stack([getattr(found, name) for name in FIGURES], axis=-1))
    values = {
        one: part.reshape(*(len(axis.nodes) for axis in axes[one[0]]), len(FIGURES))
        for one, part in zip(classes, np.split(figures, np.cumsum(sizes)[:-1]), strict=True)
    }
    return Surface(axes, values, storms=bool(days.storm_day.any()))


def _area_axis(area_m2: Floats, reach: float, step: float) -> _Axis:
    """Served areas at equal factors."""
    low, high = area_m2.min() / reach / LEAST_SPREAD, area_m2.max() * reach * LEAST_SPREAD
    nodes = max(LEAST_NODES, int(np.ceil(np.log(high / low) / step)) + 1)
    return _Axis("served m²", np.geomspace(low, high, nodes), np.log, high)


def _wanted(days: Days, garden_m2: Floats, reach: float) -> tuple[Floats, Floats]:
    """Many gardens [m; m²] over the range, and what each wants day by day [m, days; L]."""
    low, high = garden_m2.min() / reach / LEAST_SPREAD, garden_m2.max() * reach * LEAST_SPREAD
    many = np.geomspace(low, high, GARDENS_TRIED)
    return many, days.wanted_l(np.zeros(len(many), dtype=np.intp), many)


def _garden_axis(many: Floats, wanted_l: Floats, held_l: float, step: float) -> _Axis:
    """Gardens at equal factors of what they can get in all days: yield follows that evenly.

    In a day that is no more than ``held_l`` of all barrels. From some garden on every draw is as much as people carry,
    and the yield changes no more.
    """
    gets = np.minimum(wanted_l, held_l).sum(axis=1)
    asks = np.log(np.maximum.accumulate(gets)) if gets.min() > 0 else np.log(many)
    end = max(int(np.searchsorted(asks, asks[-1] - FLAT)), 1)
    asks = asks + SIZE_SHARE * np.log(many)

    def counted(garden: Floats) -> Floats:
        return np.asarray(np.interp(np.log(garden), np.log(many), asks))

    nodes = max(LEAST_NODES, int(np.ceil((asks[end] - asks[0]) / (step * GARDEN_SHARE))) + 1)
    even = np.interp(np.linspace(asks[0], asks[end], nodes), asks[: end + 1], many[: end + 1])
    return _Axis("m² of garden", even, counted, many[-1])


def _check(places: Whole, *values: Floats | Singles) -> None:
    if not all(np.all((one > 0) & (one < np.inf)) for one in values):
        raise ValueError("a served area, a garden and rain are numbers above 0")
    if not np.all(places >= 1):
        raise ValueError("a barrel needs at least 1 downspout that can take it")
