"""Small layers and grids that the tests of the readers write and read back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio import Affine

from harvest.layers import Layer, RainGrid
from harvest.project.inputs import Footprints, Parcels, Rainfall
from harvest.project.outputs import Limits
from harvest.project.ranking import Exclude
from harvest.read.footprints import read_footprints
from harvest.read.parcels import read_parcels
from harvest.read.rain import read_rain

LIMITS = Limits()
HOME = (300_000.0, 900_000.0)
"""A corner inside the Massachusetts state plane, EPSG:26986, in metres."""
TOWN = (-72.0, 42.0, -71.9, 42.1)
"""A town in degrees for the rain tests."""


def squares(count: int = 4, **columns: Any) -> gpd.GeoDataFrame:
    """``count`` squares of 10 m in a row, 20 m apart, with ``columns``; EPSG:26986."""
    x = HOME[0] + 20 * np.arange(count)
    columns = columns or {"pid": [f"{number:04d}" for number in range(1, count + 1)]}
    return gpd.GeoDataFrame(columns, geometry=shapely.box(x, HOME[1], x + 10, HOME[1] + 10), crs=26986)


def parcels(folder: Path, file: str, exclude: list[Exclude] | None = None, **settings: Any) -> Layer:
    """Read ``file`` in ``folder`` as parcels."""
    return read_parcels(Parcels(file=file, **settings), folder, LIMITS, exclude or [])


def footprints(folder: Path, file: str, **settings: Any) -> Layer:
    """Read ``file`` in ``folder`` as footprints."""
    return read_footprints(Footprints(file=file, **settings), folder, LIMITS)


def written(frame: gpd.GeoDataFrame, folder: Path, name: str = "parcels.gpkg") -> str:
    """``frame`` as a file in ``folder``; returns its name."""
    if name.endswith(".parquet"):
        frame.to_parquet(folder / name)
    else:
        frame.to_file(folder / name)
    return name


def checks(layer: Layer | RainGrid) -> dict[str, int]:
    """The findings of ``layer`` by check, with their counts."""
    return {one.check: one.count for one in layer.findings}


def write_grid(
    path: Path,
    values: Any,
    *,
    west: float = -72.1,
    north: float = 42.2,
    cell: float = 0.05,
    crs: Any = 4326,
    unit: str | None = "mm",
    **profile: Any,
) -> str:
    """A GeoTIFF of ``values`` [bands, rows, columns] over :data:`TOWN` unless said otherwise; its name."""
    values = np.asarray(values)
    settings = {"transform": Affine(cell, 0, west, 0, -cell, north), "crs": crs, **profile}
    bands, rows, columns = values.shape
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=bands, dtype=values.dtype, **settings
    ) as target:
        target.write(values)
        if unit is not None:
            target.units = (unit,) * bands
    return path.name


def rain(
    folder: Path,
    file: str | list[str],
    bounds: tuple[float, float, float, float] = TOWN,
    limits: Limits = LIMITS,
    **settings: Any,
) -> RainGrid:
    """Read ``file`` in ``folder`` as rainfall."""
    return read_rain(Rainfall(file=file, **settings), folder, limits, bounds)


def write_disc(path: Path) -> None:
    """A GeoPackage of one disc of 5 m radius, drawn as two arcs (a curve polygon), beside one square."""
    import sqlite3
    import struct

    written(squares(2), path.parent, path.name)
    x, y = HOME
    arc = [(x, y), (x + 5, y + 5), (x + 10, y), (x + 5, y - 5), (x, y)]
    circle = struct.pack("<BII", 1, 8, 5) + b"".join(struct.pack("<dd", *corner) for corner in arc)
    blob = b"GP\x00\x01" + struct.pack("<i", 26986) + struct.pack("<BII", 1, 10, 1) + circle
    with sqlite3.connect(path) as stored:
        for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            stored.create_function(name, 1, lambda _: 1)
        stored.execute("UPDATE gpkg_geometry_columns SET geometry_type_name = 'CURVEPOLYGON'")
        stored.execute(f"UPDATE {path.stem} SET geom = ? WHERE fid = 1", (blob,))
    stored.close()
