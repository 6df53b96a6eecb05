"""Small invented results to write tables of: hostile texts, missing figures, two coordinate systems."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from barrel_columns import barrel_columns, downspout_columns
from table_extras import extra_tables

from harvest.fields import FINDINGS, PARCELS, ROOFS
from harvest.fields.parcels import HOMES, NO_RAIN, RANKED
from harvest.fields.roofs import UNPLACED, WHOLE
from harvest.result import RUN_FILE, Result

LONG = "Long Lane " * 4000
EMOJI_LONG = "🏠" * 20_000
HOSTILE = (
    '=HYPERLINK("x")',
    "+1",
    "-1",
    "@x",
    "\ttab first",
    "\rreturn first",
    'two\r\nlines, and a "quote"',
    "<script>alert(1)</script>",
    "{{ 6*7 }}",
    "<r><t>markup</t></r>",
    "bell \x07 and escape \x1b",
    "zero \x00 byte",
    "_x0041_ is no letter",
    "🏠 12 Rue de l'Été",
    "שדרות 5",
    "  spaces around  ",
    "＝1+1",
    "http://example.org/",
    "00123",
    "",
    LONG,
    EMOJI_LONG,
)
"""Addresses, one a parcel; the last of the parcels has none at all."""

PARCELS_CRS = "+proj=laea +lat_0=41 +lon_0=-58 +ellps=bessel +units=us-ft +no_defs"
"""A coordinate system without an EPSG code, in US survey feet."""

ROOFS_CRS = "EPSG:26986"
SETTINGS: list[dict[str, Any]] = [
    {
        "setting": "town.name",
        "value": "=cmd",
        "unit": None,
        "from": "project file",
        "source": "given by the user",
    },
    {"setting": "losses.coefficient", "value": 0.8, "unit": "1", "from": "default", "source": "a handbook"},
    {
        "setting": "storm.depth_mm",
        "value": 25.4,
        "unit": "mm",
        "from": "default",
        "source": "common practice",
    },
    {
        "setting": "parcels.address",
        "value": ["NO", "STREET"],
        "unit": None,
        "from": "project file",
        "source": None,
    },
    {"setting": "rainfall.unit", "value": None, "unit": None, "from": "default", "source": None},
    {"setting": "some.switch", "value": True, "unit": None, "from": "default", "source": None},
]


def parcels_frame(addresses: tuple[str | None, ...]) -> gpd.GeoDataFrame:
    """One parcel an address, of rising size; every seventh has no rain figure."""
    count = len(addresses)
    place = np.arange(count)
    area = 80.0 + 10.1 * place
    dry = place % 7 == 3
    litres = pd.array(np.where(dry, np.nan, area * 1000 / 3), dtype="Float64")
    litres[0] = 0.0
    boxes = shapely.box(30 * place, 0, 30 * place + 20, 20)
    outlines = [
        shapely.MultiPolygon([one, shapely.box(0, 900, 5, 905)]) if i == 1 else one
        for i, one in enumerate(boxes)
    ]
    whole = pd.array([1] * count, dtype="Int64")
    ids = pd.Series([f"{i:03d}" for i in place], dtype="str")
    barrels = barrel_columns(ids, pd.Series(area).mask(dry), pd.Series(place == 0), pd.Series(place == 4))
    values = {
        "parcel_id": ids,
        "address": pd.array(list(addresses), dtype="str"),
        "land_use": pd.array([None] * count, dtype="str"),
        "door_count": pd.array([None if i == 2 else int(i) for i in place], dtype="Int64"),
        "parcel_area_m2": 400.0 + place / 7,
        "roof_count": whole,
        "catchment_area_m2": area,
        "guttered_area_m2": area,
        "rain_mm_yr": pd.array(np.where(dry, np.nan, 1067.4321), dtype="Float64"),
        "season_rain_mm_yr": pd.array(np.where(dry, np.nan, 0.1 + 0.2), dtype="Float64"),
        "rain_cover": pd.array(np.where(dry, 0.0, 1.0), dtype="Float64"),
        "runoff_l_yr": litres * 1.25,
        "capturable_l_yr": litres,
        "storm_l": area * 25.4,
        **barrels,
        "list": pd.array([None if one else HOMES for one in dry], dtype="str"),
        "rank": pd.array([None if one else i + 1 for i, one in enumerate(dry)], dtype="Int64"),
        "rank_score": litres,
        "status": pd.array([NO_RAIN if one else RANKED for one in dry], dtype="str"),
        "reason": pd.array(["The grid has no figure here." if one else None for one in dry], dtype="str"),
        "site_id": pd.array([None] * count, dtype="str"),
        "geometry": outlines,
    }
    return PARCELS.checked(gpd.GeoDataFrame(values, geometry="geometry", crs=PARCELS_CRS))


def roofs_frame(count: int) -> gpd.GeoDataFrame:
    """One roof a parcel; the last lies on none."""
    place = np.arange(count)
    lost = place == count - 1
    area = 80.0 + 10.1 * place
    litres = pd.array(area * 1000 / 3, dtype="Float64")
    values = {
        "roof_id": pd.array([f"r{i}" for i in place], dtype="str"),
        "parcel_id": pd.array([None if one else f"{i:03d}" for i, one in enumerate(lost)], dtype="str"),
        "parcel_share": 1 / 3 + np.zeros(count),
        "placement": pd.array([UNPLACED if one else WHOLE for one in lost], dtype="str"),
        "kind": pd.array(["house"] * count, dtype="str"),
        "roof_area_m2": area,
        "has_gutter": place % 2 == 0,
        "catchment_area_m2": area,
        "rain_mm_yr": pd.array([1067.4321] * count, dtype="Float64"),
        "season_rain_mm_yr": pd.array([1067.4321] * count, dtype="Float64"),
        "rain_cover": pd.array([1.0] * count, dtype="Float64"),
        "runoff_l_yr": litres,
        "capturable_l_yr": litres,
        "storm_l": area * 25.4,
        "eave_m": 2 * np.sqrt(area),
        **downspout_columns(pd.Series(area).where(place % 2 == 0)),
        "geometry": shapely.box(200_000 + 30 * place, 900_000, 200_010 + 30 * place, 900_010),
    }
    return ROOFS.checked(gpd.GeoDataFrame(values, geometry="geometry", crs=ROOFS_CRS))


def findings_frame(count: int) -> pd.DataFrame:
    """``count`` invented findings; the first names a hostile id."""
    values = {
        "check": ["steady offset"] * count,
        "layer": ["roofs"] * count,
        "severity": ["warning"] * count,
        "count": np.full(count, 3, dtype="int64"),
        "message": ["Roofs lie 0.4 m off."] * count,
        "remedy": ["Ask for the datum."] * count,
        "first": [None if i else "=1+1" for i in range(count)],
    }
    kinds = {one.name: "int64" if one.dtype == "integer" else "str" for one in FINDINGS.fields}
    return FINDINGS.checked(pd.DataFrame(values, columns=list(FINDINGS.names)).astype(kinds))


def written_result(
    folder: Path,
    parcels: gpd.GeoDataFrame | None = None,
    findings: int = 2,
    units: str = "metric",
    town: str = "Pellwick",
    extras: bool = False,
) -> Result:
    """A result in ``folder``: hostile parcels (or ``parcels``), as many roofs, some findings.

    With ``extras`` it has every optional table too, and parcels know their street, side and round.
    """
    folder.mkdir(exist_ok=True)
    shown = parcels_frame((*HOSTILE, None)) if parcels is None else parcels
    if extras:
        texts, ids = (*HOSTILE, None), shown["parcel_id"].tolist()
        for name, frame in extra_tables(texts[: len(ids)], ids, PARCELS_CRS).items():
            frame.to_parquet(folder / f"{name}.parquet", index=False)
        shown = shown.assign(street="=Quay", side_id="s0L", round=pd.array([1] * len(ids), dtype="Int64"))
    shown.to_parquet(folder / "parcels.parquet", index=False)
    roofs_frame(len(shown)).to_parquet(folder / "roofs.parquet", index=False)
    findings_frame(findings).to_parquet(folder / "findings.parquet", index=False)
    run = {
        "program": "harvest-mapper",
        "version": "0.1.0",
        "town": town,
        "units": units,
        "settings": SETTINGS,
        "inputs": [],
        "ledger": {},
        "totals": {},
        "files": [],
    }
    (folder / RUN_FILE).write_text(json.dumps(run), encoding="utf-8")
    return Result.at(folder)
