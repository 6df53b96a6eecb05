"""A small invented result for the tests of door cards, its figures round in US units so that a card can be told
by heart.

Lots of 20 m by 40 m stand in a row; each has a house of 10 m by 8 m and a shed of 3 m by 2 m.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from harvest.fields import FINDINGS, PARCELS, ROOFS, Table
from harvest.fields.parcels import EXCLUDED, HOMES, RANKED
from harvest.result import Result
from harvest.units import L_PER_GALLON, M2_PER_SQUARE_FOOT

PLANE = "+proj=laea +lat_0=41 +lon_0=-58 +datum=WGS84 +units=m +no_defs"
PARCEL_CRS, ROOF_CRS = PLANE, "EPSG:4326"
WIDE, DEEP = 20.0, 40.0
KINDS = {"string": "str", "float": "Float64", "integer": "Int64", "boolean": "boolean"}

ADDRESSES = {
    "H1": "101 Alder Street",
    "H2": "12 Alder Street",
    "H3": "9 Birch Street",
    "H4": "2 Alder Street",
    "H5": None,
    "H6": "7 Birch Street",
}
"""Homes, best first; H6 is excluded."""

FIGURES: dict[str, Any] = {
    "runoff_l_yr": 20_000 * L_PER_GALLON,
    "capturable_l_yr": 9_000 * L_PER_GALLON,
    "storm_l": 500 * L_PER_GALLON,
    "storm_downspout_l": 120 * L_PER_GALLON,
    "fill_min": 11.6,
    "downspout_count": 3,
    "barrel_places": 2,
    "served_area_m2": 460 * M2_PER_SQUARE_FOOT,
    "garden_m2": 150 * M2_PER_SQUARE_FOOT,
    "suggested_barrels": 1,
    "yield_l_yr": 200 * L_PER_GALLON,
    "yield_low_l_yr": 150 * L_PER_GALLON,
    "yield_high_l_yr": 260 * L_PER_GALLON,
    "yield_poor_year_l_yr": 140 * L_PER_GALLON,
    "yield_good_year_l_yr": 250 * L_PER_GALLON,
    "yield_hangs_on": "how often people draw",
    "yield_1_barrels_l_yr": 200 * L_PER_GALLON,
    "yield_2_barrels_l_yr": 230 * L_PER_GALLON,
    "demand_days_yr": 30.0,
    "days_met_yr": 24.0,
    "fills_yr": 7.4,
    "first_inch_share": 0.004,
    "saving_low_usd_yr": 1.234,
    "saving_high_usd_yr": 2.5,
    "net_cost_usd": 70.0,
    "payback": "It does not pay back in money.",
    "rain_cover": 1.0,
    "catchment_area_m2": 86.0,
}
BARREL_FIGURES = [
    name
    for name in FIGURES
    if name.startswith(("yield", "saving", "demand", "days", "fills", "first", "net", "pay"))
]
"""What is missing where nothing says when rain falls."""

SETTINGS = {
    "footprints.imagery_year": 2023,
    "season.first": "04-15",
    "season.last": "10-31",
    "storm.depth_mm": 25.4,
    "storm.intensity_mm_h": 25.4,
    "barrel.volume_l": 208.2,
    "habits.sessions_a_week": 2,
    "habits.weeks_share": 0.5,
}


def lot(number: int) -> shapely.Polygon:
    return shapely.box(WIDE * number, 0, WIDE * (number + 1), DEEP)


def house(number: int) -> shapely.Polygon:
    return shapely.box(WIDE * number + 4, 8, WIDE * number + 14, 16)


def shed(number: int) -> shapely.Polygon:
    return shapely.box(WIDE * number + 15, 30, WIDE * number + 18, 32)


def filled(table: Table, rows: list[dict[str, Any]], crs: str) -> gpd.GeoDataFrame:
    """``rows`` as ``table``, what they leave out missing."""
    columns = {
        one.name: pd.array([row.get(one.name) for row in rows], dtype=KINDS[one.dtype])
        for one in table.fields
        if one.dtype != "geometry"
    }
    shapes = [row["geometry"] for row in rows]
    return table.checked(gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(shapes, crs=PLANE)).to_crs(crs))


def parcel(number: int, parcel_id: str, address: str | None, **changed: Any) -> dict[str, Any]:
    """A parcel with every figure, but for what is ``changed``."""
    standing = {"list": HOMES, "rank": number + 1, "status": RANKED, "barrel_roof_id": f"{parcel_id}-house"}
    shape = {"geometry": lot(number), "parcel_area_m2": WIDE * DEEP}
    return {"parcel_id": parcel_id, "address": address} | FIGURES | standing | shape | changed


def town() -> list[dict[str, Any]]:
    """The parcels of ``ADDRESSES``."""
    rows = [parcel(number, name, address) for number, (name, address) in enumerate(ADDRESSES.items())]
    rows[-1] |= {
        "list": None,
        "rank": None,
        "status": EXCLUDED,
        "reason": "Owner has asked not to be visited",
    }
    return rows


def roofs_of(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """House and shed of each of ``rows``, by its place in the row of lots."""
    return [
        {
            "roof_id": f"{row['parcel_id']}-{name}",
            "parcel_id": row["parcel_id"],
            "parcel_share": 1.0,
            "placement": "whole",
            "roof_area_m2": shape.area,
            "has_gutter": True,
            "geometry": shape,
        }
        for number, row in enumerate(rows)
        for name, shape in (("house", house(number)), ("shed", shed(number)))
    ]


def result_in(
    folder: Path,
    rows: list[dict[str, Any]] | None = None,
    roofs: list[dict[str, Any]] | None = None,
    units: str = "us",
    town_name: str = "Pellwick",
    days: str = "daily gauge",
    **settings: Any,
) -> Result:
    """A complete result in ``folder`` of ``rows`` (the small town) and ``roofs`` (those of :func:`roofs_of`)."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = town() if rows is None else rows
    roofs = roofs_of(rows) if roofs is None else roofs
    filled(PARCELS, rows, PARCEL_CRS).to_parquet(folder / "parcels.parquet", index=False)
    filled(ROOFS, roofs, ROOF_CRS).to_parquet(folder / "roofs.parquet", index=False)
    pd.DataFrame(columns=list(FINDINGS.names)).to_parquet(folder / "findings.parquet", index=False)
    run = {
        "program": "harvest-mapper",
        "version": "0.0.test",
        "town": town_name,
        "units": units,
        "plane": PLANE,
        "weather": {"days": days},
        "settings": [{"setting": name, "value": value} for name, value in (SETTINGS | settings).items()],
        "files": [],
    }
    (folder / "run.json").write_text(json.dumps(run), encoding="utf-8")
    return Result.at(folder)
