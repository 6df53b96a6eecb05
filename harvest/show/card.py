"""What door cards say, worked out from the result: ready texts and drawings, the same for PDF and HTML."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from harvest.errors import ResultError
from harvest.fields import PARCELS
from harvest.result import Result
from harvest.show.card_drawing import Drawing, drawing
from harvest.show.card_texts import CardTexts, Level, Part, Row, one_line
from harvest.show.words.cards import CARD_MARK, CARD_WORDS, CARE, CAUTIONS, CHECKS, told

LONGEST_ADDRESS = 64
LONGEST_NAME = 40

CLEAR = {"us": "10\u00a0ft", "metric": "3\u00a0m"}
"""How far from the house an overflow ends; 10 ft is what practice guides ask for."""

MESH = {"us": "1/16\u00a0in", "metric": "1.5\u00a0mm"}
"""Mesh that keeps mosquitoes out; Marin/Sonoma Mosquito and Vector Control District."""

PAPER = {"us": "us-letter", "metric": "a4"}
SHARED_WORDS = ("drawing", "drawing_none", "north", "mark_barrel", "mark_other", "levels_heading")
LISTS = (("check_heading", CHECKS), ("care_heading", CARE), ("caution_heading", CAUTIONS))
SETTINGS = (
    *("footprints.imagery_year", "season.first", "season.last", "storm.depth_mm", "storm.intensity_mm_h"),
    *("barrel.volume_l", "habits.sessions_a_week", "habits.weeks_share"),
)
"""The settings that a card tells."""

ROOF_COLUMNS = ["roof_id", "parcel_id", "parcel_share", "geometry"]


@dataclass(frozen=True)
class Card:
    """Everything on one card that is its own. ``ranges`` are pairs of label and text."""

    parcel: str
    address: str
    notes: list[str]
    drawing: Drawing | None
    levels: list[Level]
    ranges: list[tuple[str, str]]
    parts: list[Part]


@dataclass(frozen=True)
class Deck:
    """Cards in their order, and what they share.

    ``paper`` is us-letter or a4. ``lists`` are headings with their items: what to tick, care, cautions.
    """

    title: str
    mark: str
    over: str
    paper: str
    words: dict[str, str]
    lists: list[tuple[str, list[str]]]
    foot: list[str]
    cards: list[Card]


def deck(result: Result, parcel_ids: Sequence[str]) -> Deck:
    """The cards of ``parcel_ids``, each an id of the parcels table, in that order.

    Raises :class:`ResultError` for a result that an earlier version made, which lacks what a card tells.
    """
    run = result.run
    settings = {one["setting"]: one["value"] for one in run["settings"]}
    parcels = result.table("parcels")
    assert isinstance(parcels, gpd.GeoDataFrame)
    if not (set(SETTINGS) <= set(settings) and set(PARCELS.names) <= set(parcels.columns)):
        raise ResultError(f"The result in {result.folder} was made before cards could be; run again.")
    wanted = parcels.set_index("parcel_id", drop=False).loc[list(parcel_ids)]
    rows = [
        {str(name): value for name, value in row.items()}
        for row in pd.DataFrame(wanted).drop(columns="geometry").to_dict("records")
    ]
    texts = CardTexts(run, settings)
    town = one_line(str(run["town"]), LONGEST_NAME)
    fills = {"clear": CLEAR[run["units"]], "mesh": MESH[run["units"]], "weight": texts.weight()}
    year = settings["footprints.imagery_year"]
    foot = [told("foot_figures"), told("foot_made", program=run["program"], version=run["version"])]
    if year is not None:
        foot.insert(1, told("foot_imagery", year=year))
    return Deck(
        title=told("title", town=town),
        mark=CARD_MARK,
        over=told("over", town=town),
        paper=PAPER[run["units"]],
        words={name: CARD_WORDS[name] for name in SHARED_WORDS},
        lists=[(told(heading), [told(name, **fills) for name in names]) for heading, names in LISTS],
        foot=[told("foot_list"), " ".join(foot)],
        cards=[
            _card(row, drawn, texts)
            for row, drawn in zip(rows, _drawings(result, wanted, run["units"]), strict=True)
        ],
    )


def _card(row: Row, drawn: Drawing | None, texts: CardTexts) -> Card:
    address = one_line(row["address"], LONGEST_ADDRESS) if pd.notna(row["address"]) else ""
    return Card(
        parcel=told("parcel", parcel=one_line(row["parcel_id"], LONGEST_NAME)),
        address=address or told("no_address"),
        notes=texts.notes(row),
        drawing=drawn,
        levels=texts.levels(row),
        ranges=texts.ranges(row),
        parts=[texts.storm(row), texts.barrels(row), texts.garden(row)],
    )


def _drawings(result: Result, wanted: gpd.GeoDataFrame, units: str) -> list[Drawing | None]:
    """A drawing for each row of ``wanted``, in the plane of the run."""
    plane = result.run["plane"]
    roofs = result.table("roofs", ROOF_COLUMNS)
    assert isinstance(roofs, gpd.GeoDataFrame)
    roofs = roofs[roofs["parcel_id"].isin(wanted["parcel_id"])].sort_values("roof_id").to_crs(plane)
    standing: dict[str, list[tuple[str, float, Any]]] = {name: [] for name in wanted["parcel_id"]}
    columns = (roofs[name] for name in ROOF_COLUMNS)
    for roof_id, parcel_id, share, shape in zip(*columns, strict=True):
        standing[parcel_id].append((roof_id, share, shape))
    outlines = wanted.geometry.to_crs(plane)
    drawn = []
    for name, outline, at in zip(wanted["parcel_id"], outlines, wanted["barrel_roof_id"], strict=True):
        parcel = outline if outline is not None else shapely.Polygon()
        shapes: list[Any] = []
        marked: list[bool] = []
        for roof_id, share, shape in standing[name]:
            shapes += _divided(shape, parcel, share)
            marked += [False, roof_id == at]
        drawn.append(drawing(parcel, shapes, marked, units))
    return drawn


def _divided(roof: Any, parcel: Any, share: float) -> tuple[Any, Any]:
    """What of ``roof`` is not this parcel's, and what is: all of it unless it is divided."""
    if share > 1 - 1e-6 or parcel.is_empty:
        return shapely.Polygon(), roof
    return roof.difference(parcel), roof.intersection(parcel)
