"""The workbook, read back with openpyxl: texts stay texts, figures keep their digits, and it explains itself."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from openpyxl.utils import get_column_letter
from openpyxl.utils.escape import unescape
from table_results import HOSTILE, SETTINGS, parcels_frame, written_result

from harvest.fields import TABLES
from harvest.result import Result
from harvest.show.limits import CUT_MARK
from harvest.show.present import tables_of
from harvest.show.rows import heading, plain_fields
from harvest.show.tables import write_tables

INJECTION = '<r><t>x</t></r></is></c><c r="Z99"><f>1+1</f></c><c r="Y99" t="inlineStr"><is><r><t>y</t></r>'
"""Would close its own cell and open one with a formula if it were taken for markup."""


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    made = written_result(
        tmp_path_factory.mktemp("book") / "result", parcels_frame((*HOSTILE, INJECTION)), extras=True
    )
    write_tables(made, made.folder, ("xlsx",), 1000)
    return made


@pytest.fixture(scope="module")
def book(result: Result) -> Any:
    return openpyxl.load_workbook(result.folder / "parcels.xlsx")


def test_a_sheet_for_each_table_in_the_order_of_the_register(book: Any) -> None:
    assert book.sheetnames == [
        *("Parcels", "Roofs", "Streets", "Street sides", "Rounds", "Stops", "Surroundings", "Visits"),
        *("Rows set aside", "Progress", "Annual report", "What changed", "Public cells", "Findings"),
        *("What each column means", "Settings"),
    ]


def test_five_sheets_and_nothing_left_behind(tmp_path: Path) -> None:
    result = written_result(tmp_path / "result")
    write_tables(result, result.folder, ("xlsx",), 1000)
    book = openpyxl.load_workbook(result.folder / "parcels.xlsx")
    assert book.sheetnames == ["Parcels", "Roofs", "Findings", "What each column means", "Settings"]
    assert {one.name for one in result.folder.iterdir()} == {
        "parcels.parquet",
        "roofs.parquet",
        "findings.parquet",
        "run.json",
        "findings.csv",
        "parcels.xlsx",
    }


@pytest.mark.parametrize("name", [name for name in TABLES if name != "findings"])
def test_every_value_reads_back(result: Result, book: Any, name: str) -> None:
    stored, table = result.table(name), tables_of(result)[name]
    rows = list(book[table.title].iter_rows(min_row=2))
    assert len(rows) == len(stored)
    for column, one in enumerate(plain_fields(table)):
        for row, value in zip(rows, stored[one.name], strict=True):
            cell = row[column]
            if pd.isna(value):
                assert cell.value is None
            elif one.dtype == "string":
                told = unescape(cell.value)
                shown = value.replace("\x00", "␀")
                assert cell.data_type == "s" and cell.number_format == "@" and cell.hyperlink is None
                assert told == shown or (
                    told.endswith(CUT_MARK) and shown.startswith(told.removesuffix(CUT_MARK))
                )
            elif one.dtype == "boolean":
                assert cell.data_type == "b" and cell.value is bool(value)
            else:
                # A spreadsheet keeps 15 significant digits.
                assert cell.data_type == "n" and math.isclose(cell.value, value, rel_tol=1e-15)


def test_two_texts_are_cut_and_no_other(book: Any) -> None:
    addresses = [row[1].value or "" for row in book["Parcels"].iter_rows(min_row=2)]
    assert [i for i, one in enumerate(addresses) if one.endswith(CUT_MARK)] == [20, 21]


def test_no_cell_is_a_formula(result: Result, book: Any) -> None:
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert kinds == {"s", "n", "b"}
    assert book["Parcels"].max_column == len(plain_fields(tables_of(result)["parcels"]))
    assert book["Parcels"].max_row == len(HOSTILE) + 2


def test_figures_are_shown_by_their_unit(book: Any) -> None:
    shown = {cell.value: book["Parcels"].cell(3, cell.column).number_format for cell in book["Parcels"][1]}
    assert {shown[one] for one in shown if one.endswith(("m²", "L/yr", ", L"))} == {"#,##0"}
    assert shown["Rain in a year, mm/yr"] == "0"
    assert shown["Share of roof with rain data"] == shown["Rank score"] == "#,##0.00"
    assert shown["Doors"] == shown["Rank"] == "#,##0"
    rounds = {cell.value: book["Rounds"].cell(2, cell.column).number_format for cell in book["Rounds"][1]}
    assert rounds["Time, min"] == rounds["Walk, m"] == "#,##0.0"
    assert rounds["Worth a minute, L/min"] == "#,##0.00"


def test_headings_stay_in_sight_and_fit(book: Any) -> None:
    keys = {table.title: len(table.key) for table in TABLES.values()}
    assert keys["Stops"] == 2 and keys["Findings"] == 0
    for sheet in book:
        assert sheet.freeze_panes == f"{'ABC'[keys.get(sheet.title, 0)]}2"
        assert sheet.auto_filter.ref == sheet.dimensions
        for cell in sheet[1]:
            width = next(
                one.width
                for one in sheet.column_dimensions.values()
                if one.min <= cell.column <= one.max and one.customWidth
            )
            assert max(map(len, cell.value.split())) < width < 72
            lines = (sheet.row_dimensions[1].height or 15) / 15
            assert len(cell.value) <= lines * width
            assert cell.font.bold and cell.alignment.wrap_text


def test_sentences_are_wrapped_and_rows_of_figures_stay_one_line_high(book: Any) -> None:
    told = {
        sheet.title: {cell.alignment.wrap_text for cell in sheet[2] if cell.data_type == "s"}
        for sheet in book
    }
    for title in ("Findings", "Rows set aside", "What changed", "Surroundings"):
        assert told[title] == {True}
    for title in ("Parcels", "Stops", "Street sides", "Visits"):
        assert True not in told[title]


def test_figures_fit_their_columns(tmp_path: Path) -> None:
    parcels = parcels_frame(("1 Quay",))
    parcels["runoff_l_yr"] = 123_456_789_012.0
    made = written_result(tmp_path / "result", parcels)
    write_tables(made, made.folder, ("xlsx",), 1000)
    sheet = openpyxl.load_workbook(made.folder / "parcels.xlsx")["Parcels"]
    column = next(cell.column for cell in sheet[1] if cell.value == "Sheds in a year, L/yr")
    assert sheet.column_dimensions[get_column_letter(column)].width > len("123,456,789,012")


def test_each_column_is_explained(result: Result, book: Any) -> None:
    tables = tables_of(result)
    rows = [tuple(cell.value for cell in row) for row in book["What each column means"].iter_rows(min_row=2)]
    assert [row[:3] for row in rows] == [
        (table.title, heading(one), one.name) for table in tables.values() for one in plain_fields(table)
    ]
    told = {(row[0], row[2]): row for row in rows}
    assert told["Parcels", "runoff_l_yr"][3:] == (
        "number",
        "L/yr",
        TABLES["parcels"].field("runoff_l_yr").meaning,
        "Add up.",
    )
    assert told["Roofs", "rain_mm_yr"][6] == "Take the mean, weighted by roof area."
    assert told["Roofs", "roof_area_m2"][6] == "Do not add up."
    assert told["Parcels", "rank"][4] is None and told["Parcels", "address"][6] is None
    for table in tables.values():
        assert [cell.value for cell in book[table.title][1]] == [heading(one) for one in plain_fields(table)]


def test_settings_say_where_they_come_from(book: Any) -> None:
    rows = [tuple(cell.value for cell in row) for row in book["Settings"].iter_rows(min_row=2)]
    assert rows == [
        ("town.name", "=cmd", None, "project file", "given by the user"),
        ("losses.coefficient", 0.8, None, "default", "a handbook"),
        ("storm.depth_mm", 25.4, "mm", "default", "common practice"),
        ("parcels.address", '["NO", "STREET"]', None, "project file", None),
        ("rainfall.unit", None, None, "default", None),
        ("some.switch", "true", None, "default", None),
    ]
    assert len(rows) == len(SETTINGS)


def test_the_date_inside_is_fixed(book: Any) -> None:
    assert book.properties.created.isoformat() == "2000-01-01T00:00:00"


def test_too_many_rows_leave_the_workbook_out(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(tuple("abcde")))
    assert write_tables(made, made.folder, ("xlsx",), 5) == []
    (made.folder / "parcels.xlsx").unlink()
    found = write_tables(made, made.folder, ("xlsx",), 4)
    assert not (made.folder / "parcels.xlsx").exists()
    assert [(one.check, one.layer, one.severity, one.count) for one in found] == [
        ("no workbook", "parcels", "note", 5),
        ("no workbook", "roofs", "note", 5),
    ]
    assert "5 rows, more than the 4" in found[0].message
    assert "no workbook" in (made.folder / "findings.csv").read_text(encoding="utf-8-sig")


def test_a_workbook_that_is_left_out_cuts_no_text(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(("x" * 40_000, "1 Quay")))
    assert [one.check for one in write_tables(made, made.folder, ("xlsx",), 2)] == ["long text"]
    assert {one.check for one in write_tables(made, made.folder, ("xlsx",), 1)} == {"no workbook"}


def test_without_findings_the_sheet_is_a_heading(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(("1 Quay",)), findings=0)
    write_tables(made, made.folder, ("xlsx",), 5)
    sheet = openpyxl.load_workbook(made.folder / "parcels.xlsx")["Findings"]
    assert sheet.max_row == 1 and sheet["A1"].value == "Check"
