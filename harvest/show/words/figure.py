"""Every text of the still figure, in English. ``{name}`` is filled in by :func:`said`."""

from __future__ import annotations

from harvest.show.words.filling import filler

FIGURE_WORDS: dict[str, str] = {
    "title_parcels": "What the roofs of {town} could catch",
    "title_streets": "Where to knock first in {town}",
    "under_parcels": "Capturable is what roofs with gutters shed from {first} to {last}, after losses.",
    "under_parcels_year": "Capturable is what roofs with gutters shed in a year, after losses.",
    "under_streets": "Each side of a street by the garden water that a minute at its doors is expected to win.",
    "legend_parcels": "Capturable, {unit}",
    "legend_streets": "Won by a minute there, {unit}",
    "levels": "The town, a year",
    "level_runoff_l_yr": "Sheds",
    "level_capturable_l_yr": "Capturable",
    "level_yield_l_yr": "Used",
    "legend_best": "The ten best streets",
    "legend_best_few": "The best streets",
    "legend_nil": "0: no gutter",
    "legend_nil_streets": "0: nothing to win",
    "legend_missing": "no figure",
    "legend_few": "none, or too few homes",
    "legend_under": "under {high}",
    "legend_between": "{low} to {high}",
    "legend_over": "{low} and more",
    "legend_any": "any above 0",
    "legend_water": "water",
    "legend_green": "parks and green",
    "legend_other": "other ground",
    "legend_street": "streets",
    "street": "{street} ({district})",
    "north": "N",
    "caution": "Potential, not a promise, and no cure for flooding. Roof water is never for drinking. Local code comes "
    "first. A low class never means ineligible.",
    "source": "Sources: {files}.",
    "source_imagery": "Roofs as mapped in {year}.",
    "source_gauge": "Daily rain of {first} to {last}.",
    "source_made_up": "Days of rain made up from monthly means.",
    "source_run": "Run of {day}.",
    "made_with": "{program} {version}.",
    "more_files": "{files} and {count} more",
}


said = filler(FIGURE_WORDS)
