"""A gauge's record, read to whole years of daily rain; what was missing, odd or left out is told."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from harvest.errors import InputError
from harvest.findings import Finding, Severity
from harvest.layers import DailyRain
from harvest.project.gauge import Gauge, GaugeUnit
from harvest.project.outputs import Limits
from harvest.read.files import InputFile, admitted
from harvest.read.gauge_days import check_days, spread_totals, whole_years
from harvest.read.readings import Readings, bare_names, readings_of
from harvest.read.text_table import filled, numbers, offenders, read_text_table
from harvest.units import MM_PER_INCH

MM_PER_UNIT: dict[GaugeUnit, float] = {
    "mm": 1.0, "0.1 mm": 0.1, "inch": MM_PER_INCH, "0.01 inch": MM_PER_INCH / 100,
}  # fmt: skip
MOST_TEXT = 0.5
"""A column with more cells than this share that are no numbers is no column of rain."""

MOST_CONTRADICTED = 0.05
"""A record that says two things on more than this share of its days is two records."""

TRACES = ("t", "tr", "trace")
MARKS_OF_NOTHING = r"-(9+(\.9*0*)?|1|99\d*)(\.0*)?|9{3,}(\.[90]*)?|9{2,}\.9+"
MARKS_AT_LEAST = 3
"""How often a figure made of nines has to stand in a record before it counts as a mark for no reading."""


def read_gauge(settings: Gauge, folder: Path, limits: Limits) -> DailyRain:
    """The record that ``settings`` name, relative to ``folder``, as whole years of daily rain in mm.

    A year with more days missing than allowed is left out whole; in the others missing days count as dry. Both
    are findings, as is every row that was not taken as it stands. Raises :class:`InputError` when the file
    can't be read, its days, unit or station can't be told, or no year is whole.
    """
    file = admitted("gauge", settings.file, folder, ("CSV",), InputError)
    table, decimal_comma = read_text_table(file, limits, bare_names)
    readings = readings_of(file, table, decimal_comma, settings)
    found = list(readings.findings)
    depth = _depths(file, readings, settings, found)
    totals = readings.rows.assign(depth=depth)[["day", "depth", "span"]].dropna()
    days = spread_totals(file, _series(file, readings, depth, found), totals, found)
    if not (days > 0).any():
        raise file.refused(
            f"holds no rain at all in {int(days.notna().sum()):,} days; check the column {readings.column!r}."
        )
    check_days(file, days, found)
    kept, years, missing = whole_years(file, days, settings, found)
    return DailyRain(
        kept.index.to_numpy().astype("datetime64[D]"),
        kept.to_numpy(),
        years,
        missing,
        False,
        tuple(found),
        file.sources(len(table), ""),
    )


def _depths(file: InputFile, readings: Readings, settings: Gauge, found: list[Finding]) -> pd.Series:
    """Rain [n; mm] of each reading, NaN where none can be used."""
    text, flagged = readings.rows["text"], readings.rows["flagged"]
    there = filled(text)
    trace = readings.rows["trace"] | text.str.lower().isin(TRACES)
    depth = numbers(text, readings.decimal_comma).mask(trace, 0.0).where(there)
    unfit = there & depth.isna()
    if unfit.sum() > MOST_TEXT * max(1, int(there.sum())):
        raise file.refused(
            f"holds no numbers in its column {readings.column!r} ({offenders(text, unfit)[0]}); say which column "
            "holds them with rain = in [gauge]."
        )
    _told(file, found, "text in numbers", "warning", offenders(text, unfit),
          "Readings that are no numbers, counted as missing", "Correct them, or leave the cell empty.")  # fmt: skip
    _told(file, found, "trace", "note", text[trace].index,
          "Traces of rain, too little to measure, counted as 0", "Nothing to do.")  # fmt: skip
    _told(file, found, "flagged", "warning", offenders(text, flagged & depth.notna()),
          "Readings that failed the keeper's own checks (quality flag), counted as missing",
          "Nothing to do, unless you know better.")  # fmt: skip
    depth = depth.mask(flagged)
    depth = _unmarked(file, text, depth, found)
    negative = depth < 0
    _told(file, found, "negative", "warning", offenders(text, negative),
          "Readings below 0, counted as missing", "Correct them, or leave the cell empty.")  # fmt: skip
    depth = depth.mask(negative)
    depth = depth * MM_PER_UNIT[readings.unit or _no_unit(file, readings, depth)]
    high = depth > settings.most_mm_day
    _told(file, found, "impossible depth", "warning", offenders(text, high),
          f"Readings above {settings.most_mm_day:g} mm in a day, counted as missing",
          "Check them and the unit; raise most_mm_day in [gauge] if they are real.")  # fmt: skip
    return depth.mask(high)


def _told(
    file: InputFile,
    found: list[Finding],
    check: str,
    severity: Severity,
    who: Sequence[object],
    what: str,
    remedy: str,
) -> None:
    """Add a finding that counts ``who``, if there are any."""
    if len(who):
        found.append(Finding.of(check, file.role, severity, who, f"{what}: {len(who):,}.", remedy))


def _unmarked(file: InputFile, text: pd.Series, depth: pd.Series, found: list[Finding]) -> pd.Series:
    """``depth`` without figures such as -9999 or 999.9 that stand for no reading."""
    marks = text.where(depth.notna() & text.str.fullmatch(MARKS_OF_NOTHING))
    often = marks.map(marks.value_counts()) >= MARKS_AT_LEAST
    usual = often | (text.str.startswith("-99") & marks.notna())
    told = ", ".join(sorted(text[usual].unique())[:3])
    _told(file, found, "marked missing", "note", offenders(text, usual),
          f"Readings marked as missing ({told})", "Nothing to do.")  # fmt: skip
    return depth.mask(usual)


def _no_unit(file: InputFile, readings: Readings, depth: pd.Series) -> GaugeUnit:
    """Refuse a record of unknown unit, with the yearly rain that each unit would make of it."""
    years = max(1.0, depth.notna().sum() / 365.25)
    told = ", ".join(
        f'"{unit}" ({depth.sum() * factor / years:,.0f} mm a year)' for unit, factor in MM_PER_UNIT.items()
    )
    raise file.refused(
        f"does not say the unit of its column {readings.column!r}; set unit in [gauge] to one of {told}."
    )


def _series(file: InputFile, readings: Readings, depth: pd.Series, found: list[Finding]) -> pd.Series:
    """Rain [days; mm] from the first day to the last, NaN where none was read; one reading a day."""
    dated = readings.rows.assign(depth=depth).dropna(subset="day")
    rows = dated[dated["span"].isna()]
    if rows.empty:
        raise file.refused("holds no reading of a single day; give a record of daily rain.")
    every = pd.date_range(dated["day"].min(), dated["day"].max(), freq="D")
    read = rows.dropna(subset="depth")
    repeats = rows.duplicated("day")
    if repeats.any():
        differ = read.groupby("day")["depth"].nunique()
        differ = differ[differ > 1]
        if len(differ) > MOST_CONTRADICTED * rows["day"].nunique():
            raise file.refused(
                f"has two readings that differ on {len(differ):,} days, such as {differ.index[0].date()}; it seems "
                "to hold two stations, so give the record of one."
            )
        same = sorted(set(rows["day"][repeats]) - set(differ.index))
        _told(file, found, "day repeated", "note", [day.date() for day in same],
              "Days that stand in the file more than once with one reading, counted once",
              "Nothing to do.")  # fmt: skip
        _told(file, found, "day contradicted", "warning", [day.date() for day in differ.index],
              "Days with readings that differ, of which the first in the file was taken",
              "Find out which reading is right and remove the other.")  # fmt: skip
    return read.drop_duplicates("day").set_index("day")["depth"].reindex(every)
