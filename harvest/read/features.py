"""What every reader of vector files gives: features, the part of them that is wanted, and memory held to.

Readers count what they hold while they read, so that a file that would need more than the limit is refused
before memory is gone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from harvest.project.outputs import Limits
from harvest.read.crs import Bounds
from harvest.read.files import InputFile

MEMORY_FACTOR = 4
"""Memory needed while a layer is cleaned, over what its encoded geometries and columns take."""
MEMORY_PER_ROW = 1_000
TEXT_FACTOR = 3
"""Memory that a GeoJSON text needs while it is parsed, over its size on disk."""


@dataclass(frozen=True)
class Description:
    """What a vector layer says about itself. ``features`` is None where only reading would tell."""

    layer: str | None
    columns: tuple[str, ...]
    geometry_type: str | None
    crs: CRS | None
    features: int | None
    row_column: str | None = None


@dataclass(frozen=True)
class Part:
    """Which features to read: those that touch ``box`` (in units of the file's CRS), that pass ``where`` (a
    filter in the words of SQL, for GDAL's formats), and at ``most`` so many from the start.
    """

    box: Bounds | None = None
    where: str | None = None
    most: int | None = None


WHOLE = Part()


@dataclass(frozen=True)
class Features:
    """Features in file order: ``geometry`` [n], ``columns`` of n rows, and row numbers in the file [n].

    ``unreadable`` [n] marks geometries that stand in the file but can't be built. ``total`` counts the
    features of the file, inside and outside the rectangle asked for; ``reencoded`` names the columns whose
    text was not in the encoding that the file declares.
    """

    geometry: NDArray[np.object_]
    unreadable: NDArray[np.bool_]
    columns: pd.DataFrame
    rows: NDArray[np.int64]
    total: int
    reencoded: tuple[str, ...] = ()


def plain_frame(table: pa.Table, columns: Sequence[str]) -> pd.DataFrame:
    """``columns`` of ``table`` for pandas; whole numbers stay whole where some are missing."""
    whole = {kind: pd.Int64Dtype() for kind in (pa.int64(), pa.int32(), pa.int16(), pa.int8())}
    return table.select(list(columns)).to_pandas(types_mapper=whole.get, ignore_metadata=True)


def from_wkb(wkb: NDArray[np.object_]) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Geometries from their encoded form [n], and where that failed [n]."""
    with np.errstate(invalid="ignore"):
        geometry = shapely.from_wkb(wkb, on_invalid="fix")
    return geometry, shapely.is_missing(geometry) & pd.notna(wkb)


def check_memory(file: InputFile, encoded: int, rows: int, limits: Limits) -> None:
    """Refuse ``file`` when ``rows`` of ``encoded`` bytes need more memory than allowed."""
    needed = MEMORY_FACTOR * encoded + MEMORY_PER_ROW * rows
    if needed > limits.memory_gb * 1e9:
        raise file.refused(
            f"needs over {needed / 1e9:.1f} GB of memory to read, above [limits] memory_gb = "
            f"{limits.memory_gb:g}; cut it to the town (clip_m for footprints), or raise the limit."
        )


def check_size(file: InputFile, limits: Limits) -> None:
    """Refuse a text file that can only be parsed as a whole and is too large for that."""
    size = file.path.stat().st_size
    if file.form == "GeoJSON" and TEXT_FACTOR * size > limits.memory_gb * 1e9:
        raise file.refused(
            f"is {size / 1e9:.1f} GB of text, too much for [limits] memory_gb = {limits.memory_gb:g}; convert "
            "it to GeoParquet or GeoPackage, or raise the limit."
        )


def readable(table: pa.Table) -> tuple[pa.Table, tuple[str, ...]]:
    """``table`` with texts that are not UTF-8 read as Western European, and the names of those columns."""
    names = []
    for place, field in enumerate(table.schema):
        if not (pa.types.is_string(field.type) or pa.types.is_large_string(field.type)):
            continue
        try:
            table.column(place).validate(full=True)
        except pa.ArrowInvalid:
            stored = table.column(place).cast(pa.large_binary()).to_pylist()
            texts = pa.array([None if one is None else _decoded(one) for one in stored], pa.large_string())
            table = table.set_column(place, field.name, texts)
            names.append(field.name)
    return table, tuple(names)


def _decoded(stored: bytes) -> str:
    try:
        return stored.decode("utf-8")
    except UnicodeDecodeError:
        return stored.decode("cp1252", errors="replace")


def damaged(file: InputFile, told: str) -> Exception:
    """The refusal of a file that a library can't make sense of, with what it ``told``."""
    plain = " ".join(told.split())[:120].rstrip(".")
    return file.refused(
        f"can't be read as {file.form}: it is damaged or only partly downloaded, so fetch or export it again "
        f"({plain})."
    )
