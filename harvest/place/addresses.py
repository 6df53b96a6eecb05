"""Addresses taken apart: house number, street and unit."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from harvest.place.street_names import normal_name
from harvest.place.street_words import KINDS, TYPES

UNIT_WORDS = ("unit", "apt", "apartment", "suite", "ste", "no", "flat", "rm", "room", "as")
UNIT_SAID = r"[^\W\d_]?\d{1,5}[^\W\d_]?(?:[-/]\d{1,4})?|[^\W\d_]|rear|front|upper|lower|basement|ph"
BEHIND = "rear|basement"
ROUTES = "route|rte|rt|highway|hwy|interstate|county road|county rd|state road|state rd|avenue|ave"
_LETTER = r"[^\W\d_]"
_AFTER = rf"\s?[½¼¾]|\s?(?:bis|ter|quater)\b|-?{_LETTER}(?!{_LETTER})"
_NUMBER = (
    rf"(?P<number>\d{{1,6}})(?P<suffix>{_AFTER})?(?:\s?[-&/+]\s?(?P<to>\d{{1,6}})(?:{_AFTER})?|-{_LETTER})?"
)
_ALONE = rf"(?i:no\.?\s*)?{_NUMBER}"
_FIRST = rf"^(?:no\.?\s*|nr\.?\s*|#\s*)?{_NUMBER}\s+(?P<street>.*\w.*)$"
_LAST = (
    rf"^(?P<street>.*?{_LETTER}\S*)\s+(?:no\.?\s*|nr\.?\s*|n°\s*)?{_NUMBER}"
    rf"(?:\s(?P<stair>{_LETTER}))?(?:\s(?P<unit>\d{{1,4}}))?$"
)
WIDEST_RANGE = 100
LONGEST = 200
"""What stands beyond so many characters is no address; it keeps long texts from taking long."""


def address_parts(addresses: pd.Series) -> pd.DataFrame:
    """``addresses`` [n; text] as ``number``, ``number_to`` (Int64), ``suffix``, ``street``, ``unit`` (text).

    Missing parts are NA, and so is number 0, by which land without a house is marked. "12A Oak St" has suffix
    "A", "12½" has "½"; "12-14" reaches to 14, and "1201-03" to 1203. A second number that is lower, or begins
    with 0, belongs to a hyphenated number as some cities have them: "37-12" is 3712. The number may stand
    first, or last ("Oak Road 12 A 5" is stair A, unit 5); what follows a comma is the town, unless the number
    stands there. The street is as it was written; :func:`~harvest.place.street_names.normal_name` makes it alike.
    """
    place, unique = pd.factorize(addresses.astype("str"))
    parts = _taken_apart(pd.Series(unique, dtype="str"))
    return parts.reindex(pd.Index(place).where(place >= 0)).set_axis(addresses.index)


def _taken_apart(text: pd.Series) -> pd.DataFrame:
    text = text.str.slice(0, LONGEST)
    text = text.str.replace(r"[‐‑‒–—−]", "-", regex=True).str.replace(r"\s+", " ", regex=True).str.strip()
    for plain, sign in (("1/2", "½"), ("1/4", "¼"), ("3/4", "¾")):
        text = text.str.replace(rf"(?<=\d)[\s-]{plain}(?!\d)", sign, regex=True)
    text, unit = _line_and_unit(text.mask(text == ""))
    ahead = text.str.extract(_FIRST, flags=re.IGNORECASE)
    bare = text.str.extract(rf"^{_ALONE}$", flags=re.IGNORECASE)
    ahead = ahead.fillna(bare.reindex(columns=ahead.columns))
    behind = text.where(ahead["number"].isna()).str.extract(_LAST, flags=re.IGNORECASE)
    behind = behind.mask(behind["street"].str.fullmatch(rf"(?i:.*\b)?(?i:{ROUTES})").fillna(False))
    number = ahead["number"].fillna(behind["number"])
    to = ahead["to"].fillna(behind["to"])
    suffix = ahead["suffix"].fillna(behind["suffix"]).fillna(behind["stair"])
    street, lettered = _letter_apart(ahead["street"])
    street = street.fillna(behind["street"]).fillna(text.where(number.isna()))
    first, last = _numbers(number, to, suffix.notna())
    texts = pd.DataFrame(
        {
            "suffix": suffix.fillna(lettered).str.strip(" -").str.upper(),
            "street": street.str.strip(" ,.;-"),
            "unit": unit.fillna(behind["unit"]),
        }
    )
    return pd.DataFrame({"number": first, "number_to": last, **texts.astype("str")})


def _line_and_unit(text: pd.Series) -> tuple[pd.Series, pd.Series]:
    """The line with number and street in each address [n], and the unit said before or after it."""
    words = "|".join(UNIT_WORDS)
    said = rf"(?:#\s*|\b(?:{words})\b\.?\s*#?\s*)({UNIT_SAID})"
    pieces = (
        text.str.split(r"\s*[,;]\s*", n=2, regex=True, expand=True).reindex(columns=range(3)).astype("str")
    )
    first, second = pieces[0], pieces[1].fillna("")
    unit = first.str.extract(rf"^{said}$", expand=False, flags=re.IGNORECASE)
    inner = unit.notna() & second.str.match(r"\d")
    unit = unit.where(inner)
    joined = first.str.fullmatch(_ALONE) & (second != "")
    joined |= ~first.str.contains(r"\d") & second.str.fullmatch(_ALONE)
    inner |= _house_named(first, second) & ~second.str.fullmatch(rf"(?i:{said})")
    line = first.mask(joined, first + " " + second).mask(inner, second)
    later = second.str.extract(rf"^{said}$", expand=False, flags=re.IGNORECASE).mask(inner)
    tail = line.str.extract(rf"\S\s\S.*?\s(?:{said}|({BEHIND}))$", flags=re.IGNORECASE)
    tail = tail[0].fillna(tail[1])
    line = line.where(
        tail.isna(), line.str.replace(rf"(\S\s\S.*?)\s(?i:{said}|{BEHIND})$", r"\1", regex=True)
    )
    return line, unit.fillna(tail).fillna(later)


def _house_named(first: pd.Series, second: pd.Series) -> pd.Series:
    """Whether ``first`` [n] is the name of a house, such as Mill House, and the street comes ``second``."""
    kinds = "|".join(sorted({*TYPES, *KINDS, "st"}))
    bare = ~first.str.contains(rf"\d|\b(?:{kinds})\.?$", flags=re.IGNORECASE) & first.notna()
    ahead = second.str.fullmatch(rf"(?i:\d{{1,4}}{_LETTER}? .*\b(?:{kinds})\.?)")
    return bare & (ahead | second.str.fullmatch(rf"\D*{_LETTER}\D* \d{{1,3}}{_LETTER}?"))


def _letter_apart(street: pd.Series) -> tuple[pd.Series, pd.Series]:
    """ "A Oak Street" of "12 A Oak Street" as street and letter; a compass point or "A Street" stays whole."""
    found = street.str.extract(r"^([A-DF-MO-RT-VX-Z]) (\S+ \S.*)$")
    return found[1].fillna(street), found[0]


def _numbers(number: pd.Series, to: pd.Series, lettered: pd.Series) -> tuple[pd.Series, pd.Series]:
    """First and last number [n; Int64] from what stands there as text."""
    first, last = _whole(number), _whole(to)
    fewer = to.str.len() < number.str.len()
    scale = 10 ** to.str.len().fillna(0).astype("Int64")
    last = last.mask(fewer & (number.str.len() > 2), first // scale * scale + last)
    rising = (last > first) & (last - first <= WIDEST_RANGE)
    hyphenated = (last != first).fillna(False) & ~rising.fillna(False) & (to.str.len() <= 2) & ~lettered
    first = first.mask(hyphenated, first * 100 + _whole(to))
    last = last.where(rising)
    return first.mask(first == 0), last


def _whole(text: pd.Series) -> pd.Series:
    return pd.to_numeric(text, errors="coerce").astype(np.float64).astype("Int64")


def address_keys(addresses: pd.Series) -> pd.Series:
    """``addresses`` [n; text] in one form, so that "12-A Oak St., Apt 3" and "12a oak street #3" are the same; "" for
    none."""
    parts = address_parts(addresses)
    words = [
        parts["number"].astype("str"),
        ("-" + parts["number_to"].astype("str")),
        parts["suffix"],
        normal_name(parts["street"]),
        ("unit " + parts["unit"]),
    ]
    key = pd.Series("", index=addresses.index, dtype="str")
    for word in words:
        key = key + " " + word.astype("str").fillna("").str.casefold()
    return key.str.split().str.join(" ")
