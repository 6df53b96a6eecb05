"""Guesses at the layers a town may have beside roofs, parcels and rain: streets, districts, surroundings, visits."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harvest.project.streets import Streets
from harvest.read.columns import texts
from harvest.read.crs import Bounds
from harvest.read.guess import GROUND_WORDS, VISIT_WORDS, is_district, meet, plain, says
from harvest.read.guess_columns import Guess, by_name, is_filled, is_unique, some_filled
from harvest.read.look import Seen

STREET_WORDS = r"streets?|roads?|cent(er|re).?lines?|highways?|(?<![a-z])sts?(?![a-z])"
STREET_NAMES = (
    r"^(full|street|str|st|road|rd)(name|nam)(full)?$",
    r"^(name|streetnam|roadname|fullname|stname)$",
    r"^(street|road)$",
)
STREET_KINDS = (r"^(highway|fclass|roadclass|streetclass|type|kind|class|category)$",)

CITY_WORDS = r"wards?|precinct|neighb|district|council"
DISTRICT_IDS = (
    r"^(ward|precinct|district|dist|council(district)?|neighbou?rhood|nbhd)(id|no|num|number|code)?$",
    r"^(id|no|code|number|uid|guid|objectid|fid|gid)$",
)
NAMES = (r"^name$", r"^(label|title|longname|fullname)$", r"name$", r"^name")

KINDS_OF_GROUND = {
    "water": r"water|river|lake|pond|wetland|stream|creek|brook|(?<![a-z])(bay|sea|canal)s?(?![a-z])",
    "park": r"(?<![a-z])(park(?!ing)s?|greens?|commons?|forests?|woods?|playgrounds?)(?![a-z])",
}

BESIDE_DEGREES = 0.01
"""A layer within about a kilometre of the town is near it: a river may run beside it."""

LOG_COLUMNS = {"dates": r"date|day|when", "outcomes": r"outcome|result|status|response"}


@dataclass(frozen=True)
class Further:
    """Layers found beside the needed ones, each with the reason. ``context`` has the kind of each."""

    streets: tuple[Seen, str] | None
    districts: tuple[Seen, str] | None
    context: tuple[tuple[Seen, str, str], ...]
    visits: tuple[Seen, str] | None


def further(others: Iterable[Seen], town: Bounds | None) -> Further:
    """The likely streets, districts, surroundings and visit log among ``others``, near ``town`` [degrees]."""
    if town is not None:
        west, south, east, north = town
        by = BESIDE_DEGREES
        town = (west - by, south - by, east + by, north + by)
    near = [one for one in others if meet(one.bounds, town)]
    context = [(one, *found) for one in near if (found := _ground(one))]
    used = [one for one, *_ in context]
    rest = [one for one in near if not any(one is mine for mine in used)]
    return Further(_streets(rest), _districts(rest), tuple(context), _visits(rest))


def of_streets(one: Seen) -> dict[str, Guess]:
    """Guesses for the keys of ``[streets]``; a kind only where some kinds have no doors."""
    found = {"name": by_name(one.sample, STREET_NAMES, some_filled)}
    kind = by_name(one.sample, STREET_KINDS, some_filled)
    settings = Streets(file="")
    if (
        kind
        and texts(one.sample[str(kind.value)]).isin([*settings.leave_out, *settings.leave_out_unnamed]).any()
    ):
        found["kind"] = kind
    return {key: guess for key, guess in found.items() if guess}


def of_districts(one: Seen) -> dict[str, Guess]:
    """Guesses for the keys of ``[districts]``."""
    number = by_name(one.sample, DISTRICT_IDS, is_unique)
    rest = one.sample.drop(columns=[str(number.value)] if number else [])
    found = {"id": number, "name": by_name(rest, NAMES, is_filled)}
    return {key: guess for key, guess in found.items() if guess}


def of_context(one: Seen) -> dict[str, Guess]:
    """Guesses for the keys of ``[[context]]`` beside its kind."""
    name = by_name(one.sample, NAMES, some_filled)
    return {"name": name} if name else {}


def _ground(one: Seen) -> tuple[str, str] | None:
    """The kind of surroundings a layer is, and why; None for anything else."""
    if one.kind not in ("polygons", "lines"):
        return None
    for kind, words in KINDS_OF_GROUND.items():
        word = says(one, words)
        if word and not says(one, STREET_WORDS):
            return kind, f"its name says {word!r}"
    return None


def _streets(seen: Sequence[Seen]) -> tuple[Seen, str] | None:
    """Of the layers of lines with street names or a telling name, the one that says most."""
    best: tuple[float, Seen, str] | None = None
    for one in seen:
        if one.kind != "lines":
            continue
        word, name = says(one, STREET_WORDS), of_streets(one).get("name")
        if not word and says(one, GROUND_WORDS):
            continue
        score = 2.0 * bool(word) + bool(name)
        if score and (best is None or score > best[0]):
            best = score, one, f"its name says {word!r}" if word else "lines with a column of names"
    return best and (best[1], best[2])


def _districts(seen: Sequence[Seen]) -> tuple[Seen, str] | None:
    """Of the layers that may be districts, the one whose name says so, else the one with names."""
    best: tuple[float, Seen, str] | None = None
    for one in seen:
        if one.kind != "polygons" or not is_district(one) or says(one, GROUND_WORDS) or (one.rows or 0) < 2:
            continue
        word, known = says(one, CITY_WORDS), of_districts(one)
        score = 2.0 * bool(word) + 0.5 * len(known)
        if score and (best is None or score > best[0]):
            why = f"its name says {word!r}" if word else "few and large polygons with names"
            best = score, one, why
    return best and (best[1], best[2])


def _visits(seen: Sequence[Seen]) -> tuple[Seen, str] | None:
    """The table with dates and outcomes; of several, the last by name, which mostly is the latest year's."""
    for one in reversed(seen):
        names = [plain(str(name)) for name in one.sample.columns]
        found = {
            what: [name for name in names if re.search(words, name)] for what, words in LOG_COLUMNS.items()
        }
        told = " ".join([*names, one.file.lower()])
        if one.kind == "table" and all(found.values()) and re.search(VISIT_WORDS, told):
            return one, f"it has columns such as {', '.join(some[0] for some in found.values())}"
    return None
