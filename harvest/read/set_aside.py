"""Rows of the office's files that can't be used: kept as they are written, each with its reason."""

from __future__ import annotations

import pandas as pd

from harvest.findings import Finding
from harvest.read.office_table import OfficeRows

ASIDE = ["line", "reason", "candidates", "day", "parcel", "address", "what", "value", "note"]


def first_reason(*reasons: pd.Series) -> pd.Series:
    """The first reason [n] that is not ""."""
    first = reasons[0]
    for later in reasons[1:]:
        first = first.where(first != "", later)
    return first


def aside(table: OfficeRows, reason: pd.Series, *, what: str, value: pd.Series) -> pd.DataFrame:
    """The rows of ``table`` with a ``reason``, as they are written, in the columns :data:`ASIDE`."""
    rows = table.rows[reason != ""]
    frame = pd.DataFrame(
        {
            "line": rows.index.astype("int64"),
            "reason": reason[rows.index],
            "candidates": "",
            "day": table.cells("date")[rows.index],
            "parcel": rows["parcel"],
            "address": rows["address"],
            "what": table.cells(what)[rows.index],
            "value": value[rows.index],
            "note": rows["note"],
        }
    )
    return frame[ASIDE].reset_index(drop=True)


def told(layer: str, reason: pd.Series, lines: pd.Index) -> list[Finding]:
    """One finding for each reason for which rows were set aside."""
    found = []
    for why, count in counts_of(reason).items():
        named = [f"line {line}" for line in lines[(reason == why).to_numpy()]]
        found.append(
            Finding.of(
                "row set aside",
                layer,
                "note" if why.startswith(("no visit", "names of columns")) else "warning",
                named,
                f"Rows set aside, {why.rstrip('?')}: {count:,}.",
                "Correct them in the file; they are listed, with their reason, in the table of rows set aside.",
            )
        )
    return found


def counts_of(reason: pd.Series) -> dict[str, int]:
    """How many rows have each reason, commonest first, then by name."""
    counts = reason[reason != ""].value_counts()
    return {str(why): int(counts[why]) for why in sorted(counts.index, key=lambda one: (-counts[one], one))}
