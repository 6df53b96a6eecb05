"""Every sentence that a door card says, in one table, in English.

``{name}`` is filled in by :func:`told`. Figures come ready with their unit. What the payback is and what a
figure hangs on are sentences of the run.
"""

from __future__ import annotations

from harvest.show.words.filling import filler

CARD_MARK = "harvest-mapper door cards"
"""Stands in every file of cards, so that only such a file is ever replaced by another."""

CARD_WORDS: dict[str, str] = {
    # Around the cards
    "title": "Door cards for {town}",
    "over": "What your roof and a rain barrel could do, {town}",
    "parcel": "Parcel {parcel}",
    "no_address": "No address on file",
    "cut": "{text}…",
    "staff_one": "1 card.",
    "staff_many": "{count} cards in street order.",
    "staff_note": "For staff: print this page to have one card on each sheet, leave each card at its own door, "
    "and do not publish the file.",
    "staff_list": "The cards, by address",
    # The drawing
    "drawing": "Drawing of the parcel and its roofs from above, north at the top",
    "drawing_none": "No outline to draw.",
    "north": "N",
    "mark_barrel": "roof with the barrel",
    "mark_other": "other roof",
    # Notes above everything
    "note_days": "The days of rain behind “used” are made up from monthly normals; no daily gauge was at hand.",
    "note_no roof": "No roof is mapped on this parcel, so there is nothing to work out.",
    "note_no footprint, check": "The building is newer than the map of roofs, so nothing could be worked out yet.",
    "note_no rain figure": "No rain figure covers this roof, so its water could not be worked out.",
    "note_no gutter": "No roof here counts as having a gutter. If one has, say so, and the figures change.",
    "note_association": "This roof covers several homes. Whoever runs the building decides about a barrel.",
    "note_unit of association": "This home shares its roof with others; the figures stand with the whole building.",
    "note_common ground": "This ground is shared by several homes; their roofs have cards of their own.",
    # One year
    "levels_heading": "One year, three levels of water",
    "level_runoff": "Sheds",
    "level_runoff_is": "runs off the whole roof in a year",
    "level_capturable": "Capturable",
    "level_capturable_is": "of that, off guttered roofs, {first} to {last}",
    "level_capturable_year": "of that, off guttered roofs",
    "level_used": "Used",
    "level_used_is": "of that, given to the garden by {barrels}",
    "level_used_none": "of that, given to a garden by a barrel",
    "range_doubt": "Used, how sure:",
    "range_doubt_is": "{range} a year. It hangs most on {hangs_on}.",
    "range_doubt_short": "{range} a year.",
    "range": "{low} to {high}",
    "range_weather": "Used, by weather:",
    "range_weather_is": "{low} in a poor year, {high} in a good one.",
    # One storm
    "storm_heading": "One storm",
    "storm_is": "reach one downspout, of {whole} off the whole roof, when {depth} of rain falls",
    "storm_whole_is": "run off the whole roof when {depth} of rain falls",
    "storm_fill": "An empty {volume} barrel there is full after about {minutes} of steady rain at {intensity} an "
    "hour. It is full before a storm peaks, so it does not prevent flooding.",
    "storm_inch": "Seldom empty when rain comes, it takes {share} of the first inch that falls on the whole roof.",
    "storm_inch_metric": "Seldom empty when rain comes, it takes {share} of the first 25 mm that fall on the "
    "whole roof.",
    "storm_none": "Not worked out for this roof.",
    "minute": "a minute",
    "minutes": "{count} minutes",
    "less_than_a_percent": "less than 1%",
    # Barrels
    "barrels_heading": "Barrels, and where",
    "barrel_one": "1 barrel",
    "barrel_many": "{count} barrels",
    "barrels_one_is": "of {volume}, filled about {fills} times a year",
    "barrels_many_is": "of {volume} each, filled about {fills} times a year",
    "barrels_size_one": "of {volume}",
    "barrels_size_many": "of {volume} each",
    "barrels_where": "By rule, not by sight, this roof has {count} downspouts, and {places} can take a barrel. "
    "Choose the one nearest the garden. Each drains about {area} of roof.",
    "barrels_where_one": "By rule, not by sight, this roof has 1 downspout, and it can take a barrel. It drains "
    "about {area} of roof.",
    "barrels_where_none": "By rule, not by sight, this roof has {count} downspouts; none of them is counted as "
    "able to take a barrel. Look before you decide.",
    "barrels_side": "Barrels beyond that number stand side by side, joined near the bottom.",
    "barrels_more": "One more barrel would add about {gain} a year.",
    "barrels_more_nothing": "One more barrel would add next to nothing.",
    "barrels_none": "None suggested",
    "barrels_no_garden": "No garden is counted on this parcel, so nothing would draw the water. If you do grow "
    "vegetables or flowers, say so: the figures change.",
    "barrels_no_gutter": "A barrel drinks from a downspout, and no roof here counts as having a gutter.",
    "barrels_unknown": "Not worked out for this parcel.",
    # Garden and money
    "garden_heading": "Garden and money",
    "weeks": "{met} of {asked} weeks",
    "weeks_is": "of watering are served in full",
    "garden_taken": "Assumed: a garden of {area}, watered {times} a week in {share} of the weeks; in the other "
    "weeks rain does it, or nobody waters.",
    "garden_none": "No garden to serve is counted here.",
    "once": "once",
    "twice": "twice",
    "times": "{count} times",
    "money_saves": "Saves {low} to {high} a year on the water bill.",
    "money_saves_same": "Saves about {low} a year on the water bill.",
    "money_no_price": "Savings are not worked out: no water price was given.",
    "money_costs": "Costs about {cost}, any rebate taken off.",
    "money_free": "Costs nothing once the rebate is taken off.",
    # Before the barrel goes in
    "check_heading": "Tick before a barrel goes in",
    "check_overflow": "The overflow is at least as wide as the inlet, and runs off {clear} or more from the house.",
    "check_neighbour": "It never runs onto a neighbour’s ground, a walk, a steep slope or a retaining wall.",
    "check_slope": "The ground there falls away from the house.",
    "check_basement": "No basement or crawl space takes in water on that side.",
    "check_base": "The base is level and firm and bears {weight} for each full barrel.",
    "check_roof": "The roof has no asbestos, no lead, and no wood treated against rot or moss.",
    "check_gutter": "Gutters are clean; the downspout is whole and does not go into the ground.",
    # Through the year
    "care_heading": "Through the year",
    "care_mesh": "Keep mesh of {mesh} on inlet and overflow. Let no water stand on the lid for a week.",
    "care_mosquito": "Against mosquitoes, use a briquette (Bti) by its label; it is common to renew it every four "
    "to seven weeks.",
    "care_draw": "Draw the barrel down between rains: a full barrel catches nothing.",
    "care_clean": "Clean gutters and mesh in spring and autumn, and rinse the barrel once a year.",
    "care_winter": "Before frost, drain it, take off the hose, lead the downspout back to where it ran, and store "
    "the barrel upside down.",
    # Cautions
    "caution_heading": "Take care",
    "caution_drink": "Never drink it. Mark the spigot: not drinking water.",
    "caution_pipes": "Never join a barrel to the pipes of the house.",
    "caution_soil": "Water the soil, not the leaves, and wash what you pick.",
    "caution_weight": "A full barrel weighs {weight} and can tip. Fix it, and keep children off it.",
    "caution_lid": "Keep the lid shut and fixed.",
    "caution_code": "Local code comes first. Ask the building department, and a licensed person about gutters, "
    "drains and overflow.",
    # At the foot
    "foot_list": "The town visits some addresses first. A low place on its list, or none, does not mean that a "
    "home is not eligible.",
    "foot_figures": "Estimates from outlines seen from above and from rain records, rounded to two digits. Nobody "
    "has looked at this house.",
    "foot_imagery": "Roofs as mapped in {year}.",
    "foot_made": "Made with {program} {version}.",
    "missing": "–",
}

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

CHECKS = (
    *("check_overflow", "check_neighbour", "check_slope", "check_basement"),
    *("check_base", "check_roof", "check_gutter"),
)
CARE = ("care_mesh", "care_mosquito", "care_draw", "care_clean", "care_winter")
CAUTIONS = (
    *("caution_drink", "caution_pipes", "caution_soil"),
    *("caution_weight", "caution_lid", "caution_code"),
)


told = filler(CARD_WORDS)


def day_told(text: str, units: str) -> str:
    """A day of the year such as 04-15, as those who read ``units`` say it."""
    month, day = (int(part) for part in text.split("-"))
    return f"{MONTHS[month - 1]} {day}" if units == "us" else f"{day} {MONTHS[month - 1]}"
