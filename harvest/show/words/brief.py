"""Every text of the brief for a council, in English. ``{name}`` is filled in by :func:`said`.

Figures come ready with their unit. What a range hangs on, and the names of findings, are words of the run.
"""

from __future__ import annotations

from harvest.show.words.filling import filler

BRIEF_WORDS: dict[str, str] = {
    "title": "Roof water in {town}",
    "over": "Brief for the council",
    "under": "What the town’s roofs shed in a year, what of it could be caught, and what gardens would use.",
    # The three levels
    "level_runoff": "Sheds",
    "level_runoff_is": "runs off all roofs in a year",
    "level_capturable": "Capturable",
    "level_capturable_is": "of that, off roofs with gutters from {first} to {last}, after losses",
    "level_capturable_year": "of that, off roofs with gutters, after losses",
    "level_yield": "Used",
    "level_yield_is": "of that, drawn by gardens from {barrels}",
    "level_yield_none": "Not worked out: no barrel is suggested anywhere.",
    "range": "{low} to {high}",
    "range_none": "no range worked out",
    "hangs_on": "Hangs most on {input}.",
    "share": "Gardens would use about {share} of what the roofs shed.",
    "share_tiny": "Gardens would use less than 0.1% of what the roofs shed.",
    "share_is": "The rest runs off as before: barrels overflow in most storms.",
    "made_up_days": "No gauge was given: the days of rain behind what is used are made up from monthly means, so read "
    "it as rough.",
    # Facts in one line
    "fact_roofs": "{count} roofs, {area} seen from above",
    "fact_roofs_one": "1 roof, {area} seen from above",
    "fact_saving": "{saving} a year saved on water bills",
    "fact_saving_range": "{saving} a year saved on water bills ({range})",
    "barrel_one": "1 suggested barrel",
    "barrel_many": "{count} suggested barrels",
    # The map
    "map": "Map of {town}: {what}",
    "map_parcels": "each parcel by what its roofs could catch",
    "map_streets": "each street by what a minute at its doors is expected to win",
    "map_none": "The map could not be drawn here.",
    # Streets
    "streets_heading": "The ten best streets",
    "streets_heading_few": "The best streets",
    "streets_order_worth_l_min": "In order of what a minute of canvassing is expected to win.",
    "streets_order_yield_door_l_yr": "In order of what a home there would use.",
    "streets_order_capturable_door_l_yr": "In order of what a home there could catch.",
    "streets_few": "Streets with fewer than {least} homes are left out, so that no row tells of one home.",
    "streets_none": "No street with at least {least} homes has a figure.",
    "column_street": "Street",
    "column_district": "District",
    "column_door_count": "Homes",
    "column_to_visit_count": "To visit",
    "column_capturable_l_yr": "Capturable",
    "column_yield_l_yr": "Used",
    "column_worth_l_yr": "Worth",
    "column_worth_l_min": "Worth a minute",
    "column_yield_door_l_yr": "Used a home",
    "column_capturable_door_l_yr": "Capturable a home",
    "column_runoff_l_yr": "Sheds",
    "column_suggested_barrels": "Barrels",
    "all_in": "All volumes in {unit}.",
    # Districts
    "districts_heading": "By district",
    "districts_other": "All other districts",
    "districts_no": "In no district",
    "districts_total": "The town",
    "districts_roofless": "Roofs that stand on no parcel are in the town’s figures on the first page, and not here.",
    # What it means
    "means_heading": "What it means",
    "means_where": "It says where roof water is, and on which streets a visit is likely to win most.",
    "means_order": "It orders visits, so that the hours of canvassers go where gardens would use most.",
    "means_honest": "It gives a range with each total. The input a range hangs most on is what to find out next.",
    "means_score": "It can be run again each year, with the visits made and the barrels installed.",
    "not_heading": "What it does not mean",
    "not_use": "Potential is not use. What a roof sheds is not what a barrel delivers.",
    "not_flood": "It does not reduce flooding. A barrel of {volume} at a downspout is full after about {minutes} of "
    "rain at {intensity}, before a storm peaks.",
    "not_flood_short": "It does not reduce flooding. A barrel fills within minutes, before a storm peaks.",
    "not_rank": "A low rank, or none, never means that a home is ineligible.",
    "not_share": "It is a small share of all roof water: about {share}. It does not replace drains or ponds.",
    "not_share_unknown": "It is a small share of all roof water. It does not replace drains or ponds.",
    "not_promise": "It is no promise and no engineering design. Nobody has looked at these roofs.",
    "minute": "a minute",
    "minutes": "{count} minutes",
    # Method
    "method_heading": "How it was worked out",
    "method_sheds": "Sheds: each roof seen from above × yearly rain there × a runoff coefficient of {coefficient}, "
    "which already contains what wets the roof.",
    "method_sheds_event": "Sheds: each roof seen from above × yearly rain there × {coefficient}, the coefficient "
    "that comes of losses day by day ({wetting} of wetting, then × {event}).",
    "method_capturable": "Capturable: what of that falls from {first} to {last} on roofs of at least {least} or known "
    "to have gutters.",
    "method_capturable_year": "Capturable: what of that falls on roofs of at least {least} or known to have gutters.",
    "method_used": "Used: a daily balance of barrels of {volume} at downspouts, filled by {days} and drawn for "
    "gardens: {times} a week in {weeks} of the weeks, at most {most} a time. {money}",
    "method_money": "Bills: the tariff’s price by volume, for the {share} of it that replaces tap water.",
    "method_no_money": "No tariff was given, so nothing is said of bills.",
    "method_ranges": "Ranges: {draws} draws of every doubtful input, those that all roofs share drawn once for all; 8 "
    "of 10 outcomes of the long-run mean lie within. Wet and dry years are not in them.",
    "method_streets_worth_l_min": "Streets: worth is used × chance of an answer × chance of joining × share that "
    "replaces tap water ({share}), over doors left to visit; a minute counts doors and walking.",
    "method_streets_yield_door_l_yr": "Streets: homes on the list, by the street in their address; used a home is "
    "the street’s used water over its homes.",
    "method_streets_capturable_door_l_yr": "Streets: homes on the list, by the street in their address; capturable a "
    "home is the street’s capturable water over its homes.",
    "days_gauge": "the days of a rain gauge, {first} to {last}",
    "days_gauge_plain": "the days of a rain gauge",
    "days_made_up": "days of rain made up from monthly means",
    "once": "once",
    "twice": "twice",
    "times": "{count} times",
    # Findings
    "findings_heading": "What is doubtful in the data",
    "findings_none": "The checks found nothing serious and nothing to warn of.",
    "findings_count": "{serious} serious, {warnings}, by the checks of this run.",
    "warning_one": "1 warning",
    "warning_many": "{count} warnings",
    "findings_named": "{severity}: {checks}.",
    "finding": "{check} ({count})",
    "more": "and {count} more kinds",
    "severity_serious": "Serious",
    "severity_warning": "Warnings",
    # Cautions
    "cautions_heading": "Take care",
    "caution_drink": "Roof water is not for drinking. Never join a barrel to a house’s pipes.",
    "caution_overflow": "Overflow runs away from foundations, basements and neighbours.",
    "caution_tip": "The water in a barrel of {volume} weighs about {weight}: level base, fixed so that it can’t tip.",
    "caution_children": "Lids shut and fixed, so that no child can get in.",
    "caution_mosquito": "Mesh on inlet and overflow against mosquitoes.",
    "caution_winter": "Drained before frost, and the downspout led back.",
    "caution_code": "Local codes come first: ask the building department, and licensed people about gutters, drains "
    "and overflow.",
    # At the foot
    "foot": "Figures are rounded to what they are worth. This brief holds no address, no parcel number and no name.",
    "missing": "–",
}

MEANS = ("means_where", "means_order", "means_honest", "means_score")
CAUTIONS = (
    *("caution_drink", "caution_overflow", "caution_tip", "caution_children"),
    *("caution_mosquito", "caution_winter", "caution_code"),
)


said = filler(BRIEF_WORDS)
