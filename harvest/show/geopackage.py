"""The GeoPackage: parcels, roofs and findings, with names and meanings of the columns, and styles.

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

from harvest.fields import FINDINGS, PARCELS, ROOFS, Field, Table
from harvest.show.mapdata import COLOURED
from harvest.show.present import tables_of
from harvest.show.rows import Rows, heading, plain_fields
from harvest.show.style import parcels_sld, roofs_sld

if TYPE_CHECKING:
    import pyarrow as pa

    from harvest.result import Result

FIXED_DATE = "2000-01-01T00:00:00.000Z"
GEOMETRY = "geom"
STYLES = "layer_styles"


def write_geopackage(rows: Rows, path: Path) -> None:
    """Write ``rows`` to ``path``; a file that is there is replaced. Each layer keeps its own CRS.

    Raises OSError or an error of pyogrio when the file can't be written.
    """
    path.unlink(missing_ok=True)
    with _fixed_date():
        tables = tables_of(rows.result)
        for name in (PARCELS.name, ROOFS.name):
            _write_layer(rows, tables[name], path)
        _write_attributes(_batches(rows, FINDINGS), path, FINDINGS.name, FINDINGS.title, FINDINGS.meaning)
        styles = _styles(rows.result)
        _write_attributes(
            styles, path, STYLES, "Layer styles", "How the layers may be drawn (OGC SLD).", "id"
        )


def _write_layer(rows: Rows, table: Table, path: Path) -> None:
    from pyogrio.raw import write_arrow

    write_arrow(
        _batches(rows, table),
        path,
        layer=table.name,
        driver="GPKG",
        geometry_name=GEOMETRY,
        geometry_type="MultiPolygon",
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

    spatial = any(one.dtype == "geometry" for one in table.fields)
    schema = pa.schema([_arrow_field(one) for one in plain_fields(table)])
    if spatial:
        schema = schema.append(pa.field(GEOMETRY, pa.binary()))

    def stream() -> Iterator[pa.RecordBatch]:
        for frame in rows.pieces(table, geometry=spatial):
            if spatial:
                frame = frame.assign(**{GEOMETRY: _as_multipolygons(frame["geometry"].to_numpy())})
            yield pa.record_batch([pa.array(frame[one.name], type=one.type) for one in schema], schema=schema)

    return pa.RecordBatchReader.from_batches(schema, stream())


def _arrow_field(field: Field) -> pa.Field:
    import pyarrow as pa

    types = {"string": pa.string(), "float": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_()}
    told = {"GDAL:OGR:alternative_name": heading(field), "GDAL:OGR:comment": field.meaning}
    return pa.field(field.name, types[field.dtype], metadata=told)


def _as_multipolygons(wkb: np.ndarray[Any, np.dtype[np.object_]]) -> np.ndarray[Any, np.dtype[np.object_]]:
    """``wkb`` [rows] of polygons and multipolygons as multipolygons, so that a layer has one type."""
    import shapely

    parts, rows = shapely.get_parts(shapely.from_wkb(wkb), return_index=True)
    outlines = np.full(len(wkb), None, dtype=object)
    shapely.multipolygons(parts, indices=rows, out=outlines)
    return np.asarray(shapely.to_wkb(outlines), dtype=object)


def _crs_wkt(result: Result, table: Table) -> str:
    """WKT of the CRS of ``table``, read from its GeoParquet metadata alone."""
    import pyarrow.parquet as pq
    from pyproj import CRS

    metadata = pq.read_schema(result.folder / f"{table.name}.parquet").metadata
    column = json.loads(metadata[b"geo"])["columns"]["geometry"]
    return CRS.from_user_input(column.get("crs", "OGC:CRS84")).to_wkt()


def _styles(result: Result) -> pa.Table:
    import pyarrow as pa

    parcels = result.table(PARCELS.name, [COLOURED])
    styles = {PARCELS: parcels_sld(parcels, result.run["units"]), ROOFS: roofs_sld()}
    text = pa.string()
    columns: dict[str, tuple[list[Any], pa.DataType]] = {
        "f_table_catalog": (["", ""], text),
        "f_table_schema": (["", ""], text),
        "f_table_name": ([table.name for table in styles], text),
        "f_geometry_column": ([GEOMETRY] * 2, text),
        "styleName": ([table.name for table in styles], text),
        "styleQML": ([None, None], text),
        "styleSLD": (list(styles.values()), text),
        "useAsDefault": ([True, True], pa.bool_()),
        "description": ([table.title for table in styles], text),
        "owner": (["", ""], text),
        "ui": ([None, None], text),
        "update_time": ([None, None], pa.timestamp("ms", tz="UTC")),
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
