"""Every sentence of walk lists and of the table for letters, in one table, in English.

``{name}`` is filled in by :func:`told`. Figures come ready with their unit.
"""

from __future__ import annotations

from harvest.fields.outreach import COME_BACK, INELIGIBLE, JOINED, NOT_HOME, OTHER_LANGUAGE, REFUSED
from harvest.show.words.filling import filler

WALK_MARK = "harvest-mapper walk lists"

TICKS = (COME_BACK, JOINED, REFUSED, INELIGIBLE, OTHER_LANGUAGE)
"""Outcomes that a knock can have, after nobody home. That a barrel was installed or verified is said by those who do
it, in the log."""

WALK_WORDS: dict[str, str] = {
    "title": "Walk lists for {town}",
    "town": "Roof-water visits, {town}",
    "round": "Round {round}",
    "page": "page {page} of {pages}",
    "staff": "For the canvassers of the programme only. Holds addresses: hand it back after the round.",
    "district": "{district}",
    # The figures of a round
    "fact_doors": "Doors",
    "fact_doors_note": "at {stops}",
    "stop_one": "1 stop",
    "stop_many": "{count} stops",
    "fact_time": "Time",
    "fact_time_note": "at doors and between",
    "fact_walk": "Walk",
    "fact_walk_note": "along the streets",
    "fact_answers": "Answers",
    "fact_joins": "Will join",
    "fact_usual_note": "in 8 of 10 such rounds",
    "fact_hours": "Knock only",
    "fact_hours_note": "or less, by local rules",
    "range": "{low} to {high}",
    "hours": "{hours} h",
    "hours_minutes": "{hours} h {minutes} min",
    "minutes": "{minutes} min",
    "clock": "{first} to {last}",
    "morning": "{hour} am",
    "afternoon": "{hour} pm",
    "miles": "{figure} miles",
    "metres": "{figure} m",
    "kilometres": "{figure} km",
    # The map
    "map": "Map of the walk: a heavy line that begins at a ring, stops as dots with their numbers, other streets thin, "
    "north at the top",
    "map_none": "No walk to draw.",
    "map_caption": "The heavy line is the walk; it begins at the ring. Dots are stops, on their side of the street, "
    "numbered as in the list.",
    "north": "N",
    # To be filled in
    "fill_date": "Date",
    "fill_begun": "Begun",
    "fill_ended": "Ended",
    # The second pass
    "second_heading": "Second pass",
    "second_counted": "After about {time} every door has been tried once. Then go back to the doors ticked “not home”, "
    "at another hour if you can; the time above counts it in. Tick the box “again” there.",
    "second_free": "Not counted in the time above. If time is left, try the doors ticked “not home” once more, at "
    "another hour if you can, and tick the box “again” there. Nobody home is not a no.",
    # The doors
    "street": "{street}, {side} side",
    "no_street": "Street without a name, {side} side",
    "cross": "Cross over to the {side} side",
    "turn": "Here it is the {side} side",
    "no_crossing": "Do not cross this street between its doors: it is divided or busy.",
    "no_address": "No address on file, parcel {parcel}",
    "doors": "{count} doors",
    "door": "door {number}",
    "more_doors": "and {count} more doors: note them on the back",
    "more_door": "and 1 more door: note it on the back",
    "status": "Before: {status}.",
    "caution": "Careful: {caution}",
    "says": "{depth} of rain brings {storm} off this roof. {barrels} would give the garden about {used} a year.",
    "says_no_barrel": "{depth} of rain brings {storm} off this roof. No barrel is suggested yet: ask about gutter and "
    "garden.",
    "says_unknown": "No figures for this roof: ask about gutter and garden.",
    "barrel_one": "1 barrel",
    "barrel_many": "{count} barrels",
    "again": "again",
    # At the end
    "end_heading": "All doors of round {round}",
    "totals": "{stops}, {doors} doors, {barrels} suggested. One storm ({depth} of rain) brings about {storm} off these "
    "roofs; the barrels would give the gardens about {used} a year.",
    "tally": "Count the ticks, and write them into walk-lists.csv, or into your log:",
    # Cautions
    "cautions_heading": "Before you go",
    "caution_law": "Local rules come first. Carry the permit where one is asked for; pass by doors with a sign against "
    "canvassing or trespassing.",
    "caution_hours": "Knock only from {hours}, and in shorter hours where local rules say so.",
    "caution_pairs": "Go in pairs, stay in sight of each other, and tell the office when you begin and when you end.",
    "caution_badge": "Wear your identification where all can see it, and say who sends you.",
    "caution_leave": "Asked to leave? Leave at once, and tick “refused”. Never go indoors or behind the house "
    "unasked.",
    "caution_dogs": "Dogs and gates: look and call before you open a gate, shut it behind you, and pass by a "
    "loose dog.",
    "caution_heat": "Heat: carry water, rest in the shade, and stop when anyone feels dizzy or unwell.",
    "caution_storm": "Thunder or lightning: stop, and go into a building or a closed car until half an hour after the "
    "last thunder.",
    "caution_promise": "Promise no drinking water: roof water is never for drinking. Promise no cure for floods, and "
    "no figure as certain: nobody has looked at these roofs.",
    "caution_private": "Write no names, telephone numbers or remarks about people. Do not leave this list behind.",
    # Letters
    "letter_year": "{figure} a year",
}
""""Half an hour after the last thunder" is what weather services advise (from memory); the rest is common practice."""

CAUTIONS = (
    *("caution_law", "caution_hours", "caution_pairs", "caution_badge", "caution_leave"),
    *("caution_dogs", "caution_heat", "caution_storm", "caution_promise", "caution_private"),
)

TICK_WORDS = {NOT_HOME: NOT_HOME, **{one: one for one in TICKS}}
"""What stands beside each box: the words that a log is read by, so that they can be copied as they are."""


told = filler(WALK_WORDS)
