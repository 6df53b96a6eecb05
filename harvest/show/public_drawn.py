"""What the public edition's page and its still figure both draw: cells with their classes, and the ground around."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from harvest.fields import PUBLIC
from harvest.fields.canvass import EAST, NORTH, SOUTH, WEST
from harvest.fields.public import BOTH_SIDES, MEASURES
from harvest.result import Result
from harvest.show.classes import quantile_breaks
from harvest.show.figures import read_unit

STRIP_M = 14.0
"""How wide a side of a street is drawn."""

STREET_M = 5.0

TOWARDS = {NORTH: (0, 1), EAST: (1, 0), SOUTH: (0, -1), WEST: (-1, 0)}


@dataclass(frozen=True)
class Coloured:
    """One measure [cells] in the unit that people read, and the bounds between its classes."""

    values: np.ndarray[Any, np.dtype[np.float64]]
    breaks: list[float]


def measures(cells: pd.DataFrame, units: str) -> dict[str, Coloured]:
    """The measures of which anything is known."""
    found = {}
    for name in MEASURES:
        _, converted = read_unit(units, PUBLIC.field(name).unit)
        values = np.rint(cells[name].astype("float64").pipe(converted).to_numpy())
        if np.isfinite(values).any():
            found[name] = Coloured(values, quantile_breaks(values))
    return found


def drawn(cells: gpd.GeoDataFrame, plane: CRS) -> gpd.GeoSeries:
    """Outlines of the cells: blocks as they are, streets as a strip on the side (or sides) they stand for."""
    shapes = cells.geometry.to_crs(plane)
    outlines = [
        _strip(shape, side) if shape.geom_type.endswith("LineString") else shape
        for shape, side in zip(shapes, cells["side"], strict=True)
    ]
    return gpd.GeoSeries(outlines, crs=plane, index=cells.index)


def _strip(line: shapely.Geometry, side: str) -> shapely.Geometry:
    """A strip along ``line`` [plane, m], on the ``side`` of the compass or on both."""
    line = shapely.line_merge(line)
    if side == BOTH_SIDES:
        return shapely.buffer(line, STRIP_M, cap_style="flat", join_style="mitre", mitre_limit=2)
    both = [
        shapely.buffer(line, width, single_sided=True, cap_style="flat", join_style="mitre", mitre_limit=2)
        for width in (STRIP_M, -STRIP_M)
    ]
    (east, north), middle = TOWARDS[side], shapely.centroid(line)
    lies = [
        (shapely.get_x(at) - shapely.get_x(middle)) * east
        + (shapely.get_y(at) - shapely.get_y(middle)) * north
        for at in map(shapely.centroid, both)
    ]
    return both[int(np.argmax(lies))]


def ground(result: Result) -> gpd.GeoDataFrame:
    """What helps to find one's way: surroundings of the user's own layers, and all streets."""
    found = [gpd.GeoDataFrame({"kind": []}, geometry=[], crs=4326)]
    plane = CRS.from_user_input(result.run["plane"])
    if result.has("context"):
        context = result.table("context", ["kind", "geometry"]).to_crs(plane)
        lines = context.geometry.geom_type.str.endswith("LineString")
        context["geometry"] = context.geometry.where(~lines, context.geometry.buffer(STREET_M / 2))
        found.append(context[context.geometry.geom_type.str.endswith("Polygon")].to_crs(4326))
    if result.has("sides"):
        lines = result.table("sides", ["geometry"]).geometry.drop_duplicates().to_crs(plane)
        strips = lines.buffer(STREET_M / 2, cap_style="flat").to_crs(4326)
        found.append(
            gpd.GeoDataFrame({"kind": ["street"] * len(strips)}, geometry=strips.to_numpy(), crs=4326)
        )
    return gpd.GeoDataFrame(
        pd.concat([one for one in found if len(one)] or found[:1], ignore_index=True), crs=4326
    )
