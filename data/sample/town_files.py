"""Writes a town into a folder, in the formats that such layers come in."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
from rasterio.transform import Affine
from town_weather import CELL_DEG, MONTHS, NO_DATA, SCALE_MM, MonthlyGrid

if TYPE_CHECKING:
    from make_town import Town

MADE_ON = "2024-03-01"


def write_town(
    town: Town, folder: Path, formats: Literal["mixed", "geoparquet"] = "mixed"
) -> dict[str, Path]:
    """Writes the town's layers into ``folder`` and says where each of them is, by its role.

    "mixed": GeoPackage footprints, zipped Shapefile parcels, GeoJSON and FlatGeobuf, as in the sample.
    "geoparquet": only footprints and parcels, as GeoParquet. The rain grid is a GeoTIFF either way.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths = {"rainfall": folder / "rain_monthly.tif"}
    write_grid(town.rain, paths["rainfall"])
    if formats == "geoparquet":
        for role, frame in (("footprints", town.footprints), ("parcels", town.parcels)):
            paths[role] = folder / f"{role}.parquet"
            frame.to_parquet(paths[role])
        return paths
    paths |= {"footprints": folder / "footprints.gpkg", "parcels": folder / "parcels.zip"}
    with _dated():
        paths["footprints"].unlink(missing_ok=True)
        pyogrio.write_dataframe(town.footprints, paths["footprints"], layer="footprints", driver="GPKG")
        _write_zipped_shapefile(town.parcels, paths["parcels"])
    for role, frame in (("streets", town.streets), ("water", town.water), ("parks", town.parks)):
        if frame is not None:
            paths[role] = folder / f"{role}.geojson"
            paths[role].unlink(missing_ok=True)
            pyogrio.write_dataframe(
                frame, paths[role], driver="GeoJSON", layer_options={"COORDINATE_PRECISION": "7"}
            )
    if town.wards is not None:
        paths["wards"] = folder / "wards.fgb"
        paths["wards"].unlink(missing_ok=True)
        pyogrio.write_dataframe(town.wards, paths["wards"], driver="FlatGeobuf")
    tables: dict[str, pd.DataFrame | None] = {
        "gauge_daily": town.gauge,
        "temperature_monthly": town.temperature,
        "drainage_reports": town.drainage_reports,
        "visits_2025": town.visits,
    }
    for role, table in tables.items():
        if table is not None:
            paths[role] = folder / f"{role}.csv"
            table.to_csv(paths[role], index=False, lineterminator="\n")
    return paths


def write_grid(grid: MonthlyGrid, path: Path) -> None:
    """A 12-band GeoTIFF of whole tenths with scale, unit, no-data value and month names."""
    profile = {
        "driver": "GTiff",
        "dtype": "int16",
        "count": 12,
        "height": grid.tenths.shape[1],
        "width": grid.tenths.shape[2],
        "crs": "EPSG:4326",
        "transform": Affine(CELL_DEG, 0, grid.west, 0, -CELL_DEG, grid.north),
        "nodata": NO_DATA,
        "compress": "deflate",
    }
    with rasterio.open(path, "w", **profile) as file:
        file.write(grid.tenths)
        file.scales = (SCALE_MM,) * 12
        file.units = ("mm",) * 12
        file.descriptions = tuple(f"{month} mean rain" for month in MONTHS)


@contextmanager
def _dated() -> Iterator[None]:
    """Lets the drivers write one fixed day where they would write today's."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{MADE_ON}T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _write_zipped_shapefile(parcels: gpd.GeoDataFrame, path: Path) -> None:
    frame = parcels.assign(
        built_year=parcels["built_year"].astype("Int32"), units=parcels["units"].astype(np.int32)
    )
    with tempfile.TemporaryDirectory() as made, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        pyogrio.write_dataframe(
            frame,
            Path(made) / "parcels.shp",
            driver="ESRI Shapefile",
            encoding="UTF-8",
            layer_options={"DBF_DATE_LAST_UPDATE": MADE_ON},
        )
        year, month, day = (int(part) for part in MADE_ON.split("-"))
        for file in sorted(Path(made).iterdir()):
            entry = zipfile.ZipInfo(file.name, (year, month, day, 0, 0, 0))
            entry.create_system = 3
            entry.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(entry, file.read_bytes())
