"""Fields of what barrels would deliver: at one downspout, in a year, with how much doubt, and for what money.

All are missing where there is nothing to go by (no months and no gauge, no rain figure, litres on another row).
"""

from __future__ import annotations

from typing import Any

from harvest.fields.register import Field

MOST_BARRELS = 6


def _number(name: str, label: str, meaning: str, unit: str, **more: Any) -> Field:
    return Field(name, "float", label, meaning, unit=unit, **{"minimum": 0, "nullable": True, **more})


def _count(name: str, label: str, meaning: str, **more: Any) -> Field:
    return Field(name, "integer", label, meaning, unit="1", minimum=0, nullable=True, **more)


def _text(name: str, label: str, meaning: str) -> Field:
    return Field(name, "string", label, meaning, nullable=True)


def yield_name(barrels: int) -> str:
    """The name of the field that holds what ``barrels`` deliver."""
    return f"yield_{barrels}_barrels_l_yr"


EAVE = _number(
    "eave_m",
    "Eaves",
    "Length of the eaves as far as the outline shows: the two long sides of the smallest rectangle around it.",
    "m",
)
DOWNSPOUTS = (
    _count(
        "downspout_count",
        "Downspouts",
        "Downspouts of the roof by rule, not by sight: from its area and its eaves.",
    ),
    _count("barrel_places", "Places for barrels", "Downspouts of the roof that can take a barrel, by rule."),
    _number(
        "served_area_m2",
        "Roof area at a downspout",
        "The part of the roof that drains to one downspout, the middle one; a barrel drinks from this, not from "
        "the whole roof.",
        "m²",
    ),
    _number(
        "storm_downspout_l",
        "One storm at a downspout",
        "What one storm of the set depth brings to one downspout, the middle one.",
        "L",
    ),
    _number(
        "fill_depth_mm",
        "Rain that fills a barrel",
        "Rain that fills an empty barrel at that downspout.",
        "mm",
    ),
    _number(
        "fill_min",
        "Minutes to fill",
        "Minutes of steady rain at the set intensity that fill an empty barrel there. It is full before a storm "
        "peaks, so it does not cure flooding.",
        "min",
        digits=2,
    ),
)
"""Fields of a roof, and of a parcel: those of the roof at which its barrels stand."""

PARCEL_FIELDS = (
    _text(
        "barrel_roof_id",
        "Roof with barrels",
        "The roof at which the barrels are thought to stand: the parcel's largest with a gutter.",
    ),
    *DOWNSPOUTS,
    _number("garden_m2", "Garden", "Garden that the barrels water, as assumed; lawn is left out.", "m²"),
    _count(
        "suggested_barrels",
        "Suggested barrels",
        "Barrels to suggest: one more as long as it adds enough water a year; 0 where there is no garden.",
    ),
    _number(
        "yield_l_yr",
        "Used in a year",
        "What the suggested barrels deliver and the garden uses in a mean year, by a daily tank balance.",
        "L/yr",
        adds="sum",
        published=True,
    ),
    _number(
        "yield_low_l_yr",
        "Used, low",
        "Not knowing, low end: 10th percentile of the long-run mean, all inputs drawn within their doubt.",
        "L/yr",
    ),
    _number(
        "yield_high_l_yr",
        "Used, high",
        "Not knowing, high end: 90th percentile of the long-run mean, all inputs drawn within their doubt.",
        "L/yr",
    ),
    _text(
        "yield_hangs_on",
        "Used: hangs most on",
        "The input whose doubt moves the figure of what is used most.",
    ),
    _number(
        "yield_poor_year_l_yr",
        "Used in a poor year",
        "Weather, low end: 10th percentile of the years of the daily record, everything else as assumed. In a wet year "
        "a garden asks for less, so a poor year need not be a dry one.",
        "L/yr",
    ),
    _number(
        "yield_good_year_l_yr",
        "Used in a good year",
        "Weather, high end: 90th percentile of the years of the daily record, everything else as assumed.",
        "L/yr",
    ),
    *(
        _number(
            yield_name(number),
            f"Used with {number} barrel{'s' if number > 1 else ''}",
            f"What {number} barrel{'s' if number > 1 else ''} would deliver to the same garden in a mean year.",
            "L/yr",
            adds="sum",
        )
        for number in range(1, MOST_BARRELS + 1)
    ),
    _number(
        "demand_l_yr",
        "Garden asks in a year",
        "What the garden asks for on the days on which people draw, in a mean year, up to the most they draw.",
        "L/yr",
        adds="sum",
    ),
    _number(
        "inflow_l_yr", "Reaches the barrels", "What reaches the suggested barrels in a mean year.", "L/yr"
    ),
    _number(
        "overflow_l_yr",
        "Goes over the top",
        "What overflows from the suggested barrels in a mean year; it must run away from the house.",
        "L/yr",
    ),
    _number(
        "demand_days_yr",
        "Days that ask for water",
        "Days a year on which people draw and the garden asks.",
        "1/yr",
    ),
    _number(
        "days_met_yr",
        "Days served in full",
        "Of the days that ask for water, those on which the barrels give all of it (time reliability times days).",
        "1/yr",
    ),
    _number(
        "fills_yr", "Times filled", "How often the suggested barrels fill in a mean year.", "1/yr", digits=2
    ),
    _number(
        "room_share",
        "Room as a storm comes",
        "How empty the barrels are, on average, on the morning of a storm.",
        "1",
        maximum=1 + 1e-9,
        digits=2,
    ),
    _number(
        "first_inch_share",
        "Part of the first inch",
        "What the barrels take of the first inch of rain on the whole roof, as empty as they are when storms come.",
        "1",
        maximum=1 + 1e-9,
        digits=2,
    ),
    _number(
        "capturable_low_l_yr",
        "Capturable, low",
        "Not knowing, low end: 10th percentile of the long-run mean, all inputs drawn within their doubt.",
        "L/yr",
    ),
    _number(
        "capturable_high_l_yr",
        "Capturable, high",
        "Not knowing, high end: 90th percentile of the long-run mean, all inputs drawn within their doubt.",
        "L/yr",
    ),
    _number(
        "saving_usd_yr",
        "Saved in a year",
        "Saved on the water bill in a mean year by what the suggested barrels deliver; never on a fixed charge.",
        "USD/yr",
        adds="sum",
    ),
    _number(
        "saving_low_usd_yr", "Saved, low", "Saved on the water bill, 10th percentile of the draws.", "USD/yr"
    ),
    _number(
        "saving_high_usd_yr",
        "Saved, high",
        "Saved on the water bill, 90th percentile of the draws.",
        "USD/yr",
    ),
    _number(
        "net_cost_usd",
        "Cost after rebate",
        "What the suggested barrels cost the household, all in, after any rebate.",
        "USD",
    ),
    _number(
        "payback_chance",
        "Chance of paying back",
        "Share of draws in which savings over the barrels' life reach their cost to the household.",
        "1",
        maximum=1,
        digits=2,
    ),
    _text("payback", "Paying back", "The chance of paying back in money, in a sentence."),
)
