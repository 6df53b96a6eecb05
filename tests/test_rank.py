"""Two lists, their order, and the reasons of those who stand on neither."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from harvest.plan.rank import check_lists, ranks, statuses
from harvest.plan.totals import parcel_totals, positions
from harvest.project.ranking import Ranking


def parcels(**columns: list) -> pd.DataFrame:
    """Parcels with plain values unless ``columns`` say otherwise."""
    count = len(next(iter(columns.values())))
    plain = {
        "parcel_id": [f"p{i}" for i in range(count)],
        "land_use": [None] * count,
        "roof_count": [1] * count,
        "catchment_area_m2": [120.0] * count,
        "guttered_area_m2": [120.0] * count,
        "runoff_l_yr": [90_000.0] * count,
        "capturable_l_yr": [50_000.0] * count,
        "storm_l": [2_400.0] * count,
        "built_year": [1990] * count,
        "exclusion_reason": [None] * count,
        "is_unit": [False] * count,
        "is_site": [False] * count,
        "is_common": [False] * count,
    }
    frame = pd.DataFrame({**plain, **columns})
    return frame.astype({"land_use": "str", "exclusion_reason": "str", "built_year": "Int64"})


def ranked(frame: pd.DataFrame, settings: Ranking, year: int | None = None) -> pd.DataFrame:
    frame = frame.assign(**statuses(frame, year))
    return frame.assign(**ranks(frame, settings))


def test_every_reason_not_to_be_ranked() -> None:
    frame = parcels(
        roof_count=[1, 0, 0, 1, 1, 0, 1, 1, 1],
        built_year=[1990, 1990, 2024, 1990, 1990, 1990, 1990, 1990, 2024],
        runoff_l_yr=[9.0, 0, 0, np.nan, 9, 0, 9, 9, 9],
        guttered_area_m2=[9.0, 0, 0, 9, 0, 0, 9, 9, 9],
        exclusion_reason=[None, None, None, None, None, None, "Town property.", None, None],
        is_common=[False, False, False, False, False, True, False, False, False],
        is_site=[False] * 7 + [True, False],
    )
    found = ranked(frame, Ranking(), 2023)
    assert found["status"].tolist() == [
        "ranked",
        "no roof",
        "no footprint, check",
        "no rain figure",
        "no gutter",
        "common ground",
        "excluded",
        "association",
        "ranked",
    ]
    assert found["reason"][6] == "Town property."
    assert found["rank"].notna().tolist() == [True, False, False, False, False, False, False, True, True]
    assert found["list"].isna().tolist() == [False, True, True, True, True, True, True, False, False]


def test_lists_split_by_land_use_first_and_size_second() -> None:
    frame = parcels(
        land_use=["school", "house", None, None, "house"],
        catchment_area_m2=[100.0, 900.0, 900.0, 100.0, 100.0],
        capturable_l_yr=[1.0, 2.0, 3.0, 4.0, 5.0],
    )
    found = ranked(frame, Ranking(home_land_uses=["house"], large_land_uses=["school"], large_roof_m2=500))
    assert found["list"].tolist() == ["large roofs", "homes", "large roofs", "homes", "homes"]
    assert found["rank"].tolist() == [2, 3, 1, 2, 1]


def test_ties_break_by_id_and_rounding_noise_does_not_decide() -> None:
    frame = parcels(parcel_id=["b", "a", "c"], capturable_l_yr=[50_000.000_001, 50_000.0, 50_000.000_002])
    assert ranked(frame, Ranking())["rank"].tolist() == [2, 1, 3]


def test_weights_rank_by_mean_of_percentiles() -> None:
    frame = parcels(capturable_l_yr=[10.0, 20, 30, 40], storm_l=[4.0, 3, 2, 1])
    even = ranked(frame, Ranking(weights={"capturable_l_yr": 1, "storm_l": 1}))
    assert even["rank_score"].tolist() == pytest.approx([62.5] * 4)
    heavy = ranked(frame, Ranking(weights={"capturable_l_yr": 3, "storm_l": 1}))
    assert heavy["rank"].tolist() == [4, 3, 2, 1]
    assert heavy["rank_score"].tolist() == pytest.approx([43.75, 56.25, 68.75, 81.25])


def test_percentiles_are_taken_within_each_list() -> None:
    """A school's litres must not push every home's percentile down."""
    frame = parcels(
        catchment_area_m2=[100.0, 100.0, 900.0, 900.0], capturable_l_yr=[10.0, 20.0, 300.0, 400.0]
    )
    found = ranked(frame, Ranking(weights={"capturable_l_yr": 1}))
    assert found["rank_score"].tolist() == pytest.approx([50, 100, 50, 100])


def test_any_registered_measure_ranks() -> None:
    found = ranked(parcels(storm_l=[1.0, 3.0, 2.0]), Ranking(measure="storm_l"))
    assert found["rank"].tolist() == [3, 1, 2]


def test_findings_on_lists() -> None:
    frame = parcels(roof_count=[0], runoff_l_yr=[0.0])
    settings = Ranking(home_land_uses=["hous"])
    checks = {one.check: one for one in check_lists(ranked(frame, settings), settings)}
    assert checks["nobody ranked"].severity == "serious"
    assert checks["unknown land uses"].first == ("hous",)


def test_totals_conserve_litres_and_keep_missing_missing() -> None:
    rows = pd.DataFrame(
        {
            "parcel_id": pd.array(["a", "a", "b", None, "c"], dtype="str"),
            "has_gutter": [True, False, True, True, True],
            "catchment_area_m2": [100.0, 10.0, 50.0, 70.0, 30.0],
            "rain_mm_yr": [1000.0, 900.0, 1000.0, 1000.0, np.nan],
            "season_rain_mm_yr": [500.0, 500.0, 500.0, 500.0, np.nan],
            "rain_cover": [1.0, 1.0, 1.0, 1.0, 0.0],
            "runoff_l_yr": [80_000.0, 7_200.0, 40_000.0, 56_000.0, np.nan],
            "capturable_l_yr": [40_000.0, 0.0, 20_000.0, 28_000.0, np.nan],
            "storm_l": [2_000.0, 200.0, 1_000.0, 1_400.0, 600.0],
        }
    )
    found = parcel_totals(rows, pd.Index(["a", "b", "c", "d"], dtype="str"))
    assert found["catchment_area_m2"].tolist() == [110, 50, 30, 0]
    assert found["guttered_area_m2"].tolist() == [100, 50, 30, 0]
    assert found["runoff_l_yr"].tolist()[:2] == [87_200, 40_000]
    assert np.isnan(found.loc["c", "runoff_l_yr"])
    assert found.loc["d", "runoff_l_yr"] == 0
    assert found.loc["a", "rain_mm_yr"] == pytest.approx((100 * 1000 + 10 * 900) / 110)
    assert np.isnan(found.loc["d", "rain_mm_yr"])
    placed = rows["parcel_id"].notna()
    assert found["runoff_l_yr"].sum() + rows["runoff_l_yr"][~placed].sum() == pytest.approx(
        rows["runoff_l_yr"].sum()
    )


def test_positions_of_what_is_missing_or_unknown() -> None:
    ids = pd.Series(["c", None, "a", "nobody", "c"], dtype="str")
    among = pd.Series(["a", "b", "c"], dtype="str", index=[7, 8, 9])
    assert positions(ids, among).tolist() == [2, -1, 0, -1, 2]
    assert positions(ids, among[:0]).tolist() == [-1] * 5
    assert positions(ids[:0], pd.Index(among)).tolist() == []
