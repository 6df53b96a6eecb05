"""Rows of a log matched to parcels, spoiled ids never guessed, and what the visits say of each parcel."""

from __future__ import annotations

import random
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from visits_made import TODAY, by_check, read_log, visits_of

from harvest.fields.outreach import UNMATCHED
from harvest.plan.visit_match import (
    CONTRADICTED,
    DIVIDED,
    NO_ADDRESS,
    NO_PARCEL,
    NO_PLACE,
    NO_ZEROS,
    ROUNDED,
    SEVERAL,
    matched,
    once,
    set_aside,
)
from harvest.plan.visit_status import check_stories, visit_status
from harvest.project.outputs import Limits
from harvest.project.outreach import Visits
from harvest.read.visits import read_visits

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
PARCELS = pd.DataFrame(
    {
        "parcel_id": ["0012011", "0012012", "0112012", "1230000000017", "1230000000018", "A-7 b", "0099"],
        "address": [
            "12 Oak Street",
            "14 Oak Street",
            "3 Elm Lane",
            "5 Bay Road",
            "7 Bay Road",
            "9 Bay Road",
            "9 Bay Road",
        ],
    }
)


def keys(addresses: pd.Series) -> pd.Series:
    return addresses.fillna("").str.casefold().str.replace(r"\s+", " ", regex=True)


def match(*rows: tuple[str, str], **more) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["parcel", "address"], dtype="str")
    return matched(frame, PARCELS, keys(frame["address"]), keys(PARCELS["address"]), **more)


@pytest.mark.parametrize(
    ("row", "parcel", "how"),
    [
        (("0012011", ""), "0012011", "id"),
        (("a7B", ""), "A-7 b", "id"),
        (("1230000000017.0", ""), "1230000000017", "id"),
        (("12 oak  street", "12 oak  street"), "0012011", "address"),
        (("1.23E+12", "5 Bay Road"), "1230000000017", "address"),
        (("12011", "12 Oak Street"), "0012011", "address"),
        (("0012011", "12 Oak Street"), "0012011", "id"),
        (("0012011", "no such place"), "0012011", "id"),
        (("A-7 b", "9 Bay Road"), "A-7 b", "id"),
    ],
)
def test_rows_that_mean_one_parcel(row: tuple[str, str], parcel: str, how: str) -> None:
    found = match(row).iloc[0]
    assert (found["parcel_id"], found["matched_by"], found["reason"]) == (parcel, how, "")


@pytest.mark.parametrize(
    ("row", "reason", "near"),
    [
        (("12011", ""), NO_ZEROS, "0012011 (12 Oak Street)"),
        (("1.23E+12", ""), ROUNDED, "1230000000017 (5 Bay Road)"),
        (("1,23e12", "6 Bay Road"), ROUNDED, "1230000000018 (7 Bay Road)"),
        (("0012019", ""), NO_PARCEL, "0012011 (12 Oak Street)"),
        (("", "12 Oak Stret"), NO_ADDRESS, "0012011 (12 Oak Street)"),
        (("", "9 Bay Road"), SEVERAL, "A-7 b (9 Bay Road)"),
        (("0012011", "14 Oak Street"), CONTRADICTED, "0012012 (14 Oak Street)"),
        (("12011", "14 Oak Street"), CONTRADICTED, "0012012 (14 Oak Street)"),
        (("0012011", "9 Bay Road"), CONTRADICTED, "A-7 b (9 Bay Road)"),
        (("", ""), NO_PLACE, ""),
    ],
)
def test_rows_that_are_set_aside_with_the_nearest(row: tuple[str, str], reason: str, near: str) -> None:
    found = match(row).iloc[0]
    assert pd.isna(found["parcel_id"]) and pd.isna(found["matched_by"])
    assert found["reason"] == reason
    assert near in found["candidates"]


def test_lost_zeros_come_back_only_where_asked_and_certain() -> None:
    rows = (("12011", ""), ("12011", "14 Oak Street"), ("12011", "no such place"))
    found = match(*rows, restore_zeros=True)
    assert found["parcel_id"].tolist()[::2] == ["0012011", "0012011"] and pd.isna(found["parcel_id"].iloc[1])
    assert set(found["matched_by"].dropna()) == {"number without its zeros"}
    twins = pd.concat([PARCELS, pd.DataFrame({"parcel_id": ["12011x", "012011"], "address": ["", ""]})])
    row = pd.DataFrame({"parcel": ["12011"], "address": [""]}, dtype="str")
    both = matched(row, twins, row["address"], keys(twins["address"]), restore_zeros=True)
    assert both["reason"].tolist() == [NO_ZEROS], "two parcels have this number"
    assert match(("1.23E+12", ""), restore_zeros=True)["reason"].tolist() == [ROUNDED]


def test_parcels_that_became_others() -> None:
    became = {"0500": ("0012011",), "0600": ("0012011", "0012012"), "0012012": ("0099",)}
    found = match(("0500", ""), ("0600", ""), ("0600", "14 Oak Street"), ("0012012", ""), successors=became)
    assert found["parcel_id"].fillna("").tolist() == ["0012011", "", "0012012", "0012012"]
    assert found["matched_by"].iloc[0] == "parcel it became part of"
    assert found["reason"].iloc[1] == DIVIDED
    assert found["candidates"].iloc[1].startswith("0012011 (12 Oak Street); 0012012 (14 Oak Street)")


def test_every_spoiled_id_of_the_sample(parcels: gpd.GeoDataFrame) -> None:
    """data/sample/README.md: some ids have lost their zeros, some rows give the address instead."""
    log = read_visits(Visits(file="visits_2025.csv"), SAMPLE, Limits(), TODAY).rows
    there = [keys(log["address"]), keys(parcels["address"])]
    found = matched(log, parcels, *there)
    short = log["parcel"].str.fullmatch(r"\d{1,6}")
    assert short.sum() == 46 and set(found["reason"][short]) == {NO_ZEROS}
    assert found["parcel_id"].notna().equals(~short)
    for written, near in zip(log["parcel"][short], found["candidates"][short], strict=True):
        assert near.startswith(f"00{written} (")
    restored = matched(log, parcels, *there, restore_zeros=True)
    assert (restored["parcel_id"][short] == "00" + log["parcel"][short]).all()


def test_order_of_rows_and_parcels_does_not_matter() -> None:
    rows = pd.DataFrame(
        [("0012011", ""), ("12011", ""), ("", "12 Oak Stret"), ("A7b", "9 Bay Road")],
        columns=["parcel", "address"],
        dtype="str",
    )
    first = matched(rows, PARCELS, keys(rows["address"]), keys(PARCELS["address"]))
    mixed = PARCELS.sample(frac=1, random_state=2)
    turned = rows.iloc[::-1]
    second = matched(turned, mixed, keys(turned["address"]), keys(mixed["address"]))
    pd.testing.assert_frame_equal(first, second.sort_index())


def test_a_visit_entered_twice_counts_once() -> None:
    visits = visits_of(
        ("a", "2025-05-06", "not home"),
        ("a", "2025-05-06", "not home"),
        ("a", "2025-05-06", "joined"),
        ("a", "2025-05-07", "not home"),
        ("b", "2025-05-06", "installed", 1, 208.0),
        ("b", "2025-05-06", "installed", 2, 416.0),
        ("b", "2025-05-06", "installed", 1, 208.0),
    )
    stand, twice, found = once(visits)
    assert stand["line"].tolist() == [2, 4, 5, 6, 7]
    assert dict(zip(twice["line"], twice["reason"], strict=True)) == {
        3: "the same visit as in line 2",
        8: "the same visit as in line 6",
    }
    assert by_check(found)["visit entered twice"].count == 2
    assert "visited more than once in a day with different outcomes, taken in the order of the file: 2" in (
        by_check(found)["visited twice in a day"].message
    )


def status(*rows, ids: tuple[str, ...] = ("a",)) -> pd.DataFrame:
    return visit_status(visits_of(*rows), pd.Series(ids, index=range(10, 10 + len(ids)), dtype="str"), 200.0)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ([], "to visit"),
        (["not home"], "try again at another hour"),
        (["not home", "not home", "not home"], "try again at another hour"),
        (["come back", "not home"], "come back"),
        (["refused", "not home"], "refused"),
        (["refused", "joined"], "joined"),
        (["joined", "refused"], "refused"),
        (["not home", "joined", "not home"], "joined"),
        (["joined", "installed", "not home"], "installed"),
        (["joined", "installed", "joined"], "installed"),
        (["installed", "verified", "installed"], "verified"),
        (["installed", "refused"], "installed"),
        (["verified"], "verified"),
        (["ineligible"], "ineligible"),
        (["other language", "not home"], "other language"),
    ],
)
def test_the_status_of_a_story(told: list[str], expected: str) -> None:
    found = status(*(("a", f"2025-05-{day:02}", outcome) for day, outcome in enumerate(told, 1))).iloc[0]
    assert found["visit_status"] == expected
    assert found["visit_count"] == len(told) and found["not_home_count"] == told.count("not home")
    assert (found["last_outcome"] if told else None) == (told[-1] if told else None)


def test_order_within_a_day_is_that_of_the_file_and_between_days_that_of_the_days() -> None:
    found = status(("a", "2025-05-09", "joined"), ("a", "2025-05-08", "refused"), ("b", "2025-05-08", "joined"),
                   ("b", "2025-05-08", "refused"), ids=("b", "a", "c"))  # fmt: skip
    assert found["visit_status"].tolist() == ["refused", "joined", "to visit"]
    assert found["last_visit"].fillna("").tolist() == ["2025-05-08", "2025-05-09", ""]
    assert found.index.tolist() == [10, 11, 12]


def test_barrels_add_up_and_an_unknown_number_stays_unknown() -> None:
    found = status(
        ("a", "2025-05-08", "installed", 1, 210.0),
        ("a", "2025-06-08", "installed", 2, None),
        ("b", "2025-05-08", "installed", 1, None),
        ("b", "2025-06-08", "installed", None, None),
        ("c", "2025-05-08", "verified"),
        ("d", "2025-05-08", "joined", 1, 208.0),
        ids=("a", "b", "c", "d", "e"),
    )
    assert found["installed_barrels"].tolist() == [3, pd.NA, pd.NA, 0, 0]
    assert found["installed_l"].iloc[0] == 210 + 2 * 200
    assert found["installed_l"].isna().tolist() == [False, True, True, False, False]


def test_stories_that_contradict_themselves() -> None:
    found = by_check(
        check_stories(
            visits_of(
                ("a", "2025-05-08", "installed", 1, None),
                ("a", "2025-05-09", "refused"),
                ("b", "2025-05-08", "verified"),
                ("c", "2025-05-08", "refused"),
                ("c", "2025-05-09", "installed", 1, None),
                ("c", "2025-05-10", "not home"),
            )
        )
    )
    assert found["installed, then something else"].first == ("a",)
    assert found["verified without an installation"].first == ("b",)


def test_the_order_of_rows_does_not_change_a_status() -> None:
    days = [
        ("abc"[n % 3], f"2025-05-{n + 1:02}", ["not home", "joined", "refused", "come back"][n % 4])
        for n in range(20)
    ]
    visits = visits_of(*days)
    shuffled = visits.iloc[random.Random(3).sample(range(20), 20)]
    ids = pd.Series(["a", "b", "c"], dtype="str")
    pd.testing.assert_frame_equal(visit_status(visits, ids, 200.0), visit_status(shuffled, ids, 200.0))


def test_everything_set_aside_fits_one_table(tmp_path: Path) -> None:
    """Rows that the reader set aside, that match no parcel, and that repeat: one table, no line lost or twice."""
    lines = [
        "2025-05-06,0012011,joined,,,a note",
        "2025-05-06,0012011,joined,,,again",
        "soon,0012012,joined,,,call first",
        "2025-05-06,12012,refused,,,a dog",
    ]
    log = read_log(tmp_path, lines)
    rows = log.rows
    found = rows.join(matched(rows, PARCELS, keys(rows["address"]), keys(PARCELS["address"])))
    placed = found[found["parcel_id"].notna()]
    stand, twice, _ = once(placed)
    parts = [
        log.unmatched.assign(file="visits"),
        set_aside("visits", found[found["parcel_id"].isna()]),
        set_aside("visits", twice),
    ]
    table = UNMATCHED.checked(pd.concat(parts, ignore_index=True))
    assert sorted([*stand["line"], *table["line"]]) == [2, 3, 4, 5]
    assert table["line"].tolist() == [4, 5, 3] and table["candidates"].iloc[1].startswith("0012012")
    assert table["note"].tolist() == ["call first", "", ""] and table["day"].tolist() == [
        "soon",
        "2025-05-06",
        "2025-05-06",
    ]
