"""The log of visits, as people kept it: every row is a visit that can be used, or is set aside with its reason."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from harvest.fields.outreach import (
    COME_BACK,
    INELIGIBLE,
    INSTALLED,
    JOINED,
    NOT_HOME,
    OTHER_LANGUAGE,
    OUTCOMES,
    REFUSED,
    VERIFIED,
)
from harvest.findings import Account, Finding, Severity
from harvest.layers import Source
from harvest.project.outputs import Limits
from harvest.project.outreach import Visits, VolumeUnit, folded
from harvest.read.guess import plain
from harvest.read.log_dates import days_of_log
from harvest.read.office_table import OfficeRows, read_office_table
from harvest.read.set_aside import aside, counts_of, first_reason, told
from harvest.read.text_table import numbers
from harvest.units import L_PER_GALLON

ROLE = "visits"
ROLES = {
    "date": (r"^(date|day|when|visited|visitdate|dateofvisit)$", r"^date|date$"),
    "outcome": (r"^(outcome|result|response)s?$", r"outcome|result", r"^status$"),
    "volume": (r"^(total)?vol(ume)?|^gal(lon)?s?$|^lit(er|re)s?$", r"gal(lon)?s?$|lit(er|re)s?$|vol(ume)?$"),
    "barrels": (r"^((no|num|number|count)(of)?)?barrels?((installed|count|no))?$", r"barrels"),
}
"""Names that the columns of a log go by, best first."""

WORDS: Mapping[str, tuple[str, ...]] = {
    NOT_HOME: (
        "nobody home", "nobody at home", "nobody in", "no one home", "no one at home", "noone home", "no answer",
        "not at home", "not in", "away", "out", "unanswered",
    ),
    COME_BACK: ("come again", "call back", "callback", "call again", "return", "return later", "later", "back later"),
    JOINED: ("join", "joins", "signed up", "sign up", "signed", "enrolled", "agreed", "wants barrel", "takes part"),
    INSTALLED: ("install", "installation", "fitted", "set up", "barrel installed", "barrels installed"),
    VERIFIED: ("verify", "verification", "checked", "inspected", "confirmed"),
    REFUSED: ("refuse", "refusal", "declined", "decline", "not interested", "does not want", "said no"),
    INELIGIBLE: ("not eligible", "not suitable", "unsuitable", "cannot join", "can t join"),
    OTHER_LANGUAGE: ("language", "language barrier", "another language", "different language", "foreign language"),
}  # fmt: skip
"""Other words for each outcome. A bare "no" is none of them: it may stand for no answer."""

_MARKED_UNITS: tuple[tuple[str, VolumeUnit], ...] = (
    (r"gal(lon)?s?$|^gal(lon)?s?", "gal"),
    (r"(^|[^a-z])l([^a-z]|$)|lit(er|re)s?$|^lit(er|re)s?", "L"),
)
L_PER_UNIT: dict[VolumeUnit, float] = {"gal": L_PER_GALLON, "L": 1.0}


@dataclass(frozen=True)
class VisitLog:
    """A log after the door.

    ``rows`` [n] are visits in file order: ``line``, ``day`` (datetime64), ``parcel``, ``address`` (texts as they
    stand, "" where there is none), ``outcome`` (one of ours), ``barrels`` (Int64), ``volume_l`` (float, L; all barrels
    of the visit). ``unmatched`` are the rows set aside, with ``reason``. The account closes over both.
    """

    rows: pd.DataFrame
    unmatched: pd.DataFrame
    account: Account
    findings: tuple[Finding, ...]
    sources: tuple[Source, ...]


def read_visits(settings: Visits, folder: Path, limits: Limits, today: date) -> VisitLog:
    """The log that ``settings`` name, relative to ``folder``; a visit later than ``today`` is a slip of the pen.

    Raises :class:`harvest.errors.InputError` when the file can't be read, lacks a column, or leaves open in which
    order it writes day and month, or in which unit its volumes are.
    """
    said = {role: getattr(settings, role) for role in (*ROLES, "note")}
    table = read_office_table(ROLE, settings, folder, limits, ROLES, said, ("date", "outcome"))
    rows = table.rows
    found = list(table.findings)
    days, why = days_of_log(table.file, rows["date"], settings.date_order)
    why = _out_of_season(days, why, settings, today)
    outcome, unknown = outcomes(rows["outcome"], settings.words)
    reason = first_reason(
        _headers_again(table),
        _no_visit(rows, days, outcome),
        why,
        unknown,
    )
    barrels = _barrels(table, settings, reason == "", outcome, found)
    volume = _volume(table, settings, reason == "", found)
    kept = reason == ""
    log = pd.DataFrame(
        {
            "line": rows.index.astype("int64"),
            "day": days,
            "parcel": rows["parcel"],
            "address": rows["address"],
            "outcome": outcome,
            "barrels": barrels,
            "volume_l": volume,
        }
    )[kept].reset_index(drop=True)
    if log.empty:
        first = reason.iloc[0]
        raise table.file.refused(f"holds no visit that can be used; line {reason.index[0]}: {first}.")
    found += told(ROLE, reason, rows.index)
    return VisitLog(
        log,
        aside(table, reason, what="outcome", value=_values(table)),
        Account(ROLE, len(rows), len(log), dropped=counts_of(reason)),
        tuple(found),
        table.file.sources(len(rows), ""),
    )


def outcomes(texts: pd.Series, more: Mapping[str, Sequence[str]]) -> tuple[pd.Series, pd.Series]:
    """The outcome [n] that each of ``texts`` means, NA where none; and why not [n; text, "" where one does].

    ``more`` are words of the project file. A word that is nearly one of ours is offered, never taken.
    """
    known = {folded(word): outcome for outcome, words in WORDS.items() for word in (outcome, *words)}
    known |= {folded(word): outcome for outcome, words in more.items() for word in words}
    said = texts.map(folded)
    meant = said.map(known).astype("str")
    unknown = said[meant.isna()].unique()
    why = {
        word: "no outcome" if not word else f"the outcome is unknown{_near(word, known)}" for word in unknown
    }
    return meant, said.map(why).where(meant.isna(), "").astype("str")


def _near(word: str, known: Mapping[str, str]) -> str:
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    if near:
        return f"; did you mean {known[near[0]]!r}?"
    return f"; there are {', '.join(OUTCOMES)}, and more words can be given in [visits] words"


def _out_of_season(days: pd.Series, why: pd.Series, settings: Visits, today: date) -> pd.Series:
    """``why`` with visits of the future, and of the time before the programme."""
    last = pd.Timestamp(settings.as_of or today)
    why = why.mask(days > last, f"the date lies after {last.date()}, the day of the log")
    if settings.programme_start is not None:
        start = pd.Timestamp(settings.programme_start)
        why = why.mask(days < start, f"the date lies before {start.date()}, when the programme began")
    return why


def _headers_again(table: OfficeRows) -> pd.Series:
    """Rows that repeat the names of columns, as pasted sheets do."""
    same = pd.Series(True, index=table.rows.index)
    for role in ("date", "outcome"):
        same &= table.rows[role].map(plain) == plain(table.names[role])
    return pd.Series("", index=same.index, dtype="str").mask(same, "names of columns again")


def _no_visit(rows: pd.DataFrame, days: pd.Series, outcome: pd.Series) -> pd.Series:
    """Rows that are no visit at all, such as a total or a remark; and visits of no place."""
    nowhere = (rows["parcel"] == "") & (rows["address"] == "")
    remark = days.isna() & outcome.isna()
    none = pd.Series("", index=rows.index, dtype="str")
    return none.mask(nowhere, "no parcel and no address").mask(
        remark, "no visit: neither a date nor an outcome that can be read"
    )


def _barrels(
    table: OfficeRows, settings: Visits, kept: pd.Series, outcome: pd.Series, found: list[Finding]
) -> pd.Series:
    """Barrels [n; Int64] installed, NA where nothing usable stands."""
    texts = table.cells("barrels")
    number = numbers(texts, table.decimal_comma)
    fit = (number == number.round()) & (number >= 0) & (number <= settings.most_barrels)
    _unfit(
        found,
        "barrels unfit",
        texts[kept & (texts != "") & ~fit],
        f"numbers of barrels that are no whole number from 0 to {settings.most_barrels}; the visits count, the "
        "numbers do not",
    )
    lacking = kept & (outcome == INSTALLED) & (texts == "")
    _unfit(
        found,
        "installed without a number",
        table.rows["outcome"][lacking],
        "visits that say installed but not how many barrels; how many stand there is unknown",
    )
    elsewhere = kept & (number > 0) & ~outcome.isin((INSTALLED, VERIFIED)).fillna(False)
    _unfit(
        found,
        "barrels without an installation",
        texts[elsewhere],
        f"numbers of barrels beside another outcome than {INSTALLED}; barrels count where it says {INSTALLED}",
        "note",
    )
    return number.where(fit).astype("Int64")


def _volume(table: OfficeRows, settings: Visits, kept: pd.Series, found: list[Finding]) -> pd.Series:
    """Volume [n; L] installed at each visit, NaN where nothing usable stands."""
    texts = table.cells("volume")
    if "volume" not in table.names or not (texts != "").any():
        return pd.Series(np.nan, index=texts.index)
    name = table.names["volume"]
    marked = next((unit for pattern, unit in _MARKED_UNITS if re.search(pattern, name.strip().lower())), None)
    unit = settings.volume_unit or marked
    if unit is None:
        raise table.file.refused(
            f'does not say the unit of its column {name!r}; set volume_unit in [visits] to "gal" or "L".'
        )
    litres = numbers(texts, table.decimal_comma) * L_PER_UNIT[unit]
    fit = litres >= 0
    _unfit(
        found,
        "volume unfit",
        texts[kept & (texts != "") & ~fit],
        "volumes that are no number; they count as unknown",
    )
    return litres.where(fit)


def _unfit(
    found: list[Finding], check: str, cells: pd.Series, what: str, severity: Severity = "warning"
) -> None:
    if len(cells):
        named = [f"line {line}: {text}" for line, text in cells.items()]
        found.append(
            Finding.of(
                check,
                ROLE,
                severity,
                named,
                f"The log has {len(named):,} {what}.",
                "Correct these lines in the log.",
            )
        )


def _values(table: OfficeRows) -> pd.Series:
    """Barrels and volume as they are written, for a row set aside."""
    return (table.cells("barrels") + " " + table.cells("volume")).str.strip()
