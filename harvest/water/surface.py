"""What barrels deliver, for a whole town: simulated once on a grid of cases, then interpolated for every roof.

A case is a mean served area, a garden, and (where it matters) local rain relative to the town's mean; for each
number of barrels and of downspouts that take them there is one surface. Interpolation is by cubic splines
(SciPy). How far it lies from the exact balance is measured by whoever uses it, on the town's own parcels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from harvest.water.barrels import MOST_BARRELS, Days, Floats, Whole, deliver, layout
from harvest.water.tank import Balance

AREA_NODES, GARDEN_NODES, RAIN_NODES = 16, 16, 4
LEAST_SPREAD = 1.02
"""An axis reaches at least this factor below and above its middle, so that a spline has something to bend."""


@dataclass(frozen=True)
class Delivery:
    """What barrels do in a mean year, [n] each.

    ``yield_l_yr``, ``dry_l_yr``, ``wet_l_yr``: drawn and used in the mean year, and in years at the 10th and 90th
    percentile. ``inflow_l_yr``: reaches the barrels. ``room``: share of their volume that is free when a storm
    comes. ``filled_yr``: times filled. ``met``: share of the days with a demand on which it is met in full.
    """

    yield_l_yr: Floats
    dry_l_yr: Floats
    wet_l_yr: Floats
    inflow_l_yr: Floats
    room: Floats
    filled_yr: Floats
    met: Floats


NAMES = ("yield_l_yr", "dry_l_yr", "wet_l_yr", "inflow_l_yr", "room", "filled_yr", "met")


def delivery(found: Balance, years: int) -> Delivery:
    """The mean year of an exact balance over ``years``."""
    dry, wet = np.quantile(found.yield_by_year_l, [0.1, 0.9], axis=1)
    met = np.nan_to_num(found.time_reliability)
    return Delivery(
        found.yield_l / years,
        dry,
        wet,
        found.inflow_l / years,
        found.room_before_storm,
        found.times_filled / years,
        met,
    )


@dataclass(frozen=True)
class Case:
    """Roofs to ask about, [n] each: ``places`` is how many downspouts can take a barrel, at least 1.

    ``rain`` is local rain over the town's mean.
    """

    mean_area_m2: Floats
    garden_m2: Floats
    rain: Floats
    places: Whole

    def __len__(self) -> int:
        return len(self.mean_area_m2)


class Surface:
    """Deliveries of 1 to 6 barrels, ready to be asked for any roof within the town's range."""

    def __init__(self, splines: dict[tuple[int, int], RegularGridInterpolator], with_rain: bool, points: int):
        self._splines = splines
        self.with_rain = with_rain
        self.points = points

    def __call__(self, case: Case, barrels: int) -> Delivery:
        """Deliveries of ``barrels`` at each of ``case`` [n]."""
        asked = np.column_stack([np.log(case.mean_area_m2), np.log(case.garden_m2), case.rain])
        asked = asked if self.with_rain else asked[:, :2]
        values = np.empty((len(case), len(NAMES)))
        tanks = np.minimum(case.places, barrels)
        for number in np.unique(tanks):
            mine = tanks == number
            values[mine] = self._splines[barrels, int(number)](asked[mine])
        return Delivery(*np.maximum(values, 0.0).T)


def axis(values: NDArray[np.float64], nodes: int) -> Floats:
    """Logarithms of ``nodes`` places that span ``values`` by equal factors, and a little more than they do."""
    low, high = np.log(values.min()), np.log(values.max())
    middle, half = (low + high) / 2, max((high - low) / 2, np.log(LEAST_SPREAD)) * (1 + 1e-9)
    return np.linspace(middle - half, middle + half, nodes)


def surface(days: Days, rain_nodes: Floats, case: Case, usable_l: float, inequality: float) -> Surface:
    """The surface that covers ``case`` [n].

    ``days`` has one series for each of ``rain_nodes`` [r], rain relative to the town's mean; with a single one,
    local rain is no axis. All cases of all surfaces run through one balance together.
    """
    areas = axis(case.mean_area_m2, AREA_NODES)
    gardens = axis(case.garden_m2, GARDEN_NODES)
    shape = (len(areas), len(gardens), len(rain_nodes))
    area, garden, series = (
        one.ravel()
        for one in np.meshgrid(np.exp(areas), np.exp(gardens), np.arange(len(rain_nodes)), indexing="ij")
    )
    most_places = int(min(case.places.max(), MOST_BARRELS))
    classes = [(n, k) for n in range(1, MOST_BARRELS + 1) for k in range(1, min(n, most_places) + 1)]
    laid = [
        layout(
            np.full(area.shape, n), np.full(area.shape, k), np.asarray(area, np.float64), usable_l, inequality
        )
        for n, k in classes
    ]
    repeat = len(classes)
    found = delivery(
        deliver(
            days,
            np.tile(series, repeat),
            np.concatenate([one for one, _ in laid]),
            np.concatenate([one for _, one in laid]),
            np.tile(garden, repeat),
        ),
        days.years,
    )
    values = np.stack([getattr(found, name) for name in NAMES], axis=-1).reshape(repeat, *shape, len(NAMES))
    with_rain = len(rain_nodes) > 1
    nodes = (areas, gardens, rain_nodes) if with_rain else (areas, gardens)
    splines = {
        one: RegularGridInterpolator(nodes, values[at] if with_rain else values[at, :, :, 0], method="cubic")
        for at, one in enumerate(classes)
    }
    return Surface(splines, with_rain, repeat * len(area))
