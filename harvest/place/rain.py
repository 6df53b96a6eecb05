"""Rain on a roof: the mean of the grid cells it touches, weighted by cover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from harvest.findings import Finding, counted
from harvest.layers import RainGrid, between
from harvest.parts import in_parts
from harvest.place.plane import Geometries, transformed

PAIRS_AT_ONCE = 500_000
"""Roof-cell pairs cut in one go, so that a fine grid does not fill the memory."""


@dataclass(frozen=True)
class RoofRain:
    """Rain on roofs. ``depth_mm`` [n, bands; mm], NaN without a figure; ``cover`` [n]: share on valid cells."""

    depth_mm: NDArray[np.float64]
    cover: NDArray[np.float64]
    straddling: int


@dataclass(frozen=True)
class CellWeights:
    """Pairs of roof and cell [k], sorted by roof: ``row``, ``column`` in the grid, ``weight`` = area covered."""

    roof: NDArray[np.intp]
    row: NDArray[np.intp]
    column: NDArray[np.intp]
    weight: NDArray[np.float64]


def rain_on(roofs: Geometries, plane: CRS, grid: RainGrid) -> RoofRain:
    """Rain of ``grid`` on ``roofs`` [n; ``plane``, m].

    A roof inside one cell takes the cell; only roofs that cross cell edges are cut against the cells they
    touch. Cells without a figure are left out of the mean and of ``cover``.
    """
    bands = grid.depth_mm.reshape(len(grid.depth_mm), -1)
    valid = np.isfinite(bands.sum(axis=0))
    depth = np.full((len(roofs), len(bands)), np.nan)
    cover = np.zeros(len(roofs))

    to_grid = between(plane, grid.crs)
    low, high = _cell_range(_boxes(roofs, to_grid, grid), grid)
    single = (low == high).all(axis=1)
    rows, columns = grid.depth_mm.shape[1:]
    on_grid = single & (low >= 0).all(axis=1) & (low < (rows, columns)).all(axis=1)
    cell = low[on_grid, 0] * columns + low[on_grid, 1]
    depth[on_grid] = np.where(valid[cell, None], bands.T[cell], np.nan)
    cover[on_grid] = valid[cell]

    crossing = np.flatnonzero(~single)
    for part in _parts(crossing, low, high):
        pairs = cell_weights(transformed(roofs[part], to_grid), grid)
        inside = (pairs.row >= 0) & (pairs.row < rows) & (pairs.column >= 0) & (pairs.column < columns)
        flat = np.where(inside, pairs.row * columns + pairs.column, 0)
        weight = np.where(inside & valid[flat], pairs.weight, 0.0)
        known = np.bincount(pairs.roof, weights=weight, minlength=len(part))
        whole = np.bincount(pairs.roof, weights=pairs.weight, minlength=len(part))
        for band, values in enumerate(bands):
            total = np.bincount(pairs.roof, weights=weight * np.nan_to_num(values[flat]), minlength=len(part))
            depth[part, band] = np.divide(total, known, out=np.full(len(part), np.nan), where=known > 0)
        cover[part] = np.divide(known, whole, out=np.zeros(len(part)), where=whole > 0)
    return RoofRain(depth, cover, len(crossing))


def cell_weights(roofs: Geometries, grid: RainGrid) -> CellWeights:
    """Area of each of ``roofs`` [n; the grid's CRS] in each cell it touches, also beyond the grid's edge."""
    low, high = _cell_range(shapely.bounds(roofs), grid)
    span = high - low + 1
    count = span[:, 0] * span[:, 1]
    roof = np.repeat(np.arange(len(roofs)), count)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    row = low[roof, 0] + place // span[roof, 1]
    column = low[roof, 1] + place % span[roof, 1]
    west, north = grid.west + column * grid.cell_x, grid.north - row * grid.cell_y
    cells = shapely.box(west, north - grid.cell_y, west + grid.cell_x, north)
    weight = shapely.area(in_parts(shapely.intersection, roofs[roof], cells))
    touched = weight > 0
    return CellWeights(roof[touched], row[touched], column[touched], weight[touched])


def _boxes(roofs: Geometries, to_grid: Transformer, grid: RainGrid) -> NDArray[np.float64]:
    """Boxes of ``roofs`` in the grid's CRS [n, 4], widened a little since straight edges bend on the way."""
    west, south, east, north = shapely.bounds(roofs).T
    x, y = to_grid.transform(np.stack([west, west, east, east]), np.stack([south, north, south, north]))
    margin_x, margin_y = 1e-4 * grid.cell_x, 1e-4 * grid.cell_y
    return np.column_stack(
        [x.min(0) - margin_x, y.min(0) - margin_y, x.max(0) + margin_x, y.max(0) + margin_y]
    )


def _cell_range(boxes: NDArray[np.float64], grid: RainGrid) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last (row, column) that each box touches [n, 2]; may lie beyond the grid."""
    west, south, east, north = boxes.T
    low = np.column_stack([(grid.north - north) / grid.cell_y, (west - grid.west) / grid.cell_x])
    high = np.column_stack([(grid.north - south) / grid.cell_y, (east - grid.west) / grid.cell_x])
    return np.floor(low).astype(np.intp), np.floor(high).astype(np.intp)


def _parts(chosen: NDArray[np.intp], low: NDArray[np.intp], high: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """``chosen`` in runs of about ``PAIRS_AT_ONCE`` roof-cell pairs."""
    if not len(chosen):
        return []
    pairs = np.cumsum(np.prod(high[chosen] - low[chosen] + 1, axis=1))
    return np.split(chosen, np.flatnonzero(np.diff(pairs // PAIRS_AT_ONCE)) + 1)


def check_rain(rain: RoofRain, ids: NDArray[np.object_]) -> list[Finding]:
    """Findings on roofs without any rain figure, and with a figure for only part of the roof."""
    findings = []
    none = rain.cover == 0
    if none.any():
        findings.append(
            Finding.of(
                "roofs without rain",
                "rainfall",
                "serious",
                ids[none],
                f"{counted(int(none.sum()), 'roof')} where the rainfall grid holds no figure; no estimate for them and "
                "their parcels.",
                "Use a rainfall grid that covers the whole town.",
            )
        )
    partly = (rain.cover > 0) & (rain.cover < 1 - 1e-6)
    if partly.any():
        findings.append(
            Finding.of(
                "roofs partly without rain",
                "rainfall",
                "warning",
                ids[partly],
                f"{counted(int(partly.sum()), 'roof')} partly where the rainfall grid holds no figure; the mean of the "
                "other cells is used, see rain_cover.",
                "Use a rainfall grid that covers the whole town.",
            )
        )
    return findings
