"""GeoParquet: read whole by column, or in pieces when only a rectangle is wanted."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from harvest.project.outputs import Limits
from harvest.read.crs import known_crs
from harvest.read.features import (
    WHOLE,
    Description,
    Features,
    Part,
    check_memory,
    damaged,
    from_wkb,
    plain_frame,
)
from harvest.read.files import InputFile

BATCH_ROWS = 1_024


def described(file: InputFile) -> Description:
    """What the GeoParquet ``file`` says about itself."""
    try:
        schema = pq.read_schema(file.path)
    except (OSError, pa.ArrowException) as error:
        raise damaged(file, str(error)) from None
    geometry = _geometry(file, schema)
    meta = _geo(file, schema)["columns"][geometry]
    kinds = {str(kind).split()[0] for kind in meta.get("geometry_types", [])}
    crs = _crs(meta.get("crs", "OGC:CRS84"))
    columns = tuple(name for name in schema.names if name != geometry)
    count = pq.read_metadata(file.path).num_rows
    return Description(geometry, columns, kinds.pop() if len(kinds) == 1 else "Unknown", crs, count)


def read_features(
    file: InputFile, about: Description, columns: Sequence[str], limits: Limits, part: Part
) -> Features:
    """As :func:`harvest.read.vector.read_features`, for GeoParquet."""
    geometry_name = str(about.layer)
    names = [*dict.fromkeys(columns), geometry_name]
    try:
        with pq.ParquetFile(file.path) as stored:
            wkb = _geo(file, stored.schema_arrow)["columns"][geometry_name].get("encoding", "WKB") == "WKB"
            if part == WHOLE or not wkb:
                _check_declared(file, stored, names, limits)
            if not wkb:
                return _not_wkb(file, names, part)
            tables, rows = _tables(file, stored, names, limits, part)
    except (OSError, ValueError, pa.ArrowException) as error:
        raise damaged(file, str(error)) from None
    table = pa.concat_tables(tables)
    geometry, unreadable = from_wkb(table.column(geometry_name).to_numpy())
    return Features(geometry, unreadable, plain_frame(table, names[:-1]), rows, about.features or 0)


def _tables(
    file: InputFile, stored: pq.ParquetFile, names: Sequence[str], limits: Limits, part: Part
) -> tuple[list[pa.Table], NDArray[np.int64]]:
    """The rows as Arrow tables, all or those that touch ``box``, and their numbers in the file.

    Batches are small because a few bytes in the file can stand for the same large geometry many times over.
    """
    window = None if part.box is None else shapely.box(*part.box)
    tables: list[pa.Table] = []
    numbers = [np.zeros(0, "int64")]
    start, encoded, kept = 1, 0, 0
    for batch in stored.iter_batches(BATCH_ROWS, columns=list(names)):
        piece = _unpacked(pa.Table.from_batches([batch]).select(list(names)))
        rows = np.arange(start, start + piece.num_rows)
        start += piece.num_rows
        if window is not None:
            touching = shapely.intersects(from_wkb(piece.column(names[-1]).to_numpy())[0], window)
            piece, rows = piece.filter(pa.array(touching)), rows[touching]
        tables.append(piece)
        numbers.append(rows)
        encoded, kept = encoded + piece.nbytes, kept + piece.num_rows
        check_memory(file, encoded, kept, limits)
        if part.most is not None and kept >= part.most:
            break
    return tables or [_unpacked(stored.schema_arrow.empty_table().select(list(names)))], np.concatenate(
        numbers
    )


def _unpacked(table: pa.Table) -> pa.Table:
    """``table`` with each value written out where the file stores numbers of values."""
    for place, kind in enumerate(table.schema.types):
        if pa.types.is_dictionary(kind):
            table = table.set_column(
                place, table.schema.names[place], table.column(place).cast(kind.value_type)
            )
    return table.replace_schema_metadata(None)


def _not_wkb(file: InputFile, names: Sequence[str], part: Part) -> Features:
    """Geometry stored as Arrow lists: read whole, by GeoPandas."""
    frame = gpd.read_parquet(file.path, columns=list(names)).reset_index(drop=True)
    geometry = np.asarray(frame.geometry.array)
    touching = np.ones(len(frame), bool)
    if part.box is not None:
        touching = shapely.intersects(geometry, shapely.box(*part.box))
    plain = pd.DataFrame(frame.drop(columns=names[-1]))[touching].reset_index(drop=True)
    readable = np.zeros(int(touching.sum()), bool)
    return Features(geometry[touching], readable, plain, np.flatnonzero(touching) + 1, len(frame))


def _crs(told: Any) -> CRS | None:
    """The CRS that a file tells, taken by its code where the code stands for the very same definition.

    Writers leave out the ids of a datum ensemble's members, and PROJ would look for each by its name: 20 to
    40 ms wherever it meets the definition.
    """
    if isinstance(told, dict) and isinstance(told.get("id"), dict):
        coded = known_crs(f"{told['id'].get('authority')}:{told['id'].get('code')}")
        if coded is not None and _without_members(coded.to_json_dict()) == _without_members(told):
            return coded
    return known_crs(told)


def _without_members(definition: Any) -> Any:
    """``definition`` (PROJJSON) with datum ensembles left without their members."""
    if not isinstance(definition, dict):
        return definition
    return {key: _without_members(value) for key, value in definition.items() if key != "members"}


def _check_declared(file: InputFile, stored: pq.ParquetFile, names: Sequence[str], limits: Limits) -> None:
    """Refuse by what the file declares, before anything is unpacked."""
    metadata = stored.metadata
    encoded = 0
    for group in range(metadata.num_row_groups):
        chunks = metadata.row_group(group)
        for column in range(chunks.num_columns):
            if chunks.column(column).path_in_schema.split(".")[0] in names:
                encoded += chunks.column(column).total_uncompressed_size
    check_memory(file, encoded, metadata.num_rows, limits)


def _geo(file: InputFile, schema: pa.Schema) -> dict[str, Any]:
    """The file's own description of its geometry columns."""
    try:
        geo = json.loads((schema.metadata or {})[b"geo"])
    except (KeyError, ValueError):
        geo = None
    if not isinstance(geo, dict) or not isinstance(geo.get("columns"), dict):
        raise file.refused(
            "is a Parquet table without geometry, not a GeoParquet file; export it with geometry."
        )
    return geo


def _geometry(file: InputFile, schema: pa.Schema) -> str:
    """Name of the column that holds the geometry."""
    geo = _geo(file, schema)
    name = str(geo.get("primary_column") or next(iter(geo["columns"]), ""))
    if name not in schema.names or name not in geo["columns"]:
        raise file.refused(f"says that its geometry is in column {name!r}, which it does not have.")
    return name
