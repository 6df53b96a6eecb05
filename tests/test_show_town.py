"""The whole town in a few words: totals with their ranges, and the five lines after a run."""

from __future__ import annotations

from pathlib import Path

import pytest
from map_result import DAY_COLUMNS, GAUGE, HANGS_ON, MADE_UP, RANGES, parcels_frame, result_in, without

from harvest.show.figures import rounded, shown
from harvest.show.headline import headline
from harvest.show.town import made_up_days, rounds_told, suggested_barrels, town_figures
from harvest.units import L_PER_GALLON, litres_to_gallons


def test_totals_come_with_their_ranges_and_what_these_hang_on(tmp_path: Path) -> None:
    found = town_figures(result_in(tmp_path))
    parcels = parcels_frame()
    assert list(found) == [
        "catchment_area_m2",
        "runoff_l_yr",
        "capturable_l_yr",
        "yield_l_yr",
        "saving_usd_yr",
    ]
    used = found["yield_l_yr"]
    assert used.value == pytest.approx(parcels["yield_l_yr"].sum())
    assert (used.low, used.high, used.hangs_on) == (123_456.0, 234_567.0, HANGS_ON)
    assert used.text_with_range("metric") == f"{shown(used.value, 'L/yr', 'metric')} (123,000 to 235,000)"
    assert found["saving_usd_yr"].value == pytest.approx(parcels["saving_usd_yr"].sum())
    assert found["saving_usd_yr"].range_text("us") == "$62 to $1,200 a year"
    assert found["catchment_area_m2"].range_text("us") == ""


def test_without_days_nothing_is_said_of_barrels(tmp_path: Path) -> None:
    ranges = {name: RANGES[name] for name in ("runoff_l_yr", "capturable_l_yr")}
    result = result_in(tmp_path, without(parcels_frame(), *DAY_COLUMNS), days=None, ranges=ranges)
    assert list(town_figures(result)) == ["catchment_area_m2", "runoff_l_yr", "capturable_l_yr"]
    assert suggested_barrels(result) is None
    lines = headline(result)
    assert len(lines) == 5 and lines[1].endswith("; barrels deliver a small part of that.")


def test_the_water_line_tells_what_the_suggested_barrels_would_let_gardens_use(tmp_path: Path) -> None:
    parcels = parcels_frame()
    used = rounded(litres_to_gallons(parcels["yield_l_yr"].sum()))
    lines = headline(result_in(tmp_path))
    assert len(lines) == 5
    assert lines[1].endswith(
        f"is capturable from 04-15 to 10-31; with the {int(parcels['suggested_barrels'].sum())} suggested barrels "
        f"gardens would use {used} gal a year (32,600 to 62,000)."
    )
    made_up = headline(result_in(tmp_path / "made-up", days=MADE_UP, ranges={}))
    assert made_up[1].endswith(f"gardens would use {used} gal a year, by made-up days of rain.")


def test_made_up_days_are_known_by_the_word_of_the_run() -> None:
    assert made_up_days({"weather": {"days": MADE_UP}})
    assert not any(map(made_up_days, ({"weather": {"days": GAUGE}}, {"weather": None}, {})))


def test_rounds_stand_beside_their_bound_and_planning_by_hand() -> None:
    run = {
        "units": "us",
        "rounds": {
            "laid": 12,
            "worth_l_yr": 1000 * L_PER_GALLON,
            "bound_l_yr": 1100 * L_PER_GALLON,
            "by_hand": [{"worth_l_yr": 800 * L_PER_GALLON}, {"worth_l_yr": 900 * L_PER_GALLON}],
        },
    }
    text = rounds_told(run)
    assert text.startswith("Rounds: 12, expected to win 1,000 gal a year")
    assert "more than 1,100 gal a year" in text and "it is loose" in text
    assert text.endswith("wins 900 gal a year.")
    assert rounds_told({"units": "us"}) == rounds_told({"units": "us", "rounds": {"laid": 0}}) == ""
