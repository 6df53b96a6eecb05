"""One parcel's barrels worked step by step: downspout, barrel, garden, the daily balance itself, money."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from harvest.deliver import MOST_ERROR_L, MOST_ERROR_SHARE, exact, own_normals
from harvest.fields.barrels import yield_name
from harvest.litres import storm_left_mm, storm_losses
from harvest.plan.money import claimed_saving, net_cost
from harvest.project import Settings
from harvest.show.figures import shown
from harvest.standing import usable_l
from harvest.water.barrels import MOST_BARRELS, Days, Floats, deliver, layout
from harvest.water.surface import Case
from harvest.water.tank import Balance
from harvest.weather import Weather

LEAST_TOLD_L = 1.0
"""A barrel that adds less in a year adds nothing."""


def barrel_lines(
    row: pd.Series,
    roofs: gpd.GeoDataFrame,
    monthly_mm: Floats,
    weather: Weather | None,
    settings: Settings,
    run: dict[str, Any],
) -> Iterator[str]:
    """The lines that take the parcel of ``row`` from its downspouts to what barrels deliver, exactly, and to dollars.

    ``monthly_mm`` [roofs, 12 or 1; mm] is rain on each of its ``roofs``.
    """
    if pd.isna(row["barrel_roof_id"]):
        yield "6. Barrels: no roof here has a gutter, so none can be filled"
        return
    at = int(np.flatnonzero(roofs["roof_id"].eq(row["barrel_roof_id"]).to_numpy())[0])
    yield from _downspouts(roofs.iloc[at], settings)
    if row["barrel_places"] == 0:
        yield "7. Barrels: no downspout here can take one, so a barrel would deliver 0 L"
        return
    if weather is None or not np.isfinite(monthly_mm[at]).all():
        yield "7. Barrels: nothing says when rain falls here, so nothing can be told about what they deliver"
        return
    yield from _garden(row, weather, settings)
    if not row["garden_m2"] > 0:
        return
    normals = own_normals(monthly_mm[at : at + 1], weather)
    days = weather.days(normals, settings.habits.weeks_share)
    case = Case(
        np.array([float(row["served_area_m2"])]),
        np.array([float(row["garden_m2"])]),
        np.array([normals.sum() / weather.normals_mm.sum()]),
        np.array([min(int(row["barrel_places"]), MOST_BARRELS)]),
    )
    yield from _balance(row, case, days, weather, settings)
    yield from _doubt(row, settings)
    yield from _money(row, run, settings)


def _downspouts(roof: pd.Series, settings: Settings) -> Iterator[str]:
    rule, losses = settings.downspouts, settings.losses
    area, eave, count = roof["catchment_area_m2"], roof["eave_m"], int(roof["downspout_count"])
    yield f"6. Downspouts of roof {roof['roof_id']}, where barrels would stand (rules, not sightings)"
    yield (
        f"   the largest of {rule.least}, {area:.2f} m² ÷ {rule.area_served_m2:g} m², eaves {eave:.2f} m ÷ "
        f"{rule.spacing_m:g} m, rounded up: {count}; at {int(roof['barrel_places'])} a barrel can stand "
        f"(share {rule.usable_share:g})"
    )
    divisor = count - rule.inequality * (count % 2)
    yield (
        f"   the middle one drains {area:.2f} m² ÷ {divisor:g} = {roof['served_area_m2']:.2f} m²; smaller and larger "
        f"ones in turn {1 - rule.inequality:g} and {1 + rule.inequality:g} times that, and the smaller is taken first"
    )
    storm = storm_left_mm(settings.storm.depth_mm, losses)
    yield (
        f"   one storm brings it {roof['served_area_m2']:.2f} m² × {storm:.2f} mm = "
        f"{roof['storm_downspout_l']:,.0f} L"
    )
    barrel, usable = settings.barrel, usable_l(settings)
    first, share = storm_losses(losses)
    loses_first = f" + {first:.2f} mm lost first" if first else ""
    yield (
        f"   a barrel holds {barrel.volume_l:g} − {barrel.dead_l:g} below the spigot − {barrel.head_l:g} above the "
        f"overflow = {usable:.1f} L; rain that fills it: {usable:.1f} L ÷ ({roof['served_area_m2']:.2f} m² × "
        f"{share:g}){loses_first} = {roof['fill_depth_mm']:.2f} mm, "
        f"{roof['fill_min']:.0f} minutes at {settings.storm.intensity_mm_h:g} mm an hour"
    )


def _garden(row: pd.Series, weather: Weather, settings: Settings) -> Iterator[str]:
    garden, habits = settings.garden, settings.habits
    open_ground = row["parcel_area_m2"] - row["catchment_area_m2"]
    ground = "unknown" if pd.isna(open_ground) else f"{open_ground:,.0f} m²"
    yield (
        f"7. Garden: the lesser of {garden.area_m2:g} m² and {garden.most_open_share:g} of the open ground "
        f"({ground}): {row['garden_m2']:.1f} m²"
    )
    if not row["garden_m2"] > 0:
        yield (
            f"   less than {garden.least_m2:g} m² counts as no garden, so nothing draws the water: a barrel here would "
            "deliver 0 L"
        )
        return
    if weather.evaporation_mm is None:
        need = "it asks for a plain weekly depth, whatever the weather"
    else:
        need = (
            f"each day loses {garden.landscape_coefficient:g} × reference evapotranspiration (Hargreaves–Samani, "
            f"FAO-56 eq. 52; {weather.evaporation_mm.max():.1f} mm on the most thirsty day) from a soil that holds "
            f"{garden.available_mm:g} mm; once about {garden.depletion:g} of it is used up, it asks for "
            f"what is missing ÷ efficiency {garden.efficiency:g}, never on a day of {garden.real_rain_mm:g} mm of rain"
        )
    yield f"   {need}"
    yield (
        f"   people draw in {habits.weeks_share:g} of the weeks, {habits.sessions_a_week} days a week, at most "
        f"{habits.most_l:g} L a day"
    )


def _balance(row: pd.Series, case: Case, days: Days, weather: Weather, settings: Settings) -> Iterator[str]:
    years = weather.daily.years
    source = "days made up from monthly normals" if weather.daily.generated else "days of the gauge"
    yield (
        f"8. The daily balance, {len(years)} years of {source} ({years[0]} to {years[-1]}), scaled month by month to "
        "this roof: each morning's water is drawn first, then the rain comes in, the rest spills (yield after spillage)"
    )
    suggested = max(int(row["suggested_barrels"]), 1)
    before = 0.0
    held, off = float(row["yield_l_yr"]), np.nan
    for number in range(1, MOST_BARRELS + 1):
        told = exact(days, np.zeros(1, dtype=np.intp), case, np.array([number]), settings)
        mark = "  ← suggested" if number == suggested else ""
        yield (
            f"   {number} barrel{'s' if number > 1 else ' '}: {told.inflow_l_yr[0]:8,.0f} L in, "
            f"{told.yield_l_yr[0]:7,.0f} L used, {told.overflow_l_yr[0]:8,.0f} L over the top, "
            f"{told.inflow_l_yr[0] - told.yield_l_yr[0] - told.overflow_l_yr[0]:,.0f} L left in the end; filled "
            f"{told.filled_yr[0]:.1f} times; a poor year {told.poor_l_yr[0]:,.0f}, a good one "
            f"{told.good_l_yr[0]:,.0f} L{mark}"
        )
        if number == suggested:
            off = abs(held - told.yield_l_yr[0])
        if number > suggested and told.yield_l_yr[0] - before < LEAST_TOLD_L:
            yield "   further ones add nothing"
            break
        before = told.yield_l_yr[0]
    rough = off > max(MOST_ERROR_SHARE * (held + off), MOST_ERROR_L)
    yield (
        f"   the tables hold {held:,.0f} L for {suggested}, read off a surface: {off:.1f} L from the balance itself"
        + ("; that is beyond its bound: if an input changed since the run, run again" if rough else "")
    )
    areas, volumes = layout(
        np.array([suggested]),
        case.places,
        case.mean_area_m2,
        usable_l(settings),
        settings.downspouts.inequality,
    )
    series = np.zeros(1, dtype=np.intp)
    one = deliver(days, series, areas, volumes, case.garden_m2)
    other = deliver(days, series, areas, volumes, case.garden_m2, rule="ybs")
    yield from _reliability(one, other, len(years), len(days.year_of_day))
    yield (
        f"   one more barrel is suggested while it adds {settings.barrel.least_gain_l_yr:g} L a year, from "
        f"{settings.barrel.begin_with} to at most {settings.barrel.suggest_most}"
    )


def _reliability(one: Balance, other: Balance, years: int, days: int) -> Iterator[str]:
    if one.demand_days[0] == 0:
        yield "   the garden asks for nothing on any day in season"
        return
    room = one.room_before_storm[0]
    storm = "" if np.isnan(room) else f"; {room:.0%} empty on the morning of a storm"
    yield (
        f"   of {one.demand_l[0] / years:,.0f} L asked for they give {one.volumetric_reliability[0]:.0%} (volumetric "
        f"reliability), and all that is asked on {one.days_met[0] / years:.0f} of "
        f"{one.demand_days[0] / years:.0f} days (time reliability {one.time_reliability[0]:.0%}); of "
        f"{days / years:.0f} days in season they end {one.days_empty[0] / years:.0f} empty and "
        f"{one.days_full[0] / years:.0f} full{storm}"
    )
    later, now = other.yield_l[0] / years, one.yield_l[0] / years
    change = f" ({later / now - 1:+.1%})" if now > 0 else ""
    yield (
        f"   the step checked: drawing after the rain instead of before it gives {later:,.0f} L{change}. A daily step "
        "is rough for tanks this small; this is no range of doubt. Water is kept: the balance closes to "
        f"{one.largest_error_l:.1e} L every day"
    )


def _doubt(row: pd.Series, settings: Settings) -> Iterator[str]:
    if pd.isna(row["yield_low_l_yr"]):
        return
    hangs_on = "" if pd.isna(row["yield_hangs_on"]) else f"; it hangs most on {row['yield_hangs_on']}"
    yield (
        f"9. Doubt: from {row['yield_low_l_yr']:,.0f} to {row['yield_high_l_yr']:,.0f} L used in a mean year (10th to "
        f"90th percentile of {settings.doubt.draws} draws of every input){hangs_on}. "
        f"Weather is another matter: {row['yield_poor_year_l_yr']:,.0f} L in a poor year, "
        f"{row['yield_good_year_l_yr']:,.0f} L in a good one (10th and 90th percentile of the years; in a wet year a "
        "garden asks for less, so it need not be the good one)"
    )


def _money(row: pd.Series, run: dict[str, Any], settings: Settings) -> Iterator[str]:
    costs, curve = settings.costs, (run["barrels"] or {}).get("saving_curve")
    number = max(int(row["suggested_barrels"]), 1)
    cost = float(net_cost(number, costs.barrel_usd, costs.rebate_usd, costs.rebate_most_usd))
    yield (
        f"10. Money: {number} × {costs.barrel_usd:g} USD, less a rebate of {costs.rebate_usd:g} USD each, is "
        f"{cost:,.0f} USD"
    )
    if curve is None or settings.tariff is None:
        yield "   no price of water is set, so nothing is said of savings"
        return
    replaced = float(row["yield_l_yr"]) * costs.replaces_tap
    saved = float(np.interp(replaced, curve["replaced_l_yr"], curve["saved_usd_yr"]))
    yield (
        f"   {row['yield_l_yr']:,.0f} L × {costs.replaces_tap:g} that replaces tap water = {replaced:,.0f} L "
        f"({shown(replaced, 'L', 'us')}); by the blocks of the tariff, month by month, {saved:,.2f} USD a year "
        f"({row['saving_low_usd_yr']:,.2f} to {row['saving_high_usd_yr']:,.2f}); the fixed charge is never saved"
    )
    yield (
        f"   paid back within the barrels' life in {row['payback_chance']:.0%} of the draws. {row['payback']}"
    )


def claim_lines(
    claim_usd_yr: float, row: pd.Series, settings: Settings, run: dict[str, Any]
) -> Iterator[str]:
    """What a claimed saving of ``claim_usd_yr`` [USD/yr] would take on the parcel of ``row``."""
    shares = (run["barrels"] or {}).get("month_shares")
    if settings.tariff is None or shares is None or pd.isna(row["yield_l_yr"]):
        yield f"Claim of {claim_usd_yr:,.2f} USD a year: it can't be checked without a tariff and figures of barrels."
        return
    claim = claimed_saving(
        claim_usd_yr,
        settings.tariff,
        shares,
        settings.costs.replaces_tap,
        usable_l=usable_l(settings),
        capturable_l_yr=float(row["capturable_l_yr"]),
        yields_l_yr=[float(row[yield_name(number)]) for number in range(1, MOST_BARRELS + 1)],
    )
    if not np.isfinite(claim.litres_yr):
        yield (
            f"Claim of {claim_usd_yr:,.2f} USD a year: no amount of water saves that much; with all tap water replaced "
            f"in the months of the barrels it would be {claim.most_usd_yr:,.2f} USD."
        )
        return
    could = "sheds that much in season" if claim.roof_could else "does not even shed that much in season"
    enough = (
        f"{claim.barrels_needed} here would deliver it"
        if claim.barrels_needed
        else f"not even {MOST_BARRELS} here would deliver it"
    )
    yield (
        f"Claim of {claim_usd_yr:,.2f} USD a year: it takes {claim.litres_yr:,.0f} L "
        f"({shown(claim.litres_yr, 'L', 'us')}) of barrel water, {claim.refills_yr:,.0f} refills of "
        f"one barrel. The roof {could}; {enough}."
    )
