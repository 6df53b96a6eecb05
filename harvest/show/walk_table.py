"""The walk lists as a table: all stops, with the columns of the visit log left blank.

Filled in and saved, it is read as the log.
"""

from __future__ import annotations

from pathlib import Path

from harvest.fields import STOPS
from harvest.result import Result
from harvest.show.limits import neutral
from harvest.show.rows import Rows, plain_fields
from harvest.show.tables import BYTE_ORDER_MARK, writing

WALK_TABLE = "walk-lists.csv"
VOLUME_COLUMN = {"us": "volume_gal", "metric": "volume_l"}
"""The volume of a log has its unit in its name."""


def write_walk_table(result: Result, folder: Path) -> None:
    """Write the stops of ``result`` into ``folder``: RFC 4180, as the other tables are.

    Raises :class:`OutputError` when the file can't be written.
    """
    path = folder / WALK_TABLE
    names = [one.name for one in plain_fields(STOPS)]
    log = ["date", "outcome", "barrels", VOLUME_COLUMN[result.run["units"]], "note"]
    texts = [one.name for one in plain_fields(STOPS) if one.dtype == "string"]
    with writing(path), path.open("w", encoding="utf-8", newline="") as file:
        file.write(BYTE_ORDER_MARK + ",".join([*names, *log]) + "\r\n")
        for frame in Rows(result).pieces(STOPS):
            safe = frame.assign(**{name: neutral(frame[name]) for name in texts}, **dict.fromkeys(log))
            safe.to_csv(file, header=False, index=False, lineterminator="\r\n")
