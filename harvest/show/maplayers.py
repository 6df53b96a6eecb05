"""The layers of the map page as compact blocks: parcels, roofs, street sides, rounds and surroundings.

All figures are turned into the units that people read here, once; the page only rounds them. A layer is in the page
only where the result holds its table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from harvest.fields import PARCELS, ROUNDS, SIDES, Field, Table
from harvest.fields.parcels import COMMON_GROUND, UNIT
from harvest.parts import aside
from harvest.result import Result
from harvest.show.block import (
    Guide,
    Section,
    block,
    line_section,
    number_section,
    outline_section,
    text_section,
    word_section,
)
from harvest.show.figures import MONEY, read_unit
from harvest.show.measures import SWITCHED
from harvest.show.precision import SPARE_DIGITS, decimals, dollars_kept, kept

SUMMED = ("runoff_l_yr", "capturable_l_yr", "yield_l_yr", "catchment_area_m2", "door_count")
"""The figures that the page adds up over the parcels it shows."""

FINER = (*SUMMED, *SWITCHED)
"""The figures that are sent finer than they are shown, since the page adds them up."""

FIGURES = (
    "catchment_area_m2",
    "runoff_l_yr",
    "capturable_l_yr",
    "yield_l_yr",
    "suggested_barrels",
    *SWITCHED,
    "yield_low_l_yr",
    "yield_high_l_yr",
    "yield_poor_year_l_yr",
    "yield_good_year_l_yr",
    "fill_min",
    "saving_low_usd_yr",
    "saving_high_usd_yr",
    "net_cost_usd",
    "garden_m2",
    "storm_l",
    "served_area_m2",
    "rain_mm_yr",
    "roof_count",
    "door_count",
    "round",
)
"""The figures that the page holds of each parcel; it shows all of them, each where it is known."""

GUIDES = {
    "runoff_l_yr": "catchment_area_m2",
    "capturable_l_yr": "runoff_l_yr",
    "storm_l": "catchment_area_m2",
    "rank": "capturable_l_yr",
    **dict.fromkeys(("yield_low_l_yr", "yield_high_l_yr"), "yield_l_yr"),
    **dict.fromkeys(("yield_poor_year_l_yr", "yield_good_year_l_yr", SWITCHED[0]), "yield_l_yr"),
    **dict(zip(SWITCHED[1:], SWITCHED, strict=False)),
}
"""Figures that follow another, so that only the difference to what it foretells is sent."""

SENTENCES = ("yield_hangs_on", "payback", "reason", "door_caution")
"""Texts that many parcels share."""

WORDS_OF_PARCELS = ("list", "status", "visit_status", "street", "district")
"""What parcels are filtered by."""

SIDE_FIGURES = (
    "rank",
    "to_visit_count",
    "door_count",
    "parcel_count",
    "visited_count",
    "length_m",
    "canvass_min",
    "capturable_l_yr",
    "yield_l_yr",
    "worth_l_yr",
    "worth_door_l_yr",
    "worth_l_min",
    "chance",
    "round",
)
SIDE_WORDS = ("street", "stretch", "side", "district", "status")
ROUND_FIGURES = (
    "round",
    "stop_count",
    "door_count",
    "canvass_min",
    "walk_m",
    "answers",
    "joins",
    "worth_l_yr",
)

UNDERNEATH = (UNIT, COMMON_GROUND)
"""Parcels drawn first: they lie under others that hold the litres."""


ADDRESS = r"(?s)^\s*(?P<number>\d{0,9})\s*(?P<street>.*)$"
"""A house number, as far as there is one in front, and a street."""


@dataclass(frozen=True)
class Layers:
    """Everything that the page draws; ``everything`` counts the parcels of the town, shown or not."""

    parcels: gpd.GeoDataFrame
    everything: int
    roofs: gpd.GeoDataFrame
    sides: gpd.GeoDataFrame | None = None
    rounds: gpd.GeoDataFrame | None = None
    context: gpd.GeoDataFrame | None = None

    @property
    def limited(self) -> bool:
        """Whether some parcels are left out."""
        return len(self.parcels) < self.everything


def layers(result: Result, most_parcels: int, best: int) -> Layers:
    """The layers of ``result``; above ``most_parcels`` parcels only the ``best`` ranked and their roofs."""
    with aside(result.rows("parcels")) as thread:
        roofs = thread.submit(result.table, "roofs", ["roof_id", "parcel_id", "geometry"])
        parcels, everything = parcels_shown(result, most_parcels, best)
    sides = _sorted(result, SIDES, ["street", "stretch", "side_id"])
    return Layers(
        parcels,
        everything,
        _roofs_shown(roofs.result(), parcels, everything),
        sides,
        _sorted(result, ROUNDS, ["round"]),
        result.table("context") if result.has("context") else None,
    )


def parcels_shown(result: Result, most_parcels: int, best: int) -> tuple[gpd.GeoDataFrame, int]:
    """The parcels that the map shows, in the order in which they are drawn, and how many there are in all.

    All of them up to ``most_parcels``; above, the ``best`` ranked: the first of each list, then the second
    of each, and so on. Addresses follow one another along their street, so that neighbours compress well.
    """
    columns = ["parcel_id", "address", "rank", *WORDS_OF_PARCELS, "side_id", *SENTENCES, *FIGURES, "geometry"]
    frame = result.table("parcels", columns)
    everything = len(frame)
    if everything > most_parcels:
        ranked = frame[frame["rank"].notna()]
        frame = ranked.sort_values(["rank", "list"], ignore_index=True).head(best)
    parts = pc.extract_regex(pa.array(frame["address"].fillna(""), type=pa.string()), ADDRESS)
    number, street = parts.flatten()
    keys = pa.table(
        {
            "above": pa.array(~frame["status"].isin(UNDERNEATH)),
            "street": street,
            "number": pc.cast(pc.binary_join_element_wise("0", number, ""), pa.int64()),
            "address": pa.array(frame["address"]),
            "parcel_id": pa.array(frame["parcel_id"]),
        }
    )
    order = pc.sort_indices(keys, [(name, "ascending") for name in keys.column_names])
    return frame.take(order).reset_index(drop=True), everything


def _roofs_shown(roofs: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame, everything: int) -> gpd.GeoDataFrame:
    """One row for each of the ``roofs``, in the order of the parcels; only those on ``parcels`` when these are not all
    of ``everything``."""
    if len(parcels) < everything:
        roofs = roofs[roofs["parcel_id"].isin(parcels["parcel_id"])]
    place = pd.Index(parcels["parcel_id"]).get_indexer(pd.Index(roofs["parcel_id"]))
    place[place < 0] = len(parcels)
    ordered = roofs.assign(place=place).sort_values(["place", "roof_id"]).drop_duplicates("roof_id")
    return ordered.drop(columns="place").reset_index(drop=True)


def blocks(drawn: Layers, units: str) -> dict[str, bytes]:
    """The data of every layer, by the id of the page's element."""
    sides = drawn.sides
    made = _parcels_and_roofs(drawn, units)
    if sides is not None:
        made["sides-data"] = block(
            len(sides),
            [
                line_section(sides.geometry),
                text_section("side_id", sides["side_id"]),
                text_section("numbers", sides["numbers"]),
                *(word_section(name, sides[name]) for name in SIDE_WORDS),
                *figure_sections(SIDES, sides, SIDE_FIGURES, units),
            ],
        )
    if drawn.rounds is not None:
        rounds = drawn.rounds
        made["rounds-data"] = block(
            len(rounds),
            [
                line_section(rounds.geometry),
                *(word_section(name, rounds[name]) for name in ("streets", "district")),
                *figure_sections(ROUNDS, rounds, ROUND_FIGURES, units),
            ],
        )
    if drawn.context is not None:
        context = drawn.context.explode(ignore_index=True)
        areas = shapely.get_dimensions(context.geometry.to_numpy()) == 2
        for name, rows, drawing in (
            ("areas-data", context[areas], outline_section),
            ("lines-data", context[~areas], line_section),
        ):
            rows = rows.sort_values(["kind", "name"], kind="stable")
            texts = [word_section(text, rows[text]) for text in ("kind", "name")]
            made[name] = block(len(rows), [drawing(rows.geometry), *texts])
    return made


def _parcels_and_roofs(drawn: Layers, units: str) -> dict[str, bytes]:
    """The two largest blocks: while a second thread measures parcels out, this one writes what is said of them."""
    parcels, roofs, sides = drawn.parcels, drawn.roofs, drawn.sides
    with aside(len(parcels)) as thread:
        outlines = thread.submit(outline_section, parcels.geometry)
        told = [
            text_section("parcel_id", parcels["parcel_id"]),
            text_section("address", parcels["address"]),
            *(word_section(name, parcels[name]) for name in (*WORDS_OF_PARCELS, *SENTENCES)),
            *([_side_of(parcels, sides)] if sides is not None else []),
            *figure_sections(PARCELS, parcels, (*FIGURES, "rank"), units, FINER, GUIDES),
        ]
        of_parcels = thread.submit(lambda: block(len(parcels), [outlines.result(), *told]))
        of_roofs = block(len(roofs), [outline_section(roofs.geometry)])
        return {"parcels-data": of_parcels.result(), "roofs-data": of_roofs}


def figure_sections(
    table: Table,
    frame: pd.DataFrame,
    names: Sequence[str],
    units: str,
    finer: Sequence[str] = (),
    guides: Mapping[str, str] | None = None,
) -> list[Section]:
    """Columns ``names`` of ``frame`` as the page shows them, and finer only where the page adds them up.

    A guide must stand before those that follow it.
    """
    sent: dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]] = {}
    sections = []
    for name in names:
        worth = _worth(table.field(name), frame[name], units, name in finer)
        sent[name] = worth
        leader, guide = (guides or {}).get(name), None
        if leader and name == "rank":
            guide = Guide(leader, sent[leader], None)
        elif leader:
            guide = Guide.of(leader, sent[leader], worth)
        sections.append(number_section(name, pd.Series(worth), decimals(worth), guide))
    return sections


def _worth(
    field: Field, column: pd.Series, units: str, finer: bool
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """``column`` [rows] in the unit people read, rounded to what is shown of it."""
    _, converted = read_unit(units, field.unit)
    values = column.astype("Float64").pipe(converted)
    numbers = values.to_numpy(dtype=float, na_value=np.nan)
    if field.dtype == "integer":
        return np.where(np.isfinite(numbers), numbers, np.nan)
    if field.unit in MONEY:
        return dollars_kept(numbers)
    return kept(numbers, field.digits, SPARE_DIGITS if finer else 0)


def _side_of(parcels: pd.DataFrame, sides: pd.DataFrame) -> Section:
    """The row of the side on which each parcel stands."""
    place = pd.Series(np.arange(len(sides), dtype=float), index=sides["side_id"])
    return number_section("on_side", parcels["side_id"].map(place))


def _sorted(result: Result, table: Table, by: list[str]) -> gpd.GeoDataFrame | None:
    if not result.has(table.name):
        return None
    return result.table(table.name).sort_values(by, kind="stable").reset_index(drop=True)
