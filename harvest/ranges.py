"""How sure the figures are: every input drawn anew, for each parcel and for the town, in litres and in money."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import shapely

from harvest.clock import Clock
from harvest.deliver import Barrels
from harvest.estimate import Estimate
from harvest.findings import Finding
from harvest.layers import between
from harvest.place.plane import WGS84, transformed
from harvest.plan.doubt import Ranges, RowRanges, SumRanges, volume
from harvest.plan.draws import Draws, Factors, inputs
from harvest.plan.money import SavingCurve, net_cost, payback_chance, payback_sentence, saving_curve
from harvest.project import Settings
from harvest.project.capture import Losses
from harvest.standing import on_rows
from harvest.water.barrels import Floats, deliver, layout
from harvest.water.surface import Singles, Surface, surface

YieldDraws = Callable[[slice, Factors], Floats]
AREA_FACTORS = ("coefficient", "rain", "imagery", "block", "footprint", "material")
COARSE_STEP = 0.3
"""Nodes of the surfaces that draws are read off lie this far apart, in logarithms: doubt needs no more."""
M_PER_DEGREE = 111_320.0
"""Along a meridian, or the equator, near enough to name squares by."""
LEAST_FACTOR = 0.05
"""Draws that lower an area or a garden further count as this: what is left hardly counts."""


def with_ranges(
    found: Estimate, barrels: Barrels | None, settings: Settings, clock: Clock
) -> tuple[Estimate, dict[str, Any]]:
    """``found`` with its ranges, and those of the town's totals for ``run.json``."""
    with clock.step("doubt"):
        parcels = found.parcels
        blocks = square_of(found, settings.doubt.block_m)
        parcels, told = _of_volumes(parcels, blocks, settings)
        findings = list(found.findings)
        if barrels is not None:
            parcels, of_barrels = _of_barrels(parcels, blocks, barrels, settings)
            told |= of_barrels
            if settings.tariff is None:
                findings.append(_no_tariff())
        return replace(found, parcels=parcels, findings=tuple(findings)), told


def square_of(found: Estimate, side_m: float) -> pd.Series:
    """The square [parcels] in which the roof with barrels of each parcel lies; missing without one.

    Squares are cut from the globe, not from the town, so a part of the town has the same ones.
    """
    at = found.parcels["at"].to_numpy()
    middle = transformed(shapely.centroid(found.outlines[np.maximum(at, 0)]), between(found.plane, WGS84))
    side = side_m / M_PER_DEGREE
    row = np.floor(shapely.get_y(middle) / side)
    column = np.floor(shapely.get_x(middle) * np.cos(np.radians((row + 0.5) * side)) / side)
    names = pd.Series([f"{x:.0f} {y:.0f}" for x, y in zip(column, row, strict=True)], dtype="str")
    return names.mask(at < 0)


def drawn_anew(ids: pd.Series, blocks: pd.Series, settings: Settings) -> Draws:
    """Draws of every input for parcels of ``ids`` [n] in ``blocks`` [n]."""
    known = inputs(settings.doubt, settings.costs, settings.habits.weeks_share)
    return Draws(ids, blocks, known, count=settings.doubt.draws, seed=settings.doubt.seed)


def _of_volumes(parcels: Any, blocks: pd.Series, settings: Settings) -> tuple[Any, dict[str, Any]]:
    """Ranges of what the roofs shed and of what is capturable."""
    row = np.flatnonzero(parcels["runoff_l_yr"].notna().to_numpy())
    mine = parcels.iloc[row]
    draws = drawn_anew(mine["parcel_id"], blocks.iloc[row], settings)
    measures = {
        name: volume(mine[name].to_numpy(dtype=float), _coefficient(settings.losses))
        for name in ("runoff_l_yr", "capturable_l_yr")
    }
    of_rows = RowRanges(draws)
    of_town = {name: _town(draws) for name in measures}
    for part, factors in draws.parts():
        for name, measure in measures.items():
            values = measure(part, factors)
            of_town[name].add(part, factors, values)
            if name == "capturable_l_yr":
                of_rows.add(part, factors, values)
    ends = of_rows.found()
    found = {"capturable_low_l_yr": ends.low, "capturable_high_l_yr": ends.high}
    return on_rows(parcels, row, found), {name: _told(one.found(), draws) for name, one in of_town.items()}


def _coefficient(losses: Losses) -> float:
    """The runoff coefficient of the way in force [1]."""
    return losses.coefficient if losses.way == "annual ratio" else losses.event_coefficient


def _of_barrels(
    parcels: Any, blocks: pd.Series, barrels: Barrels, settings: Settings
) -> tuple[Any, dict[str, Any]]:
    """Ranges of what the suggested barrels deliver and save, and the chance that they pay back."""
    row, costs = barrels.row, settings.costs
    draws = drawn_anew(parcels["parcel_id"].iloc[row], blocks.iloc[row], settings)
    yields = yield_draws(barrels, draws, settings)
    shares = month_shares(barrels, settings)
    curve = None if settings.tariff is None else saving_curve(settings.tariff, shares)
    used, saved = RowRanges(draws), RowRanges(draws)
    town, town_saved = _town(draws), _town(draws)
    chance = np.full(len(row), np.nan)
    for part, factors in draws.parts():
        litres = yields(part, factors)
        used.add(part, factors, litres)
        town.add(part, factors, litres)
        if curve is not None:
            dollars = curve.saving(litres * factors.replaces_tap)
            saved.add(part, factors, dollars)
            town_saved.add(part, factors, dollars)
            cost = net_cost(
                barrels.suggested[None, part], factors["barrel_usd"], costs.rebate_usd, costs.rebate_most_usd
            )
            chance[part] = payback_chance(dollars, cost, factors["life_years"])
    ends = used.found()
    values: dict[str, Any] = {
        "yield_low_l_yr": ends.low,
        "yield_high_l_yr": ends.high,
        "yield_hangs_on": _words(ends.matters, draws).array,
        "net_cost_usd": net_cost(
            barrels.suggested, costs.barrel_usd, costs.rebate_usd, costs.rebate_most_usd
        ),
    }
    told = {"yield_l_yr": _told(town.found(), draws)}
    if curve is not None:
        money = saved.found()
        middle = parcels["yield_l_yr"].iloc[row].to_numpy() * costs.replaces_tap
        values |= {
            "saving_usd_yr": curve.saving(middle),
            "saving_low_usd_yr": money.low,
            "saving_high_usd_yr": money.high,
            "payback_chance": chance,
            "payback": pd.array(_sentences(chance, costs.no_payback_below), dtype="str"),
        }
        told["saving_usd_yr"] = _told(town_saved.found(), draws)
        barrels.record.update(saving_curve=_curve(curve), month_shares=shares.tolist())
    return on_rows(parcels, row, values), told


def yield_draws(barrels: Barrels, draws: Draws, settings: Settings) -> YieldDraws:
    """The measure of what the suggested barrels deliver, read off a surface for each of a few shares of weeks.

    Where nothing is off it is the run's own figure. No draw lets a roof shed more than falls on it.
    """
    weeks = draws.inputs["weeks"]
    nodes = np.unique([weeks.low, weeks.middle, weeks.high])
    reach = max(_reach(draws, AREA_FACTORS), _reach(draws, ("garden",)))
    rain = np.array([barrels.case.rain.mean()])
    numbers = [int(one) for one in np.unique(barrels.suggested)]
    made: list[Surface] = [
        surface(
            barrels.weather.days(rain[:, None] * barrels.weather.normals_mm, share),
            rain,
            barrels.case,
            barrels.usable_l,
            settings.downspouts.inequality,
            reach=reach,
            numbers=numbers,
            step=COARSE_STEP,
        )
        for share in nodes
    ]
    case = barrels.case
    area = (case.mean_area_m2 * (case.rain / rain[0])).astype(np.float32)
    garden = case.garden_m2.astype(np.float32)
    most = np.float32(1 / _coefficient(settings.losses))
    anchor = _anchor(barrels, made[int(np.searchsorted(nodes, weeks.middle))], area, garden, rain)

    def drawn(part: slice, factors: Factors) -> Floats:
        share = np.clip(factors.weeks, nodes[0], nodes[-1])
        areas = area[part] * (factors.area * factors.rain * np.minimum(factors.ratio, most))
        gardens = garden[part] * factors.demand
        found = np.zeros(areas.shape)
        for number in numbers:
            mine = np.flatnonzero(barrels.suggested[part] == number)
            if not len(mine):
                continue
            one = areas[:, mine], gardens[:, mine], rain, case.places[part][mine]
            scale = anchor[part][mine]
            if len(nodes) == 1:
                found[:, mine] = made[0].quick_yields(*one, number) * scale
                continue
            at = np.stack([surface.quick_yields(*one, number) for surface in made])
            below = np.clip(np.searchsorted(nodes, share[:, 0], side="right") - 1, 0, len(nodes) - 2)
            draw = np.arange(len(below))
            way = (share - nodes[below][:, None]) / np.diff(nodes)[below][:, None]
            found[:, mine] = (at[below, draw] * (1 - way) + at[below + 1, draw] * way) * scale
        return found

    return drawn


def _anchor(barrels: Barrels, middle: Surface, area_m2: Singles, garden_m2: Singles, rain: Floats) -> Floats:
    """The run's own yield over that of the coarse surface ``middle`` at the same roof [n; 1]; 1 where it has none."""
    coarse = np.zeros(len(barrels.row))
    for number in np.unique(barrels.suggested):
        mine = barrels.suggested == number
        places = barrels.case.places[mine]
        coarse[mine] = middle.quick_yields(area_m2[mine], garden_m2[mine], rain, places, int(number))
    own = barrels.yields_l_yr[np.arange(len(coarse)), barrels.suggested - 1]
    return np.asarray(np.divide(own, coarse, out=np.ones_like(own), where=coarse > 0))


def _reach(draws: Draws, names: tuple[str, ...]) -> float:
    """How far the product of some factors can lie from 1, as a factor itself."""
    ends = [draws.inputs[name] for name in names]
    high = float(np.prod([one.high for one in ends]))
    low = float(np.prod([one.low for one in ends]))
    return max(high, 1 / max(low, LEAST_FACTOR))


def month_shares(barrels: Barrels, settings: Settings) -> Floats:
    """How the year's yield falls on the months [12; 1], from the middle parcel's exact balance."""
    case = barrels.case
    middle = np.array([np.argsort(case.mean_area_m2 * case.rain, kind="stable")[len(case) // 2]])
    days = barrels.weather.days(
        case.rain[middle][:, None] * barrels.weather.normals_mm, settings.habits.weeks_share
    )
    by_month = replace(days, year_of_day=barrels.weather.daily.months[barrels.weather.in_season])
    areas, volumes = layout(
        barrels.suggested[middle],
        case.places[middle],
        case.mean_area_m2[middle],
        barrels.usable_l,
        settings.downspouts.inequality,
    )
    drawn = deliver(by_month, np.zeros(1, dtype=np.intp), areas, volumes, case.garden_m2[middle])
    shares = np.zeros(12)
    shares[: drawn.yield_by_year_l.shape[1]] = drawn.yield_by_year_l[0]
    return shares / shares.sum() if shares.sum() > 0 else np.full(12, 1 / 12)


def _town(draws: Draws) -> SumRanges:
    return SumRanges(draws, np.zeros(len(draws), dtype=np.intp), 1)


def _words(matters: pd.Series, draws: Draws) -> pd.Series:
    """The inputs that matter in words."""
    return matters.map({name: one.words for name, one in draws.inputs.items()}).astype("str")


def _told(one: Ranges, draws: Draws) -> dict[str, Any]:
    """Plain values of the range of a total."""
    words = _words(one.matters, draws)
    known = bool(words.notna().iloc[0])
    return {
        "low": float(one.low[0]),
        "high": float(one.high[0]),
        "hangs_on": str(words.iloc[0]) if known else None,
        "share_of_doubt": float(one.share[0]) if known else None,
    }


def _sentences(chance: Floats, no_payback_below: float) -> list[str]:
    return [payback_sentence(float(one), no_payback_below) for one in chance]


def _curve(curve: SavingCurve) -> dict[str, list[float]]:
    return {
        "replaced_l_yr": [float(one) for one in curve.replaced_l_yr],
        "saved_usd_yr": [float(one) for one in curve.saved_usd_yr],
    }


def _no_tariff() -> Finding:
    return Finding(
        "no tariff",
        "project file",
        "note",
        1,
        "No price of water is set, so nothing is said of savings or of paying back.",
        "Give the rate sheet in [tariff].",
    )
