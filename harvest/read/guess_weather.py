"""Which tables of a folder are a gauge or monthly temperatures: likely ones by their names, then by reading them.

A table counts as what its reader can make of it. Where the reader lacks one word of the user, such as the unit,
an answer is tried out only to see that the rest fits; it is never taken for the user's own.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np
import pandas as pd

from harvest.errors import InputError
from harvest.layers import DailyRain, MonthlyTemperature
from harvest.project.gauge import Gauge, Temperature
from harvest.project.outputs import Limits
from harvest.read.dates import MONTH_NAMES
from harvest.read.files import admitted
from harvest.read.gauge import read_gauge
from harvest.read.guess import RAIN_WORDS, TEMPERATURE_WORDS, VISIT_WORDS, plain
from harvest.read.look import Seen
from harvest.read.readings import BARE_NAMES, NOT_RAINS, RAINS, STATIONS, bare_names
from harvest.read.temperature import read_temperature
from harvest.read.text_table import read_text_table

RAIN_COLUMNS = "|".join(RAINS[:2])
GAUGE_NAMES = rf"{RAIN_WORDS}|(?<![a-z])(?<!river.)(?<!stream.)gau?ges?(?![a-z])"
NO_RAIN = r"rain.?(barrel|water|garden|tank|coat)"
TEMPERATURE_COLUMNS = rf"{TEMPERATURE_WORDS}|(low|high|min|max)s?[ _(]*°?[cf](?![a-z])|celsius|fahrenheit"
TEMPERATURE_NAMES = rf"{TEMPERATURE_WORDS}|climat[a-z]*|weather"
TRIAL_UNIT = "0.1 mm"
"""The smallest unit of a gauge, by which no depth is out of bounds."""

STATIONS_TRIED = 2
COLUMNS_TRIED = 3

Answers = Mapping[str, str]
Record = TypeVar("Record", DailyRain, MonthlyTemperature)


@dataclass(frozen=True)
class Candidate(Generic[Record]):
    """A table that may be one by its names, and what its reader made of it.

    ``sign`` is what in the names says so. ``record`` is None where the table can't be read, ``trouble`` then
    says why. ``asked`` are the settings that only the user can give, each with the reader's words; with any of
    them, ``record`` only shows that the table can be read once they are given.
    """

    seen: Seen
    sign: str
    record: Record | None
    asked: Mapping[str, str]
    trouble: str = ""


def gauges(seen: Iterable[Seen], folder: Path, limits: Limits) -> list[Candidate[DailyRain]]:
    """Tables that may be a gauge, the best first: what can be read as it stands, then the longest record."""

    def tried(one: Seen, sign: str) -> Candidate[DailyRain]:
        def read(given: Answers) -> DailyRain:
            return read_gauge(Gauge.model_validate({"file": one.file, **given}), folder, limits)

        return _tried(one, sign, read, lambda: _answers(one, folder, limits))

    def place(one: Candidate[DailyRain]) -> tuple[bool, bool, int, int]:
        years, missing = (len(one.record.years), one.record.missing_days) if one.record else (0, 0)
        return one.record is None, bool(one.asked), -years, missing

    return sorted((tried(one, sign) for one in seen if (sign := _rain_sign(one))), key=place)


def temperatures(seen: Iterable[Seen], folder: Path, limits: Limits) -> list[Candidate[MonthlyTemperature]]:
    """Tables that may be monthly temperatures, the best first: what can be read as it stands."""

    def tried(one: Seen, sign: str) -> Candidate[MonthlyTemperature]:
        def read(given: Answers) -> MonthlyTemperature:
            return read_temperature(Temperature.model_validate({"file": one.file, **given}), folder, limits)

        return _tried(one, sign, read, lambda: [{"unit": "C"}, {"unit": "F"}])

    candidates = (tried(one, sign) for one in seen if (sign := _temperature_sign(one)))
    return sorted(candidates, key=lambda one: (one.record is None, bool(one.asked)))


def years_told(record: DailyRain) -> str:
    """The whole years of a gauge in words."""
    first, last = record.years[0], record.years[-1]
    if first == last:
        return f"one whole year of daily rain, {first}"
    between = f"{first} to {last}" if len(record.years) == last - first + 1 else f"between {first} and {last}"
    return f"{len(record.years)} whole years of daily rain, {between}"


def gauge_told(one: Candidate[DailyRain]) -> str:
    """By what a gauge was recognised, with the figures that hold whatever the user still has to say."""
    if one.record is None or set(one.asked) - {"unit"}:
        return f"{one.sign}; it holds daily rain"
    if one.asked:
        return f"{one.sign}; it holds {years_told(one.record)}"
    yearly = one.record.rain_mm.sum() / len(one.record.years)
    return f"{one.sign}; it holds {years_told(one.record)}, with {yearly:,.0f} mm a year"


def temperature_told(one: Candidate[MonthlyTemperature]) -> str:
    """By what temperatures were recognised, and how cold and hot they say it gets."""
    if one.record is None or one.asked:
        return f"{one.sign}; it holds lows and highs of 12 months"
    low, high = int(np.argmin(one.record.tmin_c)), int(np.argmax(one.record.tmax_c))
    return (
        f"{one.sign}; it holds 12 months, from a mean low of {one.record.tmin_c[low]:.1f} °C in {MONTH_NAMES[low]} "
        f"to a mean high of {one.record.tmax_c[high]:.1f} °C in {MONTH_NAMES[high]}"
    )


def _tried(
    one: Seen, sign: str, read: Callable[[Answers], Record], answers: Callable[[], Sequence[Answers]]
) -> Candidate[Record]:
    """The table read as it stands, or else with the fewest answers that make it readable."""
    record, trouble = _attempt(read, {})
    if record is not None:
        return Candidate(one, sign, record, {})
    refusals: dict[tuple[tuple[str, str], ...], str] = {(): trouble}
    for given in answers():
        said = tuple(given.items())
        record, refusals[said] = _attempt(read, given)
        if record is not None:
            asked = {key: refusals[said[:place]] for place, (key, _) in enumerate(said)}
            return Candidate(one, sign, record, asked)
    return Candidate(one, sign, None, {}, trouble)


def _attempt(read: Callable[[Answers], Record], given: Answers) -> tuple[Record | None, str]:
    """What the reader makes of a file, or the words with which it refuses."""
    try:
        return read(given), ""
    except InputError as error:
        return None, re.sub(r"^\[\w+\] ", "", str(error)).rstrip(".")


def _answers(one: Seen, folder: Path, limits: Limits) -> list[Answers]:
    """What the user may have to say of a gauge: its station, its column of rain, its unit; short answers first,
    so that the words of the reader for want of the last one are known from an answer before.
    """
    try:
        file = admitted("gauge", one.file, folder, ("CSV",), InputError)
        table, _ = read_text_table(file, limits, bare_names)
    except InputError:
        return []
    stations = _stations(table)
    rains = [name for name in table.columns if _rain_column(name)]
    said = itertools.product(stations or [""], ["", *rains[:COLUMNS_TRIED]], ["", TRIAL_UNIT])
    keys = ("station", "rain", "unit")
    given = [{key: value for key, value in zip(keys, values, strict=True) if value} for values in said]
    return sorted(filter(None, given), key=len)


def _stations(table: pd.DataFrame) -> list[str]:
    """The stations with most rows, if a table holds several."""
    pattern = rf"{STATIONS}|^id$" if "element" in map(plain, table.columns) else STATIONS
    column = next((name for name in table.columns if re.search(pattern, plain(name))), None)
    if column is None or table[column].nunique() < 2:
        return []
    counts = table.groupby(column).size().sort_values(ascending=False, kind="stable")
    return list(counts.index[:STATIONS_TRIED])


def _sign(one: Seen, columns: Callable[[str], re.Match[str] | None], names: str) -> str:
    """What in the names of a table's columns, or else of its file, says what it is; empty if nothing does."""
    csv = one.kind in ("table", "points") or (one.kind == "unread" and one.file.lower().endswith(".csv"))
    own = [str(name) for name in one.sample.columns]
    stem = one.file.rsplit(".", 1)[0].lower()
    if not csv or re.search(VISIT_WORDS, " ".join([*own, stem]).lower()):
        return ""
    for name in own:
        if found := columns(name):
            return f"a column says {found[0]!r}"
    found = re.search(names, re.sub(NO_RAIN, "", stem))
    return f"its name says {found[0]!r}" if found else ""


def _rain_sign(one: Seen) -> str:
    own = [str(name) for name in one.sample.columns]
    folded = {plain(name): name for name in own}
    if bare_names(own):
        return f"its rows are those of GHCN-Daily ({', '.join(BARE_NAMES[:4])})"
    if "element" in folded and one.sample[folded["element"]].isin(("PRCP", "MDPR")).any():
        return "its elements are those of GHCN-Daily, PRCP among them"
    return _sign(one, _rain_column, GAUGE_NAMES)


def _rain_column(name: str) -> re.Match[str] | None:
    """What in the name of a column says that it is rain."""
    if re.search(NOT_RAINS, plain(name)) or re.search(NO_RAIN, name.lower()):
        return None
    return re.search(RAIN_WORDS, name.lower()) or re.search(RAIN_COLUMNS, plain(name))


def _temperature_sign(one: Seen) -> str:
    return _sign(one, lambda name: re.search(TEMPERATURE_COLUMNS, name.lower()), TEMPERATURE_NAMES)
