"""The tables of a result in the formats that people ask for: CSV, a workbook, a GeoPackage.

CSV follows RFC 4180 (commas, CR LF, quotes doubled) in UTF-8 with a byte order mark: without the mark a
spreadsheet that opens the file by a double click takes it for the machine's old code page and spoils every
accent, and the readers of databases and GIS know the mark. Figures keep every digit, so that they read back
as the same number; a missing value is an empty cell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from harvest.errors import OutputError
from harvest.fields import Table
from harvest.findings import Finding
from harvest.result import Result
from harvest.show.limits import TOO_MANY_ROWS, limits_met, neutral
from harvest.show.present import tables_of
from harvest.show.rows import Rows, plain_fields

WORKBOOK = "parcels.xlsx"
GEOPACKAGE = "harvest.gpkg"
BYTE_ORDER_MARK = "\ufeff"


def write_tables(result: Result, folder: Path, formats: Sequence[str], xlsx_most_rows: int) -> list[Finding]:
    """Write the tables of ``result`` into ``folder`` in ``formats`` (csv, xlsx, gpkg); findings.csv always.

    A table of more than ``xlsx_most_rows`` rows keeps the workbook from being written. Returns the findings
    on what a format can't hold, which are in the written findings too. Raises :class:`OutputError` when a
    file can't be written.
    """
    found = limits_met(result, formats, xlsx_most_rows)
    rows = Rows(result, tuple(found))
    for table in tables_of(result).values():
        if "csv" in formats or table.name == "findings":
            write_csv(rows, table, folder / f"{table.name}.csv")
    if "xlsx" in formats and all(one.check != TOO_MANY_ROWS for one in found):
        from harvest.show.spreadsheet import write_workbook

        with writing(folder / WORKBOOK):
            write_workbook(rows, folder / WORKBOOK)
    if "gpkg" in formats:
        from harvest.show.geopackage import write_geopackage

        with writing(folder / GEOPACKAGE):
            write_geopackage(rows, folder / GEOPACKAGE)
    return found


def write_csv(rows: Rows, table: Table, path: Path) -> None:
    """Write the plain fields of ``table`` to ``path``. Raises :class:`OutputError`."""
    texts = [one.name for one in plain_fields(table) if one.dtype == "string"]
    with writing(path), path.open("w", encoding="utf-8", newline="") as file:
        file.write(BYTE_ORDER_MARK + ",".join(one.name for one in plain_fields(table)) + "\r\n")
        for frame in rows.pieces(table):
            safe = frame.assign(**{name: neutral(frame[name]) for name in texts})
            safe.to_csv(file, header=False, index=False, lineterminator="\r\n")


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """What keeps ``path`` from being written, as one of our errors."""
    from pyogrio.errors import DataLayerError, DataSourceError, FeatureError
    from xlsxwriter.exceptions import XlsxFileError

    try:
        yield
    except (OSError, DataLayerError, DataSourceError, FeatureError, XlsxFileError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise OutputError(
            f"{path} can't be written ({reason}); make room or choose another folder, then run again."
        ) from None
