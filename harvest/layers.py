"""What the readers hand to the rest of the program: checked layers, one rainfall grid, days and months."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from harvest.findings import Account, Finding


def crs_text(crs: CRS) -> str:
    """The authority's code where the definition carries one, else WKT. Nothing is looked up, so it is quick."""
    named = crs.to_json_dict().get("id")
    return f"{named['authority']}:{named['code']}" if named else str(crs.to_wkt())


@lru_cache(maxsize=32)
def between(start: CRS, end: CRS) -> Transformer:
    """The way from ``start`` to ``end``, x before y in both; kept, since looking one up is slow."""
    return Transformer.from_crs(start, end, always_xy=True)


@dataclass(frozen=True)
class Source:
    """One input file as it was when it was read. ``rows`` is None for a grid."""

    role: str
    path: Path
    sha256: str
    rows: int | None
    crs: str
    bytes: int


@dataclass(frozen=True)
class Extent:
    """A rectangle: ``bounds`` (west, south, east, north) in units of ``crs``."""

    bounds: tuple[float, float, float, float]
    crs: CRS

    @classmethod
    def of(cls, frame: gpd.GeoDataFrame) -> Extent:
        """The rectangle around ``frame``, in the frame's own CRS."""
        west, south, east, north = (float(edge) for edge in frame.total_bounds)
        return cls((west, south, east, north), CRS(frame.crs))


@dataclass(frozen=True)
class Layer:
    """A vector layer after the door: own column names, string ids, valid 2-D polygons, a real CRS.

    ``frame`` has a RangeIndex and keeps the file's own CRS and row order.
    """

    frame: gpd.GeoDataFrame
    account: Account
    findings: tuple[Finding, ...]
    sources: tuple[Source, ...]

    @property
    def extent(self) -> Extent:
        """The rectangle around the layer, in its own CRS."""
        return Extent.of(self.frame)


@dataclass(frozen=True)
class RainGrid:
    """Rain depth on a north-up grid, cut to the town.

    ``depth_mm`` [bands, rows, columns; mm] has 12 bands (January first) or 1 (a whole year), NaN where the
    grid holds no figure. ``west``, ``north`` are the outer corner of the first cell and ``cell_x``,
    ``cell_y`` the (positive) cell sizes, all in units of ``crs``. ``first_row``, ``first_column`` say where
    the cut begins in the file.
    """

    depth_mm: NDArray[np.float64]
    west: float
    north: float
    cell_x: float
    cell_y: float
    crs: CRS
    first_row: int
    first_column: int
    findings: tuple[Finding, ...]
    sources: tuple[Source, ...]

    @property
    def monthly(self) -> bool:
        """Whether the grid tells the months apart."""
        return len(self.depth_mm) == 12

    def as_dict(self) -> dict[str, Any]:
        """Plain values for ``run.json``."""
        bands, rows, columns = self.depth_mm.shape
        return {
            "bands": bands,
            "rows": rows,
            "columns": columns,
            "cell": [self.cell_x, self.cell_y],
            "crs": crs_text(self.crs),
        }


@dataclass(frozen=True)
class DailyRain:
    """Rain of whole calendar years, day by day.

    ``dates`` [days; datetime64[D]] run without a gap inside a year and are those of ``years``, in order;
    ``rain_mm`` [days; mm] has no NaN. ``missing_days`` of them were not read and stand as dry.
    ``generated`` says that the days were made up from monthly normals rather than measured.
    """

    dates: NDArray[np.datetime64]
    rain_mm: NDArray[np.float64]
    years: tuple[int, ...]
    missing_days: int
    generated: bool
    findings: tuple[Finding, ...]
    sources: tuple[Source, ...]

    @property
    def months(self) -> NDArray[np.int64]:
        """Month of each day [days; 0 is January]."""
        return np.asarray(self.dates.astype("datetime64[M]").astype(np.int64) % 12)


@dataclass(frozen=True)
class MonthlyTemperature:
    """Mean daily low ``tmin_c`` and high ``tmax_c`` of each month [12; °C], January first."""

    tmin_c: NDArray[np.float64]
    tmax_c: NDArray[np.float64]
    findings: tuple[Finding, ...]
    sources: tuple[Source, ...]
