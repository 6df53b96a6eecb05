"""Points from a CSV file with two coordinate columns, such as reports of flooding."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from harvest.errors import LayerError
from harvest.project.outputs import Limits
from harvest.read.columns import texts
from harvest.read.crs import check_coordinates, settled_crs
from harvest.read.files import InputFile, admitted

DEGREES = (("longitude", "latitude"), ("lon", "lat"), ("long", "lat"), ("lng", "lat"))
PLANE = (("x", "y"), ("easting", "northing"), ("x_coord", "y_coord"))
ENCODINGS = ("utf-8-sig", "cp1252", "latin-1")
SEPARATORS = ",;\t|"
TEXT_FACTOR = 6
"""Memory that a CSV needs while it is parsed, over its size on disk."""


def read_points(path: str, folder: Path, limits: Limits, crs: str | None = None) -> gpd.GeoDataFrame:
    """Every row of the CSV at ``path`` (relative to ``folder``): its columns as text, and a point.

    Columns longitude and latitude (or lon, lat) are degrees; x and y (or easting, northing) need ``crs``. A
    row whose coordinates are missing or no numbers keeps its place with no geometry. Raises
    :class:`harvest.errors.LayerError`.
    """
    file = admitted("points", path, folder, ("CSV",), LayerError)
    if TEXT_FACTOR * file.path.stat().st_size > limits.memory_gb * 1e9:
        raise file.refused(
            f"is too large for [limits] memory_gb = {limits.memory_gb:g}; cut it, or raise it."
        )
    table, separator = read_table(file)
    if table.empty:
        raise file.refused("holds no rows; give a table that does.")
    names = coordinate_columns(list(table.columns))
    if names is None:
        raise file.refused(
            "has no pair of coordinate columns; call them longitude and latitude, or x and y. There are "
            f"{', '.join(table.columns)}."
        )
    own = CRS.from_epsg(4326) if names[0].strip().lower() in {pair[0] for pair in DEGREES} else None
    placed, _ = settled_crs(file, own, crs)
    numbers = [_numbers(table[name], separator) for name in names]
    known = numbers[0].notna() & numbers[1].notna()
    points = pd.Series(None, index=table.index, dtype=object)
    points[known] = shapely.points(numbers[0][known], numbers[1][known])
    frame = gpd.GeoDataFrame(table, geometry=points.to_numpy(), crs=placed)
    if known.any():
        west, south, east, north = (float(edge) for edge in frame.total_bounds)
        check_coordinates(file, placed, (west, south, east, north))
    return frame


def coordinate_columns(columns: list[str]) -> tuple[str, str] | None:
    """The two columns, x first, that hold coordinates by their names."""
    folded = {name.strip().lower(): name for name in columns}
    for x, y in (*DEGREES, *PLANE):
        if x in folded and y in folded:
            return folded[x], folded[y]
    return None


def read_table(file: InputFile, rows: int | None = None) -> tuple[pd.DataFrame, str]:
    """The CSV as stripped texts, NA where nothing stands, and the separator that it uses.

    UTF-8 with or without a byte order mark, else the Western European encodings of older programs.
    """
    for encoding in ENCODINGS:
        try:
            with file.path.open(encoding=encoding) as stream:
                header = stream.readline()
            separator = max(SEPARATORS, key=header.count)
            table = pd.read_csv(
                file.path,
                encoding=encoding,
                sep=separator,
                dtype="str",
                keep_default_na=False,
                nrows=rows,
                skipinitialspace=True,
            )
        except UnicodeDecodeError:
            continue
        except (pd.errors.ParserError, pd.errors.EmptyDataError, OSError) as error:
            told = " ".join(str(error).split())
            raise file.refused(f"can't be read as CSV: {told[:200].rstrip('.')}.") from None
        return _unshifted(file, table).rename(columns=str.strip).apply(texts), separator
    raise file.refused("can't be read as text; save it as UTF-8.")


def _unshifted(file: InputFile, table: pd.DataFrame) -> pd.DataFrame:
    """``table`` with its columns in place where each row ends in separators that the header lacks."""
    if isinstance(table.index, pd.RangeIndex):
        return table
    width, whole = len(table.columns), table.reset_index()
    if (whole.iloc[:, width:] != "").any(axis=None):
        raise file.refused("has rows with more values than its first row has names; correct the first row.")
    return whole.iloc[:, :width].set_axis(table.columns, axis=1)


def _numbers(column: pd.Series, separator: str) -> pd.Series:
    """Coordinates as numbers, NaN where there are none; with semicolons, a comma is a decimal point."""
    plain = column.str.replace(",", ".", regex=False) if separator == ";" else column
    numbers = pd.to_numeric(plain, errors="coerce").astype("float64")
    return numbers.where(numbers.abs() < float("inf"))
