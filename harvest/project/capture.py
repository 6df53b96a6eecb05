"""``[losses]``, ``[season]`` and ``[storm]``: from rain to litres."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import field_validator

from harvest.project.setting import COMMON_PRACTICE, Section, setting

DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


class Losses(Section):
    """What keeps rain from leaving the roof, counted once."""

    way: Literal["annual ratio"] = setting(
        "annual ratio", "One volumetric coefficient that already contains wetting, as handbooks print it."
    )
    coefficient: float = setting(
        0.80,
        "Runoff coefficient: runoff over rain, by volume, for a roof of unknown material.",
        unit="1",
        source="enHealth 2010, App. B (0.80 to 0.85); Farreny et al. 2011; TRCA/STEP LID wiki (around 0.8 "
        "measured at three sites)",
        ge=0.3,
        le=1.0,
    )
    wetting_mm_yr: float = setting(
        0.0,
        "Rain that wets the roof in a year and is taken off before the coefficient, spread evenly over the "
        "months. Leave 0 unless the coefficient was published together with such a depth.",
        source="enHealth 2010, App. B: 24 mm a year belongs with 0.80 to 0.85",
        ge=0,
        le=100,
    )


class Season(Section):
    """The part of the year in which a barrel stands under the downspout."""

    first: str = setting("01-01", "First day, month-day; a whole year by default.")
    last: str = setting("12-31", "Last day, month-day; a season may run over the new year.")
    monthly_shares: list[float] | None = setting(
        None, "Twelve shares of the year's rain, January first; needed only with a yearly grid and a season."
    )

    @field_validator("first", "last")
    @classmethod
    def _month_day(cls, text: str) -> str:
        found = re.fullmatch(r"(\d{2})-(\d{2})", text)
        if (
            not found
            or not 1 <= int(found[1]) <= 12
            or not 1 <= int(found[2]) <= DAYS_IN_MONTH[int(found[1]) - 1]
        ):
            raise ValueError(f"{text!r} is not a month-day such as 04-15")
        return text

    @field_validator("monthly_shares")
    @classmethod
    def _twelve_to_one(cls, shares: list[float] | None) -> list[float] | None:
        if shares is not None and (len(shares) != 12 or min(shares) < 0 or abs(sum(shares) - 1) > 0.005):
            raise ValueError("monthly_shares needs 12 numbers, none negative, that add up to 1")
        return shares

    @property
    def whole_year(self) -> bool:
        """Whether the season is the whole year."""
        return self.first == "01-01" and self.last == "12-31"


class Storm(Section):
    """The one storm that people can picture."""

    depth_mm: float = setting(
        25.4, "Rain depth of the storm; 25.4 mm is one inch.", source=COMMON_PRACTICE, gt=0, le=500
    )
