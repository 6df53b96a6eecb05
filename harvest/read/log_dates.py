"""Dates that people typed into a log: several ways of writing in one column, each row read for itself.

A record by a machine that mixes two ways is refused (:mod:`harvest.read.dates`); a log by people always does. Only
which of two numbers is the day is settled by the whole column, and never guessed.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from harvest.project.gauge import DateOrder
from harvest.read.dates import MONTH_NAMES
from harvest.read.files import InputFile

_MONTHS = {
    name[:length].lower(): number for number, name in enumerate(MONTH_NAMES, 1) for length in range(3, 10)
}
_WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+)?"
_CLOCK = r"(?:(?:T|,?\s+)\d{1,2}(?:[:.h]\d\d.*|\s*[ap]m))?"
_YEAR = r"(?P<year>\d{4}|\d\d)"
_NAME = r"(?P<month>[a-z]{3,9})\.?"
_SHAPES = (
    r"(?P<year>\d{4})(?P<sign>[-/.])(?P<month>\d{1,2})(?P=sign)(?P<day>\d{1,2})",
    r"(?P<year>(?:19|20)\d\d)(?P<month>\d\d)(?P<day>\d\d)",
    rf"(?P<one>\d{{1,2}})(?P<sign>[-/.])(?P<two>\d{{1,2}})(?P=sign){_YEAR}",
    rf"(?P<day>\d{{1,2}})(?:st|nd|rd|th)?[-/. ]\s*(?:of )?{_NAME}[-/., ]\s*{_YEAR}",
    rf"{_NAME}[-/. ]\s*(?P<day>\d{{1,2}})(?:st|nd|rd|th)?(?:,\s*|[-/. ]\s*){_YEAR}",
)
_PARTS = ("year", "month", "day", "one", "two")
_SERIAL = r"[34]\d{4}(\.\d+)?"
REMEDY = "write it as 2025-05-06"


def days_of_log(file: InputFile, column: pd.Series, order: DateOrder | None) -> tuple[pd.Series, pd.Series]:
    """Days [n; datetime64], NaT where a cell of ``column`` holds none; and why not [n; text, "" where one does].

    Years of two digits are this century's. Raises the file's refusal when no cell holds a date, or when a date such
    as 5/6/2025 is there and neither ``order`` nor the other dates say which number is the day.
    """
    parts = _parts(column)
    if not parts.notna().any(axis=None):
        cell = next((text for text in column if text), "nothing")
        raise file.refused(f"has no dates in its column of dates ({cell}); write them as 2025-05-06.")
    parts = _ordered(file, column, parts, order)
    written = parts[["year", "month", "day"]].notna().all(axis=1)
    days = pd.to_datetime(parts[["year", "month", "day"]], errors="coerce").astype("datetime64[s]")
    why = pd.Series("", index=column.index, dtype="str")
    why = why.mask(~written, f"the date can't be read; {REMEDY}")
    why = why.mask(written & days.isna(), f"no calendar has this day; {REMEDY}")
    why = why.mask(
        column.str.fullmatch(_SERIAL),
        "the date is a spreadsheet's day number; set the column to show dates and save it anew",
    )
    return days, why.mask(column == "", "no date")


def _parts(column: pd.Series) -> pd.DataFrame:
    """Year, month and day [n; numbers] of each cell, or two numbers of which either may be the day."""
    parts = pd.DataFrame(np.nan, index=column.index, columns=list(_PARTS))
    for shape in _SHAPES:
        found = column.str.extract(f"^{_WEEKDAY}{shape}{_CLOCK}$", flags=re.IGNORECASE)
        found = found.reindex(columns=list(_PARTS)).astype("str")
        numbers = found.apply(pd.to_numeric, errors="coerce").astype("float64")
        numbers["month"] = numbers["month"].fillna(found["month"].str.lower().map(_MONTHS))
        parts = parts.where(parts["year"].notna(), numbers, axis=0)
    parts["year"] = parts["year"].mask(parts["year"] < 100, parts["year"] + 2000)
    return parts


def _ordered(
    file: InputFile, column: pd.Series, parts: pd.DataFrame, order: DateOrder | None
) -> pd.DataFrame:
    """``parts`` with the two numbers told apart: each by itself where one is above 12, else as the others are."""
    one, two = parts["one"], parts["two"]
    day_first, month_first = (one > 12) & (two <= 12), (two > 12) & (one <= 12)
    open_ = (one <= 12) & (two <= 12) & (one != two)
    ways: tuple[tuple[DateOrder, pd.Series], ...] = (("day first", day_first), ("month first", month_first))
    shown = [way for way, where in ways if where.any()]
    settled = order or (shown[0] if len(shown) == 1 else None)
    if open_.any() and settled is None:
        cell, line = column[open_].iloc[0], open_.idxmax()
        first, second = int(one[open_].iloc[0]), int(two[open_].iloc[0])
        because = (
            f"the log writes both {column[day_first].iloc[0]} and {column[month_first].iloc[0]}"
            if shown
            else "no other date in it decides"
        )
        raise file.refused(
            f"leaves open whether {cell} in line {line} is day {first} of month {second} or day {second} of month "
            f'{first}, and {because}; set date_order in [{file.role}] to "day first" or "month first".'
        )
    first_is_day = day_first | (~month_first & (settled == "day first"))
    day, month = one.where(first_is_day, two), two.where(first_is_day, one)
    return parts.assign(day=parts["day"].fillna(day), month=parts["month"].fillna(month))
