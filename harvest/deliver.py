"""What barrels would deliver: for every parcel the daily balance of 1 to 6 barrels, and how many to suggest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np

from harvest.clock import Clock
from harvest.estimate import Estimate, Inputs
from harvest.fields.barrels import MOST_BARRELS, yield_name
from harvest.findings import Finding
from harvest.litres import storm_left_mm
from harvest.project import Settings
from harvest.standing import (
    on_rows,
    usable_l,
    with_barrel_roof,
    with_downspouts,
    with_nothing,
    without_figures,
)
from harvest.units import MM_PER_INCH
from harvest.water.barrels import Days, Floats, deliver, layout
from harvest.water.storms import share_of_first_inch
from harvest.water.surface import STEP, Case, Delivery, Surface, delivery, surface
from harvest.weather import Weather, weather

RAIN_NODES = 4
RAIN_STEP = 0.25
"""Steps in rain, in logarithms, over those in area: the garden follows it too, so it bends more."""
STEPS = (STEP, STEP / 2, STEP / 4)
"""Steps between the nodes of the surface, tried until it lies within its bound."""
LEAST_RAIN_SPREAD = 0.005
"""Rain that differs by less over the town is taken as one: it moves a barrel's yield by less than the bound."""
ROOFS_CHECKED = 200
MOST_ERROR_SHARE, MOST_ERROR_L = 0.002, 4.0
"""The surface may lie off the exact balance by the larger of the two: share of the yield, and L/yr."""


@dataclass(frozen=True)
class Barrels:
    """What barrels deliver, row by row of the parcels that can be asked about.

    ``row`` [n]: positions in the parcel table. ``case``: served area, garden and rain of each. ``yields_l_yr`` [n, 6].
    ``suggested`` [n]: barrels to suggest, at least 1. ``figures``: the mean year of the suggested barrels.
    """

    row: np.ndarray
    case: Case
    yields_l_yr: Floats
    suggested: np.ndarray
    figures: Delivery
    weather: Weather
    usable_l: float
    rain_nodes: Floats
    record: dict[str, Any]


def delivered(
    found: Estimate, inputs: Inputs, settings: Settings, clock: Clock
) -> tuple[Estimate, Barrels | None]:
    """``found`` with the fields of barrels, and what later steps need of them; None where nothing can be told."""
    with clock.step("downspouts"):
        known = untold(found, settings)
    with clock.step("days of rain"):
        days = found.weather or weather(
            inputs.gauge, inputs.temperature, found.normals_mm, inputs.latitude_deg, settings
        )
    known = replace(known, weather=days)
    if days is None or days.normals_mm.sum() == 0:
        return replace(known, findings=(*found.findings, _no_days())), None
    with clock.step("barrels through the years"):
        barrels = _barrels(known, days, settings)
    findings = [*found.findings, *days.findings, *_check_gardens(known)]
    if barrels is None:
        return replace(known, parcels=with_nothing(known.parcels), findings=tuple(findings)), None
    findings += [*_check_drawn(barrels), *_check_error(barrels.record["surface"])]
    with_yields = _with_yields(with_nothing(known.parcels), barrels, settings)
    return replace(known, parcels=with_yields, findings=tuple(findings)), barrels


def untold(found: Estimate, settings: Settings) -> Estimate:
    """``found`` with downspouts, roofs for barrels and gardens, and every figure of barrels missing."""
    roofs = with_downspouts(found, settings)
    parcels = without_figures(with_barrel_roof(found.parcels, roofs, settings))
    return replace(found, roofs=roofs, parcels=parcels)


def _barrels(found: Estimate, days: Weather, settings: Settings) -> Barrels | None:
    """The balance of every parcel with a guttered roof, a rain figure and a garden."""
    parcels = found.parcels
    asked = (parcels["at"] >= 0) & parcels["garden_m2"].gt(0) & parcels["barrel_rain_mm_yr"].gt(0)
    asked &= parcels["barrel_places"].gt(0).fillna(False).astype(bool)
    row = np.flatnonzero(asked.to_numpy())
    if not len(row):
        return None
    mine = parcels.iloc[row]
    relative = mine["barrel_rain_mm_yr"].to_numpy() / days.normals_mm.sum()
    places = np.minimum(mine["barrel_places"].to_numpy(dtype=np.intp), MOST_BARRELS)
    case = Case(mine["served_area_m2"].to_numpy(), mine["garden_m2"].to_numpy(), relative, places)
    usable = usable_l(settings)
    weeks = settings.habits.weeks_share
    for step in STEPS:
        nodes = rain_nodes(relative, step)
        made = surface(
            days.days(nodes[:, None] * days.normals_mm, weeks),
            nodes,
            case,
            usable,
            settings.downspouts.inequality,
            step=step,
        )
        yields = np.stack([made.yields(case, number) for number in range(1, MOST_BARRELS + 1)], axis=1)
        yields = np.maximum.accumulate(yields, axis=1)
        error = _error(found, days, case, row, yields, settings)
        if error["largest_error_over_bound"] <= 1:
            break
    suggested = suggestion(yields, settings)
    return Barrels(
        row,
        case,
        yields,
        suggested,
        _figures(made, case, suggested),
        days,
        usable,
        nodes,
        {
            "effective_coefficient": _coefficients(days, settings),
            "usable_l": usable,
            "parcels": len(row),
            "surface": {
                "points": made.points,
                "rain_nodes": [float(one) for one in nodes],
                "step": step,
                **error,
            },
        },
    )


def _coefficients(days: Weather, settings: Settings) -> dict[str, Any]:
    """Share of the town's yearly rain that runs off, by both ways of counting losses, with the settings as they are."""
    told: dict[str, Any] = {"way in force": settings.losses.way}
    for way in ("annual ratio", "event"):
        losses = settings.losses.model_copy(update={"way": way})
        other = replace(days, settings=settings.model_copy(update={"losses": losses}))
        told[way] = float(other.coefficients(days.normals_mm[None, :])[0][0])
    return told


def rain_nodes(relative: Floats, step: float) -> Floats:
    """Rain over the town's mean at which days are run, from that of its roofs [n; 1]; closer for a finer ``step``."""
    low, high = float(relative.min()), float(relative.max())
    if high <= low * (1 + LEAST_RAIN_SPREAD):
        return np.array([(low + high) / 2])
    return np.geomspace(low, high, max(RAIN_NODES, int(np.ceil(np.log(high / low) / (RAIN_STEP * step))) + 1))


def suggestion(yields_l_yr: Floats, settings: Settings) -> np.ndarray:
    """Barrels to suggest [n] from what 1 to 6 deliver [n, 6; L/yr]: one more while it adds enough."""
    barrel = settings.barrel
    gain = np.diff(yields_l_yr, axis=1)[:, barrel.begin_with - 1 : barrel.suggest_most - 1]
    worth = np.logical_and.accumulate(gain >= barrel.least_gain_l_yr, axis=1)
    return np.asarray(barrel.begin_with + worth.sum(axis=1))


def _figures(made: Surface, case: Case, barrels: np.ndarray) -> Delivery:
    """The mean year of ``barrels`` [n] at each of ``case`` [n]."""
    values: dict[str, Floats] = {}
    for number in np.unique(barrels):
        mine = barrels == number
        part = made(case.at(mine), int(number))
        for name, one in vars(part).items():
            values.setdefault(name, np.empty(len(case)))[mine] = one
    return Delivery(**values)


def exact(days: Days, series: np.ndarray, case: Case, barrels: np.ndarray, settings: Settings) -> Delivery:
    """The mean year of ``barrels`` [n] at each of ``case`` [n] by the daily balance itself, not the surface."""
    areas, volumes = layout(
        barrels, case.places, case.mean_area_m2, usable_l(settings), settings.downspouts.inequality
    )
    return delivery(deliver(days, series, areas, volumes, case.garden_m2), days.years)


def _error(
    found: Estimate, days: Weather, case: Case, row: np.ndarray, yields: Floats, settings: Settings
) -> dict[str, Any]:
    """How far the surface lies from the exact balance on some of the town's own parcels, evenly over their ids.

    The exact balance takes each roof's own months, where the surface scales the town's by one figure.
    """
    some = np.unique(np.linspace(0, len(row) - 1, min(ROOFS_CHECKED, len(row))).astype(np.intp))
    normals = own_normals(found.rain_mm[found.parcels["at"].to_numpy()[row[some]]], days)
    own = days.days(normals, settings.habits.weeks_share)
    numbers = np.repeat(np.arange(1, MOST_BARRELS + 1), len(some))
    series, tiled = np.tile(np.arange(len(some)), MOST_BARRELS), np.tile(some, MOST_BARRELS)
    true = exact(own, series, case.at(tiled), numbers, settings).yield_l_yr
    off = np.abs(yields[tiled, numbers - 1] - true)
    allowed = np.maximum(MOST_ERROR_SHARE * true, MOST_ERROR_L)
    return {
        "parcels_checked": len(some),
        "largest_error_l_yr": float(off.max()),
        "mean_error_l_yr": float(off.mean()),
        "largest_error_over_bound": float((off / allowed).max()),
        "bound": f"the larger of {MOST_ERROR_SHARE:.1%} of the yield and {MOST_ERROR_L:g} L a year",
    }


def own_normals(rain_mm: Floats, days: Weather) -> Floats:
    """Months of roofs [n, 12; mm] from their rain [n, 12 or 1; mm]; whole years take the town's months."""
    if rain_mm.shape[1] == 12:
        return rain_mm
    return np.asarray(rain_mm / days.normals_mm.sum() * days.normals_mm)


def _with_yields(parcels: gpd.GeoDataFrame, found: Barrels, settings: Settings) -> gpd.GeoDataFrame:
    """``parcels`` with what their barrels deliver."""
    one = found.figures
    mine = parcels.iloc[found.row]
    roof = mine["catchment_area_m2"].to_numpy()
    areas, _ = layout(
        found.suggested,
        found.case.places,
        found.case.mean_area_m2,
        found.usable_l,
        settings.downspouts.inequality,
    )
    first_inch = share_of_first_inch(
        found.usable_l * found.suggested,
        np.nan_to_num(one.room),
        roof,
        storm_left_mm(MM_PER_INCH, settings.losses) / MM_PER_INCH,
        served_share=np.minimum(areas.sum(axis=1) / roof, 1.0),
    )
    values = {
        "suggested_barrels": found.suggested,
        "yield_l_yr": found.yields_l_yr[np.arange(len(found.row)), found.suggested - 1],
        "yield_poor_year_l_yr": one.poor_l_yr,
        "yield_good_year_l_yr": one.good_l_yr,
        **{yield_name(n + 1): found.yields_l_yr[:, n] for n in range(MOST_BARRELS)},
        "demand_l_yr": one.demand_l_yr,
        "inflow_l_yr": one.inflow_l_yr,
        "overflow_l_yr": one.overflow_l_yr,
        "demand_days_yr": one.demand_days_yr,
        "days_met_yr": one.days_met_yr,
        "fills_yr": one.filled_yr,
        "room_share": one.room,
        "first_inch_share": np.where(np.isnan(one.room), np.nan, first_inch),
    }
    return on_rows(parcels, found.row, values)


def _check_gardens(found: Estimate) -> list[Finding]:
    """A note on parcels that could catch water and have no garden to use it."""
    parcels = found.parcels
    catches = parcels["guttered_area_m2"].gt(0) & parcels["runoff_l_yr"].notna()
    bare = parcels.loc[parcels["garden_m2"].eq(0) & catches, "parcel_id"]
    if not len(bare):
        return []
    return [
        Finding.of(
            "no garden",
            "parcels",
            "note",
            bare,
            f"Parcels with a roof to catch water and no garden to use it, by the settings of [garden]: {len(bare):,}. "
            "No barrel is suggested there, and 0 L are used.",
            "Look at area_m2, most_open_share and least_m2 in [garden] if that seems too many.",
        )
    ]


def _check_drawn(found: Barrels) -> list[Finding]:
    """Tell when no garden asks for anything."""
    if found.yields_l_yr.any():
        return []
    return [
        Finding(
            "nothing drawn",
            "parcels",
            "serious",
            len(found.row),
            "No garden asks for water on any day in season, so barrels deliver 0 L everywhere.",
            "Look at [season], at weeks_share in [habits], and at weekly_mm in [garden].",
        )
    ]


def _check_error(error: dict[str, Any]) -> list[Finding]:
    if error["largest_error_over_bound"] <= 1:
        return []
    return [
        Finding(
            "barrels interpolated roughly",
            "parcels",
            "warning",
            error["parcels_checked"],
            f"Of the parcels checked, one differs by {error['largest_error_l_yr']:.1f} L a year from its exact daily "
            f"balance; the bound is {error['bound']}.",
            "harvest explain gives the exact figure of any parcel.",
        )
    ]


def _no_days() -> Finding:
    return Finding(
        "no days of rain",
        "gauge",
        "serious",
        1,
        "Neither a gauge nor a monthly rainfall grid says when rain falls, so nothing is told about barrels: what "
        "they deliver, how many to suggest, what they save.",
        "Give a record of daily rain in [gauge], or a grid with twelve months, or [season] monthly_shares.",
    )
