"""Features of a vector file: its geometries and the few columns asked for, in file order."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np
import pyarrow as pa
import pyogrio
from numpy.typing import NDArray
from pyogrio.errors import DataLayerError, DataSourceError, FieldError

from harvest.project.outputs import Limits
from harvest.read import parquet
from harvest.read.columns import nearest
from harvest.read.crs import known_crs
from harvest.read.features import (
    WHOLE,
    Description,
    Features,
    Part,
    check_memory,
    check_size,
    damaged,
    from_wkb,
    plain_frame,
    readable,
)
from harvest.read.files import InputFile, companion

BATCH_ROWS = 65_536
SEVERAL_LAYERS = ("GeoPackage", "OpenStreetMap extract")


def described(file: InputFile, layer: str | None, limits: Limits) -> Description:
    """What the vector ``file`` holds; raises its refusal when it can't be read or has no such layer."""
    if file.form == "GeoParquet":
        return parquet.described(file)
    check_size(file, limits)
    _check_companions(file)
    try:
        with _quiet():
            chosen = _layer(file, layer)
            info = pyogrio.read_info(_address(file), layer=chosen)
    except (DataSourceError, DataLayerError) as error:
        raise _damaged(file, error) from None
    count = int(info["features"])
    return Description(
        chosen,
        tuple(str(name) for name in info["fields"]),
        info["geometry_type"],
        known_crs(info["crs"]),
        count if count >= 0 else None,
        info["fid_column"] or None,
    )


def read_features(
    file: InputFile,
    about: Description,
    columns: Sequence[str],
    limits: Limits,
    part: Part = WHOLE,
) -> Features:
    """The features of ``file`` that ``part`` selects, with ``columns``."""
    if file.form == "GeoParquet":
        return parquet.read_features(file, about, columns, limits, part)
    own = about.row_column if about.row_column in columns else None
    fields = [name for name in dict.fromkeys(columns) if name != own]
    try:
        table = _counted(file, about, fields, limits, part)
        total = table.num_rows if part.box is None else _count(file, about, part)
    except (
        DataSourceError,
        DataLayerError,
        FieldError,
        pa.ArrowException,
        OSError,
        UnicodeDecodeError,
    ) as error:
        raise _damaged(file, error) from None
    if part == WHOLE and about.features is not None and table.num_rows < about.features:
        raise file.refused(
            f"breaks off after {table.num_rows} of {about.features} rows; it is damaged, so fetch it again."
        )
    geometry, unreadable = _built(file, about, table, part)
    fids = table.column(0).to_numpy(zero_copy_only=False).astype("int64")
    table, reencoded = readable(table)
    frame = plain_frame(table, fields)
    if own is not None:
        frame[own] = fids
    return Features(geometry, unreadable, frame, _row_numbers(file, fids, part), total, reencoded)


def _address(file: InputFile) -> str:
    """The file the way GDAL opens it, tied to one format where content alone might choose another."""
    return f"GeoJSON:{file.path}" if file.form == "GeoJSON" else str(file.path)


def layers(file: InputFile) -> list[tuple[str, str | None]]:
    """Layers of ``file`` that have a geometry, each with its type."""
    try:
        with _quiet():
            found = pyogrio.list_layers(_address(file))
    except DataSourceError as error:
        raise _damaged(file, error) from None
    return [(str(name), str(kind)) for name, kind in found if kind is not None]


def _layer(file: InputFile, wanted: str | None) -> str | None:
    if wanted is None and file.form not in SEVERAL_LAYERS:
        return None
    names = [name for name, _ in layers(file)]
    if not names:
        raise file.refused("holds no layer with geometry; give a layer of polygons.")
    if wanted is None and file.form == "OpenStreetMap extract":
        return "multipolygons"
    if wanted is None and len(names) > 1:
        raise file.refused(f"holds several layers; say which one with layer = one of {', '.join(names)}.")
    if wanted is not None and wanted not in names:
        raise file.refused(f"has no layer {wanted!r}{nearest(wanted, names)}")
    return wanted or names[0]


def _counted(
    file: InputFile,
    about: Description,
    fields: Sequence[str],
    limits: Limits,
    part: Part,
) -> pa.Table:
    """The rows as one Arrow table: row id, ``fields``, encoded geometry last; refused above the limit."""
    batches: list[pa.RecordBatch] = []
    encoded = rows = 0
    with _stream(file, about, fields, part, geometry=True) as reader:
        if _selects_nothing(file, about, part):
            return reader.schema.empty_table()
        for batch in reader:
            encoded, rows = encoded + batch.nbytes, rows + batch.num_rows
            check_memory(file, encoded, rows, limits)
            batches.append(batch)
            if part.most is not None and rows >= part.most:
                break
        return pa.Table.from_batches(batches, reader.schema)


def _selects_nothing(file: InputFile, about: Description, part: Part) -> bool:
    """Whether the rectangle of ``part`` is empty in a FlatGeobuf with an index: GDAL's stream then gives rows that
    are not in the file (seen in GDAL 3.12), while its reader row by row gives none.
    """
    if file.form != "FlatGeobuf" or part.box is None:
        return False
    with _quiet():
        found = pyogrio.raw.read(
            _address(file),
            layer=about.layer,
            columns=[],
            bbox=part.box,
            where=part.where,
            max_features=1,
            read_geometry=False,
            return_fids=True,
        )
    return len(found[1]) == 0


def _count(file: InputFile, about: Description, part: Part) -> int:
    if part.where is None and about.features is not None:
        return about.features
    with _stream(file, about, [], Part(where=part.where), geometry=False) as reader:
        return sum(batch.num_rows for batch in reader)


@contextmanager
def _stream(
    file: InputFile,
    about: Description,
    fields: Sequence[str],
    part: Part,
    geometry: bool,
) -> Iterator[pa.RecordBatchReader]:
    """The rows of the layer, batch by batch."""
    with (
        _quiet(),
        pyogrio.open_arrow(
            _address(file),
            layer=about.layer,
            columns=list(fields),
            bbox=part.box,
            where=part.where,
            batch_size=min(part.most or BATCH_ROWS, BATCH_ROWS),
            read_geometry=geometry,
            return_fids=True,
            use_pyarrow=True,
        ) as (_, reader),
    ):
        yield reader


def _built(
    file: InputFile, about: Description, table: pa.Table, part: Part
) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Geometries from the last column of ``table`` [n], and where that failed [n]; arcs become short lines."""
    wkb = table.column(table.num_columns - 1).to_numpy(zero_copy_only=False)
    try:
        return from_wkb(wkb)
    except NotImplementedError:
        with _quiet():
            straight = pyogrio.raw.read(
                _address(file),
                layer=about.layer,
                columns=[],
                bbox=part.box,
                where=part.where,
                max_features=part.most,
            )
        return from_wkb(straight[2])


def _quiet() -> warnings.catch_warnings[None]:
    """GDAL warns of odd rings and headers; what comes of them is left to our own checks."""
    return warnings.catch_warnings(action="ignore", category=RuntimeWarning)


def _row_numbers(file: InputFile, fids: NDArray[np.int64], part: Part) -> NDArray[np.int64]:
    """Rows counted from 1 in file order; within a rectangle, from the ids that the format itself counts."""
    if part.box is None:
        return np.arange(1, len(fids) + 1)
    return fids if file.form == "GeoPackage" else fids + 1


def _check_companions(file: InputFile) -> None:
    """Refuse a Shapefile without the two files that belong to it."""
    for ending in (".shx", ".dbf"):
        if file.form == "Shapefile" and companion(file.path, ending) is None:
            lost = file.path.with_suffix(ending).name
            raise file.refused(f"lacks {lost}; copy all files of the Shapefile together.")


def _damaged(file: InputFile, error: Exception) -> Exception:
    return damaged(file, " ".join(str(error).split()).split("; ")[0].rpartition("failed: ")[2])
