"""A small invented result folder for the tests of the map: every kind of parcel, figures known by hand.

Lots of 20 m by 30 m stand in two blocks of rows. Each roof's area is chosen, rain is 1000 mm, the
coefficient 0.8 and six tenths of the runoff are capturable, so a roof of A m² sheds 800 A and catches 480 A.
Parcels take turns with 1, 2 and 3 suggested barrels, which deliver 600 L each and a litre more for each m² of roof.
With ``streets`` there are sides, rounds, surroundings and visits too (``map_streets.py``).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from barrel_columns import HANGS_ON, barrel_columns, downspout_columns

from harvest.fields import FINDINGS, PARCELS, ROOFS
from harvest.fields.parcels import ASSOCIATION, COMMON_GROUND, NO_GUTTER, NO_RAIN, NO_ROOF, RANKED, UNIT
from harvest.result import Result

PARCEL_CRS, ROOF_CRS = "EPSG:32621", "EPSG:4326"
EAST, NORTH = 584_000.0, 4_540_000.0
COLUMNS, ROWS = 14, 8

HOSTILE = {
    "P003": "<script>window.broken = 1</script>",
    "P004": "{{ 6*7 }}",
    "P005": '<img src=x onerror="window.broken = 2">',
    "P006": "{% if %} {# gone #}",
    "P007": "</script><script>window.broken = 3</script>",
    "P008": "\u2028 $map ${map} \\u003c &lt;b&gt;",
}

GAUGE, MADE_UP = "daily gauge", "made up from monthly normals"
NO_GARDEN, BARE_OF_DOUBT = "P012", "P014"
"""A parcel without a garden, and one of whose used litres nothing is known but the mean."""


@dataclass(frozen=True)
class Lot:
    """What a test may want to know about one parcel."""

    parcel_id: str
    outline: shapely.Polygon
    roof_m2: float | None
    status: str = RANKED
    reason: str | None = None


def lots() -> list[Lot]:
    """The town's parcels, ids in order."""
    made = []
    for number in range(COLUMNS * ROWS):
        across, along = number % COLUMNS, number // COLUMNS
        west = EAST + 22 * across
        south = NORTH + 30 * along + 14 * (along // 2)
        outline = shapely.box(west, south, west + 22, south + 30)
        name = f"P{number:03d}"
        if number == 20:
            made.append(Lot(name, outline, 0.0, NO_ROOF))
        elif number == 21:
            made.append(Lot(name, outline, None, NO_RAIN, "The rainfall grid holds no figure here."))
        elif number == 23:
            made.append(Lot(name, outline, 85.0, NO_GUTTER))
        elif number == 22:
            hole = shapely.box(west + 8, south + 10, west + 14, south + 20)
            made.append(Lot(name, outline.difference(hole), 90.0))
        elif number % 17 == 9:
            made.append(Lot(name, outline, 500.0 + number / 10))
        else:
            made.append(Lot(name, outline, 60.0 + (number * 37) % 101 + number / 100))
    return [*made, *_stacked(), *_common()]


def _stacked() -> list[Lot]:
    """Two units over one another, and the site that holds their litres."""
    ground = shapely.box(EAST, NORTH - 60, EAST + 60, NORTH - 20)
    return [
        Lot("U1", ground, None, UNIT),
        Lot("U2", ground, None, UNIT),
        Lot("site of U1", ground, 700.0, ASSOCIATION, "An association answers for it."),
    ]


def _common() -> list[Lot]:
    """A pad inside common ground."""
    ground = shapely.box(EAST + 80, NORTH - 60, EAST + 160, NORTH - 20)
    pad = shapely.box(EAST + 90, NORTH - 50, EAST + 110, NORTH - 30)
    return [Lot("C1", ground, 0.0, COMMON_GROUND), Lot("C2", pad, 95.0)]


def address_of(parcel_id: str, number: int) -> str | None:
    if parcel_id in HOSTILE:
        return HOSTILE[parcel_id]
    return None if number in (0, 30) else f"{2 * number + 1} {('Alder', 'Birch', 'Cedar')[number % 3]} Street"


def parcels_frame(made: list[Lot] | None = None) -> gpd.GeoDataFrame:
    """The parcels table that the register asks for."""
    made = made if made is not None else lots()
    area = pd.array([lot.roof_m2 for lot in made], dtype="Float64")
    roof = pd.Series(area).astype("float64")
    large = (roof >= 500) | pd.Series([lot.status == ASSOCIATION for lot in made])
    guttered = roof.mask(pd.Series([lot.status == NO_GUTTER for lot in made], dtype=bool), 0.0)
    on_list = guttered.gt(0)
    names = pd.Series([lot.parcel_id for lot in made], dtype="str")
    barrels = barrel_columns(names, guttered, names.eq(NO_GARDEN), names.eq(BARE_OF_DOUBT))
    for name in ("yield_hangs_on", "payback"):
        barrels[name] = barrels[name].mask(barrels[name].notna() & names.isin(HOSTILE), names.map(HOSTILE))
    group = pd.Series(np.where(large, "large roofs", "homes"), dtype="str").where(on_list, pd.NA)
    frame = pd.DataFrame(
        {
            "parcel_id": names,
            "address": pd.Series([address_of(lot.parcel_id, i) for i, lot in enumerate(made)], dtype="str"),
            "land_use": pd.Series([None] * len(made), dtype="str"),
            "door_count": pd.Series([1] * len(made), dtype="Int64"),
            "parcel_area_m2": pd.Series([lot.outline.area for lot in made], dtype="float64"),
            "roof_count": pd.Series(roof.gt(0).astype("int64")),
            "catchment_area_m2": roof.fillna(80.0),
            "guttered_area_m2": guttered.fillna(80.0),
            "rain_mm_yr": pd.Series(1000.0, index=roof.index).where(roof.gt(0), np.nan),
            "season_rain_mm_yr": pd.Series(600.0, index=roof.index).where(roof.gt(0), np.nan),
            "rain_cover": pd.Series(1.0, index=roof.index).where(roof.gt(0), np.nan),
            "runoff_l_yr": roof * 800,
            "capturable_l_yr": guttered * 480,
            "storm_l": roof * 0.8 * 25.4,
            **barrels,
            "list": group.astype("str"),
            "rank": roof.groupby(group).rank(ascending=False, method="first").astype("Int64"),
            "rank_score": roof * 480,
            "status": pd.Series([lot.status for lot in made], dtype="str"),
            "reason": pd.Series([lot.reason for lot in made], dtype="str"),
            "site_id": pd.Series(["site of U1" if lot.status == UNIT else None for lot in made], dtype="str"),
            "geometry": [lot.outline for lot in made],
        }
    )
    return gpd.GeoDataFrame(PARCELS.checked(frame), geometry="geometry", crs=PARCEL_CRS)


def without(parcels: gpd.GeoDataFrame, *begins: str) -> gpd.GeoDataFrame:
    """``parcels`` with every column whose name begins with one of ``begins`` missing throughout."""
    names = [name for name in parcels if str(name).startswith(begins)]
    return parcels.assign(**{str(name): parcels[name].where(parcels["parcel_id"].isna()) for name in names})


TARIFF_COLUMNS = ("saving_", "payback")
DAY_COLUMNS = ("suggested_", "yield_", "net_cost", *TARIFF_COLUMNS)
"""What is missing without a tariff, and without days of rain."""


def roofs_frame(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """A roof in the middle of each parcel that has one, and one roof divided between P010 and P011."""
    with_roof = parcels[parcels["roof_count"] > 0].reset_index(drop=True)
    centre = with_roof.geometry.centroid
    half_wide = np.minimum(10.0, np.sqrt(with_roof["catchment_area_m2"].to_numpy()) / 2)
    half_long = with_roof["catchment_area_m2"].to_numpy() / (4 * half_wide)
    boxes = shapely.box(
        centre.x - half_wide, centre.y - half_long, centre.x + half_wide, centre.y + half_long
    )
    outline = gpd.GeoSeries(boxes, crs=PARCEL_CRS).to_crs(ROOF_CRS)
    rows = pd.DataFrame(
        {
            "roof_id": ("R-" + with_roof["parcel_id"]).astype("str"),
            "parcel_id": with_roof["parcel_id"],
            "parcel_share": 1.0,
            "placement": pd.Series("whole", index=with_roof.index, dtype="str"),
            "kind": pd.Series(None, index=with_roof.index, dtype="str"),
            "roof_area_m2": with_roof["catchment_area_m2"],
            "has_gutter": with_roof["guttered_area_m2"] > 0,
            "eave_m": 20.0,
            **downspout_columns(with_roof["guttered_area_m2"]),
            **{name: with_roof[name] for name in _SHARED},
            "geometry": outline,
        }
    )
    divided = (
        rows[rows["parcel_id"].isin(["P010", "P011"])]
        .sort_values("parcel_id")
        .assign(roof_id="R-divided", placement="divided", parcel_share=0.5)
    )
    divided["geometry"] = divided.geometry.take([0] * len(divided)).to_numpy()
    both = pd.concat([rows, divided.astype({"roof_id": "str", "placement": "str"})], ignore_index=True)
    return gpd.GeoDataFrame(ROOFS.checked(both), geometry="geometry", crs=ROOF_CRS)


_SHARED = (
    "catchment_area_m2",
    "rain_mm_yr",
    "season_rain_mm_yr",
    "rain_cover",
    "runoff_l_yr",
    "capturable_l_yr",
    "storm_l",
)


def findings_frame() -> pd.DataFrame:
    rows = [
        ("repaired outlines", "parcels", "note", 1, "A crossed outline was repaired.", "Mend it.", "P022"),
        (
            "roofs on no parcel",
            "roofs",
            "serious",
            2,
            "Two </script ><b>roofs</b> lie on no parcel.",
            "Look.",
            None,
        ),
    ]
    frame = pd.DataFrame(rows, columns=list(FINDINGS.names))
    kinds = {one.name: "int64" if one.dtype == "integer" else "str" for one in FINDINGS.fields}
    return FINDINGS.checked(frame.astype(kinds))


RANGES: dict[str, dict[str, Any]] = {
    "runoff_l_yr": {"low": 16e6, "high": 21e6, "hangs_on": "the runoff <i>coefficient</i>"},
    "capturable_l_yr": {"low": 9.4e6, "high": 12.6e6, "hangs_on": None},
    "yield_l_yr": {"low": 123_456.0, "high": 234_567.0, "hangs_on": HANGS_ON},
    "saving_usd_yr": {"low": 61.52, "high": 1203.9, "hangs_on": "how much tap water it replaces"},
}


def run_values(
    parcels: gpd.GeoDataFrame,
    roofs: gpd.GeoDataFrame,
    units: str,
    town: str,
    days: str | None,
    ranges: Mapping[str, Any],
) -> dict[str, Any]:
    return {
        "program": "harvest-mapper",
        "version": "0.0.test",
        "town": town,
        "units": units,
        "settings": [
            {
                "setting": "losses.coefficient",
                "value": 0.8,
                "unit": "1",
                "from": "default",
                "source": "a book",
            },
            {"setting": "storm.depth_mm", "value": 25.4, "unit": "mm", "from": "project file", "source": ""},
            {
                "setting": "storm.intensity_mm_h",
                "value": 25.4,
                "unit": "mm/h",
                "from": "default",
                "source": "",
            },
            {"setting": "season.first", "value": "04-15", "unit": None, "from": "project file", "source": ""},
            {"setting": "season.last", "value": "10-31", "unit": None, "from": "project file", "source": ""},
            {
                "setting": "season.monthly_shares",
                "value": None,
                "unit": None,
                "from": "default",
                "source": "x",
            },
        ],
        "inputs": [
            {
                "role": "parcels",
                "file": "lots.gpkg",
                "sha256": "ab" * 32,
                "bytes": 1,
                "rows": 9,
                "crs": PARCEL_CRS,
            },
            {
                "role": "rain",
                "file": "rain.tif",
                "sha256": "cd" * 32,
                "bytes": 1,
                "rows": None,
                "crs": "EPSG:4326",
            },
        ],
        "ledger": {},
        "totals": {
            "parcels": len(parcels),
            "parcels_with_roof": int((parcels["roof_count"] > 0).sum()),
            "roofs": int(roofs["roof_id"].nunique()),
            "roof_area_m2": float(parcels["catchment_area_m2"].sum()),
            "runoff_l_yr": float(parcels["runoff_l_yr"].sum()),
            "capturable_l_yr": float(parcels["capturable_l_yr"].sum()),
            **{
                name: float(parcels[name].sum()) if parcels[name].notna().any() else None
                for name in ("yield_l_yr", "saving_usd_yr", "suggested_barrels")
            },
        },
        "weather": None if days is None else {"days": days},
        "ranges": dict(ranges),
        "files": [],
    }


def result_in(
    folder: Path,
    parcels: gpd.GeoDataFrame | None = None,
    units: str = "us",
    town: str = "Pellwick",
    days: str | None = GAUGE,
    ranges: Mapping[str, Any] = RANGES,
    further: Mapping[str, gpd.GeoDataFrame] | None = None,
) -> Result:
    """A complete result folder holding ``parcels`` (the small town by default), and ``further`` tables by name."""
    folder.mkdir(parents=True, exist_ok=True)
    parcels = parcels_frame() if parcels is None else parcels
    roofs = roofs_frame(parcels)
    for name, frame in (further or {}).items():
        frame.to_parquet(folder / f"{name}.parquet", index=False)
    parcels.to_parquet(folder / "parcels.parquet", index=False)
    roofs.to_parquet(folder / "roofs.parquet", index=False)
    findings_frame().to_parquet(folder / "findings.parquet", index=False)
    text = json.dumps(run_values(parcels, roofs, units, town, days, ranges), allow_nan=False)
    (folder / "run.json").write_text(text, encoding="utf-8")
    return Result.at(folder)
