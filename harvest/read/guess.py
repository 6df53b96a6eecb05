"""Guesses at what a folder's layers are for, each with the reason, from names, sizes, columns and overlap."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from harvest.read.crs import Bounds
from harvest.read.look import Seen

BUILDING_WORDS = r"build[a-z]*|bldgs?|footprints?|roofs?|struct[a-z]*|houses?"
PARCEL_WORDS = r"parcels?|plots?|lots|cadast[a-z]*|propert[a-z]*|taxmap"
DISTRICT_WORDS = r"wards?|district|precinct|neighb|boundar|zoning|council|tract"
GROUND_WORDS = r"park|water|river|lake|pond|tree|lawn|wetland|soil|flood"
RAIN_WORDS = r"(?<![dtr])rain[a-z]*|precip[a-z]*|prcp|ppt"
RAIN_VARIABLES = ("pr", "tp", "prec", "rr")
TEMPERATURE_WORDS = r"(?<!at)temp(?!l|or)[a-z]*|tmin|tmax|tmean"
VISIT_WORDS = r"visit|outcome|canvass"
OTHER_GRID_WORDS = r"temp|tmean|tmin|tmax|tas|evap|elev|dem|slope|wind|snow|land"

BUILDING_COLUMNS = r"height|stor(ey|ies)|levels?$|roof|gutter|eave|^bldg|^building|imagery"
PARCEL_COLUMNS = (
    r"parcel|owner|landuse|usecode|zoning|acre|^apn$|^pin$|deed|assess|units$|yearbuilt|builtyear"
)

BUILDING_AREAS_M2 = (5, 800)
PARCEL_AREAS_M2 = (80, 50_000)
DISTRICT_AREA_M2 = 100_000
DISTRICTS_AT_MOST = 500

MONTH_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass(frozen=True)
class Roles:
    """Which layer is what. ``rainfall`` is one grid, or twelve of one month each in order; ``others`` are all
    the rest, each with what it seems to be; ``why`` says by what each role was recognised.
    """

    footprints: Seen | None
    parcels: Seen | None
    rainfall: tuple[Seen, ...]
    others: tuple[tuple[Seen, str], ...]
    why: dict[str, str] = field(default_factory=dict)


def plain(name: str) -> str:
    """A name without case, spaces and signs, for comparing."""
    return re.sub(r"[^a-z0-9]", "", name.lower())


def roles(seen: Sequence[Seen]) -> Roles:
    """The most likely role of each thing seen."""
    footprints, parcels = _pair([one for one in seen if one.kind == "polygons"])
    town = next((one.bounds for one in (parcels, footprints) if one is not None and one.bounds), None)
    rainfall = _rainfall([one for one in seen if one.kind == "grid"], town)
    used = [one for one in (footprints, parcels, *rainfall) if one is not None]
    others = tuple((one, _other(one)) for one in seen if not any(one is mine for mine in used))
    why = {}
    if footprints is not None:
        why["footprints"] = _why(footprints, BUILDING_WORDS, BUILDING_COLUMNS)
    if parcels is not None:
        why["parcels"] = _why(parcels, PARCEL_WORDS, PARCEL_COLUMNS)
    if rainfall:
        why["rainfall"] = _why_rain(rainfall)
    return Roles(footprints, parcels, rainfall, others, why)


def says(one: Seen, words: str) -> str | None:
    """What in the name of the layer, or else of the file, fits ``words``."""
    for name in (one.layer or "", one.file.rsplit(".", 1)[0]):
        found = re.search(words, name.lower())
        if found:
            return found[0]
    return None


def _columns_like(one: Seen, pattern: str) -> list[str]:
    return [str(name) for name in one.sample.columns if re.search(pattern, plain(str(name)))]


def _likeness(one: Seen, words: str, columns: str, areas: tuple[int, int]) -> float:
    """How much a layer of polygons looks like one kind: by name, columns and typical size."""
    score = 3.0 * bool(says(one, words)) + min(2, len(_columns_like(one, columns)))
    if one.typical_area_m2 is not None:
        score += areas[0] <= one.typical_area_m2 <= areas[1]
    return score - 4 * bool(says(one, GROUND_WORDS))


def _building(one: Seen) -> float:
    return _likeness(one, BUILDING_WORDS, BUILDING_COLUMNS, BUILDING_AREAS_M2) + 3 * one.openstreetmap


def _parcel(one: Seen) -> float:
    return _likeness(one, PARCEL_WORDS, PARCEL_COLUMNS, PARCEL_AREAS_M2) - 9 * one.openstreetmap


def is_district(one: Seen) -> bool:
    """Whether a layer of polygons is more likely districts than roofs or parcels."""
    large = (one.typical_area_m2 or 0) >= DISTRICT_AREA_M2 and (one.rows or 0) <= DISTRICTS_AT_MOST
    return bool(says(one, DISTRICT_WORDS)) or large


def _pair(polygons: Sequence[Seen]) -> tuple[Seen | None, Seen | None]:
    """Footprints and parcels: the pair that fits best; of two alike, the smaller outlines are the roofs."""
    able = [one for one in polygons if not is_district(one)]
    best: tuple[float, Seen | None, Seen | None] = (0.0, None, None)
    for footprints in able:
        if _building(footprints) < 1:
            continue
        alone = _building(footprints) - max(0.0, _parcel(footprints) - _building(footprints)) * 2
        if alone > best[0] and _building(footprints) >= _parcel(footprints):
            best = (alone, footprints, None)
        for parcels in able:
            if parcels is footprints or _parcel(parcels) < 1:
                continue
            smaller = (footprints.typical_area_m2 or 0) < (parcels.typical_area_m2 or 0)
            score = _building(footprints) + _parcel(parcels) + (2 if smaller else -2)
            if not meet(footprints.bounds, parcels.bounds):
                score -= 6
            if score > best[0]:
                best = (score, footprints, parcels)
    if best[1] is None:
        like_parcels = [one for one in able if _parcel(one) >= 1]
        return None, max(like_parcels, key=_parcel, default=None)
    return best[1], best[2]


def meet(first: Bounds | None, second: Bounds | None) -> bool:
    """Whether two extents in degrees overlap; unknown ones may."""
    if first is None or second is None:
        return True
    return first[0] <= second[2] and second[0] <= first[2] and first[1] <= second[3] and second[1] <= first[3]


def _rainfall(grids: Sequence[Seen], town: Bounds | None) -> tuple[Seen, ...]:
    """The grid, or the twelve, that most likely hold rain."""
    choices = [(one,) for one in grids if one.bands in (1, 12, 13)] + _twelves(grids)
    best: tuple[Seen, ...] = ()
    most = 0.0
    for choice in choices:
        first = choice[0]
        named = bool(says(first, RAIN_WORDS)) or plain(first.layer or "") in RAIN_VARIABLES
        score = 1.0 + 3 * named - 3 * (not named and bool(says(first, OTHER_GRID_WORDS)))
        score += 1.0 * (len(choice) == 12 or first.bands >= 12) - 3.5 * (not meet(first.bounds, town))
        if score > most:
            best, most = choice, score
    return best


def _twelves(grids: Sequence[Seen]) -> list[tuple[Seen, ...]]:
    """Sets of twelve one-band grids whose names differ only in the month."""
    sets: dict[str, dict[int, Seen]] = {}
    for one in grids:
        found = month_in(one.file) if one.bands == 1 and one.layer is None else None
        if found is not None:
            sets.setdefault(found[0], {})[found[1]] = one
    return [tuple(months[month] for month in range(1, 13)) for months in sets.values() if len(months) == 12]


def month_in(name: str) -> tuple[str, int] | None:
    """A file name with its month taken out, and that month (1 to 12): its last number or a month's name."""
    folded = name.lower()
    stem = folded.rsplit(".", 1)[0]
    numbers = [found for found in re.finditer(r"\d+", stem) if 1 <= int(found[0]) <= 12]
    if numbers:
        return folded[: numbers[-1].start()] + "#" + folded[numbers[-1].end() :], int(numbers[-1][0])
    found = re.search(rf"(?<![a-z])({'|'.join(MONTH_NAMES)})[a-z]*", stem)
    if found:
        return folded[: found.start()] + "#" + folded[found.end() :], MONTH_NAMES.index(found[1]) + 1
    return None


def _why(one: Seen, words: str, columns: str) -> str:
    reasons = []
    if one.openstreetmap:
        reasons.append("buildings of an OpenStreetMap extract")
    word = says(one, words)
    if word:
        reasons.append(f"its name says {word!r}")
    like = _columns_like(one, columns)
    if like:
        reasons.append(f"it has columns such as {', '.join(like[:3])}")
    if one.typical_area_m2 is not None:
        reasons.append(f"a typical polygon measures {one.typical_area_m2:,.0f} m²")
    return "; ".join(reasons) or "the only layer of polygons"


def _why_rain(grids: Sequence[Seen]) -> str:
    first = grids[0]
    word = says(first, RAIN_WORDS) or (first.layer if plain(first.layer or "") in RAIN_VARIABLES else None)
    named = f"its name says {word!r}" if word else "no other grid fits better"
    if len(grids) == 12:
        return f"{named}; 12 files, one a month by their names"
    return f"{named}; {first.bands} bands" if first.bands > 1 else f"{named}; one band, a whole year"


def _other(one: Seen) -> str:
    """What a layer that is not needed seems to be."""
    if one.kind == "unread":
        return f"can't be read: {one.trouble}"
    if one.kind == "polygons":
        return "ground" if says(one, GROUND_WORDS) else "districts" if is_district(one) else "other polygons"
    if one.kind == "lines":
        return "street lines" if _columns_like(one, r"street|road|^name$|fullname") else "lines"
    if one.kind == "grid":
        return "a grid of other data" if one.bands > 1 else "a grid of one band"
    names = " ".join([*(str(name).lower() for name in one.sample.columns), one.file.lower()])
    if re.search(VISIT_WORDS, names):
        return "a visit log"
    return "points" if one.kind == "points" else "a table"
