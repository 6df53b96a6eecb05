"""``[gauge]``, ``[temperature]`` and ``[generated_rain]``: how weather runs through the days and months."""

from __future__ import annotations

from typing import Literal

from pydantic import field_validator, model_validator

from harvest.project.setting import COMMON_PRACTICE, FROM_MEMORY, Section, required, setting

GaugeUnit = Literal["mm", "0.1 mm", "inch", "0.01 inch"]
TemperatureUnit = Literal["C", "F"]
DateOrder = Literal["day first", "month first"]


class Gauge(Section):
    """A record of daily rain, from which a barrel is filled day by day."""

    file: str = required(
        "A table of daily rain as text: a date and a depth in each row, or GHCN-Daily in either of its CSV forms."
    )
    date: str | list[str] | None = setting(
        None, "Date column, or the three columns year, month and day in this order; found by name when empty."
    )
    rain: str | None = setting(None, "Column of the day's rain; found by name when empty.")
    station: str | None = setting(None, "The station to read, needed only where the file holds several.")
    unit: GaugeUnit | None = setting(
        None, "Unit of the depths; needed only where neither the column's name nor the file's form says it."
    )
    date_order: DateOrder | None = setting(
        None, "How dates such as 3/4/2015 are meant; needed only where no day of the record decides it."
    )
    most_missing_days: int = setting(
        10,
        "A year with more days missing than this is left out whole; in the others, missing days count as dry.",
        unit="days",
        source=COMMON_PRACTICE,
        ge=0,
        le=60,
    )
    few_years: int = setting(
        10,
        "A record of fewer whole years than this is reported as short.",
        unit="years",
        source=COMMON_PRACTICE,
        ge=1,
        le=50,
    )
    most_mm_day: float = setting(
        1825.0,
        "A day with more rain than this is no reading and counts as missing; the highest ever measured by default.",
        unit="mm",
        source="24-hour record of La Réunion, January 1966; from memory",
        ge=100,
        le=2000,
    )
    least_factor: float = setting(
        0.7,
        "A month in which the grid's normal over the gauge's mean is below this is reported.",
        unit="1",
        gt=0,
        le=1,
    )
    most_factor: float = setting(
        1.4,
        "A month in which the grid's normal over the gauge's mean is above this is reported.",
        unit="1",
        ge=1,
        le=5,
    )

    @field_validator("date")
    @classmethod
    def _one_or_three(cls, date: str | list[str] | None) -> str | list[str] | None:
        if isinstance(date, list) and (len(date) != 3 or len(set(date)) != 3):
            raise ValueError("date is one column, or the three columns year, month and day in this order")
        return date


class Temperature(Section):
    """Mean daily low and high of each month, from which the garden's thirst is worked out."""

    file: str = required("A CSV with one row for each month: the month, its mean daily low and high.")
    month: str | None = setting(None, "Column of months, as numbers or names; found by name when empty.")
    low: str | None = setting(None, "Column of mean daily lows; found by name when empty.")
    high: str | None = setting(None, "Column of mean daily highs; found by name when empty.")
    unit: TemperatureUnit | None = setting(
        None, "C or F; needed only where the columns' names do not say it."
    )
    least_c: float = setting(
        -60.0, "A month colder than this stops the run.", unit="°C", source=FROM_MEMORY, ge=-90, le=0
    )
    most_c: float = setting(
        60.0, "A month hotter than this stops the run.", unit="°C", source=FROM_MEMORY, ge=20, le=70
    )


class GeneratedRain(Section):
    """Days of rain made up from monthly normals, used only where there is no gauge, and marked as made up."""

    years: int = setting(20, "How many years to make up.", unit="years", ge=2, le=200)
    seed: int = setting(1, "Number that fixes the draws; the same one makes the same days.", unit="1", ge=0)
    wet_share: float = setting(
        0.22,
        "Share of wet days in a month that has 1 mm a day on average; it grows with the root of the rain.",
        unit="1",
        source="mean of six daily records from five countries, which lie between 0.13 and 0.32",
        ge=0.05,
        le=0.5,
    )
    most_wet_share: float = setting(
        0.80,
        "The share of wet days in the wettest months goes no higher.",
        unit="1",
        source=FROM_MEMORY,
        ge=0.3,
        le=0.95,
    )
    persistence: float = setting(
        0.35,
        "How much likelier rain is after a wet day than after a dry one.",
        unit="1",
        source="0.30 to 0.43 in six daily records from five countries; Geng et al. 1986, Agric. For. Meteorol. "
        "36:363-376 has 0.25, from memory",
        ge=0,
        le=0.8,
    )
    amount_shape: float = setting(
        0.7,
        "Shape of the gamma law of wet days' amounts; the smaller, the more of the rain falls on few days.",
        unit="1",
        source="Geng et al. 1986 (about 0.66 where a wet day brings 7 mm on average); from memory",
        ge=0.3,
        le=2,
    )
    year_spread: float = setting(
        0.1,
        "Spread of a factor common to all days of a year, so that wet and dry years differ as much as real ones.",
        unit="1",
        source="brings the spread of years to 0.19 to 0.26 of their mean; six daily records have 0.15 to 0.29",
        ge=0,
        le=0.5,
    )

    @model_validator(mode="after")
    def _room(self) -> GeneratedRain:
        if self.most_wet_share < self.wet_share:
            raise ValueError("most_wet_share can't be below wet_share")
        return self
