"""Dates as records write them, turned into days; which number is the day is settled by the whole column."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.findings import Finding
from harvest.project.gauge import DateOrder
from harvest.read.files import InputFile
from harvest.read.text_table import numbers, offenders

Days = NDArray[np.datetime64]

MOST_UNFIT = 0.1
"""A column of which more than this share are no dates is refused."""

MOST_REPEATED = 0.05
"""A record that has several times of day on more than this share of its days is not daily."""

MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_MONTHS = {name[:3].lower(): number for number, name in enumerate(MONTH_NAMES, 1)}

_CLOCK = (
    r"(?:[T\s]\s*(?P<clock>\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)?(?:\s?[ap]m)?)?"
    r"\s*(?P<zone>Z|[A-Z]{3,5}|(?:UTC|GMT)?[+-]\d\d:?\d\d)?)?"
)
_NAME = r"(?P<month>[A-Za-z]{3,9})\.?"
_SHAPES = {
    "year first": r"(?P<year>\d{4})(?P<sign>[-/.])(?P<month>\d{1,2})(?P=sign)(?P<day>\d{1,2})",
    "year first, no signs": r"(?P<year>\d{4})(?P<month>\d\d)(?P<day>\d\d)",
    "year last": r"(?P<one>\d{1,2})(?P<sign>[-/.])(?P<two>\d{1,2})(?P=sign)(?P<year>\d{4})",
    "day and name of month": rf"(?P<day>\d{{1,2}})[-/. ]\s*{_NAME}[-/., ]\s*(?P<year>\d{{4}})",
    "name of month and day": rf"{_NAME}[-/. ]\s*(?P<day>\d{{1,2}})(?:, ?|[-/. ])\s*(?P<year>\d{{4}})",
}
_SHORT_YEAR = re.compile(r"\d{1,2}[-/.]\d{1,2}[-/.]\d\d")


def days_of_texts(file: InputFile, column: pd.Series, order: DateOrder | None) -> tuple[Days, list[Finding]]:
    """Days [n], NaT where a cell holds none, from a ``column`` of texts.

    A time of day or time zone is set aside: the date counts as it is written. Raises the file's refusal when
    dates are written in two ways, the order of day and month is contradicted or decided by nothing, or a day
    has several readings.
    """
    shape, parts = _shape(file, column)
    if shape == "year last":
        parts = _ordered(file, column, parts, order)
    elif "name" in shape:
        parts["month"] = parts["month"].str.lower().str[:3].map(_MONTHS)
    year, month, day = (pd.to_numeric(parts[key], errors="coerce") for key in ("year", "month", "day"))
    days = _days(year, month, day)
    found = _checked(file, column, days, year.notna() & month.notna() & day.notna())
    found += _clocks(file, parts, days)
    return days, found


def days_of_parts(
    file: InputFile, year: pd.Series, month: pd.Series, day: pd.Series
) -> tuple[Days, list[Finding]]:
    """Days [n], NaT where there is none, from three columns of texts."""
    parts = [numbers(part, False) for part in (year, month, day)]
    parts[1] = parts[1].fillna(month.str.lower().str[:3].map(_MONTHS))
    whole = [part.where(part == part.round()) for part in parts]
    days = _days(*whole)
    written = year + "-" + month + "-" + day
    known = whole[0].notna() & whole[1].notna() & whole[2].notna()
    return days, _checked(file, written, days, known)


def _shape(file: InputFile, column: pd.Series) -> tuple[str, pd.DataFrame]:
    """The one way in which ``column`` writes its dates, and what stands where."""
    found: dict[str, pd.DataFrame] = {}
    for shape, pattern in _SHAPES.items():
        parts = column.str.extract(f"^{pattern}{_CLOCK}$", flags=re.IGNORECASE)
        if parts["year"].notna().any():
            found[shape] = parts
    if not found:
        cell = next((text for text in column if text), "nothing")
        if column.str.fullmatch(_SHORT_YEAR).any():
            raise file.refused(
                f"writes years with two digits ({cell} in {column.name!r}); write them with four, best as 2015-04-03."
            )
        raise file.refused(f"has no dates in its column {column.name!r} ({cell}); write them as 2015-04-03.")
    if len(found) > 1:
        (one, first), (two, second) = list(found.items())[:2]
        told = [
            f"{column[parts['year'].notna()].iloc[0]} in line {parts['year'].first_valid_index()}"
            for parts in (first, second)
        ]
        raise file.refused(
            f"mixes two ways of writing dates ({one}: {told[0]}; {two}: {told[1]}), which a spreadsheet may have "
            "done, swapping days and months; go back to the original, or write all dates as 2015-04-03."
        )
    return next(iter(found.items()))


def _ordered(
    file: InputFile, column: pd.Series, parts: pd.DataFrame, order: DateOrder | None
) -> pd.DataFrame:
    """``parts`` with the two numbers told apart by the whole column."""
    one, two = (pd.to_numeric(parts[key], errors="coerce") for key in ("one", "two"))
    day_first, month_first = (one > 12) & (one <= 31) & (two <= 12), (two > 12) & (two <= 31) & (one <= 12)
    if day_first.any() and month_first.any():
        told = [f"{column[where].iloc[0]} in line {where.idxmax()}" for where in (day_first, month_first)]
        raise file.refused(
            f"mixes dates with the day first ({told[0]}) and the month first ({told[1]}); write all dates as "
            "2015-04-03."
        )
    settled: DateOrder | None = (
        "day first" if day_first.any() else "month first" if month_first.any() else None
    )
    if settled is None and order is None:
        cell = column[parts["year"].notna()].iloc[0]
        first, second = (int(number) for number in re.findall(r"\d+", cell)[:2])
        raise file.refused(
            f"leaves open whether {cell} is day {first} of month {second} or day {second} of month {first}, and no "
            'date in it decides; set date_order to "day first" or "month first".'
        )
    if settled is not None and order is not None and settled != order:
        where = day_first if settled == "day first" else month_first
        raise file.refused(
            f"writes dates with the {settled}, as {column[where].iloc[0]} in line "
            f'{where.idxmax()} shows, but the project file says date_order = "{order}"; remove that setting.'
        )
    names = ("day", "month") if (settled or order) == "day first" else ("month", "day")
    return parts.rename(columns={"one": names[0], "two": names[1]})


def _days(year: pd.Series, month: pd.Series, day: pd.Series) -> Days:
    """Days [n] from numbers, NaT for those that the calendar does not have."""
    known = (year.between(1700, 2200) & month.between(1, 12) & (day >= 1)).to_numpy()
    months = ((year - 1970) * 12 + month - 1).where(known, 0).to_numpy("int64").astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day.where(known, 1).to_numpy("int64") - 1)
    days[~known | (days.astype("datetime64[M]") != months)] = np.datetime64("NaT", "D")
    return np.asarray(days)


def _checked(file: InputFile, written: pd.Series, days: Days, whole: pd.Series) -> list[Finding]:
    """Findings for cells that hold no date, or (``whole``) one that no calendar has."""
    unfit = pd.Series(np.isnat(days), index=written.index)
    if unfit.mean() > MOST_UNFIT:
        raise file.refused(
            f"holds {int(unfit.sum()):,} dates of {len(unfit):,} that can't be ({offenders(written, unfit)[0]}); "
            "write them as 2015-04-03."
        )
    found = []
    for check, where, told in (
        ("day impossible", unfit & whole, "with a day that no calendar has"),
        ("date unreadable", unfit & ~whole, "without a date that can be read"),
    ):
        if where.any():
            found.append(
                Finding.of(
                    check,
                    file.role,
                    "warning",
                    offenders(written, where),
                    f"Rows {told}, left out: {int(where.sum())}.",
                    "Correct the date if the row holds a reading.",
                )
            )
    return found


def _clocks(file: InputFile, parts: pd.DataFrame, days: Days) -> list[Finding]:
    """Refuse several readings a day; tell that times and zones were set aside."""
    clock, zone = parts["clock"].fillna(""), parts["zone"].fillna("")
    if not (clock != "").any() and not (zone != "").any():
        return []
    times = pd.DataFrame({"day": days, "clock": clock}).dropna().drop_duplicates().groupby("day").size()
    if (times > 1).mean() > MOST_REPEATED:
        example = times[times > 1].index[0].date()
        raise file.refused(
            f"holds several readings a day ({times.max()} on {example}); add them up to one row a day first."
        )
    if not (zone != "").any() and len(set(clock)) == 1:
        return []
    zones = ", ".join(sorted(set(zone) - {""})[:3])
    return [
        Finding(
            "time of day ignored",
            file.role,
            "note",
            int(((clock != "") | (zone != "")).sum()),
            f"Dates carry a time of day or a time zone{f' ({zones})' if zones else ''}; each reading counts for "
            "the date as it is written.",
            "Check that the written date is the local one.",
        )
    ]
