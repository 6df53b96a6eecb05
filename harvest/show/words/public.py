"""Every text of the public edition, in one table, in English; what pages share stands in ``wording``."""

from __future__ import annotations

from harvest.show.words.filling import filler
from harvest.show.words.page import WORDS

PUBLIC_WORDS: dict[str, str] = {
    name: WORDS[name]
    for name in (
        *("no_script", "too_old", "damaged", "made_with", "missing", "million", "close"),
        *("zoom_in", "zoom_out", "whole_town", "outline_library", "skip_to_table"),
        *("legend_of", "legend_under", "legend_between", "legend_over", "legend_any"),
        *(
            "table_rows",
            "table_back",
            "table_next",
            "levels_note",
            "made_up_days",
            "about_heading",
            "about_figures",
        ),
        *("cautions_heading", "caution_drinking", "caution_law", "caution_yield"),
        *("caution_flood", "caution_pipes", "caution_overflow"),
    )
} | {
    "title": "{town}: what homes' roofs could catch, street by street",
    "heading": "What the roofs of homes in {town} could catch",
    "edition_name": "Public edition.",
    "edition_text": "Sums of at least {least} homes, rounded. No home can be told from them.",
    # The map
    "map_label": "Map of sums over many homes",
    "map_help": "Arrow keys move the map, plus and minus zoom. Enter opens what lies in the middle. Everything on "
    "the map can also be opened from the table.",
    "shown_heading": "What you see",
    "shown_streets": "Each colour is a sum over the homes on one side of a stretch of street, or on several stretches "
    "where homes are few.",
    "shown_blocks": "Each colour is a sum over the homes in one square of {cell}, or in several where homes are few.",
    "shown_blank": "Where nothing is coloured there are no homes, too few to be told of, or they were left out to "
    "protect those few. So what is shown does not add up to the town.",
    "shown_empty": "Nothing can be shown: there are too few homes in one place.",
    "legend_heading": "Colours",
    "measure_label": "Colour by",
    "legend_note": "Each colour holds about as many sums as any other, as far as round numbers allow.",
    "legend_one": "Sums are larger where more homes stand together; compare with the number of homes.",
    # Table and pop-up
    "table_heading": "All sums",
    "table_caption": "Sums over many homes. Column headings sort; a place opens on the map.",
    "table_where": "Where",
    "table_home_count": "Homes",
    "table_runoff_l_yr": "Sheds",
    "table_capturable_l_yr": "Capturable",
    "table_yield_l_yr": "Used",
    "table_pages": "Pages of the table",
    "table_empty": "Nothing can be shown.",
    "under": "under {bound}",
    "about_homes": "about {homes} homes",
    "where_street": "{street}, {stretch}, {side}",
    "where_more": "{street}, {stretch} and {more} more stretches, {side}",
    "where_short": "{street}, {side}",
    "where_square": "Block {square}",
    "where_squares": "Blocks {square}",
    "no_street": "Street without a name",
    "side_north": "north side",
    "side_east": "east side",
    "side_south": "south side",
    "side_west": "west side",
    "side_both sides": "both sides",
    "figure_levels": "All homes, a year",
    # How this was worked out
    "about_town": "All homes of the town, roughly",
    "about_homes_label": "Homes",
    "about_method": "Method",
    "method_area": "Roofs are measured from above on maps of buildings. Water is area × rain × runoff coefficient.",
    "method_season": "Capturable is what guttered roofs shed from {first} to {last}.",
    "method_used": "Used is what suggested barrels would deliver to gardens by a daily balance. It is far less: a "
    "barrel overflows in most storms.",
    "method_homes": "Only homes are counted. Schools, works, halls and other large roofs are in no sum.",
    "method_hidden": "A sum of fewer than {least} homes, or of which one home has more than {share}%, is not shown.",
    "method_rounded": "Volumes are rounded to {step}, numbers of homes to {homes}.",
    "method_grid": "Blocks are squares of {cell}, counted from the origin of {grid}.",
    "method_ids": "This edition holds no address, no parcel, and no single home's figure.",
}


told = filler(PUBLIC_WORDS)
