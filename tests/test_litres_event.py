"""Losses day by day: what a gauge's days leave of the rain, counted once, on roofs, in a storm, and in a barrel."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from day_by_day import by_hand, rain_by_day, stands
from small_town import (
    LOTS,
    MONTH_MM,
    gauge_days,
    parcels_of,
    project_file,
    small_town,
    without_doubt,
    write_rain,
)

from harvest.errors import ProjectError
from harvest.litres import storm_left_mm, storm_losses
from harvest.project.capture import Losses

SEASON = ("04-15", "10-31")
TANK: dict[str, Any] = {"way": "event", "first_flush_mm": 0.41, "filter_share": 0.9}
PLAIN: dict[str, Any] = {"temperature": None}
"""A plain weekly draw is quicker to run, and losses do not hang on it."""


def left_by_hand(
    rain_mm: list[float],
    coefficient: float = 0.88,
    wetting_mm: float = 0.5,
    flush_mm: float = 0.0,
    share: float = 1.0,
) -> list[float]:
    """What each day sheds; the first flush goes on a day that sheds after one that did not."""
    left, shed_before = [], False
    for rain in rain_mm:
        shed = coefficient * max(0.0, rain - wetting_mm)
        left.append(share * max(0.0, shed - (0.0 if shed_before else flush_mm)))
        shed_before = shed > 0
    return left


def coefficients_by_hand(folder: Path, **losses: float) -> tuple[float, float]:
    """Share of the rain that runs off in the year and in season, from the gauge's file."""
    days = rain_by_day(folder / "gauge.csv", MONTH_MM)
    left = left_by_hand([rain for _, rain in days], **losses)
    inside = [stands(day, *SEASON) for day, _ in days]
    fell = sum(rain for (_, rain), here in zip(days, inside, strict=True) if here)
    return sum(left) / sum(rain for _, rain in days), sum(
        one for one, here in zip(left, inside, strict=True) if here
    ) / fell


# one storm


def test_a_storm_loses_wetting_and_first_flush_once() -> None:
    """By hand, an inch: 0.9 × (0.88 × (25.4 - 0.5) - 0.41); the other way takes a share of all of it."""
    assert storm_left_mm(25.4, Losses(**TANK)) == pytest.approx(0.9 * (0.88 * 24.9 - 0.41), rel=1e-12)
    assert storm_left_mm(25.4, Losses(way="event")) == pytest.approx(0.88 * 24.9, rel=1e-12)
    assert storm_left_mm(25.4, Losses()) == pytest.approx(0.8 * 25.4, rel=1e-12)
    assert storm_left_mm(0.4, Losses(way="event")) == 0


@pytest.mark.parametrize("losses", [Losses(), Losses(way="event"), Losses(**TANK)])
def test_what_a_storm_loses_first_and_the_share_after_it_make_the_same_storm(losses: Losses) -> None:
    first, share = storm_losses(losses)
    assert share * (25.4 - first) == pytest.approx(storm_left_mm(25.4, losses), rel=1e-12)
    assert storm_left_mm(first, losses) == pytest.approx(
        losses.coefficient * first if not first else 0, abs=1e-12
    )


def test_the_rain_that_fills_a_barrel_fills_it(tmp_path: Path) -> None:
    """A storm of that depth brings to the downspout just what the barrel holds, 174.1 L."""
    parcels = parcels_of(without_doubt(small_town(tmp_path, losses=TANK, **PLAIN))[0])
    for row in parcels[parcels["served_area_m2"].notna()].to_dict("records"):
        brought = row["served_area_m2"] * storm_left_mm(row["fill_depth_mm"], Losses(**TANK))
        assert brought == pytest.approx(208.2 - 22.7 - 11.4, rel=1e-9)
        assert row["fill_min"] == pytest.approx(row["fill_depth_mm"] / 25.4 * 60, rel=1e-12)


# roofs


def test_litres_are_area_times_rain_times_what_the_days_leave(tmp_path: Path) -> None:
    found, barrels = without_doubt(small_town(tmp_path, losses=TANK, **PLAIN))
    year, season = coefficients_by_hand(tmp_path, flush_mm=0.41, share=0.9)
    assert 0.5 < year < 0.8
    row = parcels_of(found).loc["house"]
    assert row["runoff_l_yr"] == pytest.approx(80 * 960 * year, rel=1e-6)
    assert row["capturable_l_yr"] == pytest.approx(80 * row["season_rain_mm_yr"] * season, rel=1e-6)
    assert row["storm_l"] == pytest.approx(80 * 0.9 * (0.88 * 24.9 - 0.41), rel=1e-6)
    assert row["storm_downspout_l"] == pytest.approx(row["storm_l"] / 2, rel=1e-6)
    assert barrels is not None
    told = barrels.record["effective_coefficient"]
    assert told["way in force"] == "event"
    assert told["event"] == pytest.approx(year, rel=1e-6)
    assert told["annual ratio"] == pytest.approx(0.8, rel=1e-12)


def test_both_effective_coefficients_are_told_whichever_way_is_in_force(tmp_path: Path) -> None:
    lots = {"house": LOTS["house"]}
    _, ratio = without_doubt(small_town(tmp_path, lots, losses={"wetting_mm_yr": 24.0}, **PLAIN))
    _, event = without_doubt(
        project_file(tmp_path, losses={"way": "event", "wetting_mm_yr": 24.0}, temperature=None)
    )
    assert ratio is not None
    assert event is not None
    one, other = (dict(barrels.record["effective_coefficient"]) for barrels in (ratio, event))
    assert (one.pop("way in force"), other.pop("way in force")) == ("annual ratio", "event")
    assert one == other
    assert one["annual ratio"] == pytest.approx(0.8 * (960 - 24) / 960, rel=1e-9)


def test_each_loss_lessens_and_none_leaves_the_coefficient_itself(tmp_path: Path) -> None:
    small_town(tmp_path, {"house": LOTS["house"]}, **PLAIN)

    def shed(**losses: Any) -> float:
        project = project_file(tmp_path, losses={"way": "event", **losses}, temperature=None)
        return float(parcels_of(without_doubt(project)[0]).loc["house", "runoff_l_yr"])

    assert shed(wetting_mm=0.0) == pytest.approx(80 * 960 * 0.88, rel=1e-6)
    assert shed(wetting_mm=0.0, filter_share=0.9) == pytest.approx(80 * 960 * 0.88 * 0.9, rel=1e-6)
    assert shed(wetting_mm=1.0) < shed() < shed(wetting_mm=0.0)
    assert shed(first_flush_mm=1.2) < shed(first_flush_mm=0.41) < shed()
    # the ratio and its yearly wetting are the other way's: they change nothing here
    assert shed(coefficient=0.5, wetting_mm_yr=50.0) == shed()


def test_more_rain_loses_a_smaller_part_and_is_interpolated_closely(tmp_path: Path) -> None:
    """Three times as much rain in the east: the coefficient of each roof is that of its own days, to 1 in 10,000."""
    project = small_town(tmp_path, losses=TANK, **PLAIN)
    write_rain(tmp_path, east_factor=3)
    found, barrels = without_doubt(project)
    assert barrels is not None
    roofs = found.roofs[found.roofs["roof_area_m2"].gt(20)].sort_values("rain_mm_yr")
    share = (roofs["runoff_l_yr"] / roofs["catchment_area_m2"] / roofs["rain_mm_yr"]).to_numpy()
    assert (np.diff(share) > -1e-12).all()
    assert share[-1] > share[0] * 1.02
    own = barrels.weather.coefficients(roofs["rain_mm_yr"].to_numpy()[:, None] / 12 * np.ones(12))[0]
    assert share == pytest.approx(own, rel=1e-4)


def test_a_roof_that_the_grid_does_not_reach_stays_unknown(tmp_path: Path) -> None:
    project = small_town(tmp_path, losses=TANK, **PLAIN)
    write_rain(tmp_path, dry_from=2)
    found, _ = without_doubt(project)
    lost = found.roofs["rain_mm_yr"].isna()
    assert lost.sum() == 7
    assert found.roofs.loc[lost, ["runoff_l_yr", "capturable_l_yr"]].isna().all().all()
    assert found.roofs.loc[~lost, "runoff_l_yr"].gt(0).all()
    parcels = parcels_of(found)
    assert (parcels.loc[["tap", "tight", "site of stack A"], "status"] == "no rain figure").all()


# barrels


@pytest.mark.parametrize("losses", [{}, {"wetting_mm_yr": 24.0}, {"way": "event"}, TANK])
def test_a_barrel_gets_its_downspouts_part_of_what_the_roof_sheds(
    tmp_path: Path, losses: dict[str, Any]
) -> None:
    """Losses are counted once: in a season of a whole year, three quarters of half the roof bring 3/8 of its litres."""
    season = {"first": "01-01", "last": "12-31"}
    project = small_town(tmp_path, {"house": LOTS["house"]}, losses=losses, season=season, **PLAIN)
    row = parcels_of(without_doubt(project)[0]).loc["house"]
    assert row["capturable_l_yr"] == pytest.approx(row["runoff_l_yr"], rel=1e-9)
    assert row["inflow_l_yr"] == pytest.approx(row["runoff_l_yr"] * 3 / 8, rel=1e-3)


def test_a_plain_loop_over_days_delivers_the_same(tmp_path: Path) -> None:
    """50 L drawn on every day in season, from rain less each day's losses."""
    project = small_town(
        tmp_path,
        {"house": LOTS["house"]},
        losses=TANK,
        garden={"weekly_mm": 25.0},
        habits={"weeks_share": 1.0, "sessions_a_week": 7},
    )
    days = rain_by_day(tmp_path / "gauge.csv", MONTH_MM)
    depths = left_by_hand([rain for _, rain in days], flush_mm=0.41, share=0.9)
    kept = by_hand(days, depths, [30.0], 208.2 - 22.7 - 11.4, 50, SEASON)
    row = parcels_of(without_doubt(project)[0]).loc["house"]
    assert row["yield_1_barrels_l_yr"] == pytest.approx(kept.used_l_yr, rel=0.002, abs=4)


# what is told


def test_days_are_needed(tmp_path: Path) -> None:
    project = small_town(tmp_path, losses={"way": "event"}, gauge=None, season=None)
    write_rain(tmp_path, bands=1)
    with pytest.raises(ProjectError, match=r'by event need days: give a record .*\[gauge\].*"annual ratio"'):
        without_doubt(project)


def test_a_yearly_grid_with_a_gauge_or_monthly_shares_has_days(tmp_path: Path) -> None:
    lots = {"house": LOTS["house"]}
    project = small_town(tmp_path, lots, losses={"way": "event"}, season=None, **PLAIN)
    write_rain(tmp_path, bands=1)
    raw = gauge_days()
    scaled = (raw * 960 / raw.sum() * 3).tolist()
    row = parcels_of(without_doubt(project)[0]).loc["house"]
    assert row["runoff_l_yr"] == pytest.approx(80 * sum(left_by_hand(scaled)) / 3, rel=1e-6)
    even = {"monthly_shares": [1 / 12] * 12}
    shares = project_file(tmp_path, losses={"way": "event"}, season=even, temperature=None)
    row = parcels_of(without_doubt(shares)[0]).loc["house"]
    assert row["runoff_l_yr"] == pytest.approx(80 * 960 * coefficients_by_hand(tmp_path)[0], rel=1e-6)


def test_what_is_odd_about_the_days_is_told_once(tmp_path: Path) -> None:
    """Litres need the days before barrels do, and what was found about them is not lost on the way."""
    lots = {"house": LOTS["house"]}
    project = small_town(tmp_path, lots, gauge=None, generated_rain={"years": 2}, losses=TANK, **PLAIN)
    checks = [one.check for one in without_doubt(project)[0].findings]
    assert checks.count("days made up") == 1
    assert checks.count("no temperatures") == 1
    ratio = project_file(tmp_path, gauge=None, generated_rain={"years": 2}, temperature=None)
    assert sorted(one.check for one in without_doubt(ratio)[0].findings) == sorted(checks)
