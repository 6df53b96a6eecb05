"""``harvest start``: look at the files in a folder, guess what is what, and write a project file that says so."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar, get_args

import numpy as np

from harvest.errors import GridError, InputError, OutputError
from harvest.layers import DailyRain, MonthlyTemperature
from harvest.project import json_schema
from harvest.project.draft import SCHEMA_NAME, Said, project_text
from harvest.project.inputs import Rainfall, RainUnit
from harvest.project.outputs import Limits
from harvest.read.columns import texts
from harvest.read.crs import Bounds
from harvest.read.guess import Roles, meet, roles
from harvest.read.guess_columns import Guess, of_footprints, of_parcels
from harvest.read.guess_layers import Further, further, of_context, of_districts, of_streets
from harvest.read.guess_weather import (
    Candidate,
    gauge_told,
    gauges,
    temperature_told,
    temperatures,
)
from harvest.read.look import Seen, look
from harvest.read.rain import read_rain

PROJECT_NAME = "harvest.toml"
US_BOUNDS: Bounds = (-180.0, 15.0, -60.0, 72.0)
"""Roughly where people read feet, inches and gallons."""

USUAL_RAIN_MM_YR = 900.0
"""Of several units that are possible, the one that comes nearest to this is guessed."""

MADE_UP = "none found; days of rain will be made up from the grid's months."
NOT_MADE_UP = "none found; the grid has no months to make days up from, so nothing will be said of barrels."
NO_TEMPERATURES = "none found; the garden will ask for the same every week, whatever the weather."

NO_STREETS = "none found; no street will be ranked and no round laid."

Section = dict[str, Said]
Weather = tuple[dict[str, Section], list[str], set[str]]
Record = TypeVar("Record", DailyRain, MonthlyTemperature)


@dataclass(frozen=True)
class StartReport:
    """Where the project file is, and what was said about it, line by line."""

    path: Path
    lines: tuple[str, ...]


def start(folder: Path, target: Path | None = None) -> StartReport:
    """Write a project file for the files in ``folder``, as ``target`` or harvest.toml in the folder itself.

    Beside it goes the JSON Schema for editors. An existing project file is never overwritten. Raises
    :class:`InputError` when footprints or rainfall can't be found, saying what was.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is no folder; give the folder that holds your layers.")
    path = target if target is not None else folder / PROJECT_NAME
    if path.exists():
        raise InputError(f"{path} is there already and is not overwritten; edit it, or move it away first.")
    limits = Limits()
    try:
        seen = look(folder, limits)
    except OSError as error:
        raise InputError(f"{folder} can't be read: {error.strerror}.") from None
    found = roles(seen)
    _check_found(folder, seen, found)
    said, lines = _sections(folder, path.parent, found, limits)
    weather, told, known = _weather(folder, path.parent, found, limits)
    beside = further((one for one, _ in found.others if one.name not in known), _town_bounds(found))
    more, of_more, used = _further(folder, path.parent, beside, found)
    remarks = (
        "Project file for the harvest command: which data to use, and how to count.",
        "Paths start from the folder of this file. Lines that begin with # are remarks: each setting that is not "
        "given shows its default, which holds until you remove the # and change it.",
    )
    _write(path, project_text({**said, **weather, **more}, remarks))
    _write_schema(path.with_name(SCHEMA_NAME))
    rest = [(one, what) for one, what in found.others if one.name not in known | used]
    lines += told + of_more
    lines += [f"Not used by this version: {one.name}, {what}." for one, what in rest]
    lines += [
        f"Wrote {path}; read it through and correct what was guessed wrong.",
        f"Then: harvest check {path}",
    ]
    return StartReport(path, tuple(lines))


def _check_found(folder: Path, seen: Sequence[Seen], found: Roles) -> None:
    missing = []
    if found.footprints is None:
        missing.append("building footprints (polygons)")
    if not found.rainfall:
        missing.append("a rainfall grid (GeoTIFF or NetCDF of 1 or 12 bands)")
    if not missing:
        return
    if not seen:
        raise InputError(f"{folder} holds no file of a known format; put your layers there.")
    told = [f"{found.parcels.name} (parcels)"] if found.parcels is not None else []
    told += [f"{one.name} ({what})" for one, what in found.others]
    told += [f"{one.name} (rainfall)" for one in found.rainfall]
    if found.footprints is not None:
        told.append(f"{found.footprints.name} (footprints)")
    raise InputError(f"{folder} lacks {' and '.join(missing)}. There is: {'; '.join(told)}.")


def _sections(folder: Path, base: Path, found: Roles, limits: Limits) -> tuple[dict[str, Section], list[str]]:
    """What the project file will say, by section, and the lines that tell it."""
    said: dict[str, Section] = {"town": _town(folder, found)}
    lines: list[str] = []
    for role, one in (("footprints", found.footprints), ("parcels", found.parcels)):
        if one is None:
            lines.append(f"{role.capitalize()}: none found; each roof will stand for itself.")
            continue
        guesses = (
            of_parcels(one.sample) if role == "parcels" else of_footprints(one.sample, one.openstreetmap)
        )
        said[role] = _vector(folder, base, one, found.why[role], guesses)
        lines.append(_told(role, one, said[role], found.why[role]))
        if one.crs is None:
            lines.append(
                f'  It names no coordinate reference system: find out, and add crs = "EPSG:…" to [{role}].'
            )
    if found.parcels is None and found.footprints is not None:
        said["footprints"] |= _said(_address_of(found.footprints))
    if "land_use" in said.get("parcels", {}) and found.parcels is not None:
        values = texts(found.parcels.sample[said["parcels"]["land_use"].value]).value_counts().index
        hint = Said(why=f"the land uses are {', '.join(map(str, values))}")
        said["ranking"] = {"home_land_uses": hint, "large_land_uses": hint}
    said["rainfall"], trouble = _rainfall(folder, base, found, limits)
    grids = ", ".join(one.name for one in found.rainfall[:2]) + (" …" if len(found.rainfall) > 2 else "")
    lines.append(f"Rainfall: {grids}: {found.why['rainfall']}.")
    lines += [f"  {line}" for line in trouble]
    return said, lines


def _town(folder: Path, found: Roles) -> Section:
    name = folder.resolve().name.replace("_", " ").replace("-", " ").strip().title() or "Our town"
    bounds = found.footprints.bounds if found.footprints is not None else None
    customary = bounds is None or meet(bounds, US_BOUNDS)
    return {
        "name": Said(name, "the name of the folder"),
        "units": Said(
            "us" if customary else "metric",
            "the layers lie " + ("in" if customary else "outside") + " North America",
        ),
    }


def _town_bounds(found: Roles) -> Bounds | None:
    """Where the town lies [degrees], None where neither parcels nor footprints say."""
    return next(
        (one.bounds for one in (found.parcels, found.footprints) if one is not None and one.bounds), None
    )


def _further(
    folder: Path, base: Path, beside: Further, found: Roles
) -> tuple[dict[str, Section | list[Section]], list[str], set[str]]:
    """The sections of streets, districts, surroundings and visits that there are; lines that tell; files used."""
    said: dict[str, Section | list[Section]] = {}
    lines: list[str] = []
    used: set[str] = set()

    def told(
        role: str, one: Seen, why: str, guesses: dict[str, Guess], own: Section | None = None
    ) -> Section:
        section = _vector(folder, base, one, why, guesses) | (own or {})
        lines.append(_told(role, one, section, why))
        if one.crs is None and one.kind != "table":
            lines.append(
                f'  It names no coordinate reference system: find out, and add crs = "EPSG:…" to [{role}].'
            )
        used.add(one.name)
        return section

    if beside.streets is not None:
        said["streets"] = told("streets", *beside.streets, of_streets(beside.streets[0]))
    elif found.footprints is not None and found.footprints.openstreetmap:
        file = found.footprints.file
        said["streets"] = {"file": Said(_relative(folder, base, file), "the streets of the same extract")}
        lines.append(f"Streets: {file}: the streets of the same extract.")
    else:
        lines.append(f"Streets: {NO_STREETS}")
    if beside.districts is not None:
        said["districts"] = told("districts", *beside.districts, of_districts(beside.districts[0]))
    surroundings = [
        told("context", one, why, of_context(one), {"kind": Said(kind, why)})
        for one, kind, why in beside.context
    ]
    if surroundings:
        said["context"] = surroundings
    if beside.visits is not None:
        said["visits"] = told("visits", *beside.visits, {})
    return said, lines, used


def _relative(folder: Path, base: Path, name: str) -> str:
    return Path(os.path.relpath(folder / name, base)).as_posix()


def _vector(folder: Path, base: Path, one: Seen, why: str, guesses: dict[str, Guess]) -> Section:
    section: Section = {"file": Said(_relative(folder, base, one.file), why)}
    if one.layer is not None:
        section["layer"] = Said(one.layer, "the layer that fits best in this file")
    return section | _said(guesses)


def _said(guesses: dict[str, Guess]) -> Section:
    return {key: Said(guess.value, guess.why) for key, guess in guesses.items()}


def _address_of(one: Seen) -> dict[str, Guess]:
    guess = of_parcels(one.sample).get("address")
    return {"address": guess} if guess else {}


def _told(role: str, one: Seen, section: Section, why: str) -> str:
    count = f"{one.rows:,} {one.kind if one.kind != 'table' else 'rows'}; " if one.rows is not None else ""
    columns = ", ".join(
        f"{key} = {said.value if isinstance(said.value, str) else ' + '.join(said.value)}"
        for key, said in section.items()
        if key not in ("file", "layer", "kind" if role == "context" else "file")
    )
    return f"{role.capitalize()}: {one.name}: {count}{why}. Columns: {columns or 'none recognised'}."


def _rainfall(folder: Path, base: Path, found: Roles, limits: Limits) -> tuple[Section, list[str]]:
    """The rainfall section, its unit tried out over the town, and what stands in the way."""
    names = [one.file for one in found.rainfall]
    paths = [_relative(folder, base, name) for name in names]
    section: Section = {"file": Said(paths if len(paths) > 1 else paths[0], found.why["rainfall"])}
    variable = found.rainfall[0].layer
    if variable is not None:
        section["variable"] = Said(variable, "the variable that fits best in this file")
    town = _town_bounds(found)
    if town is None:
        return section, ["Its unit was not tried out, since it is not known where the town lies."]
    settings = Rainfall(file=names if len(names) > 1 else names[0], variable=variable)
    try:
        read_rain(settings, folder, limits, town)
    except GridError as error:
        fitting = _fitting_units(settings, folder, limits, town)
        if not fitting:
            return section, [str(error)]
        unit = min(fitting, key=lambda one: (one != "mm", abs(math.log(fitting[one] / USUAL_RAIN_MM_YR))))
        others = [f"as {one} it would be {mean:,.0f}" for one, mean in fitting.items() if one != unit]
        also = f" ({', '.join(others)})" if others else ""
        section["unit"] = Said(unit, f"as {unit} the town has {fitting[unit]:,.0f} mm of rain a year{also}")
        return section, [f"Its unit is a guess: {section['unit'].why}. The file itself: {error}"]
    return section, []


def _fitting_units(settings: Rainfall, folder: Path, limits: Limits, town: Bounds) -> dict[RainUnit, float]:
    """The units in which the grid can be read, each with the mean yearly rain [mm] that it gives."""
    fitting: dict[RainUnit, float] = {}
    for unit in get_args(RainUnit):
        try:
            grid = read_rain(settings.model_copy(update={"unit": unit}), folder, limits, town)
        except GridError:
            continue
        fitting[unit] = float(np.nanmean(grid.depth_mm.sum(axis=0)))
    return fitting


def _weather(folder: Path, base: Path, found: Roles, limits: Limits) -> Weather:
    """The sections of gauge and temperatures, as far as there are any; lines that tell; files that they tell of."""
    tables = [one for one, _ in found.others]
    monthly = len(found.rainfall) == 12 or found.rainfall[0].bands >= 12
    no_gauge = MADE_UP if monthly else NOT_MADE_UP
    days, months = gauges(tables, folder, limits), temperatures(tables, folder, limits)
    read = {one.seen.name for one in days if one.record} | {one.seen.name for one in months if one.record}
    known = {one.seen.name for one in days} | {one.seen.name for one in months}
    gauge, lines = _recorded(folder, base, days, gauge_told, "the longest record")
    temperature, more = _recorded(folder, base, months, temperature_told, "the order of names")
    lines = [f"Gauge: {lines[0] or no_gauge}", *lines[1:], *_unread(days, read)]
    lines += [f"Temperatures: {more[0] or NO_TEMPERATURES}", *more[1:], *_unread(months, read)]
    sections = {"gauge": gauge, "temperature": temperature}
    return {name: section for name, section in sections.items() if section}, lines, known


def _recorded(
    folder: Path,
    base: Path,
    found: Sequence[Candidate[Record]],
    told: Callable[[Candidate[Record]], str],
    rule: str,
) -> tuple[Section, list[str]]:
    """The section of the first that can be read, with hints at what only the user can say, and the lines that
    tell it; the first line is empty where there is none.
    """
    able = [one for one in found if one.record is not None]
    if not able:
        return {}, [""]
    best: Candidate[Record] = able[0]
    others = able[1:]
    why = told(best)
    if others:
        names = ", ".join(one.seen.name for one in others)
        why += f"; taken before {names}, by what can be read as it stands, then by {rule}"
    section: Section = {"file": Said(_relative(folder, base, best.seen.file), why)}
    section |= {key: Said(why=words) for key, words in best.asked.items()}
    lines = [f"{best.seen.name}: {why}.", *(f"  {words}." for words in best.asked.values())]
    return section, lines + [f"  Not used: {one.seen.name}: {told(one)}." for one in others]


def _unread(found: Sequence[Candidate[Record]], read: set[str]) -> list[str]:
    """Lines for tables that seem to be what is looked for and can't be read, as that or as anything else."""
    return [f"  Not used, though {one.sign}: {one.trouble}." for one in found if one.seen.name not in read]


def _write(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except OSError as error:
        raise OutputError(f"{path} can't be written: {error.strerror}.") from None


def _write_schema(path: Path) -> None:
    """The JSON Schema; one that an earlier version wrote is replaced."""
    schema = json_schema()
    try:
        if path.exists() and json.loads(path.read_text(encoding="utf-8")).get("title") != schema["title"]:
            raise OutputError(f"{path} is there already and was not written by harvest; move it away first.")
        path.write_text(
            json.dumps(schema, indent=2, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n"
        )
    except (OSError, ValueError) as error:
        raise OutputError(f"{path} can't be written: {error}.") from None
