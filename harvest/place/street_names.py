"""Street names made alike, so that "12 N. Main St" finds "North Main Street"."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.place.street_words import (
    ANYWHERE,
    DIRECTIONS,
    KINDS,
    LEADING,
    ORDINALS,
    TYPES,
    UNNAMED,
)

COMPASS = tuple(sorted({*DIRECTIONS.values()}, key=len, reverse=True))
TYPES_AND_STREET = {**TYPES, "st": "street"}


def normal_name(names: pd.Series) -> pd.Series:
    """``names`` [n; text] without what writers differ in; NA where there is none.

    Case, accents, apostrophes, points and hyphens go; short forms, compass points and numbers are written out
    by the tables in :mod:`harvest.place.street_words`. "St" is a saint before another word and a street at the
    end. Each name stands for itself: nothing is guessed from the others.
    """
    place, unique = pd.factorize(names.astype("str"))
    made = _made_alike(pd.Series(unique, dtype="str")).to_numpy(dtype=object)
    found = np.full(len(names), pd.NA, dtype=object)
    found[place >= 0] = made[place[place >= 0]]
    return pd.Series(found, index=names.index, dtype="str")


def name_parts(normal: pd.Series) -> pd.DataFrame:
    """Names made alike taken apart into ``core``, ``kind`` and ``compass`` (text, "" where a name has none).

    "north main street" and "main street north" both are main, street, north. A name that is nothing else keeps
    its kind or its compass point as its core: "north street" is north, street.
    """
    text = normal.fillna("")
    words, kinds = "|".join(COMPASS), "|".join(sorted(KINDS))
    ahead = text.str.extract(rf"^({words}) (?!(?:{kinds})$)", expand=False)
    rest = text.where(ahead.isna(), text.str.replace(rf"^(?:{words}) ", "", regex=True))
    after = rest.str.extract(rf"(?<=\S) ({words})$", expand=False)
    rest = rest.where(after.isna(), rest.str.replace(rf" (?:{words})$", "", regex=True))
    last = rest.str.extract(rf"(?<=\S) ({kinds})$", expand=False)
    core = rest.where(last.isna(), rest.str.replace(rf" (?:{kinds})$", "", regex=True))
    first = core.where(last.isna()).str.extract(rf"^({kinds}) (?=\S)", expand=False)
    core = core.where(first.isna(), core.str.replace(rf"^(?:{kinds}) ", "", regex=True))
    return pd.DataFrame(
        {"core": core, "kind": last.fillna(first).fillna(""), "compass": ahead.fillna(after).fillna("")}
    )


def _made_alike(names: pd.Series) -> pd.Series:
    """:func:`normal_name` of names that differ [n]."""
    if names.empty:
        return names
    text = names.str.normalize("NFKD").str.replace(r"[\u0300-\u036f]", "", regex=True).str.casefold()
    text = text.str.replace(r"['’‘`´ʼ]", "", regex=True).str.replace("&", " and ", regex=False)
    text = text.str.replace(r"\b([^\W\d])\.(?=[^\W\d]\b)", r"\1", regex=True)
    text = text.str.replace(r"[\W_]+", " ", regex=True).str.strip()
    text = text.str.replace(r"\b(\d+)(?:st|nd|rd|th)\b", r"\1", regex=True)
    spelled = "|".join(sorted(ORDINALS, key=len, reverse=True))
    text = text.str.replace(rf"\b(?:{spelled})\b", lambda found: ORDINALS[found[0]], regex=True)
    text = text.str.replace(r"\b(north|south) (east|west)\b", r"\1\2", regex=True)
    text = text.str.replace(r"(?<=[^\W\d]{4})str\b", "strasse", regex=True)
    words = text.str.split(" ").explode()
    written = pd.Series(_written_out(words), index=words.index, dtype="str")
    whole = written.groupby(level=0, sort=True).agg(" ".join)
    return whole.mask(text.isin(UNNAMED) | whole.isin(UNNAMED))


def _written_out(words: pd.Series) -> NDArray[np.object_]:
    """``words`` of all names, one after the other (their index says whose), with short forms written out."""
    word = words.to_numpy(dtype=object)
    name = words.index.to_numpy()
    first = np.concatenate([[True], name[1:] != name[:-1]])
    last = np.concatenate([name[1:] != name[:-1], [True]])
    count = np.bincount(name, minlength=name[-1] + 1)[name]
    kind_like = words.isin({*TYPES_AND_STREET, *KINDS}).to_numpy()
    compass_like = words.isin({*DIRECTIONS, *DIRECTIONS.values()}).to_numpy()
    before, after = np.roll(kind_like, 1) & ~first, np.roll(kind_like, -1) & ~last
    tail = last | (np.roll(last & compass_like, -1) & ~last)
    tail &= ~(last & first)
    lettered = (first & (count == 2) & after) | (last & (count == 2) & before)
    way = compass_like & (first | last) & (count > 1) & ~lettered
    leading = ~tail & ~last
    found = word.copy()
    for chosen, table in (
        (~way & leading, LEADING),
        (~way & (tail | (first & ~words.isin(LEADING).to_numpy())) & (count > 1), TYPES_AND_STREET),
        (way, DIRECTIONS),
        (~way, ANYWHERE),
    ):
        fits = chosen & (found == word)
        full = words[fits].map(table)
        found[np.flatnonzero(fits)[full.notna()]] = full.dropna().to_numpy(dtype=object)
    return np.asarray(found, dtype=object)
