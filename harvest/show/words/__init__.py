"""Every text that ``show`` prints, in English, in one table; the register's labels and meanings stand with its fields.

A module holds the texts of one thing that people read; :data:`TABLE` holds all of them, by "module.name".
"""

from __future__ import annotations

from harvest.show.words.brief import BRIEF_WORDS
from harvest.show.words.cards import CARD_WORDS
from harvest.show.words.figure import FIGURE_WORDS
from harvest.show.words.headline import HEADLINE_WORDS
from harvest.show.words.page import WORDS
from harvest.show.words.public import PUBLIC_WORDS
from harvest.show.words.tables import TABLE_WORDS
from harvest.show.words.walk import WALK_WORDS

TABLE: dict[str, str] = {
    f"{module}.{name}": text
    for module, texts in {
        "headline": HEADLINE_WORDS,
        "page": WORDS,
        "public": PUBLIC_WORDS,
        "brief": BRIEF_WORDS,
        "figure": FIGURE_WORDS,
        "walk": WALK_WORDS,
        "cards": CARD_WORDS,
        "tables": TABLE_WORDS,
    }.items()
    for name, text in texts.items()
}
