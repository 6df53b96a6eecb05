"""The workbook: every table of the result, what each column means, and the settings in force.

Rows are streamed out (constant memory); only the packed file is held, to be written in one go. A text is
always a text: nothing becomes a formula, a link or a number, and text cells have the text format, so that
they stay texts when somebody edits them.
"""

from __future__ import annotations

import datetime
import io
import itertools
import json
import tempfile
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from harvest.fields import CHANGES, CONTEXT, FINDINGS, UNMATCHED, Field, Table
from harvest.show.limits import cut
from harvest.show.present import tables_of
from harvest.show.rows import Rows, heading, plain_fields
from harvest.show.words.tables import TABLE_WORDS

if TYPE_CHECKING:
    import pandas as pd
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

FIXED_DATE = datetime.datetime(2000, 1, 1)
"""The creation date inside the file; it means nothing, and the same result makes the same bytes."""

FORMAT_BY_UNIT = {
    "m²": "#,##0",
    "L/yr": "#,##0",
    "L": "#,##0",
    "mm/yr": "0",
    "mm": "0",
    "m": "#,##0.0",
    "min": "#,##0.0",
    "year": "0",
}
READ_THROUGH = (FINDINGS.name, CONTEXT.name, UNMATCHED.name, CHANGES.name)
"""Tables of sentences: their texts are wrapped. In any other, rows stay one line high."""

SHARE = "#,##0.00"
COUNT = "#,##0"
MEANINGS = ("sheet", "heading", "name", "kind", "unit", "meaning", "adds")
SETTINGS = ("setting", "value", "unit", "from", "source")
"""Columns of the last two sheets."""

NARROWEST, WIDEST_ROW, WIDEST_PROSE = 9, 40, 70
ROWS_LOOKED_AT = 1000
LINE_HEIGHT = 15

Cell = str | int | float | bool | None
Cells = tuple[Cell, ...]


def write_workbook(rows: Rows, path: Path) -> None:
    """Write the workbook of ``rows`` to ``path``. Raises OSError or XlsxFileError when it can't be written."""
    import xlsxwriter

    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    packed = io.BytesIO()
    with (
        tempfile.TemporaryDirectory(prefix=".", dir=path.parent, ignore_cleanup_errors=True) as pieces,
        xlsxwriter.Workbook(packed, {**options, "tmpdir": pieces}) as workbook,
    ):
        workbook.set_properties({"created": FIXED_DATE})
        look = _Look(workbook)
        tables = tables_of(rows.result).values()
        for table in tables:
            _write_table(workbook, look, rows, table)
        for name, columns, lines in (
            ("meanings", MEANINGS, _dictionary(tables)),
            ("settings", SETTINGS, _settings(rows.result.run)),
        ):
            headings = [TABLE_WORDS[f"{name}_{one}"] for one in columns]
            _write_sheet(workbook, look, TABLE_WORDS[name], headings, [lines])
    path.write_bytes(packed.getvalue())


class _Look:
    """The cell formats of a workbook, made once each."""

    def __init__(self, workbook: Workbook) -> None:
        self._workbook = workbook
        self._numbers: dict[str, Format] = {}
        self.heading = workbook.add_format(
            {"bold": True, "text_wrap": True, "valign": "top", "bg_color": "#E8ECEF", "bottom": 1}
        )
        self.text = workbook.add_format({"num_format": "@"})
        self.prose = workbook.add_format({"num_format": "@", "text_wrap": True, "valign": "top"})
        self.value = workbook.add_format({"valign": "top", "align": "left"})

    def number(self, field: Field) -> Format:
        """The format of ``field`` by its unit; it changes what is shown, never the figure in the cell."""
        shown = FORMAT_BY_UNIT.get(field.unit or "", SHARE if field.dtype == "float" else COUNT)
        if shown not in self._numbers:
            self._numbers[shown] = self._workbook.add_format({"num_format": shown, "valign": "top"})
        return self._numbers[shown]


def _write_table(workbook: Workbook, look: _Look, rows: Rows, table: Table) -> None:
    fields = plain_fields(table)
    pieces = (_as_cells(frame, fields) for frame in rows.pieces(table))
    headings, figures = [heading(one) for one in fields], [look.number(one) for one in fields]
    wrapped = table.name in READ_THROUGH
    _write_sheet(workbook, look, table.title, headings, pieces, figures, wrapped, len(table.key))


def _as_cells(frame: pd.DataFrame, fields: Sequence[Field]) -> list[Cells]:
    """``frame`` as rows of plain Python values, None where one is missing."""
    columns = [frame[one.name].to_numpy(dtype=object, na_value=None).tolist() for one in fields]
    return list(zip(*columns, strict=True))


def _dictionary(tables: Iterable[Table]) -> list[Cells]:
    return [
        (
            table.title,
            heading(one),
            one.name,
            TABLE_WORDS[f"kind_{one.dtype}"],
            None if one.unit == "1" else one.unit,
            one.meaning,
            TABLE_WORDS[f"adds_{one.adds}"] if one.dtype in ("float", "integer") else None,
        )
        for table in tables
        for one in plain_fields(table)
    ]


def _settings(run: dict[str, Any]) -> list[Cells]:
    return [
        (
            one["setting"],
            _as_cell(one["value"]),
            None if one["unit"] == "1" else one["unit"],
            one["from"],
            one["source"],
        )
        for one in run.get("settings", [])
    ]


def _as_cell(value: object) -> Cell:
    """``value`` as a cell: a text or number as it is, anything else much as a project file has it."""
    if value is None or (isinstance(value, str | int | float) and not isinstance(value, bool)):
        return value
    return json.dumps(value, ensure_ascii=False)


def _write_sheet(
    workbook: Workbook,
    look: _Look,
    name: str,
    headings: Sequence[str],
    pieces: Iterable[list[Cells]],
    figures: Sequence[Format] | None = None,
    wrapped: bool = True,
    in_sight: int = 0,
) -> None:
    """Write one sheet: headings that stay in sight, a filter, and ``pieces`` of rows.

    ``figures`` are the formats of the columns' numbers. Texts are ``wrapped``, or rows stay one line high. The first
    ``in_sight`` columns stay in sight too.
    """
    from xlsxwriter.utility import xl_range

    sheet = workbook.add_worksheet(name)
    rest = iter(pieces)
    first = next(rest, [])
    _write_headings(sheet, look, headings, _widths(headings, first, WIDEST_PROSE if wrapped else WIDEST_ROW))
    text, numbers = look.prose if wrapped else look.text, figures or [look.value] * len(headings)
    row = 0
    for piece in itertools.chain([first], rest):
        for cells in piece:
            row += 1
            for column, cell in enumerate(cells):
                _write_cell(sheet, row, column, cell, text, numbers[column])
    sheet.freeze_panes(1, in_sight)
    sheet.autofilter(0, 0, row, len(headings) - 1)
    sheet.ignore_errors({"number_stored_as_text": xl_range(0, 0, row, len(headings) - 1)})
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)


def _write_headings(sheet: Worksheet, look: _Look, headings: Sequence[str], widths: Sequence[int]) -> None:
    lines = max(len(textwrap.wrap(head, width - 2)) for head, width in zip(headings, widths, strict=True))
    sheet.set_row(0, LINE_HEIGHT * lines)
    for column, (head, width) in enumerate(zip(headings, widths, strict=True)):
        sheet.set_column(column, column, width)
        sheet.write_string(0, column, head, look.heading)


def _widths(headings: Sequence[str], rows: Sequence[Cells], widest: int) -> list[int]:
    """Column widths [characters] that show the first rows whole, within bounds, and headings wrapped."""
    widths = []
    for column, head in enumerate(headings):
        seen = max((_length(cells[column], widest) for cells in rows[:ROWS_LOOKED_AT]), default=0)
        word = max(len(word) for word in head.split())
        widths.append(min(max(seen, word, NARROWEST) + 2, widest))
    return widths


def _length(cell: Cell, widest: int) -> int:
    """How many characters the longest line of ``cell`` takes, as far as it matters."""
    if isinstance(cell, str):
        return max((len(line) for line in cell[: 4 * widest].splitlines()), default=0)
    return 0 if cell is None else len(f"{cell:,.2f}")


def _write_cell(sheet: Worksheet, row: int, column: int, cell: Cell, text: Format, number: Format) -> None:
    match cell:
        case None:
            return
        case bool():
            sheet.write_boolean(row, column, cell, number)
        case int() | float():
            sheet.write_number(row, column, cell, number)
        case str() if cell.startswith("<r>") and cell.endswith("</r>"):
            # XlsxWriter takes such a text for finished markup; in two runs it is written as a text.
            sheet.write_rich_string(row, column, cell[0], text, cut(cell)[1:], text)
        case str():
            sheet.write_string(row, column, cut(cell), text)
