"""Which cells of a table are a gauge's readings: in a plain table, or in GHCN-Daily's two CSV forms.

GHCN-Daily by station has one row for each element and day: id, date, element, value, measurement, quality and
source flag, time. In its column form a row is a day, and PRCP_ATTRIBUTES holds the flags, parted by commas.
PRCP is the day's rain in tenths of a millimetre; MDPR is a total of several days, DAPR how many, the day of
reading included; measurement flag T is a trace; any quality flag means that a check failed (readme of
GHCN-Daily, from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from harvest.findings import Finding
from harvest.project.gauge import DateOrder, Gauge, GaugeUnit
from harvest.read.columns import check_columns, nearest
from harvest.read.dates import Days, days_of_parts, days_of_texts
from harvest.read.files import InputFile
from harvest.read.guess import plain
from harvest.read.text_table import filled, numbers

BARE_NAMES = ["ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME"]
NO_VALUE = "-9999"
STATIONS = r"^(station|stn|site|gauge|gage|raingauge)(id|code|no|num|number|name)?$"
DATES = (
    r"^(date|day|datum|yyyymmdd|obsdate|observationdate|dateofobservation)$",
    r"^(datetime|timestamp|time)",
    r"^date|date$",
)
YEARS, MONTHS, DAYS = r"^(year|yr|yyyy)$", r"^(month|mon|mo|mm)$", r"^(day|dy|dd|dayofmonth|dom)$"
RAINS = (
    r"^(rain|rainfall|precip|precipitation|prcp|prec|ppt|rr)$",
    r"^(daily|total)?(rain|rainfall|precip|precipitation|prcp|prec|ppt|rr)(daily|total|amount|depth|sum)?"
    r"(0?1?mm|in|inch|inches|tenths|hundredths)?$",
    r"rain|precip|prcp",
    r"^(value|amount|depth|reading|mm|inch|inches)$",
)
NOT_RAINS = r"attribute|flag|qual|type|hour|prob|source|code|remark|note|id$"

_UNITS: tuple[tuple[str, GaugeUnit], ...] = (
    (r"(0\.1|1/10|tenths?( of( an?)?)?)[\s_]*(mm|millim)", "0.1 mm"),
    (r"(0\.01|1/100|hundredths?( of( an?)?)?)[\s_]*in", "0.01 inch"),
    (r"(^|[^a-z])(mm|millimet(er|re)s?)([^a-z]|$)|mm$", "mm"),
    (r"(^|[^a-z])(in|inch|inches)([^a-z]|$)|inch(es)?$", "inch"),
)


@dataclass(frozen=True)
class Readings:
    """Rows of a gauge before any is judged.

    ``rows`` are indexed by line: ``day`` (NaT where a date is none), ``text`` of the depth, ``trace`` (too little to
    measure), ``flagged`` (failed the keeper's own checks) and ``span``, which is NaN where a depth is one day's,
    else how many days it is the total of, 0 where the file does not say. ``column`` names the depths.
    """

    rows: pd.DataFrame
    unit: GaugeUnit | None
    column: str
    decimal_comma: bool
    findings: tuple[Finding, ...]


def bare_names(first: list[str]) -> list[str] | None:
    """The names that GHCN-Daily by station leaves out, when the ``first`` row of a file is one of its rows."""
    if len(first) < 4 or not re.fullmatch(r"\w{11}", first[0]) or not re.fullmatch(r"\d{8}", first[1]):
        return None
    if not re.fullmatch(r"[A-Z]{2}[A-Z0-9]{2}", first[2]):
        return None
    return BARE_NAMES[: max(len(first), 6)]


def readings_of(file: InputFile, table: pd.DataFrame, decimal_comma: bool, settings: Gauge) -> Readings:
    """The readings in ``table``. Raises the file's refusal when it can't be told which they are."""
    folded = {plain(name): name for name in table.columns}
    if "element" in folded and (value := folded.get("datavalue") or folded.get("value")):
        return _by_element(file, table, folded, value, settings)
    table, told = _one_station(file, table, settings.station, _named(table, (STATIONS,)))
    days, found = _days(file, table, settings.date, settings.date_order)
    rain = _rain_column(file, table, settings)
    unit, by_form = _unit(file, table, rain, settings, decimal_comma)
    rows = _by_column(table, days, rain)
    if rain == "PRCP" and "MDPR" in table.columns:
        span = numbers(_cells(table, "DAPR"), False).fillna(0.0).round()
        totals = _by_column(table, days, "MDPR").assign(span=span)
        rows = pd.concat([rows, totals[filled(totals["text"]) & (totals["text"] != NO_VALUE)]])
    return Readings(rows, unit, rain, decimal_comma, (*told, *found, *by_form))


def _by_column(table: pd.DataFrame, days: Days, name: str) -> pd.DataFrame:
    """Rows of readings in the column ``name``, flags beside it in NAME_ATTRIBUTES where there is such a column."""
    flags = _cells(table, f"{name}_ATTRIBUTES").str.extract(r"^(?P<measured>[^,]*)(?:,(?P<quality>[^,]*))?")
    measured, quality = (flags[part].fillna("").str.strip() for part in ("measured", "quality"))
    return pd.DataFrame(
        {"day": days, "text": table[name], "trace": measured == "T", "flagged": quality != "", "span": np.nan}
    )


def _cells(table: pd.DataFrame, name: str | None) -> pd.Series:
    """The column ``name``, or empty cells when there is none."""
    return table[name] if name in table.columns else pd.Series("", index=table.index, dtype="str")


def _by_element(
    file: InputFile, table: pd.DataFrame, folded: dict[str, str], value: str, settings: Gauge
) -> Readings:
    """From one row for each element and day."""
    station = folded.get("id") or _named(table, (STATIONS,))
    elements = table[folded["element"]].str.upper()
    if not elements.isin(("PRCP", "MDPR")).any():
        raise file.refused(
            f"holds no rain (element PRCP) but {', '.join(sorted(elements.unique())[:8])}; take another station."
        )
    wanted = table[elements.isin(("PRCP", "MDPR", "DAPR"))]
    table, told = _one_station(file, wanted, settings.station, station)
    element = elements[table.index]
    days, found = _days(file, table, settings.date, settings.date_order)
    rows = pd.DataFrame(
        {
            "day": days,
            "text": table[value],
            "trace": _cells(table, folded.get("mflag")) == "T",
            "flagged": _cells(table, folded.get("qflag")) != "",
        }
    )
    counts = rows[element == "DAPR"].drop_duplicates("day").dropna(subset="day").set_index("day")["text"]
    span = rows["day"].map(numbers(counts, False)).fillna(0.0).round()
    rows = rows.assign(span=span.where(element == "MDPR"))
    return Readings(rows[element != "DAPR"], settings.unit or "0.1 mm", "PRCP", False, (*told, *found))


def _named(table: pd.DataFrame, patterns: tuple[str, ...]) -> str | None:
    """The first column whose name fits, earlier patterns first."""
    return next((name for one in patterns for name in table.columns if re.search(one, plain(name))), None)


def _one_station(
    file: InputFile, table: pd.DataFrame, wanted: str | None, column: str | None
) -> tuple[pd.DataFrame, list[Finding]]:
    """The rows of one station, and what was left out."""
    if column is None:
        if wanted is not None:
            raise file.refused(
                f'has no column of stations, but the project file says station = "{wanted}"; remove that setting.'
            )
        return table, []
    stations = list(table[column][filled(table[column])].unique())
    if wanted is None:
        if len(stations) > 1:
            listed = ", ".join(stations[:8]) + (" and more" if len(stations) > 8 else "")
            raise file.refused(
                f"holds {len(stations)} stations ({listed}); say which one with station = in [gauge]."
            )
        return table, []
    if wanted not in stations:
        raise file.refused(f"has no station {wanted!r}{nearest(wanted, stations)}")
    rest = int((table[column] != wanted).sum())
    kept = table[table[column] == wanted]
    if not rest:
        return kept, []
    return kept, [
        Finding(
            "other stations",
            file.role,
            "note",
            rest,
            f"Rows of other stations than {wanted}, not read: {rest:,}.",
            "Nothing to do.",
        )
    ]


def _days(
    file: InputFile, table: pd.DataFrame, said: str | list[str] | None, order: DateOrder | None
) -> tuple[Days, list[Finding]]:
    """The day of each row, from one column or three."""
    if said is not None:
        names = [said] if isinstance(said, str) else said
        check_columns(file, {"date": names}, list(table.columns))
        if len(names) == 1:
            return days_of_texts(file, table[names[0]], order)
        return days_of_parts(file, *(table[name] for name in names))
    parts = [_named(table, (pattern,)) for pattern in (YEARS, MONTHS, DAYS)]
    if None not in parts:
        return days_of_parts(file, *(table[str(name)] for name in parts))
    column = _named(table, DATES)
    if column is None:
        raise file.refused(
            f"has no column that is called date, nor year, month and day; there are {', '.join(table.columns)}. "
            "Say which with date = in [gauge]."
        )
    return days_of_texts(file, table[column], order)


def _rain_column(file: InputFile, table: pd.DataFrame, settings: Gauge) -> str:
    if settings.rain is not None:
        check_columns(file, {"rain": [settings.rain]}, list(table.columns))
        return settings.rain
    allowed = [name for name in table.columns if not re.search(NOT_RAINS, plain(name))]
    for pattern in RAINS:
        fitting = [name for name in allowed if re.search(pattern, plain(name))]
        if len(fitting) == 1:
            return str(fitting[0])
        if fitting:
            raise file.refused(
                f"has several columns that may be rain: {', '.join(fitting)}; say which with rain = in [gauge]."
            )
    raise file.refused(
        f"has no column that is called rain or precipitation; there are {', '.join(table.columns)}. Say which with "
        "rain = in [gauge]."
    )


def _unit(
    file: InputFile, table: pd.DataFrame, rain: str, settings: Gauge, decimal_comma: bool
) -> tuple[GaugeUnit | None, list[Finding]]:
    """The unit that the project file, the column's name or GHCN-Daily's form says, None where none does."""
    own = next((unit for pattern, unit in _UNITS if re.search(pattern, rain.lower())), None)
    if settings.unit is not None:
        if own in (None, settings.unit):
            return settings.unit, []
        return settings.unit, [
            Finding(
                "unit contradicted",
                file.role,
                "warning",
                1,
                f"{file.name} calls its column {rain!r}, the project file says {settings.unit!r}; the project file "
                "is followed.",
                "Remove unit from [gauge] unless the file is known to be wrong.",
            )
        ]
    if own is None and rain == "PRCP" and "PRCP_ATTRIBUTES" in table.columns:
        values = numbers(table[rain], decimal_comma).dropna()
        if (values == values.round()).all():
            return "0.1 mm", [
                Finding(
                    "unit by form",
                    file.role,
                    "note",
                    1,
                    f"{file.name} is GHCN-Daily in whole numbers, so its rain is read as tenths of a millimetre.",
                    "Set unit in [gauge] if it was ordered in another unit.",
                )
            ]
    return own, []
