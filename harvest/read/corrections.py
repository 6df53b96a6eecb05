"""What people brought back from the street: corrections of parcels, and lists of parcels that have something in common.

The files stay as they are and are read anew in every run, so a correction outlives new footprints and parcels.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from harvest.fields.outreach import (
    AREA,
    BURIED_DOWNSPOUT,
    CORRECTIONS,
    DOG,
    MERGED,
    NO_GUTTERS,
    NOTE,
    SPLIT,
    VACANT,
    WRONG_ROOF,
)
from harvest.findings import Account, Finding
from harvest.layers import Source
from harvest.project.outputs import Limits
from harvest.project.outreach import Corrections, OfficeFile, folded
from harvest.read.log_dates import days_of_log
from harvest.read.office_table import OfficeRows, read_office_table
from harvest.read.set_aside import aside, counts_of, first_reason, told
from harvest.read.text_table import numbers
from harvest.units import M2_PER_SQUARE_FOOT

ROLE = "corrections"
ROLES = {
    "date": (r"^(date|day|when)$", r"^date|date$"),
    "what": (r"^(what|correction|corrects|kind|change)$", r"correction"),
    "value": (r"^(value|new|newvalue|into|becomes|area)", r"value$"),
}
WORDS: Mapping[str, tuple[str, ...]] = {
    NO_GUTTERS: ("no gutter", "without gutters", "gutters missing", "gutter missing"),
    BURIED_DOWNSPOUT: ("buried downspouts", "downspout buried", "downspouts buried", "downspout underground",
                       "no downspout", "no downspouts"),
    WRONG_ROOF: ("roof wrong", "wrong building", "not this roof", "no such roof"),
    VACANT: ("empty", "vacant house", "uninhabited", "nobody lives there"),
    DOG: ("dogs", "beware of dog", "loose dog"),
    SPLIT: ("split", "divided into", "divided"),
    MERGED: ("merged", "joined with", "merged with"),
    AREA: ("roof area", "right area", "correct area"),
    NOTE: ("remark", "comment"),
}  # fmt: skip
"""Other words for each correction."""

_AREA = re.compile(
    r"(?P<number>\d[\d.,]*)\s*(?P<unit>m2|m²|sqm|sq m|square met(?:er|re)s?|ft2|ft²|sf|sqft|sq ft|square feet)"
)
MOST_AREA_M2 = 1e6


@dataclass(frozen=True)
class OfficeList:
    """Rows of a file after the door, and those set aside; the account closes over both.

    ``rows`` have ``line``, ``parcel`` and ``address`` as they stand. Corrections have besides: ``what`` (one of ours),
    ``into`` (parcel ids, parted by spaces, of a split or merger), ``area_m2`` (NaN but for an area), ``day`` (NaT where
    none is given) and ``note``, which is for staff only.
    """

    rows: pd.DataFrame
    unmatched: pd.DataFrame
    account: Account
    findings: tuple[Finding, ...]
    sources: tuple[Source, ...]


def read_corrections(settings: Corrections, folder: Path, limits: Limits, today: date) -> OfficeList:
    """The corrections that ``settings`` name, relative to ``folder``; one dated after ``today`` is set aside.

    Raises :class:`harvest.errors.InputError` when the file can't be read or lacks a column.
    """
    said = {"date": settings.date, "what": settings.what, "value": settings.value}
    table = read_office_table(ROLE, settings, folder, limits, ROLES, said, ("what",))
    rows = table.rows
    what, unknown = _what(rows["what"])
    into, badly = _into(table, what)
    area, unmeasured = _areas(table, what)
    days, late = _days(table, settings, today)
    reason = first_reason(_nowhere(rows), unknown, late, badly, unmeasured)
    kept = reason == ""
    frame = pd.DataFrame(
        {
            "line": rows.index.astype("int64"),
            "parcel": rows["parcel"],
            "address": rows["address"],
            "what": what,
            "into": into,
            "area_m2": area,
            "day": days,
            "note": rows["note"],
        }
    )
    return _listed(table, frame[kept], reason, aside(table, reason, what="what", value=table.cells("value")))


def read_parcel_list(section: str, settings: OfficeFile, folder: Path, limits: Limits) -> OfficeList:
    """A list of parcels or addresses, such as those who asked not to be visited.

    Raises :class:`harvest.errors.InputError` when the file can't be read or has neither column.
    """
    table = read_office_table(section, settings, folder, limits, {}, {}, ())
    reason = _nowhere(table.rows)
    frame = table.rows[["parcel", "address"]].assign(line=table.rows.index.astype("int64"))
    empty = pd.Series("", index=reason.index, dtype="str")
    return _listed(table, frame[reason == ""], reason, aside(table, reason, what="what", value=empty))


def _listed(table: OfficeRows, kept: pd.DataFrame, reason: pd.Series, rest: pd.DataFrame) -> OfficeList:
    role = table.file.role
    return OfficeList(
        kept.reset_index(drop=True),
        rest,
        Account(role, len(reason), len(kept), dropped=counts_of(reason)),
        (*table.findings, *told(role, reason, reason.index)),
        table.file.sources(len(reason), ""),
    )


def _nowhere(rows: pd.DataFrame) -> pd.Series:
    nowhere = (rows["parcel"] == "") & (rows["address"] == "")
    return pd.Series("", index=rows.index, dtype="str").mask(nowhere, "no parcel and no address")


def _what(texts: pd.Series) -> tuple[pd.Series, pd.Series]:
    """The correction [n] that each of ``texts`` means, NA where none; and why not [n; text]."""
    known = {folded(word): what for what, words in WORDS.items() for word in (what, *words)}
    said = texts.map(folded)
    meant = said.map(known).astype("str")
    why = {}
    for word in said[meant.isna()].unique():
        near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
        rest = f"did you mean {known[near[0]]!r}?" if near else f"there are {', '.join(CORRECTIONS)}"
        why[word] = f"the correction is unknown; {rest}" if word else "nothing is corrected"
    return meant, said.map(why).where(meant.isna(), "").astype("str")


def _into(table: OfficeRows, what: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Parcels that others became [n; ids parted by spaces], "" where none; and why not [n; text]."""
    parts = table.cells("value").str.replace(r"\s+and\s+|[;,&+/\s]+", " ", regex=True).str.strip()
    count = parts.str.split().str.len()
    moved = what.isin((SPLIT, MERGED)).fillna(False)
    why = pd.Series("", index=what.index, dtype="str")
    why = why.mask((what == SPLIT).fillna(False) & (count < 2), "a split names two parcels or more, as value")
    why = why.mask((what == MERGED).fillna(False) & (count != 1), "a merger names one parcel, as value")
    return parts.where(moved, ""), why


def _areas(table: OfficeRows, what: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Areas [n; m²], NaN where none is corrected; and why not [n; text]."""
    value = table.cells("value").str.lower()
    found = value.str.extract(f"^{_AREA.pattern}$")
    plain = found["number"].fillna("")
    if not table.decimal_comma:
        plain = plain.str.replace(",", "", regex=False)
    metric = found["unit"].str.startswith(("m", "sqm", "sq m", "square m"), na=False)
    area = numbers(plain, table.decimal_comma) * np.where(metric, 1.0, M2_PER_SQUARE_FOOT)
    asked = (what == AREA).fillna(False)
    why = pd.Series("", index=what.index, dtype="str")
    why = why.mask(
        asked & area.isna(), "an area is a number with its unit, such as 1200 ft2 or 110 m2, as value"
    )
    why = why.mask(asked & ((area <= 0) | (area > MOST_AREA_M2)), "no roof has this area")
    return area.where(asked), why


def _days(table: OfficeRows, settings: Corrections, today: date) -> tuple[pd.Series, pd.Series]:
    """Days [n; datetime64], NaT where none is given; and why not [n; text]. A correction needs no date."""
    texts = table.cells("date")
    none = pd.Series("", index=texts.index, dtype="str")
    if not (texts != "").any():
        return pd.Series(np.datetime64("NaT", "s"), index=texts.index), none
    days, why = days_of_log(table.file, texts, settings.date_order)
    why = why.mask(days > pd.Timestamp(today), f"the date lies after {today.isoformat()}")
    return days, why.mask(texts == "", "")
