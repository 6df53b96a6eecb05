"""A table that people keep in a spreadsheet and save as CSV: titles above it, blank lines, notes with commas in them.

Whatever stands in the file is either a row here or a blank line: rows that hold too much keep it as a note, and
rows known by their line can be set aside with a reason rather than stop the run.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from harvest.errors import InputError
from harvest.findings import Finding
from harvest.project.outputs import Limits
from harvest.project.outreach import OfficeFile
from harvest.read.columns import check_columns
from harvest.read.files import InputFile, admitted
from harvest.read.guess import plain
from harvest.read.points import ENCODINGS, SEPARATORS
from harvest.read.text_table import TEXT_FACTOR

TITLES = 12
"""So many lines may stand above the names of columns."""

PLACES = {
    "address": (r"^((street|site|situs|house|property|mail|full))?address$", r"address"),
    "parcel": (
        r"^parcel((id|no|num|number|code))?$",
        r"^parcel",
        r"^(pin|apn|plot|lot|property)((id|no|number))?$",
    ),
    "number": (r"^(house|street|door)?(no|nr|num|number)$", r"^house$"),
    "street": (r"^(street|road)((name))?$",),
    "unit": (r"^(unit|apt|apartment|flat)((no|number))?$",),
}
"""Names that columns with a place go by, best first; number, street and unit are an address in parts."""

NOTES = (r"note|remark|comment",)


@dataclass(frozen=True)
class OfficeRows:
    """Rows of such a table as stripped texts, "" where nothing stands, indexed by line.

    The columns are roles: those asked for that were found, always ``parcel``, ``address`` and ``note``. ``names``
    are the file's own names by role.
    """

    file: InputFile
    rows: pd.DataFrame
    names: Mapping[str, str]
    decimal_comma: bool
    findings: tuple[Finding, ...]

    def cells(self, role: str) -> pd.Series:
        """The cells of ``role``, empty where the table has no such column."""
        return self.rows[role] if role in self.rows else pd.Series("", index=self.rows.index, dtype="str")


def read_office_table(
    section: str,
    settings: OfficeFile,
    folder: Path,
    limits: Limits,
    roles: Mapping[str, tuple[str, ...]],
    said: Mapping[str, str | None],
    needed: tuple[str, ...],
) -> OfficeRows:
    """The table that ``settings`` of ``section`` name, relative to ``folder``.

    ``roles`` are patterns for names of columns beside those of :data:`PLACES`, ``said`` the names that the project
    file gives, ``needed`` the roles without which the table is of no use; a parcel or an address always is. Raises
    :class:`InputError` when the file can't be read or lacks a column.
    """
    file = admitted(section, settings.file, folder, ("CSV",), InputError)
    if TEXT_FACTOR * file.path.stat().st_size > limits.memory_gb * 1e9:
        raise file.refused(
            f"is too large for [limits] memory_gb = {limits.memory_gb:g}; cut it, or raise the limit."
        )
    lines, cells, separator = _cells(file)
    address = [settings.address] if isinstance(settings.address, str) else settings.address or []
    given = {
        **{role: name for role, name in said.items() if name},
        **({"parcel": settings.parcel} if settings.parcel else {}),
        **({f"address {number}": name for number, name in enumerate(address)}),
    }
    patterns = {**roles, **PLACES, "note": NOTES}
    at, names = _header(file, cells, patterns, given, needed)
    header = cells[at]
    body = pd.DataFrame(
        [_fitted(row, len(header)) for row in cells[at + 1 :]],
        columns=[*header, ""],
        index=lines[at + 1 :],
        dtype="str",
    )
    if body.empty:
        raise file.refused("holds names of columns but no rows; give a table that has some.")
    rows = pd.DataFrame({role: body[name] for role, name in names.items() if role in patterns})
    rows["address"] = _joined(
        body, [name for role, name in names.items() if role.startswith("address")], names
    )
    rows["parcel"] = rows.get("parcel", "")
    rows["address"] = rows["address"].where(
        rows["address"] != "", rows["parcel"].where(_like_an_address(rows["parcel"]), "")
    )
    beyond = body[""].where(body[""] == "", ", " + body[""])
    rows["note"] = (rows.get("note", "") + beyond).str.removeprefix(", ")
    return OfficeRows(file, rows, names, separator != ",", tuple(_unread(file, header, names)))


def _cells(file: InputFile) -> tuple[list[int], list[list[str]], str]:
    """Line numbers and stripped cells of every line that holds something, and what sets cells apart."""
    text = _text(file)
    lines, rows = [], []
    separator = max(
        SEPARATORS, key=lambda sign: max((line.count(sign) for line in text.split("\n")[:TITLES]), default=0)
    )
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    try:
        before = 0
        for row in reader:
            stripped = [" ".join(cell.split()) for cell in row]
            if any(stripped):
                lines.append(before + 1)
                rows.append(stripped)
            before = reader.line_num
    except csv.Error as error:
        raise file.refused(f"can't be read as CSV: {error}; save it anew as CSV.") from None
    if not rows:
        raise file.refused("holds no rows; give a table that does.")
    return lines, rows, separator


def _text(file: InputFile) -> str:
    for encoding in ENCODINGS:
        try:
            return file.path.read_text(encoding=encoding)
        except UnicodeDecodeError:
            continue
        except OSError as error:
            raise file.refused(f"can't be read: {error.strerror}.") from None
    raise file.refused("can't be read as text; save it as UTF-8.")


def _header(
    file: InputFile,
    cells: list[list[str]],
    patterns: Mapping[str, tuple[str, ...]],
    given: Mapping[str, str],
    needed: tuple[str, ...],
) -> tuple[int, dict[str, str]]:
    """Which of the first rows names the columns, and the names by role."""
    for at, row in enumerate(cells[:TITLES]):
        there = [name for name in row if name]
        if not set(given.values()) <= set(there):
            continue
        names = _roles(file, there, patterns, given)
        if _place(names) and all(role in names for role in needed):
            cells[at] = _unlike(file, row)
            return at, names
    first = max(cells[:TITLES], key=lambda row: sum(1 for cell in row if cell))
    there = [name for name in first if name]
    for role, name in given.items():
        check_columns(file, {role.partition(" ")[0]: [name]}, there)
    names = _roles(file, there, patterns, given)
    lacking = next((role for role in needed if role not in names), "parcel or address")
    raise file.refused(
        f"has no column that is called {lacking}; there are {', '.join(there[:12])}. Say which with "
        f"{lacking.partition(' ')[0]} = in [{file.role}], or put names of columns on top."
    )


def _place(names: Mapping[str, str]) -> bool:
    return any(role in names for role in ("parcel", "address", "address 0", "street"))


def _roles(
    file: InputFile, there: list[str], patterns: Mapping[str, tuple[str, ...]], given: Mapping[str, str]
) -> dict[str, str]:
    """The name of the column of each role: as given, else by its patterns; no column has two."""
    names = dict(given)
    for role, fits in patterns.items():
        if role in names or (role == "address" and "address 0" in names):
            continue
        free = [name for name in there if name not in names.values()]
        for pattern in fits:
            found = [name for name in free if re.search(pattern, plain(name))]
            if len(found) > 1:
                raise file.refused(
                    f"has several columns that may be {role}: {', '.join(found)}; say which with {role} = in "
                    f"[{file.role}], or rename the others."
                )
            if found:
                names[role] = found[0]
                break
    return names


def _unlike(file: InputFile, header: list[str]) -> list[str]:
    """The names in ``header``, those that are empty by their number; none twice."""
    while header and not header[-1]:
        header = header[:-1]
    named = [name or f"column {number}" for number, name in enumerate(header, 1)]
    twice = [name for name in named if named.count(name) > 1]
    if twice:
        raise file.refused(f"has two columns called {twice[0]!r}; rename one of them.")
    return named


def _fitted(row: list[str], width: int) -> list[str]:
    """``row`` as wide as the header, and one more cell for what stands beyond: notes cut in two by their commas."""
    return [*row[:width], *[""] * (width - len(row)), ", ".join(cell for cell in row[width:] if cell)]


def _joined(body: pd.DataFrame, whole: list[str], names: Mapping[str, str]) -> pd.Series:
    """The address: its own columns, else its parts in the order number, street, unit."""
    parts = whole or [
        names[role] for role in ("number", "street", "unit") if role in names and "street" in names
    ]
    told = pd.Series("", index=body.index, dtype="str")
    for name in parts:
        told = told + " " + body[name]
    return told.str.replace(r"\s+", " ", regex=True).str.strip()


def _like_an_address(texts: pd.Series) -> pd.Series:
    """Where a cell meant for an id holds an address: words beside a house number."""
    return texts.str.contains(r"\d\S*\s+.*[^\W\d_]{2}|[^\W\d_]{2}.*\s\d", regex=True)


def _unread(file: InputFile, header: list[str], names: Mapping[str, str]) -> list[Finding]:
    """A note of the columns that nothing is read from."""
    rest = [name for name in header if name not in names.values()]
    if not rest:
        return []
    return [
        Finding.of(
            "columns not read",
            file.role,
            "note",
            rest,
            f"Columns that nothing is read from: {', '.join(rest[:8])}.",
            f"Nothing to do, unless one of them was meant; then name it in [{file.role}].",
        )
    ]
