"""The public edition: a folder of its own that may be handed to anybody.

It is written from the table of public cells, the run's name and units, and settings and totals that are named one by
one; the tables of parcels, roofs, findings, and files are not opened.
"""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import shapely

from harvest.errors import OutputError
from harvest.fields import PUBLIC
from harvest.result import Result
from harvest.show.datapackage import write_datapackage
from harvest.show.public_figure import write_public_figure
from harvest.show.public_page import public_page
from harvest.show.rows import Rows, plain_fields
from harvest.show.tables import write_csv

PUBLIC_FOLDER = "public"
MAP_FILE = "map.html"
DEGREE_DIGITS = 6
"""Digits behind the point of a longitude or latitude: 0.1 m."""


def write_public(result: Result, folder: Path, figure: bool = True) -> None:
    """Write ``folder/public`` from the public cells of ``result``: a map, a figure, and the cells as CSV and GeoJSON.

    Raises :class:`OutputError` when a file can't be written.
    """
    place = folder / PUBLIC_FOLDER
    try:
        place.mkdir(exist_ok=True)
        (place / MAP_FILE).write_text(public_page(result), encoding="utf-8", newline="\n")
        (place / f"{PUBLIC.name}.geojson").write_text(cells_geojson(result), encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(
            f"{place} can't be written ({error.strerror}); free the disk or choose --out."
        ) from None
    if figure:
        write_public_figure(result, place)
    write_csv(Rows(result), PUBLIC, place / f"{PUBLIC.name}.csv")
    write_datapackage(result, place)


def cells_geojson(result: Result) -> str:
    """The cells as GeoJSON (RFC 7946: longitude before latitude on WGS 84), a line each; missing figures are null."""
    cells = result.table(PUBLIC.name).to_crs(4326)
    names = [one.name for one in plain_fields(PUBLIC)]
    shapes = shapely.orient_polygons(shapely.set_precision(cells.geometry.to_numpy(), 10.0**-DEGREE_DIGITS))
    lines = [
        json.dumps(
            {
                "type": "Feature",
                "properties": {name: None if pd.isna(row[name]) else row[name] for name in names},
                "geometry": _rounded(json.loads(shapely.to_geojson(shape))),
            },
            ensure_ascii=False,
            allow_nan=False,
        )
        for row, shape in zip(cells[names].to_dict("records"), shapes, strict=True)
    ]
    return '{"type": "FeatureCollection", "features": [\n' + ",\n".join(lines) + "\n]}\n"


def _rounded(value: object) -> object:
    """Coordinates without the digits that floats trail behind them."""
    match value:
        case dict():
            return {name: _rounded(one) for name, one in value.items()}
        case list():
            return [_rounded(one) for one in value]
        case float():
            return round(value, DEGREE_DIGITS)
        case _:
            return value
