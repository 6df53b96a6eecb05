"""Every text that the map page shows, in one table, in English.

Labels and meanings of figures come from the field register, and texts about the data (addresses, reasons,
settings, findings) from the result. ``{name}`` is filled in by :func:`filled` or by the page's scripts.
"""

from __future__ import annotations

import re

WORDS: dict[str, str] = {
    # The frame of the page
    "title": "{town}: what roofs could catch",
    "heading": "What the roofs of {town} could catch",
    "skip_to_table": "Skip the map and go to the table",
    "edition_name": "Staff edition.",
    "edition_text": "This page holds addresses and parcel numbers. It is for staff: do not publish it or pass "
    "it on.",
    "no_script": "This page needs JavaScript, which is switched off in this browser.",
    "too_old": "This browser is too old to open the data on this page. Please use a newer one.",
    "damaged": "The data on this page can't be read. The file may be damaged; ask for a new copy.",
    "made_with": "Made with {program} {version}",
    "limited": "The town has {all} parcels, too many for this page: it shows only the {best} best ranked. "
    "The tables beside this file hold all of them.",
    # The map
    "map_label": "Map of parcels",
    "map_help": "Arrow keys move the map, plus and minus zoom. Enter opens the parcel in the middle. Every "
    "ranked parcel can also be opened from the table.",
    "zoom_in": "Zoom in",
    "zoom_out": "Zoom out",
    "whole_town": "Show everything",
    "outline_library": "Leaflet",
    "basemap": "Show the background map",
    # What is shown
    "shown_heading": "Shown on the map",
    "shown_hint": "Choose a parcel on the map, or an address in the table, for its figures.",
    "shown_all": "All {parcels} parcels",
    "shown_some": "{parcels} of {all} parcels",
    "shown_none": "No parcel",
    "list_label": "Lists",
    "list_all": "All parcels",
    "list_both": "Both lists",
    "best_label": "Only the best",
    "best_all": "no limit",
    "total_missing": "{count} of them have no figure and are not in these sums.",
    # Search
    "search_label": "Find an address or parcel number",
    "search_none": "Nothing found.",
    "search_one": "1 found.",
    "search_few": "{count} found.",
    "search_many": "{count} found; the first {first} are shown.",
    # Legend
    "legend_heading": "Colours",
    "legend_of": "{label}, {unit}",
    "legend_under": "under {high}",
    "legend_between": "{low} to {high}",
    "legend_over": "{low} and more",
    "legend_any": "any figure above 0",
    "legend_nil": "0 (no roof with a gutter)",
    "legend_nothing_to_win": "0 (nothing to win)",
    "legend_missing": "no figure",
    "legend_roof": "roof, when zoomed in",
    "legend_faded": "not among those shown",
    "legend_note": "Each colour of the scale holds about as many parcels as any other.",
    # Table
    "table_heading": "Ranked parcels",
    "table_caption": "Ranked parcels among those shown. Column headings sort; an address opens the parcel on "
    "the map.",
    "table_rank": "Rank",
    "table_runoff_l_yr": "Sheds",
    "table_capturable_l_yr": "Capturable",
    "table_yield_l_yr": "Used",
    "table_suggested_barrels": "Barrels",
    "table_catchment_area_m2": "Roof area",
    "table_address": "Address",
    "table_empty": "No ranked parcel is shown.",
    "table_rows": "{first} to {last} of {all}",
    "table_back": "Back",
    "table_next": "Next",
    "table_pages": "Pages of the table",
    "no_address": "No address (parcel {parcel})",
    "missing": "–",
    "list_homes": "Homes",
    "list_large roofs": "Large roofs",
    "one_homes": "home",
    "one_large roofs": "large roof",
    "million": "{number} million",
    # Pop-up
    "close": "Close",
    "parcel": "Parcel {parcel}",
    "standing": "{list}: rank {rank} of {all}",
    "low_rank": "A low rank never means ineligible.",
    "large_roof": "So large a roof calls for a tank, and for another conversation.",
    "not_ranked": "Not ranked: {status}.",
    "levels_note": "A barrel delivers far less than the capturable volume: it overflows in most storms.",
    "used_with_one": "Used with 1 suggested barrel",
    "used_with_some": "Used with {count} suggested barrels",
    "used_part": "Used is about {percent}% of what the roofs shed: a barrel overflows in most storms.",
    "range": "{low} to {high}",
    "not_knowing": "Used, range of doubt",
    "weather": "Used, poor to good year",
    "used_hangs_on": "The doubt hangs most on {input}.",
    "cost": "Cost after rebate",
    "saving": "Saved on water bill",
    "no_barrels_roof": "No barrel is suggested: there is no roof.",
    "no_barrels_gutter": "No barrel is suggested: no roof here counts as having a gutter.",
    "no_barrels_garden": "No barrel is suggested: there is no garden to water, as far as is known.",
    "made_up_days": "The days of rain behind what barrels deliver are made up, since no gauge was given.",
    "more": "More about this parcel",
    "fills_at": "An empty barrel fills in about {time} of rain at {intensity}: it is full before a storm peaks.",
    "fills": "An empty barrel fills in about {time} of heavy rain: it is full before a storm peaks.",
    "storm": "Sheds in one storm ({depth} of rain)",
    # Cautions
    "cautions_heading": "Before anyone acts on a figure",
    "caution_drinking": "Roof water is not drinking water. Mark every outlet so, and keep children from it.",
    "caution_law": "Local code comes first. This page does not decide what is allowed; ask the building "
    "department and a licensed person.",
    "caution_pipes": "Never join a barrel to the pipes of a house.",
    "caution_yield": "Potential is not yield. These are volumes a roof offers, not what a barrel will hold or "
    "a garden will use.",
    "caution_flood": "A barrel is full before a storm peaks. It does not cure flooding.",
    "caution_overflow": "Overflow must run away from foundations and neighbours, and a full barrel is heavy: "
    "it needs a level, solid base.",
    "caution_rank": "A low rank, or none, never means ineligible. It orders visits, and nothing else.",
    # How this was worked out
    "about_heading": "How this was worked out",
    "about_figures": "What the figures mean",
    "about_town": "The whole town",
    "about_town_ranges": "Ranges tell what is not known, not the weather: in 8 of 10 draws the long-run mean lies "
    "within.",
    "figure": "Figure",
    "range_heading": "Range",
    "hangs_on": "hangs most on {input}",
    "town_saving": "Saved on water bills",
    "about_settings": "Settings in force",
    "about_inputs": "Files that were read",
    "about_findings": "What was noticed about the data",
    "about_no_findings": "Nothing was noticed.",
    "setting": "Setting",
    "value": "Value",
    "source": "Where it comes from",
    "from_default": "Default: {source}",
    "from_project": "Project file",
    "yes": "yes",
    "no": "no",
    "input_rows": "{rows} rows.",
    "input_checksum": "SHA-256 begins {sha256}.",
    "town_parcels": "Parcels",
    "town_roofs": "Roofs",
    "severity_note": "Note",
    "severity_warning": "Warning",
    "severity_serious": "Serious",
    "finding_first": "First: {first}",
}


def filled(name: str, **values: object) -> str:
    """The text called ``name`` with its ``{…}`` filled in."""
    text = WORDS[name]
    for key, value in values.items():
        text = text.replace("{" + key + "}", str(value))
    return text


def fill(text: str, **values: object) -> str:
    """``text`` with its ``{…}`` filled in; what a value itself holds is left as it is."""
    return re.sub(r"\{(\w+)\}", lambda mark: str(values[mark[1]]), text)
