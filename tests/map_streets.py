"""Streets, rounds, surroundings and visits of the small invented town of ``map_result.py``, aligned to its lots.

Five streets run from west to east between the rows of lots, each cut in two stretches by Long Lane; the lots north of
a street stand on its left side (L), those south of it on its right (R). Worth is a tenth of what is used, and four
minutes go to each door, so every figure of a side can be added up by hand.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from map_result import COLUMNS, EAST, NORTH, PARCEL_CRS, ROWS, parcels_frame, result_in

from harvest.fields import CONTEXT, PARCELS, ROUNDS, SIDES
from harvest.fields.canvass import NO_DOORS, TO_CANVASS
from harvest.fields.outreach import (
    COME_BACK,
    INSTALLED,
    JOINED,
    OTHER_LANGUAGE,
    REFUSED,
    TO_VISIT,
    TRY_AGAIN,
    VERIFIED,
)
from harvest.fields.parcels import RANKED
from harvest.result import Result

HOSTILE_STREET = '<img src=x onerror="window.broken = 4">'
STREETS = ("Elder Row", "Fir Row", HOSTILE_STREET, "=1+1 {{ 6*7 }}", "Ivy Row")
HOSTILE_STRETCH = "</script><script>window.broken = 5</script>"
STRETCHES = ("Low Lane to Long Lane", HOSTILE_STRETCH)
DISTRICTS = ("Ward 1", '@SUM(A1) <b onclick="window.broken = 6">Ward 2</b>')
CAUTION = "Dog. <img src=x onerror='window.broken = 7'> {% if %}"
WATER_NAME = "<script>window.broken = 8</script> Creek"
VISITS = {
    "P001": TRY_AGAIN,
    "P002": COME_BACK,
    "P003": JOINED,
    "P016": INSTALLED,
    "P017": VERIFIED,
    "P018": REFUSED,
    "P030": OTHER_LANGUAGE,
}
DONE = (JOINED, INSTALLED, VERIFIED, REFUSED)
CAUTIONED = "P005"
ROUNDS_OF_STREETS = {0: 1, 1: 2, 2: 3}


def street_of_row(along: int) -> int:
    """The street that a row of lots opens on: rows 0, 1-2, 3-4, 5-6, 7 from the south."""
    return (along + 1) // 2


def street_y(street: int) -> float:
    """Where a street runs [m north]: in the middle of the gap between rows, or as far out beyond the last."""
    return NORTH + 60 * street + 14 * (street - 1) + 7 if street else NORTH - 7


def placed(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """``parcels`` with street, side, district, visits and round; those outside the grid have none."""
    number = pd.to_numeric(parcels["parcel_id"].str.extract(r"^P(\d{3})$")[0])
    inside = number.notna()
    along, across = (number.fillna(0) // COLUMNS).astype(int), (number.fillna(0) % COLUMNS).astype(int)
    street = along.map(street_of_row)
    stretch = (across >= COLUMNS // 2).astype(int)
    hand = np.where(along % 2 == 0, "L", "R")
    visit = parcels["parcel_id"].map(VISITS).where(inside)
    visit = visit.mask(inside & visit.isna() & parcels["status"].eq(RANKED), TO_VISIT)
    ids = [f"S{i}{j} {k}" for i, j, k in zip(street, stretch, hand, strict=True)]
    caution = pd.Series(CAUTION, index=parcels.index, dtype="str")
    texts: dict[str, Any] = {
        "street": pd.Series([STREETS[i] for i in street], dtype="str").where(inside),
        "side_id": pd.Series(ids, dtype="str").where(inside),
        "district": pd.Series([DISTRICTS[i] for i in stretch], dtype="str").where(inside),
        "visit_status": visit.astype("str"),
        "door_caution": caution.where(parcels["parcel_id"].eq(CAUTIONED)),
    }
    rounds = street.map(ROUNDS_OF_STREETS).where(visit.isin([TO_VISIT, TRY_AGAIN, COME_BACK]))
    return PARCELS.checked(parcels.assign(**texts, round=rounds.astype("Int64")))


def sides_frame(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The sides table of ``parcels`` (as :func:`placed` returns them)."""
    rows = []
    for side_id, group in parcels[parcels["side_id"].notna()].groupby("side_id", sort=True):
        street, stretch, hand = int(str(side_id)[1]), int(str(side_id)[2]), str(side_id)[4]
        doors = group[group["status"].eq(RANKED)]
        left = doors[~doors["visit_status"].isin(DONE)]
        worth = 0.1 * float(left["yield_l_yr"].sum())
        minutes = 4.0 * len(left) + 2.0
        west = EAST + 22 * COLUMNS // 2 * stretch
        line = shapely.LineString([(west, street_y(street)), (west + 22 * COLUMNS // 2, street_y(street))])
        rows.append(
            {
                "side_id": side_id,
                "street": STREETS[street],
                "stretch": STRETCHES[stretch],
                "side": "north" if hand == "L" else "south",
                "numbers": "-2+3 to 19, odd",
                "district": DISTRICTS[stretch],
                "parcel_count": len(group),
                "door_count": len(doors),
                "to_visit_count": len(left),
                "visited_count": int(group["visit_status"].isin(set(VISITS.values())).sum()),
                "corrected_count": 0,
                "length_m": 154.0,
                "canvass_min": minutes,
                "capturable_l_yr": float(group["capturable_l_yr"].sum()),
                "yield_l_yr": float(group["yield_l_yr"].sum()),
                "worth_l_yr": worth,
                "worth_door_l_yr": worth / len(left) if len(left) else None,
                "worth_l_min": worth / minutes,
                "chance": 0.2,
                "status": TO_CANVASS if len(left) else NO_DOORS,
                "round": ROUNDS_OF_STREETS.get(street),
                "no_crossing": False,
                "geometry": line,
            }
        )
    frame = pd.DataFrame(rows)
    frame["rank"] = frame["worth_l_min"].rank(ascending=False, method="first")
    whole = {one.name: "Int64" for one in SIDES.fields if one.dtype == "integer"}
    texts = {one.name: "str" for one in SIDES.fields if one.dtype == "string"}
    kinds = {one.name: "float64" for one in SIDES.fields if one.dtype == "float"}
    frame = frame.astype(whole | texts | kinds | {"no_crossing": "boolean"})
    return gpd.GeoDataFrame(SIDES.checked(frame), geometry="geometry", crs=PARCEL_CRS)


def rounds_frame() -> gpd.GeoDataFrame:
    """Three rounds, each up one street and back."""
    rows = []
    for street, number in ROUNDS_OF_STREETS.items():
        y, east = street_y(street), EAST + 22 * COLUMNS
        walk = shapely.LineString([(EAST, y + 2), (east, y + 2), (east, y - 2), (EAST, y - 2)])
        rows.append(
            {
                "round": number,
                "streets": STREETS[street],
                "district": DISTRICTS[0],
                "stop_count": 10,
                "door_count": 10,
                "canvass_min": 90.0,
                "first_pass_min": 60.0,
                "walk_m": 620.0,
                "answers": 4.0,
                "joins": 1.0,
                "worth_l_yr": 900.0,
                "worth_l_min": 10.0,
                "geometry": walk,
            }
        )
    whole = {one.name: "int64" for one in ROUNDS.fields if one.dtype == "integer"}
    texts = {one.name: "str" for one in ROUNDS.fields if one.dtype == "string"}
    frame = pd.DataFrame(rows).astype(whole | texts)
    return gpd.GeoDataFrame(ROUNDS.checked(frame), geometry="geometry", crs=PARCEL_CRS)


def context_frame() -> gpd.GeoDataFrame:
    """A pond south of the lots, a creek west of them, a park north of them, and one thing of another kind."""
    top = NORTH + 30 * ROWS + 14 * 3
    rows = [
        ("water", "Pond", shapely.box(EAST + 180, NORTH - 60, EAST + 300, NORTH - 20)),
        ("water", WATER_NAME, shapely.LineString([(EAST - 30, NORTH - 60), (EAST - 20, top)])),
        ("park", None, shapely.MultiPolygon([shapely.box(EAST, top + 20, EAST + 90, top + 60)])),
        ("quarry", "Old quarry", shapely.box(EAST + 200, top + 20, EAST + 290, top + 60)),
    ]
    frame = pd.DataFrame(rows, columns=["kind", "name", "geometry"]).astype({"kind": "str", "name": "str"})
    return gpd.GeoDataFrame(CONTEXT.checked(frame), geometry="geometry", crs=PARCEL_CRS)


def street_tables(parcels: gpd.GeoDataFrame) -> dict[str, gpd.GeoDataFrame]:
    """Every further table of the town with streets, by name."""
    return {"sides": sides_frame(parcels), "rounds": rounds_frame(), "context": context_frame()}


def town_with_streets(folder: Path, units: str = "us", leave_out: tuple[str, ...] = ()) -> Result:
    """The small town with all its streets, rounds and surroundings but the tables named in ``leave_out``."""
    parcels = placed(parcels_frame())
    tables = street_tables(parcels)
    return result_in(
        folder, parcels, units, further={name: tables[name] for name in tables if name not in leave_out}
    )
