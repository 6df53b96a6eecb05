"""What the table formats can't hold as it is, what is done about it, and the findings that say so.

A text that could be run as a formula gets an apostrophe in CSV (in XLSX it is a text anyway). A text too
long for an XLSX cell is cut there. A zero byte, where most programs would end the text, is shown as ␀, and
an infinite figure as an empty cell, in every written table. A table too long for XLSX has no workbook. The
GeoParquet tables keep all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from harvest.fields import FINDINGS, Table
from harvest.findings import FIRST_OFFENDERS, Finding, Severity
from harvest.show.present import tables_of

if TYPE_CHECKING:
    import pandas as pd

    from harvest.result import Result

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""A text that starts with one of these can be run as a formula when a spreadsheet opens a CSV; the last
four are the full-width forms, which some spreadsheets read alike."""

CELL_LIMIT = 32_767
"""Longest text in a spreadsheet cell [UTF-16 units]."""

CUT_MARK = " … (cut)"
NULL_SIGN = "␀"
LONGEST_QUOTE = 60
"""Characters of an id that a finding quotes."""


def starts_as_formula(texts: pd.Series) -> pd.Series:
    """Whether each of ``texts`` [rows] could be run as a formula; False for a missing one."""
    return texts.str.startswith(FORMULA_STARTS).fillna(False).astype(bool)


def neutral(texts: pd.Series) -> pd.Series:
    """``texts`` [rows] with an apostrophe before each that could be run as a formula."""
    return texts.mask(starts_as_formula(texts), "'" + texts)


def too_long(texts: pd.Series) -> pd.Series:
    """Whether each of ``texts`` [rows] is longer than a spreadsheet cell holds; False for a missing one."""
    suspect = texts[(texts.str.len() > CELL_LIMIT // 2).fillna(False).astype(bool)]
    return texts.index.to_series().isin([row for row, text in suspect.items() if _units(text) > CELL_LIMIT])


def cut(text: str) -> str:
    """``text``, cut and marked when it is longer than a spreadsheet cell holds."""
    if len(text) <= CELL_LIMIT // 2 or _units(text) <= CELL_LIMIT:
        return text
    kept = 2 * (CELL_LIMIT - len(CUT_MARK))
    return text.encode("utf-16-le")[:kept].decode("utf-16-le", errors="ignore") + CUT_MARK


def holds_zero_byte(texts: pd.Series) -> pd.Series:
    """Whether each of ``texts`` [rows] holds a zero byte; False for a missing one."""
    return texts.str.contains("\x00", regex=False).fillna(False).astype(bool)


def infinite(figures: pd.Series) -> pd.Series:
    """Whether each of ``figures`` [rows] is infinite; False for a missing one."""
    return figures.isin([float("inf"), float("-inf")])


def _units(text: str) -> int:
    return len(text.encode("utf-16-le")) // 2


@dataclass(frozen=True)
class Limit:
    """One thing that a column of ``dtype`` may hold and ``formats`` can't; ``offends`` marks its rows."""

    check: str
    formats: tuple[str, ...]
    dtype: str
    offends: Callable[[pd.Series], pd.Series]
    severity: Severity
    message: str
    remedy: str


ALL_FORMATS = ("csv", "xlsx", "gpkg")
LIMITS = (
    Limit(
        "formula text",
        ("csv",),
        "string",
        starts_as_formula,
        "note",
        "Texts that a spreadsheet would run as a formula (they start with = + - @ or a tab) have an "
        "apostrophe before them in the CSV table.",
        "Drop one leading apostrophe where a program joins on such a text, or read another format.",
    ),
    Limit(
        "long text",
        ("xlsx",),
        "string",
        too_long,
        "note",
        f"Texts longer than a spreadsheet cell holds ({CELL_LIMIT:,} characters) are cut in the workbook.",
        "Read them in another format, and look whether so long a text belongs in this column.",
    ),
    Limit(
        "zero byte",
        ALL_FORMATS,
        "string",
        holds_zero_byte,
        "note",
        f"Texts that hold a zero byte show {NULL_SIGN} in its place, since most programs would end them there.",
        "Clean the texts in the input layer.",
    ),
    Limit(
        "infinite figure",
        ALL_FORMATS,
        "float",
        infinite,
        "serious",
        "Infinite figures are no figures; their cells are empty in the written tables.",
        "Look at the rows named first, and report it: the program should not have made them.",
    ),
)
TOO_MANY_ROWS = "no workbook"


def limits_met(result: Result, formats: Sequence[str], xlsx_most_rows: int) -> list[Finding]:
    """Findings on what ``formats`` can't hold of the tables of ``result``, but for its findings: their
    own texts say for themselves where they are cut.

    There is a ``no workbook`` finding for each table of more than ``xlsx_most_rows`` rows when XLSX was
    asked for; the findings on cells of the workbook are then left out with it.
    """
    tables = [table for name, table in tables_of(result).items() if name != FINDINGS.name]
    counted = {table: _counted(result, table) for table in tables}
    workbook = "xlsx" in formats
    too_many = {table: rows for table, (rows, _) in counted.items() if workbook and rows > xlsx_most_rows}
    written = set(formats) - ({"xlsx"} if too_many else set())
    found = [_no_workbook(table, rows, xlsx_most_rows) for table, rows in too_many.items()]
    for table, (_, counts) in counted.items():
        found += [
            Finding(
                limit.check,
                table.name,
                limit.severity,
                count.cells,
                limit.message,
                limit.remedy,
                tuple(count.first),
            )
            for limit, count in counts.items()
            if count.cells and written.intersection(limit.formats)
        ]
    return found


@dataclass
class _Count:
    cells: int = 0
    first: list[str] = field(default_factory=list)


def _counted(result: Result, table: Table) -> tuple[int, dict[Limit, _Count]]:
    """Rows of ``table``, and for each limit how many cells meet it and whose rows they are."""
    fields = [one for one in table.fields if one.dtype in ("string", "float")]
    rows, counts = 0, {limit: _Count() for limit in LIMITS}
    for frame in result.batches(table.name, list(dict.fromkeys([*table.key, *(one.name for one in fields)]))):
        for limit in LIMITS:
            marked = [limit.offends(frame[one.name]) for one in fields if one.dtype == limit.dtype]
            cells = sum(int(one.sum()) for one in marked)
            if cells:
                count = counts[limit]
                count.cells += cells
                offenders = frame[np.logical_or.reduce(marked)].head(FIRST_OFFENDERS - len(count.first))
                count.first += _names(offenders, table, rows)
        rows += len(frame)
    return rows, counts


def _names(offenders: pd.DataFrame, table: Table, before: int) -> list[str]:
    """What ``offenders`` are called: by their key, else by their place in the table after ``before`` rows."""
    import pandas as pd

    if not table.key:
        return [f"row {before + int(place) + 1}" for place in offenders.index]
    keys = offenders[list(table.key)].itertuples(index=False)
    return [" ".join(_quoted(part) for part in key if not pd.isna(part)) for key in keys]


def _quoted(part: object) -> str:
    return str(part)[:LONGEST_QUOTE].replace("\x00", NULL_SIGN)


def _no_workbook(table: Table, rows: int, most: int) -> Finding:
    return Finding(
        TOO_MANY_ROWS,
        table.name,
        "note",
        rows,
        f"No XLSX workbook was written: {table.title} has {rows:,} rows, more than the {most:,} set as the "
        "most for a workbook.",
        "Use the CSV or GeoPackage tables, or raise xlsx_most_rows under [outputs].",
    )
