"""``[tariff]`` and ``[costs]``: what water costs, and what a barrel costs."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from annotated_types import Ge, Le
from pydantic import field_validator, model_validator

from harvest.project.setting import COMMON_PRACTICE, FROM_MEMORY, Section, required, setting

PriceUnit = Literal["1000 gal", "CCF", "m3", "gal"]

PER_UNIT = "the unit that per names"
USD_PER_UNIT = "USD a unit of water, as per names it"
RATE_SHEET = "given by the user, from the rate sheet"

Dollars = Annotated[float, Ge(0), Le(100_000)]
Years = Annotated[float, Ge(0.5), Le(60)]


class Block(Section):
    """One block of a tariff: from the end of the block before it up to its own end."""

    up_to: float | None = setting(
        None,
        "Where the block ends: volume in a billing period, counted from the first drop; the last has none.",
        unit=PER_UNIT,
        source=RATE_SHEET,
        gt=0,
        le=1e9,
    )
    price: float = setting(
        ..., "Price of water in the block.", unit=USD_PER_UNIT, source=RATE_SHEET, ge=0, le=1_000
    )


class Tariff(Section):
    """What tap water costs. Without this section nothing is said about savings."""

    per: PriceUnit = required(
        "The unit of water that prices and volumes are for: 1000 gal, CCF (100 cubic feet), m3 or gal."
    )
    blocks: list[Block] = required(
        "Blocks in order, such as [{ up_to = 10, price = 4.5 }, { price = 6.0 }]; a flat price is one block, "
        "[{ price = 4.5 }]. Prices may rise or fall from block to block."
    )
    billing_months: Literal[1, 2, 3, 4, 6, 12] = setting(
        1, "Months in a billing period; the first begins in January.", unit="month", source=COMMON_PRACTICE
    )
    fixed_usd: float = setting(
        0.0,
        "Charge per billing period whatever the use. It is never saved, and is read only so that a whole bill "
        "can be shown.",
        unit="USD",
        source=RATE_SHEET,
        ge=0,
        le=100_000,
    )
    included: float = setting(
        0.0,
        "Volume in a billing period that the fixed charge already pays for. Blocks count from the first drop, "
        "so the first block ends above it.",
        unit=PER_UNIT,
        source=RATE_SHEET,
        ge=0,
        le=1e9,
    )
    sewer_price: float = setting(
        0.0,
        "Price of sewerage on metered tap water.",
        unit=USD_PER_UNIT,
        source=RATE_SHEET,
        ge=0,
        le=1_000,
    )
    sewer_share: float = setting(
        0.0,
        "Share of the tap water no longer used, beyond the included volume, on which sewerage is saved too. "
        "Garden water is often not charged for sewerage at all.",
        unit="1",
        ge=0,
        le=1,
    )
    use_l_month: float = setting(
        20_000.0,
        "Tap water that a household uses in a month at present; it decides which blocks a saving comes out of.",
        unit="L/month",
        source=FROM_MEMORY,
        ge=0,
        le=1e7,
    )
    monthly_use_l: list[float] | None = setting(
        None, "Twelve monthly uses instead, January first, where use differs by season.", unit="L"
    )
    dear_usd_m3: float = setting(
        40.0,
        "A price above this is reported: more likely the unit is wrong than water that dear. 40 USD a cubic "
        "metre is about 150 USD per 1,000 gal.",
        unit="USD/m³",
        source=FROM_MEMORY,
        gt=0,
        le=1e6,
    )

    @field_validator("blocks")
    @classmethod
    def _rising_ends(cls, blocks: list[Block]) -> list[Block]:
        ends = [block.up_to for block in blocks]
        if not blocks:
            raise ValueError("there is no block; a flat price is one block, such as [{ price = 4.5 }]")
        if ends[-1] is not None:
            raise ValueError(
                f"the last block ends at {ends[-1]:g}, so what is used above has no price; leave out its up_to"
            )
        closed = [end for end in ends[:-1] if end is not None]
        if len(closed) < len(ends) - 1:
            raise ValueError("every block but the last needs up_to")
        if any(after <= before for before, after in pairwise(closed)):
            told = ", ".join(f"{end:g}" for end in closed)
            raise ValueError(f"the blocks end at {told}; put them in order, each ending above the one before")
        return blocks

    @field_validator("monthly_use_l")
    @classmethod
    def _twelve(cls, use: list[float] | None) -> list[float] | None:
        if use is not None and (len(use) != 12 or min(use) < 0):
            raise ValueError("monthly_use_l needs 12 numbers, January first, none negative")
        return use

    @model_validator(mode="after")
    def _fits_together(self) -> Tariff:
        first = self.blocks[0].up_to
        if first is not None and first <= self.included:
            raise ValueError(
                f"the first block ends at {first:g}, inside the included {self.included:g}; up_to counts from "
                "the first drop, so add the included volume to it"
            )
        if self.sewer_share > 0 and self.sewer_price == 0:
            raise ValueError("sewer_share needs a sewer_price")
        return self

    @property
    def use_by_month_l(self) -> list[float]:
        """Present use of a household by month [12; L], January first."""
        return self.monthly_use_l if self.monthly_use_l is not None else [self.use_l_month] * 12


class Costs(Section):
    """What a barrel costs, how long it lasts, and how much of what it gives replaces tap water."""

    barrel_usd: float = setting(
        110.0,
        "What one barrel costs all in: stand, kit, delivery.",
        unit="USD",
        source=f"{COMMON_PRACTICE} (1 to 5 USD a gallon of volume); the sum {FROM_MEMORY}",
        ge=0,
        le=100_000,
    )
    barrel_range_usd: list[Dollars] = setting(
        [70.0, 220.0],
        "Least and most that one barrel may cost all in.",
        unit="USD",
        source=f"{COMMON_PRACTICE} (1 to 5 USD a gallon of volume); the sums {FROM_MEMORY}",
        min_length=2,
        max_length=2,
    )
    life_years: float = setting(
        10.0, "Years that a barrel serves.", unit="year", source=FROM_MEMORY, ge=0.5, le=60
    )
    life_range_years: list[Years] = setting(
        [5.0, 15.0],
        "Least and most years that a barrel may serve.",
        unit="year",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    rebate_usd: float = setting(0.0, "Rebate for each barrel.", unit="USD", ge=0, le=100_000)
    rebate_most_usd: float | None = setting(
        None, "Most that one household is given in rebates; no limit when empty.", unit="USD", ge=0, le=1e6
    )
    replaces_tap: float = setting(
        0.6,
        "Share of the water drawn from a barrel that would else have come from the tap; the rest goes to plants "
        "that would not have been watered.",
        unit="1",
        source=FROM_MEMORY,
        ge=0,
        le=1,
    )
    no_payback_below: float = setting(
        0.10,
        "Below this chance of paying back, people are told plainly that it does not pay back in money.",
        unit="1",
        ge=0,
        le=0.5,
    )

    @model_validator(mode="after")
    def _ranges_hold_their_middle(self) -> Costs:
        for name, middle, (low, high) in (
            ("barrel_range_usd", self.barrel_usd, self.barrel_range_usd),
            ("life_range_years", self.life_years, self.life_range_years),
        ):
            if not low <= middle <= high:
                raise ValueError(f"{name} is least, then most, and {middle:g} lies between them")
        return self
