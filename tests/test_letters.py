"""The table for letters: who gets one, in what order, and what it says."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from test_cards import HOSTILE
from walk_result import parcels, sides, walk_result, with_settings

from harvest.errors import OutputError
from harvest.result import Result
from harvest.show.letters import COLUMNS, LETTERS, write_letters
from harvest.show.limits import FORMULA_STARTS
from harvest.units import L_PER_GALLON


def rows_of(result: Result) -> list[dict[str, str]]:
    write_letters(result, result.folder)
    with (result.folder / LETTERS).open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def changed(name: str, **values: Any) -> list[dict[str, Any]]:
    return [row | values if row["parcel_id"] == name else row for row in parcels()]


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return walk_result(tmp_path_factory.mktemp("letters") / "town")


def test_letters_go_by_street_in_the_order_of_the_rounds_then_by_rank(town: Result) -> None:
    # Alder Street: the doors of rounds 1 and 2 as they are walked, then the others by house number. Then Birch Lane
    # (round 1, later), the street without a name (round 3), and Cedar Street, which no round comes to.
    assert [(row["address"], row["round"]) for row in rows_of(town)] == [
        ("1 Alder Street", "1"),
        ("3 Alder Street", "1"),
        ("5 Alder Street", "1"),
        ("6 Alder Street", "1"),
        ("2 Alder Street", "2"),
        ("99 Alder Street", ""),
        ("100 Alder Street", ""),
        ("10 Birch Lane", "1"),
        ("9 Birch Lane", "1"),
        ("1 Back Way", "3"),
        ("2 Back Way", "3"),
        ("8 Cedar Street", ""),
    ]


def test_streets_without_a_round_go_by_rank(tmp_path: Path) -> None:
    rows = changed("D1", visit_status="to visit")
    last = [row["street"] for row in rows_of(walk_result(tmp_path / "town", rows=rows))][-2:]
    assert last == ["Dock Street", "Cedar Street"]
    turned = sides()
    turned["rank"] = pd.array(
        [{"C L": 1, "D L": 2}.get(name, 9) for name in turned["side_id"]], dtype="Int64"
    )
    other = walk_result(tmp_path / "other", rows=rows, sides_are=turned)
    assert [row["street"] for row in rows_of(other)][-2:] == ["Cedar Street", "Dock Street"]


def test_a_letter_says_what_the_tables_say_rounded_and_with_units(town: Result, tmp_path: Path) -> None:
    row = rows_of(town)[0]
    assert tuple(row) == COLUMNS
    assert row == {
        "address": "1 Alder Street",
        "street": "Alder Street",
        "district": "Ward 1",
        "round": "1",
        "rain_of_one_storm": "1 in",
        "one_storm": "500 gal",
        "suggested_barrels": "1",
        "barrels_would_deliver": "200 gal a year",
        "season_first_day": "April 15",
        "season_last_day": "October 31",
        "town": "Pellwick",
    }
    metric = rows_of(walk_result(tmp_path / "metric", units="metric"))[0]
    # 500 gal are 1,893 L and 200 gal are 757 L, to two digits.
    assert (metric["one_storm"], metric["barrels_would_deliver"]) == ("1,900 L", "760 L a year")
    assert (metric["rain_of_one_storm"], metric["season_first_day"]) == ("25.4 mm", "15 April")


def test_a_limit_on_barrels_tells_what_those_allowed_would_deliver(tmp_path: Path) -> None:
    rows = changed(
        "N1",
        suggested_barrels=2,
        yield_l_yr=230 * L_PER_GALLON,
        yield_1_barrels_l_yr=200 * L_PER_GALLON,
        yield_2_barrels_l_yr=230 * L_PER_GALLON,
        allowed_barrels=1,
    )
    row = rows_of(walk_result(tmp_path / "town", rows=rows))[0]
    assert (row["suggested_barrels"], row["barrels_would_deliver"]) == ("1", "200 gal a year")
    full = rows_of(walk_result(tmp_path / "full", rows=[one | {"allowed_barrels": None} for one in rows]))[0]
    assert (full["suggested_barrels"], full["barrels_would_deliver"]) == ("2", "230 gal a year")
    none = rows_of(walk_result(tmp_path / "none", rows=[one | {"allowed_barrels": 0} for one in rows]))[0]
    assert (none["suggested_barrels"], none["barrels_would_deliver"]) == ("0", "")


@pytest.mark.parametrize(
    ("values", "gets_one"),
    [
        ({}, True),
        ({"visit_status": None, "eligible": None}, True),
        ({"visit_status": "try again at another hour"}, True),
        ({"visit_status": "other language"}, True),
        ({"visit_status": "refused"}, False),
        ({"visit_status": "joined"}, False),
        ({"visit_status": "installed"}, False),
        ({"eligible": False}, False),
        ({"status": "excluded"}, False),
        ({"list": "large roofs"}, False),
        ({"list": None}, False),
        ({"door_count": 0}, False),
        ({"address": None}, False),
        ({"address": "  "}, False),
    ],
)
def test_only_homes_that_may_be_visited_and_have_an_address_get_one(
    tmp_path: Path, values: dict[str, Any], gets_one: bool
) -> None:
    result = walk_result(tmp_path / "town", rows=changed("C1", **values))
    assert ("Cedar Street" in [row["street"] for row in rows_of(result)]) is gets_one


def test_homes_without_an_address_are_told(town: Result) -> None:
    (found,) = write_letters(town, town.folder)
    assert (found.check, found.count, found.first) == ("no address for a letter", 1, ("S2",))


def test_nobody_is_named_and_no_parcel_number_goes_to_the_printer(town: Result) -> None:
    assert not [
        one for one in COLUMNS if "name" in one or "owner" in one or "parcel" in one or "phone" in one
    ]


def test_hostile_texts_run_nowhere(tmp_path: Path) -> None:
    rows = [
        row | {"address": HOSTILE[at % len(HOSTILE)], "street": "=1+1"} for at, row in enumerate(parcels())
    ]
    result = walk_result(tmp_path / "town", rows=rows, town="@SUM(A1)")
    read = rows_of(result)
    assert len(read) == 13
    assert not [cell for row in read for cell in row.values() if cell.startswith(FORMULA_STARTS)]
    assert {row["town"] for row in read} == {"'@SUM(A1)"}


def test_the_file_follows_the_other_tables_and_never_changes(town: Result, tmp_path: Path) -> None:
    write_letters(town, town.folder)
    raw = (town.folder / LETTERS).read_bytes()
    # RFC 4180: CR LF ends a record. EF BB BF is U+FEFF in UTF-8 (RFC 3629, section 6).
    assert raw.startswith(b"\xef\xbb\xbfaddress,street,") and raw.count(b"\r\n") == raw.count(b"\n") == 13
    again = walk_result(tmp_path / "town", rows=parcels()[::-1])
    write_letters(again, again.folder)
    assert (again.folder / LETTERS).read_bytes() == raw


def test_without_rounds_streets_go_by_rank_and_without_streets_there_is_no_table(tmp_path: Path) -> None:
    result = walk_result(tmp_path / "town")
    (result.folder / "stops.parquet").unlink()
    streets = list(dict.fromkeys(row["street"] for row in rows_of(result)))
    # Best sides: Cedar 2, Alder 3, Birch 7, the street without a name 9.
    assert streets == ["Cedar Street", "Alder Street", "Birch Lane", ""]
    (result.folder / "sides.parquet").unlink()
    (result.folder / LETTERS).unlink()
    assert write_letters(result, result.folder) == [] and not (result.folder / LETTERS).exists()


def test_the_whole_year_is_a_season_too(tmp_path: Path) -> None:
    result = with_settings(
        walk_result(tmp_path / "town"), **{"season.first": "01-01", "season.last": "12-31"}
    )
    row = rows_of(result)[0]
    assert (row["season_first_day"], row["season_last_day"]) == ("January 1", "December 31")


def test_a_file_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    result = walk_result(tmp_path / "town")
    (result.folder / LETTERS).mkdir()
    with pytest.raises(OutputError, match=LETTERS):
        write_letters(result, result.folder)
