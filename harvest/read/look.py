"""What the files in a folder hold, at a glance: enough to guess which layer is which."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd
import rasterio
import shapely
from pyproj import CRS, Geod, Transformer

from harvest.errors import InputError, LayerError
from harvest.project.outputs import Limits
from harvest.read import osm, vector
from harvest.read.archive import shapefiles, unpacked
from harvest.read.crs import Bounds, known_crs, to_wgs84
from harvest.read.features import Part
from harvest.read.files import FORMS_BY_ENDING, RASTER_FORMS, InputFile, admitted
from harvest.read.grid import opened, variables
from harvest.read.points import coordinate_columns, read_table

Kind = Literal["polygons", "lines", "points", "table", "grid", "unread"]
SAMPLE_ROWS = 5_000
SAMPLE_AREAS = 1_000
KIND_OF_TYPE: dict[int, Kind] = {
    0: "points",
    1: "lines",
    2: "lines",
    3: "polygons",
    4: "points",
    5: "lines",
    6: "polygons",
}


@dataclass(frozen=True)
class Seen:
    """One layer or grid of one file.

    ``layer`` is set where the project file must name it: the layer of a file of several, the variable of a
    NetCDF. ``sample`` holds the columns of the first rows (of the whole table when it is short), ``rows`` how
    many there are in all, ``bands`` those of a grid, ``bounds`` the extent in degrees, ``typical_area_m2`` the
    median polygon, ``trouble`` why nothing more could be seen.
    """

    file: str
    layer: str | None
    kind: Kind
    rows: int | None = None
    sample: pd.DataFrame = field(default_factory=pd.DataFrame)
    bands: int = 0
    bounds: Bounds | None = None
    crs: CRS | None = None
    typical_area_m2: float | None = None
    openstreetmap: bool = False
    trouble: str = ""

    @property
    def name(self) -> str:
        """File and layer, the way people say it."""
        return f"{self.file} ({self.layer})" if self.layer else self.file


def look(folder: Path, limits: Limits) -> list[Seen]:
    """Everything in ``folder`` (not below it) that some reader knows, in order of names."""
    seen: list[Seen] = []
    for path in sorted(folder.iterdir()):
        if path.is_file() and not path.name.startswith(".") and path.suffix.lower() in FORMS_BY_ENDING:
            seen += _seen(path, folder, limits)
    return seen


def _seen(path: Path, folder: Path, limits: Limits) -> list[Seen]:
    form = FORMS_BY_ENDING[path.suffix.lower()]
    try:
        file = admitted("start", path.name, folder, (form,), LayerError)
        if form in RASTER_FORMS:
            return list(_grids(file))
        if form == "CSV":
            return [_table(file)]
        return list(_layers(file, limits))
    except (InputError, OSError, rasterio.errors.RasterioError) as error:
        told = str(error).removeprefix(f"[start] {path.name}").strip()
        return [Seen(path.name, None, "unread", trouble=told)]


def _layers(file: InputFile, limits: Limits) -> Iterator[Seen]:
    """Each layer with geometry; of an OpenStreetMap extract, its buildings."""
    names: Sequence[str | None]
    if file.form == "zip file":
        names = shapefiles(file)
    elif file.form == "OpenStreetMap extract":
        names = ["multipolygons"]
    elif file.form == "GeoPackage":
        names = [name for name, _ in vector.layers(file)]
    else:
        names = [None]
    for name in names:
        told = name if len(names) > 1 else None
        with unpacked(file, name, limits) as plain:
            yield _layer(file, plain, name if file.form != "zip file" else None, told, limits)


def _layer(file: InputFile, plain: InputFile, layer: str | None, told: str | None, limits: Limits) -> Seen:
    about = vector.described(plain, layer, limits)
    buildings = osm.BUILDINGS if file.form == "OpenStreetMap extract" else None
    part = Part(where=buildings, most=SAMPLE_ROWS)
    columns = list(about.columns)
    features = vector.read_features(plain, about, columns, limits, part)
    shapes = features.geometry[~shapely.is_missing(features.geometry)]
    if len(shapes) == 0:
        return Seen(file.name, told, "unread", trouble="holds no features")
    sample = features.columns
    if buildings:
        sample = osm.with_tags(sample)
    kinds = pd.Series(shapely.get_type_id(shapes)).map(KIND_OF_TYPE).dropna()
    kind: Kind = kinds.mode()[0] if len(kinds) else "unread"
    west, south, east, north = (float(edge) for edge in shapely.total_bounds(shapes))
    bounds = _degrees((west, south, east, north), about.crs)
    return Seen(
        file.name,
        told,
        kind,
        about.features if about.features is not None and not buildings else None,
        sample,
        bounds=bounds,
        crs=about.crs,
        typical_area_m2=_typical_area(shapes, about.crs) if kind == "polygons" and bounds else None,
        openstreetmap=bool(buildings),
    )


def _degrees(bounds: Bounds, crs: CRS | None) -> Bounds | None:
    if crs is None or not (crs.is_geographic or crs.is_projected):
        return None
    placed = to_wgs84(bounds, crs)
    return placed if np.isfinite(placed).all() else None


def _typical_area(shapes: np.ndarray, crs: CRS | None) -> float | None:
    """Median area on the ellipsoid [m²] of some ``shapes``, wherever and in whatever system they are."""
    some = shapes[:: max(1, len(shapes) // SAMPLE_AREAS)]
    turn = Transformer.from_crs(crs, 4326, always_xy=True)
    placed = shapely.transform(shapely.force_2d(some), lambda xy: np.column_stack(turn.transform(*xy.T)))
    geod = Geod(ellps="WGS84")
    return float(np.median([abs(geod.geometry_area_perimeter(one)[0]) for one in placed]))


def _table(file: InputFile) -> Seen:
    """A CSV: points when it has coordinates, else a table."""
    sample, _ = read_table(file, SAMPLE_ROWS)
    placed = coordinate_columns(list(sample.columns))
    rows = len(sample) if len(sample) < SAMPLE_ROWS else None
    return Seen(file.name, None, "points" if placed else "table", rows, sample)


def _grids(file: InputFile) -> Iterator[Seen]:
    """The raster, or each variable of a NetCDF that may be rain."""
    names: Sequence[str | None] = variables(file)
    for name in names or [None]:
        with opened(file, name) as source:
            crs = known_crs(source.crs.to_wkt()) if source.crs else CRS.from_epsg(4326)
            left, low, right, top = source.bounds
            corners = (min(left, right), min(low, top), max(left, right), max(low, top))
            bounds = None if source.transform.is_identity else _degrees(corners, crs)
            told = name if len(names) > 1 else None
            yield Seen(file.name, told, "grid", bands=source.count, bounds=bounds, crs=crs)
