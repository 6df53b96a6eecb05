"""Invented rows of the tables that a result may lack: streets, rounds, the office's own files, surroundings."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from harvest.fields import (
    CHANGES,
    CONTEXT,
    PROGRESS,
    PUBLIC,
    ROUNDS,
    SIDES,
    STOPS,
    STREETS,
    UNMATCHED,
    VISITS,
    Table,
)
from harvest.fields.achieved import ANNUAL, MOVES
from harvest.fields.canvass import COMPASS, NOTHING_TO_WIN, TO_CANVASS
from harvest.fields.outreach import JOINED, NOT_HOME, OTHER_LANGUAGE, TO_VISIT

KINDS = {"string": "str", "float": "float64", "integer": "Int64", "boolean": "bool"}
OPTIONAL = (STREETS, SIDES, ROUNDS, STOPS, CONTEXT, VISITS, UNMATCHED, PROGRESS, ANNUAL, CHANGES, PUBLIC)


def frame_of(table: Table, columns: dict[str, Any], crs: str | None = None) -> pd.DataFrame:
    """``columns`` as ``table``, those left out missing throughout."""
    count = len(next(iter(columns.values())))
    made = pd.DataFrame(
        {
            one.name: pd.Series(columns.get(one.name, [None] * count), dtype=KINDS[one.dtype])
            for one in table.fields
            if one.dtype != "geometry"
        }
    )
    if crs is None:
        return table.checked(made)
    return table.checked(gpd.GeoDataFrame(made, geometry=columns["geometry"], crs=crs))


def extra_tables(texts: tuple[str | None, ...], parcel_ids: list[str], crs: str) -> dict[str, pd.DataFrame]:
    """Every optional table by name; ``texts`` stand wherever a text comes from outside.

    Sides and rounds are lines, some of them in two pieces; the last round stays at one place. Of surroundings there
    are an area, a line and a point.
    """
    words = [one for one in texts if one is not None]
    count = len(parcel_ids)
    place = np.arange(count)
    lines = [
        shapely.MultiLineString([[(0, 40 * i), (90, 40 * i)], [(95, 40 * i), (99, 40 * i)]])
        if i == 1
        else shapely.LineString([(0, 40 * i), (100, 40 * i)])
        for i in range(6)
    ]
    sides = {
        "side_id": [f"s{i}L" for i in range(6)],
        "street": [words[0], words[6], None, "Alder Street", "Birch Lane", "Cedar Way"],
        "stretch": ["from Quay to Mill"] * 6,
        "side": [COMPASS[i % 4] for i in range(6)],
        "numbers": ["1 to 21, odd"] * 6,
        "parcel_count": [4] * 6,
        "door_count": [4, 4, 4, 4, 4, 0],
        "to_visit_count": [4, 4, 3, 2, 0, 0],
        "visited_count": [0, 0, 1, 2, 4, 0],
        "corrected_count": [0] * 6,
        "length_m": [100.0 + i / 3 for i in range(6)],
        "worth_l_yr": [900.0, 500.0, 300.0, 100.0, 0.0, np.nan],
        "worth_l_min": [30.0, 20.0, 12.5, 4.0, 0.0, np.nan],
        "chance": [0.03, 0.02, 0.02, 0.01, 0.0, np.nan],
        "rank": [1, 2, 3, 4, None, None],
        "status": [TO_CANVASS] * 4 + [NOTHING_TO_WIN] * 2,
        "round": [1, 1, 2, 2, None, None],
        "no_crossing": [True, False] * 3,
        "geometry": lines,
    }
    streets = {
        "street": [words[0], None],
        "district": [words[6], "Ward 2"],
        **{
            name: [4, 0]
            for name in ("side_count", "parcel_count", "door_count", "to_visit_count", "visited_count")
        },
        "length_m": [633.3, 0.0],
        "canvass_min": [40.25, 0.0],
        "capturable_l_yr": [1e6 / 7, np.nan],
        "yield_l_yr": [7000.1, np.nan],
        "worth_l_yr": [900.0, np.nan],
        "worth_l_min": [22.4, np.nan],
        "rank": [1, None],
        "status": [TO_CANVASS, NOTHING_TO_WIN],
    }
    rounds = {
        "round": [1, 2],
        "streets": [words[0], "Birch Lane"],
        "stop_count": [count - 1, 1],
        "door_count": [count - 1, 1],
        "canvass_min": [170.5, 9.25],
        "first_pass_min": [170.5, 9.25],
        "walk_m": [1234.5, 0.0],
        "answers": [7.5, 0.33],
        "joins": [0.6, 0.03],
        "worth_l_yr": [1400.0, 400.0],
        "worth_l_min": [8.2, 43.0],
        "geometry": [shapely.LineString([(0, 0), (100, 0), (100, 40)]), shapely.Point(3, 4)],
    }
    stops = {
        "round": [1] * (count - 1) + [2],
        "stop": [*(place[:-1] + 1), 1],
        "parcel_id": parcel_ids,
        "address": list(texts[:count]),
        "street": [words[0]] * count,
        "side_id": ["s0L"] * count,
        "door_count": [1] * count,
        "visit_status": [TO_VISIT] * count,
        "door_caution": [words[i % len(words)] for i in place],
        "storm_l": 1000.0 + place / 7,
        "suggested_barrels": [None if i == 2 else 2 for i in place],
        "yield_l_yr": [np.nan if i == 2 else 900.0 + i for i in place],
        "worth_l_yr": 10.0 + place / 3,
    }
    context = {
        "kind": ["water", "railway", "landmark"],
        "name": [words[0], None, words[8]],
        "geometry": [
            shapely.box(0, 0, 9, 9),
            shapely.LineString([(0, 0), (5, 5)]),
            shapely.Point(1, 2),
        ],
    }
    visits = {
        "line": [2, 5],
        "parcel_id": parcel_ids[:2],
        "day": ["2026-05-01", "2026-05-02"],
        "outcome": [NOT_HOME, JOINED],
        "barrels": [None, 1],
        "volume_l": [np.nan, 208.2],
        "matched_by": ["id", "address"],
    }
    aside = {
        "file": ["visits"] * len(words),
        "line": range(2, len(words) + 2),
        "reason": ["no parcel has this address"] * len(words),
        "candidates": [parcel_ids[0]] * len(words),
        "address": words,
        "what": [OTHER_LANGUAGE] * len(words),
        "note": words[::-1],
    }
    progress = {
        "district": [words[0], "Ward 2"],
        "month": ["2026-05", "2026-05"],
        **{
            name: [1, 0]
            for name in (
                "visit_count",
                "visited_count",
                "joined_count",
                "installed_count",
                "barrels",
                "unknown_count",
            )
        },
        "volume_l": [208.2, 0.0],
        "added_l_yr": [800.1, 0.0],
    }
    annual = {
        "district": [words[0], "Ward 2"],
        "year": ["2025", "2026"],
        **{name: [3, 0] for name in (one.name for one in ANNUAL.fields if one.dtype == "integer")},
        "volume_l": [624.6, 0.0],
        "served_area_m2": [61.3, 0.0],
        "added_l_yr": [800.1, 0.0],
    }
    cells = {
        "cell": [1, 2],
        "street": [words[0], None],
        "stretch": [words[6], None],
        "side": [COMPASS[0], None],
        "square": [None, "3 E, 4 N"],
        "home_count": [15, 20],
        "runoff_l_yr": [1.5e6, 2e6],
        "capturable_l_yr": [7e5, 9e5],
        "yield_l_yr": [1e4, np.nan],
        "geometry": [shapely.LineString([(0, 0), (100, 0)]), shapely.box(0, 0, 200, 200)],
    }
    changes = {
        "side_id": ["s0L", "gone"],
        "rank_before": [5, 1],
        "rank": [1, None],
        "rose": [4, None],
        "worth_before_l_yr": [100.0, 3.0],
        "worth_l_yr": [900.0, np.nan],
        "why": [MOVES[2], MOVES[1]],
        "told": [words[0], "It is not in the street layer any more. " * 5],
    }  # fmt: skip
    return {
        STREETS.name: frame_of(STREETS, streets),
        SIDES.name: frame_of(SIDES, sides, crs),
        ROUNDS.name: frame_of(ROUNDS, rounds, crs),
        STOPS.name: frame_of(STOPS, stops),
        CONTEXT.name: frame_of(CONTEXT, context, crs),
        VISITS.name: frame_of(VISITS, visits),
        UNMATCHED.name: frame_of(UNMATCHED, aside),
        PROGRESS.name: frame_of(PROGRESS, progress),
        ANNUAL.name: frame_of(ANNUAL, annual),
        CHANGES.name: frame_of(CHANGES, changes),
        PUBLIC.name: frame_of(PUBLIC, cells, crs),
    }
