"""The office's files in a run: corrections move litres and lose none, visits and reasons reach parcels, notes stay."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from conftest import SAMPLE
from small_town import LOTS, PLANE, project_file, small_town

from harvest.achieved import changed, last_result
from harvest.clock import Clock
from harvest.explain import explain
from harvest.place.addresses import address_keys
from harvest.project import read_project
from harvest.result import Result
from harvest.run import run

PLAIN: dict[str, Any] = {"temperature": None}
NOTE = "blue gate, ask for Wilhelmina"
CORRECTIONS = [
    "date,parcel,what,value,note",
    f"2025-06-01,house,area,120 m2,{NOTE}",
    "2025-06-02,large,no gutters,,",
    "2025-06-02,long,downspout buried,,",
    "2025-06-03,13 Row,vacant,,",
    "2025-06-03,tap,dog,,",
    "2025-06-04,filled,wrong roof,,",
    "2025-06-04,vacant,area,100 m2,",
    "2025-06-04,stack A,no gutters,,",
    f"2025-06-05,elsewhere,split into,house tap,{NOTE}",
    "2025-06-05,old lot,merged into,house,",
]
VISITS = [
    "date,parcel,outcome,barrels,volume_gal,note",
    f"2025-05-10,house,not home,,,{NOTE}",
    "2025-05-20,house,joined,,,",
    "2025-06-10,old lot,installed,1,55,",
    "2025-05-11,long,joined,,,",
    "2025-05-12,sheds,ineligible,,,",
    "2025-05-12,tap,refused,,,",
    "2025-05-12,large,other language,,,",
    f"2025-05-13,X1,joined,,,{NOTE}",
]
OFFICE: dict[str, Any] = {
    "visits": {"file": "log.csv", "as_of": "2025-10-31", "programme_start": "2025-05-01"},
    "corrections": {"file": "corrections.csv"},
    "no_contact": {"file": "nobody.csv"},
    "eligibility": {
        "owner": "lives",
        "owner_values": ["owner"],
        "consent": "agreed",
        "service_area": "area.geojson",
        "most_barrels": 1,
    },
}
LETTING = {"stub": ("let", "no"), "stack A": ("let", "yes"), "stack B": ("owner", None)}


def office_town(folder: Path, **sections: Any) -> Path:
    """The small town with all of the office's files; its service area ends before the stacked parcels."""
    project = small_town(folder, LOTS, **PLAIN, **(OFFICE | sections))
    parcels = gpd.read_parquet(folder / "parcels.parquet")
    said = [LETTING.get(name, ("owner", None)) for name in parcels["lot"]]
    parcels = parcels.assign(
        lives=pd.array([one[0] for one in said], dtype="str"),
        agreed=pd.array([one[1] for one in said], dtype="str"),
    )
    parcels.to_parquet(folder / "parcels.parquet")
    west, south, east, north = parcels.total_bounds
    inside = gpd.GeoSeries([shapely.box(west - 5, south - 5, east - 35, north + 5)], crs=PLANE)
    inside.to_crs(4326).to_file(folder / "area.geojson")
    (folder / "corrections.csv").write_text("\n".join(CORRECTIONS) + "\n", encoding="utf-8")
    (folder / "log.csv").write_text("\n".join(VISITS) + "\n", encoding="utf-8")
    (folder / "nobody.csv").write_text("address\n16 Row\n99 Nowhere Lane\n", encoding="utf-8")
    return project


@pytest.fixture(scope="module")
def with_office(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project file of that town, run once."""
    project = office_town(tmp_path_factory.mktemp("office"))
    run(read_project(project))
    return project


@pytest.fixture(scope="module")
def result(with_office: Path) -> Result:
    return Result.at(with_office.parent / "results")


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """The same town without any of the office's files."""
    return run(read_project(small_town(tmp_path_factory.mktemp("plain"), LOTS, **PLAIN)))


def by_id(result: Result) -> pd.DataFrame:
    return pd.DataFrame(result.table("parcels").drop(columns="geometry")).set_index("parcel_id")


VOLUMES = ["catchment_area_m2", "runoff_l_yr", "capturable_l_yr", "storm_l"]


def test_corrections_conserve_litres_and_say_how_far_sums_moved(result: Result, plain: Result) -> None:
    """Parcels plus roofs on none are all roofs; the town differs from the plain one by what was corrected, only."""
    for one in (result, plain):
        roofs, parcels = one.table("roofs", ["parcel_id", *VOLUMES]), by_id(one)
        lost = roofs[roofs["parcel_id"].isna()]
        for name in VOLUMES:
            assert parcels[name].sum() + lost[name].sum() == pytest.approx(roofs[name].sum(), rel=1e-9)
    now, then, told = by_id(result), by_id(plain), result.run["corrections"]
    for name in ("catchment_area_m2", "runoff_l_yr", "capturable_l_yr"):
        assert told[name]["before"] == pytest.approx(then[name].sum(), rel=1e-9)
        assert told[name]["after"] == pytest.approx(now[name].sum(), rel=1e-9)
    assert told["catchment_area_m2"]["after"] - told["catchment_area_m2"]["before"] == pytest.approx(
        40, abs=0.01
    )
    assert told["applied"] == {
        "area": 1, "buried downspout": 1, "dog": 1, "merged into": 1, "no gutters": 1, "split into": 1,
        "vacant": 1, "wrong roof": 1,
    }  # fmt: skip
    areas = result.table("findings").set_index("check").loc["roof areas corrected"]
    assert areas["severity"] == "note" and areas["first"] == "house"


def test_a_corrected_area_takes_all_its_volumes_along(result: Result, plain: Result) -> None:
    """120 m² for 80 m² is half as much again, of everything that is proportional; a barrel's yield is not."""
    now, then = by_id(result).loc["house"], by_id(plain).loc["house"]
    assert now["corrected"] == "area"
    assert now["catchment_area_m2"] == pytest.approx(120, rel=1e-9)
    for name in VOLUMES:
        assert now[name] / then[name] == pytest.approx(1.5, rel=1e-4)
    assert then["yield_l_yr"] < now["yield_l_yr"] < 1.5 * then["yield_l_yr"]
    assert now["garden_m2"] <= then["garden_m2"]


def test_gutters_and_downspouts(result: Result, plain: Result) -> None:
    now, then = by_id(result), by_id(plain)
    bare = now.loc["large"]
    assert (bare["status"], bare["reason"]) == ("no gutter", "No gutters, as seen on the street.")
    assert bare["runoff_l_yr"] == then.loc["large", "runoff_l_yr"]
    assert bare["capturable_l_yr"] == bare["yield_l_yr"] == bare["suggested_barrels"] == 0
    buried = now.loc["long"]
    assert buried["barrel_places"] == buried["suggested_barrels"] == buried["yield_l_yr"] == 0
    assert buried["capturable_l_yr"] == then.loc["long", "capturable_l_yr"] and buried["status"] == "ranked"


def test_who_is_off_the_lists_and_why(result: Result) -> None:
    parcels = by_id(result)
    off = parcels[parcels["status"] == "excluded"]
    assert off["reason"].to_dict() == {
        "filled": "The mapped roof is not this home's; look at the place itself.",
        "tight": "Nobody lives there, as seen on the street.",
        "sheds": "Asked not to be visited",
        "stub": "Let: the owner's consent is needed first",
        "site of stack A": "Outside the service area",
        "house": "Already has all the barrels that the law allows",
    }
    assert off["rank"].isna().all() and off["list"].isna().all()
    assert not off["eligible"].any() and parcels.loc[["large", "long", "tap"], "eligible"].all()
    assert parcels.loc["stack A", "status"] == "unit of association"
    assert set(parcels.index[parcels["rank"].notna()]) == {"long", "tap"}
    dropped = result.run["ledger"]["eligible parcels"]["dropped"]
    assert sum(dropped.values()) == (~parcels["eligible"]).sum() == 8


def test_found_ineligible_at_the_door(tmp_path: Path) -> None:
    """Of the log's outcomes only this one takes a home off the list; a refusal keeps its rank and its status."""
    project = small_town(tmp_path, LOTS, visits={"file": "log.csv", "as_of": "2025-10-31"}, **PLAIN)
    (tmp_path / "log.csv").write_text("\n".join(VISITS[:1] + VISITS[4:7]) + "\n", encoding="utf-8")
    parcels = by_id(run(read_project(project)))
    assert parcels.loc["sheds", ["status", "reason"]].tolist() == [
        "excluded", "Found ineligible at the door, by the log of visits",
    ]  # fmt: skip
    assert pd.notna(parcels.loc["tap", "rank"]) and parcels.loc["tap", "visit_status"] == "refused"


def test_visits_stand_on_their_parcels(result: Result) -> None:
    """A visit to a parcel that was merged since counts where it went."""
    visits, parcels = result.table("visits"), by_id(result)
    assert visits["line"].tolist() == [2, 3, 4, 5, 6, 7, 8]
    assert visits["parcel_id"].tolist() == ["house", "house", "house", "long", "sheds", "tap", "large"]
    assert visits["matched_by"].tolist()[2] == "parcel it became part of"
    house = parcels.loc["house"]
    assert house[["visit_status", "visit_count", "not_home_count", "last_visit"]].tolist() == [
        "installed", 3, 1, "2025-06-10",
    ]  # fmt: skip
    assert house["installed_l"] == pytest.approx(55 * 3.785411784)
    assert house["allowed_barrels"] == 0 and parcels.loc["tap", "allowed_barrels"] == 1
    assert parcels.loc["tap", "door_caution"] == "Dog"
    assert result.run["as_of"] == "2025-10-31"
    progress = result.table("progress").set_index("month")
    assert progress.loc["2025-06", ["installed_count", "barrels"]].tolist() == [1, 1]
    assert progress.loc["2025-06", "added_l_yr"] == house["yield_1_barrels_l_yr"]


def test_every_row_is_used_or_set_aside_with_its_reason(result: Result) -> None:
    aside = result.table("unmatched").set_index(["file", "line"])
    assert aside["reason"].to_dict() == {
        ("corrections", 8): "no roof is mapped there, so its area has nothing to correct",
        ("corrections", 9): "its roof belongs to the whole site; name site of stack A instead",
        ("no_contact", 3): "no parcel has this address",
        ("visits", 9): "no parcel has this id",
    }
    ledger = result.run["ledger"]
    for name, rows in (("visits", 8), ("corrections", 10), ("no_contact", 2)):
        one = ledger[name]
        assert one["rows_in"] == rows == one["rows_out"] + sum(one["dropped"].values())
        assert sum(one["dropped"].values()) == len(aside.loc[name])
    told = result.table("findings").set_index("layer")
    assert told.loc["no_contact", "severity"] == "serious"


def test_notes_leave_with_no_table_but_that_of_rows_set_aside(result: Result) -> None:
    """Words of a note stand in no other table, no map, no ``run.json``."""
    word = "Wilhelmina"
    for path in sorted(result.folder.iterdir()):
        if path.suffix == ".parquet":
            frame = pd.read_parquet(path).select_dtypes("str")
            held = any(frame[name].astype("str").str.contains(word).any() for name in frame)
        else:
            held = word.encode() in path.read_bytes()
        assert not held or path.stem == "unmatched", path.name
    assert "note" not in result.table("visits")


def test_explain_says_what_the_office_knows(with_office: Path) -> None:
    project = read_project(with_office)
    text = "\n".join(explain(project, "house"))
    assert "Parcel house, 10 Row: excluded (Already has all the barrels that the law allows)" in text
    assert "Corrected by the office's file: area." in text
    assert (
        "Visits: installed; 3 visits, nobody home at 1; last on 2025-06-10 (installed); installed 1 barrel, 208 L."
        in text
    )
    assert "80.00 m², corrected by the office's file to 120.00 m²" in text
    assert "This is not what the tables hold" not in text
    assert "no downspout here can take one" in "\n".join(explain(project, "long"))
    assert "Caution at the door: Dog." in "\n".join(explain(project, "tap"))


def test_the_day_of_the_run_stands_where_no_day_is_set(tmp_path: Path) -> None:
    """A log that is not closed is bounded by the day of the run: a later visit is a slip of the pen."""
    office_town(tmp_path)
    project = read_project(project_file(tmp_path, **PLAIN, visits={"file": "log.csv"}))
    result = run(project, clock=Clock(today=date(2025, 5, 31)))
    assert result.run["as_of"] == "2025-05-31"
    aside = result.table("unmatched").set_index("line")["reason"]
    assert aside[4] == "the date lies after 2025-05-31, the day of the log"


def test_a_log_of_strangers_is_told_as_serious(tmp_path: Path) -> None:
    project = small_town(tmp_path, {"house": LOTS["house"]}, visits=OFFICE["visits"], **PLAIN)
    (tmp_path / "log.csv").write_text(f"{VISITS[0]}\n2025-05-10,X1,joined,,,\n", encoding="utf-8")
    result = run(read_project(project))
    assert result.table("findings").set_index("check").loc["no visit matched", "severity"] == "serious"
    assert by_id(result)["visit_status"].tolist() == ["to visit"]
    assert result.has("unmatched") and not any(map(result.has, ("visits", "progress", "annual")))


def test_the_sample_log_stands_on_the_parcels_it_was_written_for(sample_result: Result) -> None:
    """The maker wrote ids, ids without their zeros, and addresses; each says its parcel without any rule of ours."""
    log = pd.read_csv(SAMPLE / "visits_2025.csv", dtype="str")
    parcels = by_id(sample_result)
    of_address = parcels.reset_index().dropna(subset=["address"]).set_index("address")["parcel_id"]
    meant = log["parcel"].map(of_address).fillna(log["parcel"].str.zfill(7))
    visits = sample_result.table("visits").set_index("line")
    assert visits["parcel_id"].tolist() == meant.tolist()
    assert not sample_result.has("unmatched")
    installed = meant[log["outcome"] == "installed"].nunique()
    assert parcels["visit_status"].isin(["installed", "verified"]).sum() == installed
    assert sample_result.table("annual")["practice_count"].sum() == log["barrels"].astype(float).sum()
    learning = sample_result.run["learning"]
    first = log.assign(parcel=meant, day=pd.to_datetime(log["date"], format="mixed"))
    first = first[~first["outcome"].isin(["installed", "verified"])].sort_values("day", kind="stable")
    first = first.drop_duplicates("parcel")
    assert learning["answer_chance"]["doors"] == len(first)
    assert learning["answer_chance"]["hits"] == (first["outcome"] != "not home").sum()
    for name, one in learning.items():
        chance = parcels[name].dropna()
        assert chance.min() >= one["town"] / 1.5 - 1e-12 and chance.max() <= one["town"] * 1.5 + 1e-12
        assert one["back_test"]["learned_from"] + one["back_test"]["foretold"] == one["doors"]
    assert json.loads((sample_result.folder / "run.json").read_text())["as_of"] == "2025-10-31"


def test_what_moved_since_the_run_before(sample_result: Result) -> None:
    sides = sample_result.table("sides")
    same = changed(sample_result, sides)
    assert same is not None and set(same["why"]) == {"unchanged"} and len(same) == len(sides)
    busy = sides["to_visit_count"].idxmax()
    fewer = sides.copy()
    fewer.loc[busy, "to_visit_count"] -= 3
    fewer.loc[busy, "visited_count"] += 3
    fewer.loc[busy, ["worth_l_yr", "yield_l_yr"]] *= 0.7
    moved = changed(sample_result, fewer)
    assert moved is not None
    assert moved.set_index("side_id").loc[sides.loc[busy, "side_id"], "why"] == "visited"
    older = Result(sample_result.folder, {**sample_result.run, "version": "0.0"})
    assert (
        changed(older, sides) is None
        and changed(None, sides) is None
        and changed(sample_result, None) is None
    )
    assert last_result(sample_result.folder / "none") is None


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("12 N. Main St", "12 north main street", True),
        ("12-A Oak St., Apt 3", "12a oak street #3", True),
        ("Oak Road 12", "12 Oak Rd.", True),
        ("12 Oak Street", "12 Oak Road", False),
        ("12 Oak Street", "12-14 Oak Street", False),
        ("12 Oak Street Unit 3", "12 Oak Street", False),
    ],
)
def test_addresses_in_one_form(one: str, other: str, same: bool) -> None:
    keys = address_keys(pd.Series([one, other, None, ""], dtype="str"))
    assert (keys[0] == keys[1]) == same
    assert keys.tolist()[2:] == ["", ""] and not np.isin("", keys[:2])
