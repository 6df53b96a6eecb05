"""Addresses in the order in which a person walks past them: by street, then by house number."""

from __future__ import annotations

import re
from typing import NamedTuple

import pandas as pd

from harvest.parcel_rows import UNIT_WORDS

NUMBER_FIRST = re.compile(r"(\d{1,9})(?!\d)(\S*)\s+(.+)")
NUMBER_LAST = re.compile(r"(.+?)\s+(\d{1,9})(?!\d)(\S*)")


class Door(NamedTuple):
    """An address taken apart, parts in the order in which doors are sorted; "" and 0 where there is none."""

    street: str
    number: int
    after: str
    unit: str


def door(address: str | None) -> Door:
    """``address`` taken apart: "12B Oak Street Unit 3" is street "Oak Street", number 12, after "B", unit "3".

    The number may also stand last, and what follows a comma is the town, not the street.
    """
    if address is None or pd.isna(address):
        return Door("", 0, "", "")
    words = address.partition(",")[0].split()
    at = next((at for at, word in enumerate(words) if at > 1 and _begins_unit(word)), len(words))
    text, unit = " ".join(words[:at]), " ".join(words[at:]).lstrip("#")
    if len(words) > at + 1 and not words[at].startswith("#"):
        unit = " ".join(words[at + 1 :])
    if found := NUMBER_FIRST.fullmatch(text):
        return Door(found[3], int(found[1]), found[2], unit)
    if found := NUMBER_LAST.fullmatch(text):
        return Door(found[1], int(found[2]), found[3], unit)
    return Door(text, 0, "", unit)


def street_order(parcels: pd.DataFrame) -> pd.Index:
    """Labels of ``parcels`` in walking order of their ``address``; those without come last, by ``parcel_id``."""
    keys = zip(map(_key, parcels["address"]), parcels["parcel_id"], parcels.index, strict=True)
    return pd.Index([label for *_, label in sorted(keys)])


def _key(address: str | None) -> tuple[bool, str, int, str, int, str]:
    one = door(address)
    unit = int(found[0]) if (found := re.search(r"\d{1,9}", one.unit)) else 0
    return (
        not one.street,
        one.street.casefold(),
        one.number,
        one.after.casefold(),
        unit,
        one.unit.casefold(),
    )


def _begins_unit(word: str) -> bool:
    return word.startswith("#") or word.casefold().strip(".,#") in UNIT_WORDS
