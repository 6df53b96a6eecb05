"""One raster file, cut to the town: which variable, where it lies, and the bare figures of its cells."""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from harvest.findings import Finding
from harvest.project.outputs import Limits
from harvest.read.columns import nearest
from harvest.read.crs import Bounds, from_wgs84, known_crs, settled_crs, to_wgs84
from harvest.read.files import InputFile

DRIVERS = {"GeoTIFF": "GTiff", "NetCDF": "netCDF"}
MARGIN_CELLS = 1
MEMORY_FACTOR = 5
"""Memory needed while a grid is checked, over what its cells take as float64."""
SAME = 1e-6
"""Share of a cell below which two edges are one."""


@dataclass(frozen=True)
class Frame:
    """A north-up grid's place: outer corner of the first cell, cell sizes, rows and columns; ``crs`` units."""

    west: float
    north: float
    cell_x: float
    cell_y: float
    rows: int
    columns: int
    crs: CRS

    @property
    def bounds(self) -> Bounds:
        """West, south, east, north."""
        return (
            self.west,
            self.north - self.rows * self.cell_y,
            self.west + self.columns * self.cell_x,
            self.north,
        )

    def cells(self, bounds: Bounds) -> tuple[int, int, int, int]:
        """First row, end row, first column, end column of the cells that ``bounds`` touch; may be empty."""
        if not np.isfinite(bounds).all():
            return 0, 0, 0, 0
        west, south, east, north = bounds
        return (
            max(0, math.floor((self.north - north) / self.cell_y + SAME)),
            min(self.rows, math.ceil((self.north - south) / self.cell_y - SAME)),
            max(0, math.floor((west - self.west) / self.cell_x + SAME)),
            min(self.columns, math.ceil((east - self.west) / self.cell_x - SAME)),
        )

    def same_as(self, other: Frame) -> bool:
        """Whether both grids have the same cells."""
        mine, theirs = np.array(self.bounds), np.array(other.bounds)
        return (
            (self.rows, self.columns) == (other.rows, other.columns)
            and self.crs.equals(other.crs, ignore_axis_order=True)
            and bool(np.abs(mine - theirs).max() < 1000 * SAME * min(self.cell_x, self.cell_y))
        )


@dataclass(frozen=True)
class Cut:
    """The cells around the town, in the file's own unit.

    ``values`` [bands, rows, columns] after scale and offset, NaN where the file flags no-data, which
    ``flagged`` [bands, rows, columns] marks; ``frame`` is the whole grid's place and ``first_row``,
    ``first_column`` where the cut begins in it; ``town`` [rows, columns] marks the cells that the town's
    bounds touch, the rest is margin.
    """

    values: NDArray[np.float64]
    flagged: NDArray[np.bool_]
    town: NDArray[np.bool_]
    frame: Frame
    first_row: int
    first_column: int
    unit: str | None
    findings: list[Finding]


def read_cut(
    file: InputFile,
    variable: str | None,
    crs: str | None,
    limits: Limits,
    bounds: Bounds,
    bands: tuple[int, ...],
) -> Cut:
    """The cells of raster ``file`` around ``bounds`` (degrees), with a margin of one cell.

    ``bands`` are the numbers of bands that will do. Raises the file's refusal.
    """
    try:
        with opened(file, variable) as source:
            frame, flips, findings = _placed(file, source, crs)
            _check_bands(file, source.count, bands)
            frame, cells = _touched(file, frame, bounds)
            findings += _uncovered(file, frame, bounds)
            wide = _with_margin(frame, cells)
            _check_memory(file, source, wide, limits)
            values, flagged = _values(source, frame, wide, flips)
            unit = _unit(source)
    except (RasterioError, OSError) as error:
        told = " ".join(str(error).split())[:200].rstrip(".")
        raise file.refused(f"can't be read as {file.form}: {told}. Fetch it again.") from None
    town = np.zeros(values.shape[1:], bool)
    town[cells[0] - wide[0] : cells[1] - wide[0], cells[2] - wide[2] : cells[3] - wide[2]] = True
    return Cut(values, flagged, town, frame, wide[0], wide[2], unit, findings)


def _check_bands(file: InputFile, count: int, bands: tuple[int, ...]) -> None:
    if count in bands:
        return
    needed = "1 band each" if bands == (1,) else "1 band (a whole year) or 12 (January first)"
    raise file.refused(
        f"has {count} bands where rainfall needs {needed}; pick or add up the bands that are rain."
    )


@contextmanager
def opened(file: InputFile, variable: str | None) -> Iterator[Any]:
    """The raster, or the variable of a NetCDF that is meant; refuses one that is not there or not named."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        names = _addresses(file)
        address = names[_variable(file, names, variable)] if names else str(file.path)
        with rasterio.open(address, driver=DRIVERS[file.form]) as source:
            yield source


def variables(file: InputFile) -> list[str]:
    """Names of the variables of a NetCDF that may be rain, where it holds several; else nothing."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        return [name for name, address in _addresses(file).items() if _may_be_rain(name, address)]


def _addresses(file: InputFile) -> dict[str, str]:
    """Where GDAL finds each variable of a NetCDF that holds several."""
    if file.form != "NetCDF":
        return {}
    with rasterio.open(file.path, driver=DRIVERS[file.form]) as whole:
        return {address.rsplit(":", 1)[-1].strip('"').lstrip("/"): address for address in whole.subdatasets}


def _variable(file: InputFile, names: dict[str, str], wanted: str | None) -> str:
    if wanted is not None:
        if wanted not in names:
            raise file.refused(f"has no variable {wanted!r}{nearest(wanted, list(names))}")
        return wanted
    fitting = [name for name, address in names.items() if _may_be_rain(name, address)]
    if len(fitting) != 1:
        choice = ", ".join(fitting or names)
        raise file.refused(f"holds several variables; say which is rain with variable = one of {choice}.")
    return fitting[0]


def _may_be_rain(name: str, address: str) -> bool:
    """Whether a variable is neither a coordinate nor the limits of one."""
    with rasterio.open(address, driver="netCDF") as part:
        unit = (part.units[0] or "") if part.count else ""
    return not unit.startswith("degrees") and not re.search(r"_?(bnds|bounds)$", name)


def _placed(file: InputFile, source: Any, said: str | None) -> tuple[Frame, tuple[bool, bool], list[Finding]]:
    """Where the grid lies, north up; whether its rows and columns must be turned round for that."""
    a, b, west, d, e, north = source.transform[:6]
    if source.tags(ns="GEOLOCATION") and source.transform.is_identity:
        raise file.refused(
            "gives each cell its own latitude and longitude (a curvilinear grid); resample it to a regular "
            "grid first."
        )
    if source.transform.is_identity:
        raise file.refused("does not say where it lies (no geotransform); georeference it in a GIS first.")
    if b or d:
        raise file.refused("is rotated; resample it to a north-up grid first.")
    own = known_crs(source.crs.to_wkt()) if source.crs else None
    findings: list[Finding] = []
    if own is None and said is None and _degrees(source):
        own = CRS.from_epsg(4326)
        findings.append(
            Finding(
                "crs assumed",
                file.role,
                "note",
                1,
                f"{file.name} names no coordinate reference system but its axes are longitude and latitude; "
                "WGS 84 is assumed.",
                "Nothing to do, unless the file's documentation names another datum.",
            )
        )
    crs, told = settled_crs(file, own, said)
    if a < 0:
        west += source.width * a
    if e > 0:
        north += source.height * e
    frame = Frame(west, north, abs(a), abs(e), source.height, source.width, crs)
    return frame, (e > 0, a < 0), [*findings, *told]


def _degrees(source: Any) -> bool:
    """Whether the metadata of a NetCDF says that its axes are longitude and latitude."""
    units = {str(value).lower() for key, value in source.tags().items() if key.endswith("#units")}
    return bool(units & {"degrees_east", "degree_east"}) and bool(units & {"degrees_north", "degree_north"})


def _touched(file: InputFile, frame: Frame, bounds: Bounds) -> tuple[Frame, tuple[int, int, int, int]]:
    """The cells that ``bounds`` (degrees) touch, and the frame turned by 360° where that is needed for it."""
    for turned in (frame, *_turned(frame)):
        cells = turned.cells(from_wgs84(bounds, turned.crs))
        if cells[0] < cells[1] and cells[2] < cells[3]:
            return turned, cells
    west, south, east, north = bounds
    swapped = frame.cells(from_wgs84((south, west, north, east), frame.crs))
    hint = (
        " With latitude and longitude swapped they would meet, so one of the layers has them the wrong way round."
        if swapped[0] < swapped[1] and swapped[2] < swapped[3]
        else " Check the CRS of both."
    )
    raise file.refused(
        f"does not reach the town: it covers {_told(to_wgs84(frame.bounds, frame.crs))}, the town "
        f"{_told(bounds)}.{hint}"
    )


def _turned(frame: Frame) -> list[Frame]:
    """The same grid with longitudes counted the other way round the earth."""
    if not frame.crs.is_geographic:
        return []
    return [replace(frame, west=frame.west + turn) for turn in (-360, 360)]


def _told(bounds: Bounds) -> str:
    west, south, east, north = bounds
    return f"longitude {west:.2f} to {east:.2f}, latitude {south:.2f} to {north:.2f}"


def _uncovered(file: InputFile, frame: Frame, bounds: Bounds) -> list[Finding]:
    west, south, east, north = from_wgs84(bounds, frame.crs)
    left, low, right, top = frame.bounds
    if west >= left and south >= low and east <= right and north <= top:
        return []
    return [
        Finding(
            "grid covers part of the town",
            file.role,
            "warning",
            1,
            f"{file.name} ends inside the town; roofs beyond its edge have no rain figure.",
            "Fetch a grid that covers the whole town.",
        )
    ]


def _with_margin(frame: Frame, cells: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
    return (
        max(0, cells[0] - MARGIN_CELLS),
        min(frame.rows, cells[1] + MARGIN_CELLS),
        max(0, cells[2] - MARGIN_CELLS),
        min(frame.columns, cells[3] + MARGIN_CELLS),
    )


def _check_memory(file: InputFile, source: Any, cells: tuple[int, int, int, int], limits: Limits) -> None:
    """Refuse a cut, or the blocks it must be unpacked from, that would not fit in memory."""
    size = max(np.dtype(kind).itemsize for kind in source.dtypes)
    block_rows, block_columns = source.block_shapes[0]
    together = source.count if str(source.interleaving or "").lower().endswith("pixel") else 1
    block = block_rows * block_columns * size * together
    needed = MEMORY_FACTOR * 8 * source.count * (cells[1] - cells[0]) * (cells[3] - cells[2]) + block
    if needed > limits.memory_gb * 1e9:
        raise file.refused(
            f"needs {needed / 1e9:.1f} GB of memory over the town, above [limits] memory_gb = "
            f"{limits.memory_gb:g}; cut or resample it first, or raise the limit."
        )


def _values(
    source: Any, frame: Frame, cells: tuple[int, int, int, int], flips: tuple[bool, bool]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    first_row, end_row, first_column, end_column = cells
    rows, columns = end_row - first_row, end_column - first_column
    at_row = frame.rows - end_row if flips[0] else first_row
    at_column = frame.columns - end_column if flips[1] else first_column
    stored = source.read(window=Window(at_column, at_row, columns, rows), masked=True)
    values = np.ma.filled(stored.astype("float64"), np.nan)
    values *= np.array(source.scales)[:, None, None]
    values += np.array(source.offsets)[:, None, None]
    turn = np.s_[:, :: -1 if flips[0] else 1, :: -1 if flips[1] else 1]
    return np.ascontiguousarray(values[turn]), np.ma.getmaskarray(stored)[turn]


def _unit(source: Any) -> str | None:
    """The unit that the bands, or the file's tags, declare."""
    found = [unit for unit in source.units if unit]
    for tags in (source.tags(1), source.tags()):
        found += [value for key, value in tags.items() if key.lower() in ("units", "unit", "unittype")]
    return found[0].strip() if found else None
