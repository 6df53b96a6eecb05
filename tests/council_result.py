"""The small town of the map's tests with streets, wards and surroundings, for the tests of figure and brief.

Its rows of lots stand along five streets that run east; the three inner ones have lots on both sides, the outer ones
on one. Two wards meet between the seventh and the eighth lot of each row, so a street within a ward has 14 homes, an
outer one 7. Figures of sides are sums over the lots and made-up shares of them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from map_result import COLUMNS, EAST, GAUGE, NORTH, PARCEL_CRS, RANGES, parcels_frame, result_in

from harvest.fields import CONTEXT, SIDES
from harvest.fields.canvass import NO_DOORS, TO_CANVASS
from harvest.fields.parcels import HOMES
from harvest.project import read_project
from harvest.project.file import settings_in_force
from harvest.result import Result

PLANE = "+proj=laea +lat_0=41.00 +lon_0=-56.00 +datum=WGS84 +units=m +no_defs +type=crs"
SAMPLE = Path(__file__).parents[1] / "data" / "sample" / "pellwick.toml"
STREETS = ("Quay Street", "Alder Street", "Birch Lane", "Cedar Way", "Dune Road")
WARDS = ("Ward 2", "Ward 10")
LONG_SIDE, DEEP, ROAD = 22.0, 30.0, 14.0
ANSWER_AND_JOIN = 0.02
YEARS = [2004, 2005, 2006]


def placed(
    parcels: gpd.GeoDataFrame, streets: Sequence[str] = STREETS, wards: bool = True
) -> gpd.GeoDataFrame:
    """``parcels`` of the small town with the street, the side and the ward of each lot."""
    number = pd.to_numeric(parcels["parcel_id"].str.removeprefix("P"), errors="coerce")
    row, column = number // COLUMNS, number % COLUMNS
    street = ((row + 1) // 2).map(lambda one: None if pd.isna(one) else streets[int(one) % len(streets)])
    half = np.where(column < COLUMNS // 2, "a", "b")
    hand = np.where(row % 2 == 0, "L", "R")
    names = [
        None if pd.isna(one) else f"s{int(one)}{part} {side}"
        for one, part, side in zip((row + 1) // 2, half, hand, strict=True)
    ]
    ward = np.where(column < COLUMNS // 2, *WARDS)
    return parcels.assign(
        street=pd.Series(street, dtype="str"),
        side_id=pd.Series(names, dtype="str"),
        district=pd.Series(ward, dtype="str").where(number.notna() & wards),
    )


def sides_frame(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The sides that ``parcels`` (placed) stand on."""
    homes = parcels[parcels["list"].eq(HOMES)]
    rows = []
    for side_id, lots in parcels[parcels["side_id"].notna()].groupby("side_id"):
        mine = homes[homes["side_id"].eq(side_id)]
        doors, used = int(mine["door_count"].sum()), float(mine["yield_l_yr"].sum())
        number, part = int(str(side_id)[1]), str(side_id)[2]
        west = EAST + (0 if part == "a" else COLUMNS // 2 * LONG_SIDE)
        y = NORTH + 2 * DEEP * number + ROAD * (number - 0.5)
        worth = ANSWER_AND_JOIN * used if doors else np.nan
        minutes = 3.0 * doors + 2.0 if doors else np.nan
        rows.append(
            {
                "side_id": side_id,
                "street": lots["street"].iloc[0],
                "stretch": "West Road to East Road",
                "side": "north" if str(side_id).endswith("L") else "south",
                "numbers": "1 to 27",
                "district": lots["district"].iloc[0],
                "parcel_count": len(lots),
                "door_count": doors,
                "to_visit_count": max(doors - number, 0),
                "visited_count": min(doors, number),
                "corrected_count": 0,
                "length_m": COLUMNS // 2 * LONG_SIDE,
                "canvass_min": minutes,
                "capturable_l_yr": float(lots["capturable_l_yr"].sum()),
                "yield_l_yr": used,
                "worth_l_yr": worth,
                "worth_door_l_yr": worth / max(doors - number, 1),
                "worth_l_min": worth / minutes,
                "chance": ANSWER_AND_JOIN,
                "rank": 1,
                "status": TO_CANVASS if doors else NO_DOORS,
                "round": None,
                "no_crossing": False,
                "geometry": shapely.LineString([(west, y), (west + COLUMNS // 2 * LONG_SIDE, y)]),
            }
        )
    counts = {one.name: "Int64" for one in SIDES.fields if one.dtype == "integer"}
    texts = {one.name: "str" for one in SIDES.fields if one.dtype == "string"}
    frame = pd.DataFrame(rows).astype(counts | texts)
    return gpd.GeoDataFrame(SIDES.checked(frame), geometry="geometry", crs=PARCEL_CRS)


def context_frame() -> gpd.GeoDataFrame:
    """A pond and a park beside the lots, a creek through them, and a point that nobody can draw as an area."""
    shapes = {
        "Ponds, water": shapely.box(EAST + 200, NORTH - 60, EAST + 300, NORTH - 20),
        "parks": shapely.box(EAST - 60, NORTH, EAST - 10, NORTH + 280),
        "creek": shapely.LineString([(EAST - 60, NORTH + 100), (EAST + 350, NORTH + 180)]),
        "railway $yard$": shapely.Point(EAST, NORTH),
    }
    frame = pd.DataFrame({"kind": list(shapes), "name": None, "geometry": list(shapes.values())})
    frame = frame.astype({"kind": "str", "name": "str"})
    return gpd.GeoDataFrame(CONTEXT.checked(frame), geometry="geometry", crs=PARCEL_CRS)


def council_result(
    folder: Path,
    *,
    parcels: gpd.GeoDataFrame | None = None,
    streets: Sequence[str] | None = STREETS,
    wards: bool = True,
    context: bool = False,
    units: str = "us",
    town: str = "Pellwick",
    days: str | None = GAUGE,
    ranges: Mapping[str, Any] = RANGES,
    settings: Mapping[str, Any] | None = None,
) -> Result:
    """A result with the sample's settings (those of ``settings`` changed); without ``streets`` it has no sides."""
    made = placed(parcels_frame() if parcels is None else parcels, streets or STREETS, wards)
    if streets is None:
        made = made.assign(
            street=made["street"].where(made["street"].isna()),
            side_id=made["side_id"].mask(made["side_id"].notna()),
        )
    result = result_in(folder, made, units, town, days, ranges)
    if streets is not None:
        sides_frame(made).to_parquet(folder / "sides.parquet", index=False)
    if context:
        context_frame().to_parquet(folder / "context.parquet", index=False)
    changed = dict(settings or {})
    told = [one for one in settings_in_force(read_project(SAMPLE).settings) if one["setting"] not in changed]
    told += [
        {"setting": name, "value": value, "unit": "1", "from": "project file", "source": ""}
        for name, value in changed.items()
    ]
    weather = None if days is None else {"days": days, **({"years": YEARS} if days == GAUGE else {})}
    run = result.run | {"settings": told, "plane": PLANE, "weather": weather}
    (folder / "run.json").write_text(json.dumps(run, default=str), encoding="utf-8")
    return Result.at(folder)
