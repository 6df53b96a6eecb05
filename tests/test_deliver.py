"""What barrels deliver, from roofs to the parcels' figures: laws on the sample, and a small town worked by hand."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from conftest import SAMPLE
from day_by_day import Kept, by_hand, rain_by_day
from small_town import (
    LOTS,
    MONTH_MM,
    Lot,
    gauge_days,
    parcels_of,
    project_file,
    small_town,
    without_doubt,
    worked,
    write_gauge,
    write_rain,
)  # fmt: skip

from harvest.deliver import rain_nodes, suggestion
from harvest.explain import explain
from harvest.fields.barrels import DOWNSPOUTS, MOST_BARRELS, PARCEL_FIELDS, yield_name
from harvest.project import read_project
from harvest.project.barrel import Barrel
from harvest.project.capture import Season
from harvest.result import Result
from harvest.run import run
from harvest.standing import NOTHING
from harvest.weather import days_in_season

YIELDS = [yield_name(number) for number in range(1, MOST_BARRELS + 1)]
USABLE_L = 208.2 - 22.7 - 11.4
BOUND_SHARE, BOUND_L = 0.002, 4.0
"""How far an interpolated yield may lie from the exact one, as the design has it."""

SMALLER, LARGER = 0.75, 1.25
"""What the smaller and the larger downspouts serve beside the middle one, by the default inequality."""

OF_DAYS = [one.name for one in PARCEL_FIELDS if one not in DOWNSPOUTS and one.name not in
           ("barrel_roof_id", "garden_m2", "capturable_low_l_yr", "capturable_high_l_yr")]  # fmt: skip
"""Fields that hang on the days of rain."""

PLAIN: dict[str, Any] = {"temperature": None}
"""A plain weekly draw is quicker to run."""

EVEN_DRAW: dict[str, dict[str, Any]] = {
    "garden": {"weekly_mm": 25.0},
    "habits": {"weeks_share": 1.0, "sessions_a_week": 7},
}
"""Every garden is drawn for on every day: 14 m² × 25 mm / 7 = 50 L."""


@pytest.fixture(scope="module")
def sample(sample_result: Result) -> pd.DataFrame:
    """Parcels of the sample that have a figure of what is used."""
    parcels = pd.DataFrame(sample_result.table("parcels").drop(columns="geometry"))
    return parcels[parcels["yield_l_yr"].notna()]


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """Parcels of the small town by id, at the defaults."""
    return parcels_of(worked(small_town(tmp_path_factory.mktemp("plain")))[0])


# laws, on the sample


def test_three_levels_never_cross(sample: pd.DataFrame) -> None:
    assert len(sample) > 1200
    assert (sample["runoff_l_yr"] >= sample["capturable_l_yr"]).all()
    assert (sample["capturable_l_yr"] >= sample["yield_l_yr"]).all()
    assert sample["yield_l_yr"].gt(0).sum() > 1200
    asking = sample[sample["suggested_barrels"].gt(0)]
    bound = np.maximum(BOUND_SHARE * asking["yield_l_yr"], BOUND_L)
    assert (asking["yield_l_yr"] <= asking["demand_l_yr"] + bound).all()
    assert (asking["yield_l_yr"] + asking["overflow_l_yr"] <= asking["inflow_l_yr"] * 1.001 + bound).all()
    assert (asking["inflow_l_yr"] < asking["capturable_l_yr"]).all()


def test_more_barrels_never_yield_less_and_the_suggested_ones_yield_their_own(sample: pd.DataFrame) -> None:
    yields = sample[YIELDS].to_numpy(float)
    assert (np.diff(yields, axis=1) >= 0).all()
    some = sample["suggested_barrels"].gt(0).to_numpy()
    number = sample["suggested_barrels"].to_numpy(dtype=int)[some]
    assert sample["yield_l_yr"].to_numpy()[some].tolist() == yields[some, number - 1].tolist()


def test_suggestions_of_the_sample_follow_their_rule(sample: pd.DataFrame, sample_result: Result) -> None:
    settings = {one["setting"]: one["value"] for one in sample_result.run["settings"]}
    for row in sample[sample["suggested_barrels"].gt(0)].to_dict("records"):
        number = settings["barrel.begin_with"]
        while (
            number < settings["barrel.suggest_most"]
            and row[yield_name(number + 1)] - row[yield_name(number)] >= settings["barrel.least_gain_l_yr"]
        ):
            number += 1
        assert row["suggested_barrels"] == number


def test_both_ranges_hold_the_figure(sample: pd.DataFrame) -> None:
    """Twenty years and 500 draws are enough for the mean to lie inside the 10th to 90th percentile."""
    used = sample["yield_l_yr"]
    assert (sample["yield_low_l_yr"] <= used).all()
    assert (used <= sample["yield_high_l_yr"]).all()
    bound = np.maximum(BOUND_SHARE * used, BOUND_L)
    assert (sample["yield_poor_year_l_yr"] <= used + bound).all()
    assert (used <= sample["yield_good_year_l_yr"] + bound).all()
    some = sample[used > 0]
    assert (some["yield_low_l_yr"] < some["yield_high_l_yr"]).all()
    assert (sample["capturable_low_l_yr"] <= sample["capturable_l_yr"]).all()
    assert (sample["capturable_l_yr"] <= sample["capturable_high_l_yr"]).all()


def test_days_and_shares_stay_in_bounds(sample: pd.DataFrame) -> None:
    some = sample[sample["suggested_barrels"].gt(0)]
    assert (some["days_met_yr"] <= some["demand_days_yr"]).all()
    assert some["room_share"].between(0, 1).all()
    served = some["served_area_m2"] * LARGER * some["suggested_barrels"] / some["catchment_area_m2"]
    assert (some["first_inch_share"] <= np.minimum(served, 1) + 1e-9).all()
    assert some["first_inch_share"].gt(0).all()
    assert some["fills_yr"].gt(0).all()


def test_what_is_missing_and_what_is_nought(sample_result: Result) -> None:
    parcels = pd.DataFrame(sample_result.table("parcels").drop(columns="geometry"))
    unknown = parcels[parcels["status"].isin(["unit of association", "no footprint, check"])]
    assert len(unknown) > 20
    assert unknown[[one.name for one in PARCEL_FIELDS]].isna().all().all()
    nothing = parcels[parcels["status"].isin(["no roof", "common ground", "no gutter"])]
    assert len(nothing) > 20
    assert (nothing[[*NOTHING]] == 0).all().all()
    assert nothing[["barrel_roof_id", "served_area_m2", "room_share", "yield_hangs_on"]].isna().all().all()


def test_downspouts_of_a_divided_roof_go_by_each_part(sample_result: Result) -> None:
    roofs = pd.DataFrame(sample_result.table("roofs").drop(columns="geometry"))
    divided = roofs[roofs["placement"].eq("divided")]
    assert len(divided) > 20
    assert divided["parcel_share"].lt(1).all()
    whole = (divided["eave_m"] / divided["parcel_share"]).groupby(divided["roof_id"])
    assert whole.max().to_numpy() == pytest.approx(whole.min().to_numpy(), rel=1e-9)


def test_run_json_tells_of_the_surface_the_coefficients_and_the_ranges(sample_result: Result) -> None:
    record = sample_result.run
    surface = record["barrels"]["surface"]
    assert surface["parcels_checked"] == 200
    assert 0 < surface["mean_error_l_yr"] <= surface["largest_error_l_yr"]
    assert surface["largest_error_over_bound"] <= 1
    assert "0.2% of the yield and 4 L" in surface["bound"]
    assert "barrels interpolated roughly" not in set(sample_result.table("findings")["check"])
    assert set(record["ranges"]) == {"runoff_l_yr", "capturable_l_yr", "yield_l_yr", "saving_usd_yr"}
    for name, told in record["ranges"].items():
        assert told["low"] < record["totals"][name] < told["high"] if name in record["totals"] else True
        assert told["hangs_on"]
        assert 0 < told["share_of_doubt"] <= 1
    totals, parcels = record["totals"], sample_result.table("parcels")
    assert totals["yield_l_yr"] == pytest.approx(parcels["yield_l_yr"].sum(), rel=1e-12)
    assert totals["suggested_barrels"] == parcels["suggested_barrels"].sum()


def test_the_towns_months_are_the_mean_over_its_roofs(sample_result: Result) -> None:
    roofs = sample_result.table("roofs", ["roof_id", "roof_area_m2", "rain_mm_yr"]).drop_duplicates("roof_id")
    mean = np.average(roofs["rain_mm_yr"], weights=roofs["roof_area_m2"])
    assert sum(sample_result.run["weather"]["town_normals_mm"]) == pytest.approx(mean, rel=1e-12)


def test_effective_coefficients_of_both_ways_can_be_redone_from_the_gauges_file(
    sample_result: Result,
) -> None:
    """Wetting and coefficient are counted once each: 0.88 × what exceeds 0.5 mm, over all that falls; or 0.80."""
    told = sample_result.run["barrels"]["effective_coefficient"]
    assert told["way in force"] == "annual ratio"
    assert told["annual ratio"] == pytest.approx(0.80, rel=1e-12)
    weather = sample_result.run["weather"]
    fell = left = 0.0
    with (SAMPLE / "gauge_daily.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            year, month = int(row["date"][:4]), int(row["date"][5:7])
            if year in weather["years"] and row["rain_mm"]:
                rain = float(row["rain_mm"]) * weather["town_normals_mm"][month - 1]
                rain /= weather["gauge_means_mm"][month - 1]
                fell += rain
                left += 0.88 * max(0.0, rain - 0.5)
    assert told["event"] == pytest.approx(left / fell, rel=1e-5)


# how many barrels to suggest


@pytest.mark.parametrize(
    ("rule", "number"),
    [
        ({}, 2),
        ({"least_gain_l_yr": 500.0}, 2),
        ({"least_gain_l_yr": 501.0}, 1),
        ({"least_gain_l_yr": 300.0}, 4),
        ({"least_gain_l_yr": 300.0, "suggest_most": 3}, 3),
        ({"least_gain_l_yr": 100.0, "suggest_most": 6}, 5),
        ({"least_gain_l_yr": 0.0, "suggest_most": 6}, 6),
        ({"begin_with": 2}, 2),
        ({"begin_with": 3}, 4),
        ({"begin_with": 4}, 4),
        ({"begin_with": 1, "suggest_most": 1}, 1),
    ],
)
def test_one_more_barrel_as_long_as_it_adds_enough(tmp_path: Path, rule: dict[str, Any], number: int) -> None:
    """Gains by hand: 500, 350, 450, 100 and 0 L for the 2nd to the 6th; the rule stops at the first that is too little,
    and does not look beyond it."""
    yields = np.array([[1000.0, 1500.0, 1850.0, 2300.0, 2400.0, 2400.0]])
    settings = read_project(project_file(tmp_path)).settings.model_copy(update={"barrel": Barrel(**rule)})
    assert suggestion(yields, settings).tolist() == [number]


# downspouts, by hand


@pytest.mark.parametrize(
    ("lot", "count", "places", "served"),
    [
        # 80 m² / 55 → 2, eaves 20 m / 12 → 2, at least 2; half of 2 → 1; an even count: 80 / 2
        ("house", 2, 1, 80 / 2),
        # 240 / 55 → 5, eaves 40 / 12 → 4; half of 5, halves down → 2; an odd one has one more of the smaller
        ("large", 5, 2, 240 / (3 * SMALLER + 2 * LARGER)),
        # 180 / 55 → 4, eaves 60 / 12 → 5
        ("long", 5, 2, 180 / (3 * SMALLER + 2 * LARGER)),
    ],
)
def test_downspouts_by_rule(plain: pd.DataFrame, lot: str, count: int, places: int, served: float) -> None:
    row = plain.loc[lot]
    assert (row["downspout_count"], row["barrel_places"]) == (count, places)
    assert row["served_area_m2"] == pytest.approx(served, rel=1e-6)
    assert row["storm_downspout_l"] == pytest.approx(served * 25.4 * 0.8, rel=1e-6)
    assert row["fill_depth_mm"] == pytest.approx(USABLE_L / (served * 0.8), rel=1e-6)
    assert row["fill_min"] == pytest.approx(USABLE_L / (served * 0.8) / 25.4 * 60, rel=1e-6)


@pytest.mark.parametrize(
    ("inch_h", "minutes"), [(0.1, 235.3), (0.5, 47.1), (1.0, 23.53), (2.0, 11.8), (7.14, 3.3)]
)
def test_minutes_that_fill_a_barrel(tmp_path: Path, inch_h: float, minutes: float) -> None:
    """55 gal on 250 ft² at a coefficient of 0.9: derived from 1 in on 1 ft² = 144/231 gal; no published table."""
    square_foot, gallon = 0.3048**2, 231 * 0.0254**3 * 1000
    project = small_town(
        tmp_path,
        {"foot": Lot(30, 40, ((500 * square_foot / 7.2, 7.2),))},
        barrel={"volume_l": 55 * gallon, "dead_l": 0.0, "head_l": 0.0},
        losses={"coefficient": 0.9},
        storm={"intensity_mm_h": 25.4 * inch_h},
        temperature=None,
        garden={"area_m2": 0.0},
    )
    row = parcels_of(without_doubt(project)[0]).loc["foot"]
    assert row["served_area_m2"] == pytest.approx(250 * square_foot, rel=1e-6)
    assert row["fill_min"] == pytest.approx(minutes, abs=0.05 if inch_h != 1 else 0.02)


def test_barrels_stand_at_the_largest_roof_with_a_gutter(plain: pd.DataFrame) -> None:
    assert plain.loc["long", "barrel_roof_id"] == "long 1"
    assert plain.loc["site of stack A", "barrel_roof_id"] == "stack A 1"
    assert plain.loc[["sheds", "stub", "vacant", "stack A"], "barrel_roof_id"].isna().all()


# gardens


def test_a_garden_is_the_set_one_or_a_share_of_the_open_ground(plain: pd.DataFrame) -> None:
    """120 - 88 m² of open ground leave 8 m²; 82 - 80 leave half a square metre, which is none."""
    gardens = plain["garden_m2"]
    assert gardens["house"] == 14
    assert gardens["tight"] == pytest.approx(0.25 * (120 - 88), rel=1e-6)
    assert gardens["filled"] == 0
    assert gardens[["stack A", "stack B"]].isna().all()
    without = plain.loc["filled"]
    assert (without[[*NOTHING]] == 0).all()
    assert without["capturable_l_yr"] > 0


def test_other_rules_of_gardens(tmp_path: Path) -> None:
    garden = {"area_m2": 1000.0, "most_open_share": 0.6, "least_m2": 1.2}
    project = small_town(tmp_path, garden=garden, temperature=None)
    gardens = parcels_of(without_doubt(project)[0])["garden_m2"]
    assert gardens["house"] == pytest.approx(0.6 * (1200 - 80), rel=1e-6)
    assert gardens["filled"] == pytest.approx(1.2, rel=1e-5)


def test_unknown_ground_means_the_set_garden(tmp_path: Path) -> None:
    parcels = parcels_of(without_doubt(small_town(tmp_path, parcels=None, temperature=None))[0])
    assert (parcels["garden_m2"] == 14).all()
    assert parcels["yield_l_yr"].gt(0).equals(parcels["guttered_area_m2"].gt(0))


def test_parcels_without_a_garden_are_told(tmp_path: Path) -> None:
    found, _ = without_doubt(small_town(tmp_path, temperature=None))
    one = {told.check: told for told in found.findings}["no garden"]
    assert (one.severity, one.count, one.first) == ("note", 1, ("filled",))
    found, barrels = without_doubt(project_file(tmp_path, garden={"area_m2": 0.0}))
    every = {told.check: told for told in found.findings}["no garden"]
    assert every.count == 7
    parcels = parcels_of(found)
    assert (parcels["garden_m2"].dropna() == 0).all()
    roofed = parcels[parcels["capturable_l_yr"].gt(0)]
    assert (roofed[[*NOTHING]] == 0).all().all()
    assert barrels is None


def test_gardens_that_ask_for_nothing_are_told(tmp_path: Path) -> None:
    found, _ = without_doubt(small_town(tmp_path, garden={"weekly_mm": 0.0}))
    one = {told.check: told for told in found.findings}["nothing drawn"]
    assert one.severity == "serious"
    assert found.parcels["yield_l_yr"].dropna().eq(0).all()


# days, one by one


def expected(project: Path, areas_m2: list[float], want_l: float, season: tuple[str, str]) -> Kept:
    days = rain_by_day(project.parent / "gauge.csv", MONTH_MM)
    return by_hand(days, [0.8 * rain for _, rain in days], areas_m2, USABLE_L, want_l, season)


def assert_delivered(row: pd.Series, kept: Kept, barrels: int) -> None:
    """Every figure of ``row`` is that of the plain loop, as nearly as a surface gives it."""
    assert row["suggested_barrels"] == barrels
    years = list(kept.used_by_year.values())
    near = {"rel": 0.003, "abs": BOUND_L}
    assert row[yield_name(barrels)] == pytest.approx(kept.used_l_yr, rel=BOUND_SHARE, abs=BOUND_L)
    assert row["yield_poor_year_l_yr"] == pytest.approx(np.quantile(years, 0.1), **near)
    assert row["yield_good_year_l_yr"] == pytest.approx(np.quantile(years, 0.9), **near)
    assert row["inflow_l_yr"] == pytest.approx(kept.inflow / kept.years, **near)
    assert row["overflow_l_yr"] == pytest.approx(kept.overflow / kept.years, **near)
    assert row["demand_l_yr"] == pytest.approx(kept.asked / kept.years, **near)
    assert row["demand_days_yr"] == pytest.approx(kept.days_asked / kept.years, rel=0.003)
    # counts of days jump where a barrel just suffices, so a surface holds them less closely
    assert row["days_met_yr"] == pytest.approx(kept.days_met / kept.years, rel=0.03)
    assert row["fills_yr"] == pytest.approx(
        (kept.inflow - kept.overflow) / kept.years / (USABLE_L * barrels), rel=0.01
    )
    room = np.mean(kept.room_before_storms)
    assert row["room_share"] == pytest.approx(room, rel=0.02)
    inch = 25.4 * 0.8 * row["catchment_area_m2"]
    assert row["first_inch_share"] == pytest.approx(USABLE_L * barrels * room / inch, rel=0.02)


@pytest.mark.parametrize(
    "season", [("04-15", "10-31"), ("01-01", "12-31"), ("10-01", "03-31")], ids=["summer", "year", "southern"]
)
def test_a_plain_loop_over_days_delivers_the_same(tmp_path: Path, season: tuple[str, str]) -> None:
    """50 L are drawn on each day in season; a barrel at the first downspout taken drinks from three quarters of the
    middle one's roof, one at the second from five quarters. Barrels begin each season empty."""
    lots = {name: LOTS[name] for name in ("house", "large", "tight")}
    ends = {"first": season[0], "last": season[1]}
    two = {"begin_with": 2, "suggest_most": 2}
    project = small_town(tmp_path, lots, **EVEN_DRAW, season=ends, barrel=two)
    parcels = parcels_of(without_doubt(project)[0])
    for lot, served, want_l in (("house", 40, 50), ("tight", 44, 8 * 25 / 7)):
        kept = expected(project, [served * SMALLER], want_l, season)
        assert parcels.loc[lot, "yield_1_barrels_l_yr"] == pytest.approx(
            kept.used_l_yr, rel=BOUND_SHARE, abs=BOUND_L
        )
    middle = 240 / (3 * SMALLER + 2 * LARGER)
    kept = expected(project, [middle * SMALLER, middle * LARGER], 50, season)
    assert_delivered(parcels.loc["large"], kept, 2)


def test_seasons_by_the_calendar() -> None:
    """A season may run over the new year; a leap day belongs to it when its neighbours do."""
    days = np.arange("2011-12-31", "2013-01-02", dtype="datetime64[D]")

    def inside(first: str, last: str) -> set[str]:
        season = Season(first=first, last=last)
        return set(days[days_in_season(days, season)].astype(str))

    summer = inside("04-15", "10-31")
    assert {"2012-04-15", "2012-10-31"} <= summer
    assert not {"2012-04-14", "2012-11-01"} & summer
    assert len(summer) == 200
    southern = inside("11-15", "03-01")
    assert {"2011-12-31", "2012-01-01", "2012-02-29", "2012-03-01", "2012-11-15", "2013-01-01"} <= southern
    assert not {"2012-03-02", "2012-11-14"} & southern
    assert "2012-02-29" not in inside("03-01", "10-31")
    assert "2012-02-29" not in inside("10-01", "02-28")
    assert len(inside("01-01", "12-31")) == len(days)


def test_barrels_that_are_put_away_lose_what_stood_in_them(tmp_path: Path) -> None:
    """Rain falls on each 30 October alone and fills a barrel; on the 31st, the season's last day, 50 L are drawn. The
    rest is not there in spring, so 50 L are all that a year gives; where the barrel stays, all of it is used."""
    rain = gauge_days() * 0
    rain[(rain.index.month == 10) & (rain.index.day == 30)] = 40.0
    project = small_town(tmp_path, {"house": LOTS["house"]}, **EVEN_DRAW)
    write_gauge(tmp_path, rain)
    away = parcels_of(without_doubt(project)[0]).loc["house"]
    assert away["yield_1_barrels_l_yr"] == pytest.approx(50, rel=1e-4)
    assert away["inflow_l_yr"] - away["overflow_l_yr"] == pytest.approx(USABLE_L, rel=1e-4)
    stays = project_file(tmp_path, **EVEN_DRAW, season={"first": "01-01", "last": "12-31"})
    kept = parcels_of(without_doubt(stays)[0]).loc["house"]
    assert kept["yield_1_barrels_l_yr"] == pytest.approx(USABLE_L, rel=1e-4)


# towns that lack something


def test_without_a_gauge_days_are_made_up_and_marked(tmp_path: Path) -> None:
    project = small_town(tmp_path, gauge=None, generated_rain={"years": 5}, temperature=None)
    found, told = worked(project)
    assert told["weather"]["days"] == "made up from monthly normals"
    assert len(told["weather"]["years"]) == 5
    one = {told.check: told for told in found.findings}["days made up"]
    assert (one.severity, one.layer) == ("serious", "gauge")
    assert parcels_of(found).loc["house", "yield_l_yr"] > 100
    again, _ = without_doubt(project)
    assert again.parcels["yield_l_yr"].equals(found.parcels["yield_l_yr"])
    seeded = {"years": 5, "seed": 2}
    other, _ = without_doubt(project_file(tmp_path, gauge=None, generated_rain=seeded, temperature=None))
    assert not other.parcels["yield_l_yr"].equals(found.parcels["yield_l_yr"])


def test_nothing_says_when_rain_falls(tmp_path: Path) -> None:
    """A yearly grid and no gauge: litres of roofs, and not a word on barrels, in a result that is whole."""
    project = small_town(tmp_path, gauge=None, season=None)
    write_rain(tmp_path, bands=1)
    result = run(read_project(project))
    parcels = result.table("parcels").set_index("parcel_id")
    assert parcels[OF_DAYS].isna().all().all()
    assert parcels.loc["house", ["downspout_count", "garden_m2"]].tolist() == [2, 14]
    assert parcels.loc["house", "capturable_low_l_yr"] < parcels.loc["house", "capturable_l_yr"]
    findings = result.table("findings").set_index("check")
    assert findings.loc["no days of rain", "severity"] == "serious"
    assert (result.run["weather"], result.run["barrels"]) == (None, None)
    assert set(result.run["ranges"]) == {"runoff_l_yr", "capturable_l_yr"}
    assert result.run["totals"]["yield_l_yr"] is None
    text = "\n".join(explain(read_project(project), "house"))
    assert "nothing says when rain falls here" in text
    assert "nan" not in text


def test_a_yearly_grid_takes_its_months_from_the_gauge(tmp_path: Path) -> None:
    """Months share out the grid's year as they do the gauge's, so one factor scales all days: 960 mm over the gauge's
    own year."""
    project = small_town(tmp_path, {"house": LOTS["house"]}, season=None, **EVEN_DRAW)
    write_rain(tmp_path, bands=1)
    found, barrels = without_doubt(project)
    assert barrels is not None
    normals, means = barrels.weather.normals_mm, barrels.weather.gauge_means_mm
    assert normals.sum() == pytest.approx(960, rel=1e-9)
    assert normals / normals.sum() == pytest.approx(means / means.sum(), rel=1e-9)
    days = rain_by_day(tmp_path / "gauge.csv", MONTH_MM)
    raw = gauge_days()
    depths = (raw * 960 / raw.sum() * 3 * 0.8).tolist()
    kept = by_hand(days, depths, [40 * SMALLER], USABLE_L, 50, ("01-01", "12-31"))
    assert parcels_of(found).loc["house", "yield_1_barrels_l_yr"] == pytest.approx(
        kept.used_l_yr, rel=BOUND_SHARE, abs=BOUND_L
    )


def test_without_temperatures_a_garden_asks_for_an_inch_a_week(tmp_path: Path) -> None:
    project = small_town(tmp_path, temperature=None)
    found, _ = without_doubt(project)
    assert found.weather is not None
    assert found.weather.as_dict()["garden"] == "plain weekly draw"
    assert {one.check: one.severity for one in found.findings}["no temperatures"] == "warning"
    # 14 m² × 25 mm / 2 = 175 L a session, of which people carry 75.7
    row = parcels_of(found).loc["house"]
    assert row["demand_l_yr"] == pytest.approx(75.7 * row["demand_days_yr"], rel=1e-6)
    settled, _ = without_doubt(project_file(tmp_path, temperature=None, garden={"weekly_mm": 25.0}))
    assert "no temperatures" not in {one.check for one in settled.findings}
    assert parcels_of(settled)["yield_l_yr"].equals(parcels_of(found)["yield_l_yr"])
    other, _ = without_doubt(project_file(tmp_path, garden={"weekly_mm": 10.0}))
    row = parcels_of(other).loc["house"]
    assert row["demand_l_yr"] == pytest.approx(14 * 10 / 2 * row["demand_days_yr"], rel=1e-6)


def test_a_month_whose_low_is_its_high_stops_nothing(tmp_path: Path) -> None:
    """The smooth year dips below it there; the reader takes such a month, so a run must."""
    project = small_town(tmp_path, gauge=None, generated_rain={"years": 2})
    table = pd.read_csv(tmp_path / "temperature.csv").astype(float)
    table.loc[6, "tmin_c"] = table.loc[6, "tmax_c"]
    table.astype({"month": int}).to_csv(tmp_path / "temperature.csv", index=False)
    assert parcels_of(without_doubt(project)[0]).loc["house", "yield_l_yr"] > 0


def test_a_town_where_no_roof_has_a_gutter(tmp_path: Path) -> None:
    lots = {name: lot for name, lot in LOTS.items() if name != "tap"}
    found, told = worked(small_town(tmp_path, lots, footprints={"gutter_least_m2": 400.0}))
    parcels = parcels_of(found)
    known = parcels[parcels["catchment_area_m2"].notna()]
    assert (known[[*NOTHING]] == 0).all().all()
    assert known["barrel_roof_id"].isna().all()
    assert told["barrels"] is None


def test_roofs_beyond_the_grid_stay_unknown(tmp_path: Path) -> None:
    """The two lots on the first column with a figure are told; those beyond it are missing, and never 0 but for those
    that have no gutter."""
    project = small_town(tmp_path, gauge=None, generated_rain={"years": 2})
    write_rain(tmp_path, dry_from=2)
    parcels = parcels_of(worked(project)[0])
    assert parcels["yield_low_l_yr"].notna().equals(parcels["yield_l_yr"].notna())
    lost = parcels[parcels["status"].eq("no rain figure") & parcels["guttered_area_m2"].gt(0)]
    assert len(lost) == 4
    assert lost[OF_DAYS].isna().all().all()
    assert lost["downspout_count"].notna().all()
    assert parcels.loc["house", "yield_l_yr"] > 0


def test_rain_that_differs_over_the_town_stays_within_the_bound(tmp_path: Path) -> None:
    """Twice as much rain in the east as in the west: the surface has rain as an axis, its nodes near enough."""
    vacant = {f"vacant {number}": LOTS["vacant"] for number in range(8)}
    lots = {"house": LOTS["house"]} | vacant | {"large": LOTS["large"]}
    project = small_town(tmp_path, lots, gauge=None, generated_rain={"years": 3})
    write_rain(tmp_path, east_factor=3)
    _, barrels = without_doubt(project)
    assert barrels is not None
    nodes = barrels.record["surface"]["rain_nodes"]
    assert nodes[-1] > 1.8 * nodes[0]
    assert len(nodes) > 4
    assert barrels.record["surface"]["largest_error_over_bound"] <= 1


def test_rain_that_hardly_differs_is_taken_as_one() -> None:
    assert rain_nodes(np.array([1.0, 1.004]), 0.2).tolist() == [1.002]
    close = rain_nodes(np.array([0.98, 1.0, 1.02]), 0.2)
    assert len(close) == 4
    assert close[[0, -1]] == pytest.approx([0.98, 1.02])
    assert len(rain_nodes(np.array([0.8, 1.6]), 0.1)) > len(rain_nodes(np.array([0.8, 1.6]), 0.2)) > 4


def test_of_two_roofs_with_gutters_barrels_stand_at_the_larger(tmp_path: Path) -> None:
    lots = {"two": Lot(30, 40, ((6, 5), (10, 8))), "twins": Lot(30, 40, ((6, 5), (6, 5)))}
    parcels = parcels_of(without_doubt(small_town(tmp_path, lots, **PLAIN))[0])
    assert parcels["barrel_roof_id"].to_dict() == {"two": "two 2", "twins": "twins 1"}
    assert parcels.loc["two", "served_area_m2"] == pytest.approx(40, rel=1e-6)
