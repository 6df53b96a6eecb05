"""Mean daily low and high of the twelve months."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.errors import InputError
from harvest.findings import Finding
from harvest.layers import MonthlyTemperature
from harvest.project.gauge import Temperature, TemperatureUnit
from harvest.project.outputs import Limits
from harvest.read.columns import check_columns
from harvest.read.dates import MONTH_NAMES
from harvest.read.files import InputFile, admitted
from harvest.read.guess import plain
from harvest.read.text_table import numbers, read_text_table

MONTH_COLUMNS = r"^(month|mon|mo|months|monat|mm)$"
LOWS = (r"^(tmin|tmn|mintemp|tempmin|low|min|minimum|lows)[cf]?$", r"tmin|min.*temp|temp.*min|low|minimum")
HIGHS = (
    r"^(tmax|tmx|maxtemp|tempmax|high|max|maximum|highs)[cf]?$",
    r"tmax|max.*temp|temp.*max|high|maximum",
)
WHOLE_YEAR = r"^(year|annual|ann|mean|average|avg|total|13)$"
FREEZING_C = 0.0

_CELSIUS = r"°\s*c|(^|[^a-z])(c|celsius|degc|deg_c)([^a-z]|$)|celsius"
_FAHRENHEIT = r"°\s*f|(^|[^a-z])(f|fahrenheit|degf|deg_f)([^a-z]|$)|fahrenheit"


def read_temperature(settings: Temperature, folder: Path, limits: Limits) -> MonthlyTemperature:
    """The temperatures that ``settings`` name, relative to ``folder``, in °C, January first.

    Raises :class:`InputError` when the file can't be read, a month is missing or stands twice, a high is below
    its low, or a figure is beyond what [temperature] allows.
    """
    file = admitted("temperature", settings.file, folder, ("CSV",), InputError)
    table, decimal_comma = read_text_table(file, limits)
    columns = _columns(file, table, settings)
    unit = settings.unit or _unit(file, columns[1:])
    months, found = _months(file, table[columns[0]])
    kept = table[months > 0].assign(number=months[months > 0])
    _check_twelve(file, kept["number"])
    kept = kept.sort_values("number")
    low, high = (_celsius(file, kept[name], decimal_comma, unit) for name in columns[1:])
    _check_sense(file, low, high, unit, settings)
    if high.max() < FREEZING_C:
        found.append(
            Finding(
                "no month above freezing",
                file.role,
                "serious",
                12,
                f"No month's high is above freezing ({high.max():.1f} °C at most), as if °C had been read as °F.",
                "Check unit in [temperature].",
            )
        )
    return MonthlyTemperature(low, high, tuple(found), file.sources(len(table), ""))


def _columns(file: InputFile, table: pd.DataFrame, settings: Temperature) -> tuple[str, str, str]:
    """Names of the columns with month, low and high."""
    there = list(table.columns)
    names = []
    for key, patterns in (("month", (MONTH_COLUMNS,)), ("low", LOWS), ("high", HIGHS)):
        said = getattr(settings, key)
        if said is not None:
            check_columns(file, {key: [said]}, there)
        named = said or next(
            (name for pattern in patterns for name in there if re.search(pattern, plain(name))), None
        )
        if named is None:
            raise file.refused(
                f"has no column that is called {key}; there are {', '.join(there)}. Say which with {key} = in "
                "[temperature]."
            )
        names.append(named)
    return names[0], names[1], names[2]


def _unit(file: InputFile, names: tuple[str, ...]) -> TemperatureUnit:
    celsius, fahrenheit = (
        all(re.search(pattern, name.lower()) for name in names) for pattern in (_CELSIUS, _FAHRENHEIT)
    )
    if celsius == fahrenheit:
        raise file.refused(
            f'does not say its unit in the names of its columns ({", ".join(names)}); set unit in [temperature] to "C" '
            'or "F".'
        )
    return "C" if celsius else "F"


def _months(file: InputFile, column: pd.Series) -> tuple[pd.Series, list[Finding]]:
    """Number of the month in each row [n], 0 where the row is a mean of the year."""
    folded = column.str.lower().str.strip(" .")
    names = {name.lower()[:size]: n for n, name in enumerate(MONTH_NAMES, 1) for size in (3, 4, 20)}
    months = numbers(folded, False).fillna(folded.map(names)).where(lambda n: n.between(1, 12))
    year = months.isna() & folded.str.fullmatch(WHOLE_YEAR)
    unknown = months.isna() & ~year | (months != months.round()) & ~year
    if unknown.any():
        raise file.refused(
            f"has {column[unknown].iloc[0]!r} in line {unknown.idxmax()}, which is no month; write months as 1 to 12 "
            "or by their names."
        )
    found = []
    if year.any():
        found.append(
            Finding.of(
                "year's mean ignored",
                file.role,
                "note",
                column[year],
                "A row that is no month but the whole year was not read.",
                "Nothing to do.",
            )
        )
    return months.fillna(0).astype("int64"), found


def _check_twelve(file: InputFile, months: pd.Series) -> None:
    twice = months[months.duplicated()]
    if len(twice):
        raise file.refused(
            f"has {MONTH_NAMES[twice.iloc[0] - 1]} twice (line {twice.index[0]}); give one row for each month."
        )
    lacking = [name for n, name in enumerate(MONTH_NAMES, 1) if n not in set(months)]
    if lacking:
        raise file.refused(f"lacks {', '.join(lacking)}; give one row for each of the 12 months.")


def _celsius(
    file: InputFile, texts: pd.Series, decimal_comma: bool, unit: TemperatureUnit
) -> NDArray[np.float64]:
    values = numbers(texts, decimal_comma)
    if values.isna().any():
        line = values.isna().idxmax()
        raise file.refused(
            f"has no number in column {texts.name!r}, line {line} ({texts[line]!r}); correct it."
        )
    figures = values.to_numpy()
    return np.asarray((figures - 32) / 1.8 if unit == "F" else figures)


def _check_sense(
    file: InputFile,
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    unit: TemperatureUnit,
    settings: Temperature,
) -> None:
    both = np.stack([low, high])
    out = (both < settings.least_c) | (both > settings.most_c)
    if out.any():
        row, month = (int(index[0]) for index in np.nonzero(out))
        hint = (
            '; the figures look like °F, so set unit = "F"'
            if unit == "C" and both.max() > settings.most_c
            else ""
        )
        raise file.refused(
            f"says {both[row, month]:.1f} °C for {MONTH_NAMES[month]}, beyond {settings.least_c:g} to "
            f"{settings.most_c:g} °C{hint or '; check it and the unit'}."
        )
    below = np.flatnonzero(high < low)
    if len(below):
        names = ", ".join(MONTH_NAMES[month] for month in below)
        raise file.refused(
            f"has a high below the low in {names}; check whether the two columns are swapped (low and high in "
            "[temperature])."
        )
