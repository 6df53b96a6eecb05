"""Walk lists: one round after the other as a PDF to carry; the table of the same stops is written beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from harvest.errors import OutputError
from harvest.fields import PARCELS, ROUNDS, SIDES, STOPS
from harvest.fields.canvass import EAST, NORTH, SOUTH, WEST
from harvest.findings import Finding
from harvest.result import Result
from harvest.show.card import LONGEST_NAME, PAPER
from harvest.show.card_texts import one_line
from harvest.show.tables import writing
from harvest.show.typeset import typeset
from harvest.show.walk_drawing import RoundMap, StreetLines, round_map
from harvest.show.walk_table import WALK_TABLE, write_walk_table
from harvest.show.walk_texts import (
    LONGEST_STREETS,
    WalkTexts,
    address,
    barrels_text,
    duration,
    notes,
    one_text,
    usual,
)
from harvest.show.words.walk import CAUTIONS, TICK_WORDS, WALK_MARK, WALK_WORDS, told

WALK_LISTS = "walk-lists.pdf"
TEMPLATE = "walk.typ"
OPPOSITE = {NORTH: SOUTH, SOUTH: NORTH, EAST: WEST, WEST: EAST}
MOST_TICK_LINES = 4
"""A parcel of more doors has boxes for so many; the others are noted on the back."""

MOST_STOPS = 10_000
"""A PDF of more stops would take more memory than a small machine has; the table holds all of them."""

PRINTED_WORDS = (
    "map",
    "map_none",
    "map_caption",
    "north",
    "second_heading",
    "again",
    "staff",
    "cautions_heading",
)


@dataclass(frozen=True)
class Door:
    """One stop: ``cross`` says how to come there where that needs saying, ``ticks`` stand before its lines of boxes."""

    number: int
    cross: str
    address: str
    doors: str
    says: str
    notes: list[str]
    ticks: list[str]
    more: str


@dataclass(frozen=True)
class Stretch:
    """Doors along one street, under its name; ``warning`` where it must not be crossed."""

    heading: str
    warning: str
    doors: list[Door]


@dataclass(frozen=True)
class Sheet:
    """One round. ``facts`` are label, figure and note each."""

    number: str
    heading: str
    streets: str
    district: str
    facts: list[tuple[str, str, str]]
    second: str
    map: RoundMap | None
    stretches: list[Stretch]
    end: str
    totals: str


@dataclass(frozen=True)
class WalkLists:
    """All rounds, and what they share."""

    title: str
    mark: str
    town: str
    paper: str
    words: dict[str, str]
    page: str
    fill: list[str]
    boxes: list[str]
    tally: str
    cautions: list[str]
    rounds: list[Sheet]


def write_walk_lists(result: Result, folder: Path) -> list[Finding]:
    """Write the walk lists of ``result`` into ``folder`` where it has stops: a PDF and a table.

    Without the package that makes PDFs, or with more stops than fit one, a finding says so. Raises
    :class:`OutputError` when a file can't be written.
    """
    if not result.has(STOPS.name):
        return []
    write_walk_table(result, folder)
    made, left_out = walk_lists(result)
    if not made.rounds:
        return left_out
    try:
        content = typeset(TEMPLATE, asdict(made))
    except OutputError as error:
        return [
            Finding(
                "no walk lists as PDF",
                STOPS.name,
                "warning",
                len(made.rounds),
                f"No walk lists were printed; {WALK_TABLE} holds all stops. {error}",
                "Install it and run again.",
            )
        ]
    with writing(folder / WALK_LISTS):
        (folder / WALK_LISTS).write_bytes(content)
    return left_out


def walk_lists(result: Result) -> tuple[WalkLists, list[Finding]]:
    """What the PDF of ``result`` says, and a finding where rounds were left out of it."""
    run = result.run
    texts = WalkTexts(run, {one["setting"]: one["value"] for one in run["settings"]})
    stops = pd.DataFrame(result.table(STOPS.name)).sort_values(["round", "stop"], kind="stable")
    rounds = result.table(ROUNDS.name).sort_values("round")
    sides = result.table(SIDES.name).set_index("side_id", drop=False)
    assert isinstance(rounds, gpd.GeoDataFrame) and isinstance(sides, gpd.GeoDataFrame)
    most = stops["round"].iloc[MOST_STOPS] if len(stops) > MOST_STOPS else None
    kept = rounds if most is None else rounds[rounds["round"] < most]
    left_out = [] if most is None else [_left_out(len(rounds), len(kept))]
    plans = _maps(result, kept, stops, sides)
    about = pd.DataFrame(sides)[["side", "no_crossing"]].to_dict("index")
    doors: dict[Any, list[dict[Any, Any]]] = {}
    for stop in stops.to_dict("records"):
        doors.setdefault(stop["round"], []).append(stop)
    sheets = [
        _sheet(row, doors[row["round"]], about, plans.get(row["round"]), texts)
        for row in kept.drop(columns="geometry").to_dict("records")
        if row["round"] in doors
    ]
    town = one_line(str(run["town"]), LONGEST_NAME)
    return (
        WalkLists(
            title=told("title", town=town),
            mark=WALK_MARK,
            town=told("town", town=town),
            paper=PAPER[run["units"]],
            words={name: WALK_WORDS[name] for name in PRINTED_WORDS},
            page=WALK_WORDS["page"],
            fill=[told(name) for name in ("fill_date", "fill_begun", "fill_ended")],
            boxes=list(TICK_WORDS.values()),
            tally=told("tally"),
            cautions=[told(name, hours=texts.hours()) for name in CAUTIONS],
            rounds=sheets,
        ),
        left_out,
    )


def _left_out(rounds: int, kept: int) -> Finding:
    return Finding(
        "walk lists left out",
        STOPS.name,
        "note",
        rounds - kept,
        f"The PDF of walk lists holds the first {kept:,} of {rounds:,} rounds, the most valuable; "
        f"{WALK_TABLE} holds all.",
        "Print the later rounds from the table, or canvass in parts: rounds are laid anew after each part.",
    )


def _sheet(
    row: dict[Any, Any],
    stops: list[dict[Any, Any]],
    about: Mapping[Any, Any],
    plan: RoundMap | None,
    texts: WalkTexts,
) -> Sheet:
    doors = int(row["door_count"])
    first = duration(row["first_pass_min"])
    second = bool(texts.settings["rounds.second_pass"])
    storm, used = (
        sum(one[name] for one in stops if pd.notna(one[name])) for name in ("storm_l", "yield_l_yr")
    )
    barrels = sum(int(one["suggested_barrels"]) for one in stops if pd.notna(one["suggested_barrels"]))
    count = told("stop_one") if len(stops) == 1 else told("stop_many", count=len(stops))
    return Sheet(
        number=str(row["round"]),
        heading=told("round", round=row["round"]),
        streets=one_text(row["streets"], LONGEST_STREETS),
        district=one_text(row["district"], LONGEST_NAME) if pd.notna(row["district"]) else "",
        facts=[
            (told("fact_doors"), f"{doors:,}", told("fact_doors_note", stops=count)),
            (told("fact_time"), duration(row["canvass_min"]), told("fact_time_note")),
            (told("fact_walk"), texts.length(row["walk_m"]), told("fact_walk_note")),
            (told("fact_answers"), usual(row["answers"], doors), told("fact_usual_note")),
            (told("fact_joins"), usual(row["joins"], doors), told("fact_usual_note")),
            (told("fact_hours"), texts.hours(), told("fact_hours_note")),
        ],
        second=told("second_counted", time=first) if second else told("second_free"),
        map=plan,
        stretches=_stretches(stops, about, texts),
        end=told("end_heading", round=row["round"]),
        totals=told(
            "totals",
            stops=count,
            doors=f"{doors:,}",
            barrels=barrels_text(barrels),
            depth=texts.depth(),
            storm=texts.figure(storm, "L"),
            used=texts.figure(used, "L"),
        ),
    )


def _stretches(stops: Sequence[dict[Any, Any]], about: Mapping[Any, Any], texts: WalkTexts) -> list[Stretch]:
    """Doors under the name of their street, anew wherever the walk comes to another street."""
    found: list[Stretch] = []
    before: dict[str, Any] | None = None
    for stop in stops:
        side = about.get(stop["side_id"])
        compass = side["side"] if side else None
        here = {"street": stop["street"], "side_id": stop["side_id"], "compass": compass}
        cross = ""
        if before is None or not _same(before["street"], here["street"]):
            name = "no_street" if pd.isna(stop["street"]) else "street"
            street = "" if pd.isna(stop["street"]) else one_text(stop["street"], LONGEST_NAME)
            heading = told(name, street=street, side=compass) if compass else street
            warning = told("no_crossing") if side and side["no_crossing"] else ""
            found.append(Stretch(heading, warning, []))
        elif compass and compass != before["compass"] and before["compass"]:
            over = OPPOSITE[compass] == before["compass"] or _stretch(before) == _stretch(here)
            cross = told("cross" if over else "turn", side=compass)
        found[-1].doors.append(_door(stop, cross, texts))
        before = here
    return found


def _same(one: Any, other: Any) -> bool:
    return bool(pd.isna(one) and pd.isna(other)) or bool(pd.notna(one) and pd.notna(other) and one == other)


def _stretch(side: dict[str, Any]) -> str:
    """The id of the stretch that a side belongs to: its own without the letter of the side."""
    return str(side["side_id"])[:-1]


def _door(stop: dict[Any, Any], cross: str, texts: WalkTexts) -> Door:
    count = int(stop["door_count"])
    lines = min(count, MOST_TICK_LINES)
    rest = count - lines
    more = "" if rest <= 0 else told("more_door") if rest == 1 else told("more_doors", count=f"{rest:,}")
    return Door(
        number=int(stop["stop"]),
        cross=cross,
        address=address(stop),
        doors=told("doors", count=f"{count:,}") if count > 1 else "",
        says=texts.says(stop),
        notes=notes(stop),
        ticks=[told("door", number=number) for number in range(1, lines + 1)] if count > 1 else [""],
        more=more,
    )


def _maps(
    result: Result, rounds: gpd.GeoDataFrame, stops: pd.DataFrame, sides: gpd.GeoDataFrame
) -> dict[Any, RoundMap]:
    """The map of each of ``rounds`` that has stops, by number, in the plane of the run."""
    plane, units = result.run["plane"], result.run["units"]
    here = stops[stops["round"].isin(rounds["round"])]
    homes = _homes(result, here["parcel_id"], plane)
    side_lines = sides.geometry.to_crs(plane)
    streets = StreetLines(
        [one_line(name, LONGEST_NAME) if pd.notna(name) else "" for name in sides["street"]],
        side_lines.tolist(),
    )
    lines = np.array(side_lines.reindex(here["side_id"]).tolist(), dtype=object)
    placed = ~np.isnan(homes).any(axis=1)
    known = placed & ~(shapely.is_missing(lines) | shapely.is_empty(lines))
    points = shapely.points(homes)
    fronts = homes.copy()
    if known.any():
        at = shapely.line_locate_point(lines[known], points[known])
        fronts[known] = shapely.get_coordinates(shapely.line_interpolate_point(lines[known], at))
    walks = dict(zip(rounds["round"], rounds.geometry.to_crs(plane), strict=True))
    numbers = here["round"].to_numpy()
    about = pd.DataFrame(sides)[["street", "side"]].reindex(here["side_id"]).fillna("")
    rows_of_doors = list(zip(about["street"], about["side"], strict=True))
    made = {}
    for number, walk in walks.items():
        rows = np.flatnonzero((numbers == number) & placed)
        if not len(rows):
            continue
        row_of = np.cumsum([0, *(rows_of_doors[a] != rows_of_doors[b] for a, b in pairwise(rows.tolist()))])
        made[number] = round_map(walk, fronts[rows], homes[rows], row_of, streets, units)
    return made


def _homes(result: Result, parcel_ids: pd.Series, plane: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """A point inside each of ``parcel_ids`` [n] as [n, 2] in ``plane``; NaN where the parcel has no outline."""
    parcels = result.table(PARCELS.name, ["parcel_id", "geometry"])
    assert isinstance(parcels, gpd.GeoDataFrame)
    wanted = parcels[parcels["parcel_id"].isin(parcel_ids)].set_index("parcel_id")
    inside = wanted.geometry.to_crs(plane).representative_point()
    found = pd.DataFrame({"x": inside.x, "y": inside.y}).reindex(parcel_ids)
    return np.asarray(found.to_numpy(dtype=float))
