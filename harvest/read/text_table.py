"""A table kept as text: comma, semicolon, tab or white space between cells, rows known by their line.

Unlike :func:`harvest.read.points.read_table` it takes columns set apart by spaces, files without names in
their first row, and keeps the line numbers, which is what one needs to correct a long record by hand.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable

import pandas as pd

from harvest.findings import counted
from harvest.project.outputs import Limits
from harvest.read.columns import MISSING_WORDS
from harvest.read.files import InputFile
from harvest.read.points import ENCODINGS, SEPARATORS

TEXT_FACTOR = 30
"""Memory that a table of texts needs, over its size on disk."""

_DATUM = re.compile(r"[-+]?[\d.,/:T -]*\d[\d.,/:TZ -]*|")

Names = Callable[[list[str]], list[str] | None]


def no_names(first: list[str]) -> None:
    """Names for a file whose ``first`` row holds none: there are none."""


def read_text_table(file: InputFile, limits: Limits, bare: Names = no_names) -> tuple[pd.DataFrame, bool]:
    """The rows of ``file`` as stripped texts, "" where nothing stands, indexed by line; and whether a comma
    can be a decimal point in them.

    ``bare`` gives the columns' names for a first row that is data already, or None. Empty lines and remarks
    (#) are skipped. Raises the file's refusal.
    """
    if TEXT_FACTOR * file.path.stat().st_size > limits.memory_gb * 1e9:
        raise file.refused(
            f"is too large for [limits] memory_gb = {limits.memory_gb:g}; cut it to the gauge and years that are "
            "needed, or raise the limit."
        )
    text = _text(file)
    first = next((line for line in text.split("\n") if line.strip() and not line.startswith("#")), "")
    separator = max(SEPARATORS, key=first.count)
    if separator not in first:
        separator = ""
    lines, rows = _rows(file, text, separator)
    if not rows:
        raise file.refused("holds no rows; give a table that does.")
    names = bare(rows[0])
    if names is None:
        names, lines, rows = _named(file, rows[0]), lines[1:], rows[1:]
    if not rows:
        raise file.refused("holds names of columns but no rows; give a table that has some.")
    width = len(names)
    for line, row in zip(lines, rows, strict=True):
        if any(row[width:]) or (not separator and len(row) != width):
            raise file.refused(
                f"has {counted(len(row), 'cell')} in line {line} where its first row has {width} names; correct "
                f"that line{'' if separator else ', or set the cells apart by commas'}."
            )
    cells = [row[:width] + [""] * (width - len(row)) for row in rows]
    return pd.DataFrame(cells, columns=names, index=lines, dtype="str"), separator != ","


def _text(file: InputFile) -> str:
    for encoding in ENCODINGS:
        try:
            return file.path.read_text(encoding=encoding)
        except UnicodeDecodeError:
            continue
        except OSError as error:
            raise file.refused(f"can't be read: {error.strerror}.") from None
    raise file.refused("can't be read as text; save it as UTF-8.")


def _rows(file: InputFile, text: str, separator: str) -> tuple[list[int], list[list[str]]]:
    """Line numbers and cells of every row that holds something."""
    lines: list[int] = []
    rows: list[list[str]] = []
    reader = csv.reader(io.StringIO(text), delimiter=separator, skipinitialspace=True) if separator else None
    try:
        found = reader if reader is not None else (line.split() for line in text.split("\n"))
        for number, cells in enumerate(found, 1):
            row = [cell.strip() for cell in cells]
            if any(row) and not row[0].startswith("#"):
                lines.append(reader.line_num if reader is not None else number)
                rows.append(row)
    except csv.Error as error:
        raise file.refused(f"can't be read as CSV: {error}.") from None
    return lines, rows


def _named(file: InputFile, first: list[str]) -> list[str]:
    """The names in the first row, those that are empty by their number."""
    while first and not first[-1]:
        first = first[:-1]
    if all(_DATUM.fullmatch(cell) for cell in first):
        raise file.refused(
            f"has no names of columns in its first row ({', '.join(first[:4])}); put one on top, such as "
            "date,rain_mm."
        )
    names = [name or f"column {number}" for number, name in enumerate(first, 1)]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise file.refused(f"has two columns called {twice[0]!r}; rename one of them.")
    return names


def filled(texts: pd.Series) -> pd.Series:
    """Where a cell holds something [n], the usual words for nothing not counting."""
    return ~texts.str.lower().isin((*MISSING_WORDS, "m", "na", "n/a", "-", "--", "missing"))


def numbers(texts: pd.Series, decimal_comma: bool) -> pd.Series:
    """Numbers [n] in ``texts``, NaN where there is none."""
    plain = texts.str.replace(",", ".", regex=False) if decimal_comma else texts
    found = pd.to_numeric(plain, errors="coerce").astype("float64")
    return found.where(found.abs() < float("inf"))


def offenders(texts: pd.Series, where: pd.Series) -> list[str]:
    """The cells of ``texts`` marked in ``where``, the way findings name them."""
    return [f"line {line}: {text}" for line, text in texts[where].items()]
