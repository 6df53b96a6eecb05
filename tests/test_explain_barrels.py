"""``harvest explain`` on barrels: every figure that it prints is the tables' own or can be redone from them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from conftest import SAMPLE
from small_town import (
    LOTS,
    gauge_days,
    project_file,
    small_town,
    write_gauge,
    write_rain,
)

from harvest.errors import ResultError
from harvest.explain import explain
from harvest.fields.barrels import yield_name
from harvest.project import Project, read_project
from harvest.result import Result
from harvest.run import run

USABLE_L = 208.2 - 22.7 - 11.4
MONEY: dict[str, Any] = {
    "tariff": {"per": "m3", "blocks": [{"price": 2.5}], "fixed_usd": 9.0},
    "costs": {"rebate_usd": 40.0},
}
NUMBER = r"(-?[\d,]+(?:\.\d+)?)"


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """The small town with a tariff, run."""
    project = read_project(small_town(tmp_path_factory.mktemp("explained"), **MONEY))
    run(project)
    return project


def table(project: Project) -> pd.DataFrame:
    return Result.at(project.out_folder()).table("parcels").set_index("parcel_id")


def text_of(project: Project, parcel: str, **more: Any) -> str:
    return "\n".join(explain(project, parcel, **more))


def figures(pattern: str, text: str) -> list[float]:
    """The numbers that ``pattern`` finds in ``text``, where # stands for a number and the rest as it is."""
    found = re.search(re.escape(pattern).replace(r"\#", NUMBER), text)
    assert found is not None, f"{pattern!r} not in:\n{text}"
    return [float(one.replace(",", "")) for one in found.groups()]


@pytest.mark.parametrize("lot", ["house", "large", "long", "tight", "site of stack A"])
def test_every_figure_is_the_tables_own(plain: Project, lot: str) -> None:
    row, text = table(plain).loc[lot], text_of(plain, lot)
    roof = row["barrel_roof_id"]
    area, per_m2, eaves, per_m, count, places, share = figures(
        "the largest of 2, # m² ÷ # m², eaves # m ÷ # m, rounded up: #; at # a barrel can stand (share #)",
        text,
    )
    assert f"6. Downspouts of roof {roof}" in text
    assert count == max(2, np.ceil(area / per_m2), np.ceil(eaves / per_m)) == row["downspout_count"]
    assert places == row["barrel_places"] == max(1, np.ceil(count * share - 0.5))
    roofs = Result.at(plain.out_folder()).table("roofs").set_index("roof_id")
    assert eaves == pytest.approx(roofs.loc[roof, "eave_m"], abs=0.05)
    assert figures("m² ÷ # = # m²; smaller and larger", text)[1] == pytest.approx(
        row["served_area_m2"], abs=0.005
    )
    served, depth, storm = figures("one storm brings it # m² × # mm = # L", text)
    assert served * depth == pytest.approx(storm, rel=2e-3)
    assert storm == pytest.approx(row["storm_downspout_l"], abs=0.5)
    assert figures(
        "a barrel holds # − # below the spigot − # above the overflow = # L", text
    ) == pytest.approx([208.2, 22.7, 11.4, USABLE_L], abs=0.05)
    held, served, share, fill, minutes = figures("fills it: # L ÷ (# m² × #) = # mm, # minutes", text)
    assert held / served / share == pytest.approx(fill, rel=2e-3)
    assert fill == pytest.approx(row["fill_depth_mm"], abs=0.005)
    assert minutes == pytest.approx(row["fill_min"], abs=0.5)
    most, of_open, ground, garden = figures("the lesser of # m² and # of the open ground (# m²): # m²", text)
    assert min(most, of_open * ground) == pytest.approx(garden, rel=2e-3) == row["garden_m2"]
    assert ground == pytest.approx(row["parcel_area_m2"] - row["catchment_area_m2"], abs=0.5)
    low, high = figures("from # to # L used in a mean year", text)
    assert (low, high) == pytest.approx((row["yield_low_l_yr"], row["yield_high_l_yr"]), abs=0.5)
    assert figures("# L in a poor year, # L in a good one", text) == pytest.approx(
        [row["yield_poor_year_l_yr"], row["yield_good_year_l_yr"]], abs=0.5
    )
    assert f"it hangs most on {row['yield_hangs_on']}" in text


@pytest.mark.parametrize("lot", ["house", "large", "long", "tight", "tap"])
def test_the_exact_balance_lies_within_the_tables_bound(plain: Project, lot: str) -> None:
    row, text = table(plain).loc[lot], text_of(plain, lot)
    told = re.findall(
        rf"^   (\d) barrels? ?: +{NUMBER} L in, +{NUMBER} L used, +{NUMBER} L over the top, {NUMBER} L left in the "
        rf"end; filled {NUMBER} times; a poor year {NUMBER}, a good one {NUMBER} L(  ← suggested)?$",
        text,
        re.MULTILINE,
    )
    assert len(told) >= 2
    for number, came, used, over, left, filled, poor, good, mark in told:
        values = [float(one.replace(",", "")) for one in (came, used, over, left, filled, poor, good)]
        exact = values[1]
        held = row[yield_name(int(number))]
        assert abs(exact - held) <= max(0.002 * held, 4) + 0.5
        # what comes in is used, spills or is left, to the litre that each is rounded to
        assert values[0] == pytest.approx(sum(values[1:4]), abs=2)
        assert values[4] == pytest.approx((values[0] - values[2]) / (USABLE_L * int(number)), abs=0.06)
        assert values[5] <= exact <= values[6]
        assert bool(mark) == (int(number) == row["suggested_barrels"])
    held, number, off = figures("the tables hold # L for #, read off a surface: # L from the balance", text)
    assert held == pytest.approx(row["yield_l_yr"], abs=0.5)
    assert number == row["suggested_barrels"]
    assert off <= max(0.002 * held, 4)
    assert "beyond its bound" not in text


def test_reliability_can_be_redone(plain: Project) -> None:
    row, text = table(plain).loc["house"], text_of(plain, "house")
    asked, volumetric = figures("of # L asked for they give #% (volumetric reliability)", text)
    met, days, timed = figures("is asked on # of # days (time reliability #%)", text)
    season, empty, full = figures("of # days in season they end # empty and # full", text)
    assert asked == pytest.approx(row["demand_l_yr"], abs=1)
    assert volumetric == pytest.approx(100 * row["yield_l_yr"] / asked, abs=0.6)
    assert timed == pytest.approx(100 * row["days_met_yr"] / row["demand_days_yr"], abs=1.5)
    assert days == pytest.approx(row["demand_days_yr"], abs=0.6)
    assert met <= days <= season
    assert season == 200
    assert empty + full <= season
    assert figures("; #% empty on the morning of a storm", text)[0] == pytest.approx(
        100 * row["room_share"], abs=1
    )


def test_money_can_be_redone(plain: Project) -> None:
    """2.50 USD a cubic metre, 60 % of what is used replaces tap water, and 40 of 110 USD come back."""
    row, text = table(plain).loc["house"], text_of(plain, "house")
    number, price, rebate, cost = figures("10. Money: # × # USD, less a rebate of # USD each, is # USD", text)
    assert cost == number * (price - rebate) == row["net_cost_usd"] == 70
    used, share, replaced = figures("# L × # that replaces tap water = # L", text)
    assert used * share == pytest.approx(replaced, abs=1)
    saved, low, high = figures("month by month, # USD a year (# to #)", text)
    assert saved == pytest.approx(replaced / 1000 * 2.5, abs=0.01)
    assert (saved, low, high) == pytest.approx(
        tuple(row[[f"saving{part}_usd_yr" for part in ("", "_low", "_high")]]), abs=0.005
    )
    assert figures("lives in #% of the draws", text.replace("barrels' life in", "lives in"))[
        0
    ] == pytest.approx(100 * row["payback_chance"], abs=0.5)
    assert row["payback"] in text
    assert "no price of water" not in text


def test_a_claimed_saving_can_be_redone(plain: Project) -> None:
    """20 USD a year at 2.50 USD a cubic metre of 60 % of what is used: 13,333 L, more than six barrels here give."""
    text = text_of(plain, "house", claim_usd_yr=20.0)
    litres, refills = figures("it takes # L (", text) + figures("of barrel water, # refills", text)
    assert litres == pytest.approx(20 / 2.5 * 1000 / 0.6, abs=1)
    assert refills == pytest.approx(litres / USABLE_L, abs=0.5)
    assert "not even 6 here would deliver it" in text
    assert "sheds that much in season" in text
    assert "1 here would deliver it" in text_of(plain, "house", claim_usd_yr=0.5)
    assert "can't be checked" in text_of(plain, "stack A", claim_usd_yr=20.0)


@pytest.mark.parametrize(
    ("lot", "said"),
    [
        ("stub", "6. Barrels: no roof here has a gutter, so none can be filled"),
        ("sheds", "6. Barrels: no roof here has a gutter, so none can be filled"),
        ("filled", "less than 1 m² counts as no garden, so nothing draws the water"),
        ("vacant", "No roof lies on it, so there is nothing to work out"),
        ("stack A", 'harvest explain town.toml "site of stack A"'),
        ("stack B", 'harvest explain town.toml "site of stack A"'),
    ],
)
def test_parcels_without_barrels_are_told_why(plain: Project, lot: str, said: str) -> None:
    text = text_of(plain, lot)
    assert said in text
    assert "8. The daily balance" not in text
    assert not re.search(r"\bnan\b", text)


def test_the_best_home_of_the_sample_is_worked_to_the_dollar(sample_result: Result) -> None:
    """The whole way, by the blocks of a real kind of tariff: the figures are those of the tables."""
    project = read_project(SAMPLE / "pellwick.toml")
    parcels = sample_result.table("parcels")
    best = parcels[parcels["list"].eq("homes") & parcels["rank"].eq(1)].iloc[0]
    text = text_of(project, best["parcel_id"], out=sample_result.folder)
    held, number, off = figures("the tables hold # L for #, read off a surface: # L from the balance", text)
    assert (round(best["yield_l_yr"]), best["suggested_barrels"]) == (held, number)
    assert off <= max(0.002 * held, 4)
    saved, low, high = figures("month by month, # USD a year (# to #)", text)
    assert (saved, low, high) == pytest.approx(
        (best["saving_usd_yr"], best["saving_low_usd_yr"], best["saving_high_usd_yr"]), abs=0.005
    )
    assert "19 years of days of the gauge (2004 to 2023)" in text
    assert not re.search(r"\bnan\b", text)


# other ways of counting


def few(folder: Path, **sections: Any) -> Project:
    """A town of three lots, run."""
    lots = {name: LOTS[name] for name in ("house", "long", "tight")}
    project = read_project(small_town(folder, lots, **sections))
    run(project)
    return project


def test_losses_by_event_are_worked_day_by_day(tmp_path: Path) -> None:
    """Rain grows threefold over the town: the coefficients that are printed are those of the run, roof by roof."""
    tank = {"way": "event", "first_flush_mm": 0.41, "filter_share": 0.9, "wetting_mm": 2.0}
    project = read_project(small_town(tmp_path, losses=tank, temperature=None))
    write_rain(tmp_path, east_factor=3)
    run(project)
    assert table(project)["rain_mm_yr"].nunique() > 2
    for lot in ("house", "long", "tight", "tap", "site of stack A"):
        row, text = table(project).loc[lot], text_of(project, lot)
        assert "This is not what the tables hold" not in text
        assert "0.9 × max(0, 0.88 × max(0, rain − 2 mm) − first flush 0.41 mm)" in text
        for area, depth, coefficient, litres in re.findall(
            rf"{NUMBER} × {NUMBER} × {NUMBER} = {NUMBER} L shed", text
        ):
            by_hand = float(area) * float(depth) * float(coefficient)
            assert by_hand == pytest.approx(float(litres.replace(",", "")), rel=5e-4)
        held, served, share, lost, fill = figures("fills it: # L ÷ (# m² × #) + # mm lost first = # mm", text)
        assert held / served / share + lost == pytest.approx(fill, abs=0.02)
        assert lost == pytest.approx(2.0 + 0.41 / 0.88, abs=0.005)
        assert fill == pytest.approx(row["fill_depth_mm"], abs=0.005)
        assert "it asks for a plain weekly depth" in text
        assert "beyond its bound" not in text


def test_made_up_days_are_named(tmp_path: Path) -> None:
    project = few(tmp_path, gauge=None, generated_rain={"years": 3}, temperature=None)
    text = text_of(project, "house")
    assert "3 years of days made up from monthly normals (2001 to 2003)" in text
    assert "beyond its bound" not in text
    assert "no price of water is set, so nothing is said of savings" in text
    assert "Claim of 20.00 USD a year: it can't be checked" in text_of(project, "house", claim_usd_yr=20.0)


def test_a_yearly_grid_is_worked_with_the_gauges_months(tmp_path: Path) -> None:
    """The exact balance takes the months as the run did, so the two agree."""
    project = read_project(small_town(tmp_path, {"house": LOTS["house"]}, season=None, temperature=None))
    write_rain(tmp_path, bands=1)
    run(project)
    text = text_of(project, "house")
    held, _, off = figures("the tables hold # L for #, read off a surface: # L from the balance", text)
    assert held == pytest.approx(table(project).loc["house", "yield_l_yr"], abs=0.5)
    assert off <= max(0.002 * held, 4)
    assert Result.at(project.out_folder()).run["barrels"]["surface"]["largest_error_over_bound"] <= 1


def test_a_garden_that_nobody_draws_for(tmp_path: Path) -> None:
    project = few(tmp_path, habits={"weeks_share": 0.0}, doubt={"weeks": [0.0, 0.0]})
    text = text_of(project, "house")
    assert "the garden asks for nothing on any day in season" in text
    assert not re.search(r"\bnan\b|-100", text)


# what changed since the run


@pytest.mark.parametrize(
    ("section", "values", "named"),
    [
        ("barrel", {"volume_l": 220.0}, "barrel.volume_l"),
        ("barrel", {"least_gain_l_yr": 10.0}, "barrel.least_gain_l_yr"),
        ("downspouts", {"usable_share": 1.0}, "downspouts.usable_share"),
        ("garden", {"planting": "pots"}, "garden.planting"),
        ("habits", {"weeks_share": 0.6}, "habits.weeks_share"),
        ("costs", {"replaces_tap": 0.5}, "costs.replaces_tap"),
        ("tariff", {"blocks": [{"price": 3.0}]}, "tariff.blocks"),
        ("doubt", {"seed": 2}, "doubt.seed"),
    ],
)
def test_settings_that_changed_since_the_run_are_refused(
    plain: Project, section: str, values: dict[str, Any], named: str
) -> None:
    said = {name: dict(one) for name, one in MONEY.items()}
    said[section] = said.get(section, {}) | values
    try:
        changed = read_project(project_file(plain.folder, **said))
    finally:
        project_file(plain.folder, **MONEY)
    with pytest.raises(ResultError, match=f"{named}.*Run again: harvest run"):
        explain(changed, "house")


def test_a_gauge_that_changed_since_the_run_is_noticed(tmp_path: Path) -> None:
    project = few(tmp_path)
    wetter = gauge_days()
    wetter[wetter.index.month == 7] *= 6
    wetter[wetter.index.month == 8] = 0.0
    write_gauge(tmp_path, wetter)
    assert "that is beyond its bound: if an input changed since the run, run again" in text_of(
        project, "house"
    )


def test_the_same_lines_by_id_and_by_address(plain: Project) -> None:
    assert text_of(plain, "10 Row") == text_of(plain, "house")
