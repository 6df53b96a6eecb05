"""``[losses]``, ``[season]`` and ``[storm]``: from rain to litres."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import field_validator

from harvest.project.setting import COMMON_PRACTICE, FROM_MEMORY, Section, setting

DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


class Losses(Section):
    """What keeps rain from leaving the roof, counted once."""

    way: Literal["annual ratio", "event"] = setting(
        "annual ratio",
        'How losses are counted. "annual ratio": one volumetric coefficient that already contains wetting, as '
        'handbooks print it. "event": each day of the gauge loses wetting, a share, and the first flush by itself.',
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
    event_coefficient: float = setting(
        0.88,
        "The event way's runoff coefficient, which leaves wetting out (so it lies above the ratio's).",
        unit="1",
        source="within Farreny et al. 2011, Ragab et al. 2003, ASCE Manual 77; the middle from memory",
        ge=0.3,
        le=1.0,
    )
    wetting_mm: float = setting(
        0.5, "The event way's rain that only wets the roof, each wet day.", source=FROM_MEMORY, ge=0, le=5
    )
    first_flush_mm: float = setting(
        0.0,
        "The event way's depth led away at the start of each event. It belongs to tanks; a barrel has a screen. "
        "An allowance of volume, never a guarantee of quality.",
        source="0 for a barrel; 0.41 mm (1 gal per 100 ft²) is what TWDB recommends for a tank",
        ge=0,
        le=5,
    )
    filter_share: float = setting(
        1.0,
        "The event way's share of the water that passes a filter; a barrel's screen lets all through.",
        unit="1",
        source="1 for a barrel; TRCA/STEP LID wiki has about 0.9 for a tank's filter",
        gt=0,
        le=1,
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
    intensity_mm_h: float = setting(
        25.4,
        "Steady rain at which the minutes that fill a barrel are told; 25.4 mm/h is one inch an hour.",
        unit="mm/h",
        source=COMMON_PRACTICE,
        gt=0,
        le=500,
    )
    day_mm: float = setting(
        10.0,
        "A day with at least this much rain counts as a storm, when it is told how empty barrels are as one comes.",
        source=FROM_MEMORY,
        gt=0,
        le=100,
    )
