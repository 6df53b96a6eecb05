"""The GeoPackage: every table of the result, with names and meanings of the columns, and styles.

What has a geometry is a layer of areas or lines; the rest are tables of attributes.

Styles stand in the table ``layer_styles``, where many programs look for them, as SLD documents; programs
that read no SLD simply draw the layers in their own way. GDAL stamps the hour on a GeoPackage; here it is
given a fixed one, so that the same result makes the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from harvest.fields import CONTEXT, PARCELS, PUBLIC, ROOFS, ROUNDS, SIDES, Field, Table
from harvest.show.measures import COLOURED
from harvest.show.present import tables_of
from harvest.show.rows import Rows, heading, plain_fields
from harvest.show.style import WORTH, parcels_sld, roofs_sld, rounds_sld, sides_sld
from harvest.show.words.tables import TABLE_WORDS

if TYPE_CHECKING:
    import pyarrow as pa

    from harvest.result import Result

FIXED_DATE = "2000-01-01T00:00:00.000Z"
GEOMETRY = "geom"
STYLES = "layer_styles"

AREAS, LINES, ANY = "MultiPolygon", "MultiLineString", "Unknown"
KINDS = {
    PARCELS.name: AREAS,
    ROOFS.name: AREAS,
    SIDES.name: LINES,
    ROUNDS.name: LINES,
    CONTEXT.name: ANY,
    PUBLIC.name: ANY,
}
"""The one type of geometry in each layer; surroundings are of whatever type the user's layers are, public cells lines
or blocks."""


def write_geopackage(rows: Rows, path: Path) -> None:
    """Write ``rows`` to ``path``; a file that is there is replaced. Each layer keeps its own CRS.

    Raises OSError or an error of pyogrio when the file can't be written.
    """
    path.unlink(missing_ok=True)
    with _fixed_date():
        for table in tables_of(rows.result).values():
            if _spatial(table):
                _write_layer(rows, table, path)
            else:
                _write_attributes(_batches(rows, table), path, table.name, table.title, table.meaning)
        styles = _styles(rows.result)
        _write_attributes(styles, path, STYLES, TABLE_WORDS["styles"], TABLE_WORDS["styles_meaning"], "id")


def _spatial(table: Table) -> bool:
    return any(one.dtype == "geometry" for one in table.fields)


def _write_layer(rows: Rows, table: Table, path: Path) -> None:
    from pyogrio.raw import write_arrow

    write_arrow(
        _batches(rows, table),
        path,
        layer=table.name,
        driver="GPKG",
        geometry_name=GEOMETRY,
        geometry_type=KINDS[table.name],
        crs=_crs_wkt(rows.result, table),
        layer_options={
            "GEOMETRY_NAME": GEOMETRY,
            "IDENTIFIER": table.title,
            "DESCRIPTION": table.meaning,
        },
    )


def _write_attributes(
    rows: pa.RecordBatchReader | pa.Table, path: Path, name: str, title: str, meaning: str, key: str = "fid"
) -> None:
    from pyogrio.raw import write_arrow

    options = {
        "ASPATIAL_VARIANT": "GPKG_ATTRIBUTES",
        "FID": key,
        "IDENTIFIER": title,
        "DESCRIPTION": meaning,
    }
    write_arrow(rows, path, layer=name, driver="GPKG", layer_options=options)


def _batches(rows: Rows, table: Table) -> pa.RecordBatchReader:
    """``table`` as a stream, each column with its label and meaning for GDAL to file."""
    import pyarrow as pa

    spatial = _spatial(table)
    schema = pa.schema([_arrow_field(one) for one in plain_fields(table)])
    if spatial:
        schema = schema.append(pa.field(GEOMETRY, pa.binary()))

    def stream() -> Iterator[pa.RecordBatch]:
        for frame in rows.pieces(table, geometry=spatial):
            if spatial:
                frame = frame.assign(
                    **{GEOMETRY: _of_one_kind(frame["geometry"].to_numpy(), KINDS[table.name])}
                )
            yield pa.record_batch([pa.array(frame[one.name], type=one.type) for one in schema], schema=schema)

    return pa.RecordBatchReader.from_batches(schema, stream())


def _arrow_field(field: Field) -> pa.Field:
    import pyarrow as pa

    types = {"string": pa.string(), "float": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_()}
    told = {"GDAL:OGR:alternative_name": heading(field), "GDAL:OGR:comment": field.meaning}
    return pa.field(field.name, types[field.dtype], metadata=told)


def _of_one_kind(
    wkb: np.ndarray[Any, np.dtype[np.object_]], kind: str
) -> np.ndarray[Any, np.dtype[np.object_]]:
    """``wkb`` [rows] of single and multiple shapes as multiple ones of ``kind``, so that a layer has one type.

    A walk that stays at one place has no length; it is a missing line.
    """
    import shapely

    if kind == ANY:
        return wkb
    made = {AREAS: shapely.multipolygons, LINES: shapely.multilinestrings}[kind]
    parts, rows = shapely.get_parts(shapely.from_wkb(wkb), return_index=True)
    fit = shapely.get_dimensions(parts) == (2 if kind == AREAS else 1)
    shapes = np.full(len(wkb), None, dtype=object)
    made(parts[fit], indices=rows[fit], out=shapes)
    return np.asarray(shapely.to_wkb(shapes), dtype=object)


def _crs_wkt(result: Result, table: Table) -> str:
    """WKT of the CRS of ``table``, read from its GeoParquet metadata alone."""
    import pyarrow.parquet as pq
    from pyproj import CRS

    metadata = pq.read_schema(result.folder / f"{table.name}.parquet").metadata
    column = json.loads(metadata[b"geo"])["columns"]["geometry"]
    return CRS.from_user_input(column.get("crs", "OGC:CRS84")).to_wkt()


def _styles(result: Result) -> pa.Table:
    import pyarrow as pa

    units, text = result.run["units"], pa.string()
    styles = {
        PARCELS: parcels_sld(result.table(PARCELS.name, [COLOURED]), units),
        ROOFS: roofs_sld(),
    }
    if result.has(SIDES.name):
        styles[SIDES] = sides_sld(result.table(SIDES.name, [WORTH]), units)
    if result.has(ROUNDS.name):
        styles[ROUNDS] = rounds_sld()
    count = len(styles)
    columns: dict[str, tuple[list[Any], pa.DataType]] = {
        "f_table_catalog": ([""] * count, text),
        "f_table_schema": ([""] * count, text),
        "f_table_name": ([table.name for table in styles], text),
        "f_geometry_column": ([GEOMETRY] * count, text),
        "styleName": ([table.name for table in styles], text),
        "styleQML": ([None] * count, text),
        "styleSLD": (list(styles.values()), text),
        "useAsDefault": ([True] * count, pa.bool_()),
        "description": ([table.title for table in styles], text),
        "owner": ([""] * count, text),
        "ui": ([None] * count, text),
        "update_time": ([None] * count, pa.timestamp("ms", tz="UTC")),
    }
    return pa.table({name: pa.array(values, type=kind) for name, (values, kind) in columns.items()})


@contextmanager
def _fixed_date() -> Iterator[None]:
    import pyogrio

    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
