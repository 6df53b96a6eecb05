"""CSV tables, the findings that writing adds, and what happens when a file can't be written."""

from __future__ import annotations

import csv
import errno
import math
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from table_extras import OPTIONAL
from table_results import EMOJI_LONG, HOSTILE, LONG, parcels_frame, written_result

from harvest.errors import OutputError
from harvest.fields import TABLES
from harvest.findings import Finding
from harvest.result import Result
from harvest.show.datapackage import write_datapackage
from harvest.show.limits import CELL_LIMIT, FORMULA_STARTS, cut, limits_met, too_long
from harvest.show.present import tables_of
from harvest.show.rows import Rows, heading, plain_fields
from harvest.show.tables import write_tables

ALL = ("csv", "xlsx", "gpkg")


def rows_of(path: Path) -> list[dict[str, str]]:
    """A CSV read by Python's own reader, in its strict mode."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def cells_of(path: Path) -> list[list[tuple[Any, ...]]]:
    """Everything in a workbook, sheet by sheet."""
    return [list(sheet.iter_rows(values_only=True)) for sheet in openpyxl.load_workbook(path)]


def records_of(path: Path) -> list[list[tuple[Any, ...]]]:
    """Everything in the tables of a GeoPackage."""
    with closing(sqlite3.connect(path)) as file:
        names = [name for (name,) in file.execute("select table_name from gpkg_contents")]
        return [file.execute(f'select * from "{name}"').fetchall() for name in names]


def as_read(text: str | None) -> str:
    """What a cell of the CSV says for ``text``, told in the test's own words."""
    if text is None:
        return ""
    shown = text.replace("\x00", "␀")
    return "'" + shown if shown[:1] in set(FORMULA_STARTS) and shown else shown


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Result:
    result = written_result(tmp_path_factory.mktemp("tables") / "result")
    write_tables(result, result.folder, ("csv",), 1000)
    return result


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """A result with every table that there is."""
    result = written_result(tmp_path_factory.mktemp("tables") / "whole", extras=True)
    write_tables(result, result.folder, ("csv",), 1000)
    return result


def test_an_optional_table_is_written_where_there_is_one(written: Result, whole: Result) -> None:
    names = {f"{table.name}.csv" for table in OPTIONAL}
    assert names <= {one.name for one in whole.folder.iterdir()}
    assert not names & {one.name for one in written.folder.iterdir()}
    assert set(tables_of(whole)) == set(TABLES) and set(tables_of(written)) == {
        "parcels",
        "roofs",
        "findings",
    }


def test_optional_columns_are_written_where_one_is_known(written: Result, whole: Result) -> None:
    without, with_them = (set(rows_of(one.folder / "parcels.csv")[0]) for one in (written, whole))
    assert with_them - without == {"street", "side_id", "round"}
    assert without == {one.name for one in plain_fields(TABLES["parcels"]) if not one.optional}


@pytest.mark.parametrize("name", [name for name in TABLES if name != "findings"])
def test_every_figure_reads_back_as_the_same_number(whole: Result, name: str) -> None:
    stored, table = whole.table(name), tables_of(whole)[name]
    read = rows_of(whole.folder / f"{name}.csv")
    assert list(read[0]) == [one.name for one in plain_fields(table)]
    assert "geometry" not in read[0] and len(read) == len(stored)
    for one in plain_fields(table):
        for cell, value in zip((row[one.name] for row in read), stored[one.name], strict=True):
            if pd.isna(value):
                assert cell == ""
            elif one.dtype == "string":
                assert cell == as_read(value)
            elif one.dtype == "boolean":
                assert cell == str(bool(value))
            else:
                assert float(cell) == value


def test_a_spreadsheet_runs_no_text(written: Result) -> None:
    addresses = [row["address"] for row in rows_of(written.folder / "parcels.csv")]
    assert '\'=HYPERLINK("x")' in addresses and "'\rreturn first" in addresses
    assert not [one for one in addresses if one.startswith(FORMULA_STARTS)]


def test_csv_follows_rfc_4180_with_a_byte_order_mark(written: Result) -> None:
    # RFC 4180, section 2: CR LF ends a record; a field with a comma, quote or line break stands in quotes,
    # quotes in it doubled. EF BB BF is U+FEFF in UTF-8 (RFC 3629, section 6).
    raw = (written.folder / "parcels.csv").read_bytes()
    assert raw.startswith(b"\xef\xbb\xbfparcel_id,address,")
    assert raw.endswith(b"\r\n")
    assert b'"two\r\nlines, and a ""quote"""' in raw
    outside = raw.replace(b"two\r\nlines", b"").replace(b"'\rreturn", b"")
    assert outside.count(b"\n") == outside.count(b"\r\n") == outside.count(b"\r") == len(HOSTILE) + 2


def test_every_text_that_a_format_cannot_hold_is_a_finding(tmp_path: Path) -> None:
    result = written_result(tmp_path / "result")
    found = write_tables(result, result.folder, ALL, 1000)
    assert {(one.check, one.layer): (one.count, one.first) for one in found} == {
        ("formula text", "parcels"): (7, ("000", "001", "002", "003", "004")),
        ("long text", "parcels"): (2, ("020", "021")),
        ("zero byte", "parcels"): (1, ("011",)),
    }
    read = rows_of(result.folder / "findings.csv")
    assert [row["check"] for row in read] == ["steady offset"] * 2 + [one.check for one in found]
    assert read[0]["first"] == "'=1+1" and read[1]["first"] == "" and read[2]["count"] == "7"


def test_texts_of_every_table_are_looked_at(tmp_path: Path) -> None:
    result = written_result(tmp_path / "result", extras=True)
    told = {(one.check, one.layer): one for one in write_tables(result, result.folder, ALL, 1000)}
    formula = {layer for check, layer in told if check == "formula text"}
    assert formula == {"parcels", *(table.name for table in OPTIONAL)} - {"visits"}
    assert {layer for check, layer in told if check in ("long text", "zero byte")} == {
        *("parcels", "stops", "unmatched"),
    }
    # A row is named by its key, and by its place where there is none.
    assert told["formula text", "stops"].first[:2] == ("1 1", "1 2")
    assert told["formula text", "unmatched"].first[0] == "visits 2"
    assert told["formula text", "context"].first == ("row 1",)
    assert told["formula text", "sides"].first == ("s0L",)


def test_only_the_formats_asked_for_are_written_and_accused(tmp_path: Path) -> None:
    result = written_result(tmp_path / "result")
    before = {one.name for one in result.folder.iterdir()}
    assert write_tables(result, result.folder, (), 1000) == []
    assert {one.name for one in result.folder.iterdir()} - before == {"findings.csv"}
    checks = [one.check for one in write_tables(result, result.folder, ("gpkg",), 1000)]
    assert checks == ["zero byte"]
    assert {one.name for one in result.folder.iterdir()} - before == {"findings.csv", "harvest.gpkg"}


def test_writing_again_says_nothing_twice(tmp_path: Path) -> None:
    result = written_result(tmp_path / "result")
    found = write_tables(result, result.folder, ALL, 1000)
    first = rows_of(result.folder / "findings.csv")
    stored = pd.concat([*Rows(result, tuple(found)).pieces(TABLES["findings"])])
    stored.to_parquet(result.folder / "findings.parquet", index=False)
    write_tables(result, result.folder, ALL, 1000)
    assert rows_of(result.folder / "findings.csv") == first
    write_tables(result, result.folder, (), 1000)
    assert rows_of(result.folder / "findings.csv") == first


def test_no_findings_are_a_heading(tmp_path: Path) -> None:
    result = written_result(tmp_path / "result", parcels_frame(("1 Quay",)), findings=0)
    assert write_tables(result, result.folder, ALL, 1000) == []
    text = (result.folder / "findings.csv").read_text(encoding="utf-8-sig")
    assert text == "check,layer,severity,count,message,remedy,first\n"


def test_an_infinite_figure_is_an_empty_cell_and_serious(tmp_path: Path) -> None:
    parcels = parcels_frame(("1 Quay", "2 Quay"))
    parcels.loc[1, ["runoff_l_yr", "storm_l"]] = float("inf")
    result = written_result(tmp_path / "result", parcels)
    (found,) = write_tables(result, result.folder, ALL, 1000)
    assert (found.check, found.severity, found.count, found.first) == (
        "infinite figure",
        "serious",
        2,
        ("001",),
    )
    row = rows_of(result.folder / "parcels.csv")[1]
    assert row["runoff_l_yr"] == row["storm_l"] == "" and row["capturable_l_yr"] != ""


def test_a_table_in_pieces_is_the_same_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    result = written_result(tmp_path / "result", extras=True)
    found = write_tables(result, result.folder, ALL, 1000)
    whole = {one.name: one.read_bytes() for one in result.folder.iterdir()}
    whole_batches = Result.batches

    def small(self: Result, name: str, columns: list[str]) -> Iterator[pd.DataFrame]:
        return whole_batches(self, name, columns, 4)

    monkeypatch.setattr(Result, "batches", small)
    assert len(list(result.batches("parcels", ["address"]))) == 6
    assert write_tables(result, result.folder, ALL, 1000) == found
    for name in (f"{name}.csv" for name in TABLES):
        assert (result.folder / name).read_bytes() == whole[name]
    for name, read in (("parcels.xlsx", cells_of), ("harvest.gpkg", records_of)):
        (tmp_path / name).write_bytes(whole[name])
        assert read(result.folder / name) == read(tmp_path / name)


@pytest.mark.parametrize("extras", [False, True])
def test_the_same_result_makes_the_same_bytes(tmp_path: Path, extras: bool) -> None:
    made: list[dict[str, bytes]] = []
    for name in ("one", "two"):
        result = written_result(tmp_path / name, extras=extras)
        write_tables(result, result.folder, ALL, 1000)
        write_datapackage(result, result.folder)
        made.append({one.name: one.read_bytes() for one in result.folder.iterdir()})
    assert set(made[0]) == {
        *(f"{table.name}.{kind}" for table in OPTIONAL * extras for kind in ("csv", "parquet")),
        "datapackage.json",
        "findings.csv",
        "findings.parquet",
        "harvest.gpkg",
        "parcels.csv",
        "parcels.parquet",
        "parcels.xlsx",
        "roofs.csv",
        "roofs.parquet",
        "run.json",
    }
    assert made[0] == made[1]


@pytest.mark.parametrize("name", ["parcels.csv", "findings.csv", "parcels.xlsx", "harvest.gpkg"])
def test_a_file_that_cannot_be_written_is_named(tmp_path: Path, name: str) -> None:
    result = written_result(tmp_path / "result")
    (result.folder / name).mkdir()
    with pytest.raises(OutputError, match=name) as told:
        write_tables(result, result.folder, ALL, 1000)
    assert told.value.exit_code == 2 and "run again" in str(told.value)


def test_a_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    result = written_result(tmp_path / "result")

    def full(*_: Any, **__: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(pd.DataFrame, "to_csv", full)
    with pytest.raises(OutputError, match=r"parcels\.csv can't be written \(No space left on device\)"):
        write_tables(result, result.folder, ("csv",), 1000)


def test_a_cut_text_fits_the_cell_and_says_so() -> None:
    assert cut("x" * CELL_LIMIT) == "x" * CELL_LIMIT
    for text in (LONG, EMOJI_LONG, "y" + EMOJI_LONG, "x" * (CELL_LIMIT + 1)):
        short = cut(text)
        assert short.endswith(" … (cut)") and text.startswith(short.removesuffix(" … (cut)"))
        assert CELL_LIMIT - 1 <= len(short.encode("utf-16-le")) / 2 <= CELL_LIMIT


def test_length_counts_as_a_spreadsheet_counts() -> None:
    # A character above U+FFFF takes two units of UTF-16 (RFC 2781, section 2.1).
    texts = pd.Series(
        ["x" * CELL_LIMIT, "x" * (CELL_LIMIT + 1), None, "🏠" * 16_383, "🏠" * 16_384], dtype="string"
    )
    assert too_long(texts).tolist() == [False, True, False, False, True]


def test_no_two_columns_of_a_table_read_alike() -> None:
    for table in TABLES.values():
        headings = [heading(one) for one in plain_fields(table)]
        assert len(set(headings)) == len(headings)


def test_at_most_five_offenders_are_named_over_all_pieces(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = written_result(tmp_path / "result", parcels_frame(("=1",) * 20))
    whole_batches = Result.batches

    def small(self: Result, name: str, columns: list[str]) -> Iterator[pd.DataFrame]:
        return whole_batches(self, name, columns, 3)

    monkeypatch.setattr(Result, "batches", small)
    (found,) = limits_met(result, ("csv",), 1000)
    assert isinstance(found, Finding)
    assert (found.count, found.first) == (20, ("000", "001", "002", "003", "004"))


def test_a_named_offender_can_be_written_anywhere(tmp_path: Path) -> None:
    parcels = parcels_frame(("=1",))
    parcels["parcel_id"] = pd.array(["=a\x00b" + LONG], dtype="str")
    result = written_result(tmp_path / "result", parcels)
    found = write_tables(result, result.folder, ALL, 1000)
    assert {one.first for one in found} == {("=a␀b" + LONG[:56],)}
    assert rows_of(result.folder / "findings.csv")[-1]["first"].startswith("'=a␀b")


def test_missing_figures_stay_missing(written: Result) -> None:
    dry = rows_of(written.folder / "parcels.csv")[3]
    assert dry["rain_mm_yr"] == dry["capturable_l_yr"] == dry["rank"] == "" and dry["rain_cover"] == "0.0"
    assert math.isclose(float(dry["catchment_area_m2"]), 110.3)
