"""One layer as one compact block of bytes for the map page.

A block is zlib-compressed: a 4-byte little-endian length, a JSON header of that length, then the sections
that the header lists, in its order. ``page/unpack.js`` is the other half. Whole numbers are written as
zigzag varints: seven bits a byte, the highest bit set on all but the last byte of a number.

========  ==========================================================================================
kind      what a section holds
========  ==========================================================================================
outlines  four streams: rings a row, positions a ring (the closing one dropped), then the steps in x
          and in y from position to position, in pixels of the world at zoom 20, less what they are
          expected to be: the first two steps as those of the ring before, each later one back along
          the last but one, as in a rectangle. Shells run one way round and holes the other
lines     the same four streams, of lines instead of rings; nothing is dropped, nothing expected
number    one number a row, scaled by 10^decimals: 0 for a missing one, else its zigzag plus 1. With a
          guide (an earlier number section, and a factor) it is the difference to what that leads one
          to expect: guide × factor × 10^decimals, rounded half up; or, where it says order, to the place
          of the row when rows are sorted by the guide, the greatest first
word      one index a row into the words that stand in the header; 0 for a missing one
text      texts joined by the unit separator (U+001F); empty for a missing one
========  ==========================================================================================
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from harvest.layers import between

ZOOM = 20
WORLD_PX = 256 * 2**ZOOM
"""Width of the world at zoom 20; one pixel is about 0.15 m at the equator and less elsewhere."""

MERCATOR = CRS.from_epsg(3857)
MERCATOR_RADIUS_M = 6_378_137.0
SEPARATOR = "\x1f"

LEVEL = 5
"""Of compression: the next would take half as long again and save nothing, the highest save one byte in two hundred."""


@dataclass(frozen=True)
class Section:
    """One named stream of bytes and what the header says about it."""

    name: str
    kind: str
    streams: tuple[bytes, ...]
    says: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Guide:
    """An earlier number section, as the page reads it, and the factor by which it foretells another.

    Without a factor it foretells places: 1 for the row with its greatest value, and so on.
    """

    name: str
    values: NDArray[np.float64]
    factor: float | None

    @classmethod
    def of(cls, name: str, values: NDArray[np.float64], told: NDArray[np.float64]) -> Guide:
        """The section ``name`` with ``values`` [rows], and the middle one of the factors that lead to ``told``."""
        both = (values > 0) & (told > 0) & np.isfinite(values) & np.isfinite(told)
        middle = float(np.median(told[both] / values[both])) if both.any() else 0.0
        return cls(name, values, float(f"{middle:.5g}"))

    def expected(self, decimals: int) -> NDArray[np.int64]:
        """What it leads one to expect [rows], scaled by 10^``decimals``; 0 where it has no figure."""
        known = np.where(np.isfinite(self.values), self.values, 0.0)
        if self.factor is None:
            places = np.empty(len(known), dtype=np.int64)
            places[np.argsort(-known, kind="stable")] = np.arange(1, len(known) + 1)
            return np.asarray(places * 10**decimals, dtype=np.int64)
        return np.asarray(np.floor(known * self.factor * 10**decimals + 0.5), dtype=np.int64)


def block(rows: int, sections: Sequence[Section]) -> bytes:
    """The compressed block of a layer of ``rows`` rows."""
    header = {
        "rows": rows,
        "sections": [
            {"name": one.name, "kind": one.kind, "bytes": [len(stream) for stream in one.streams]} | one.says
            for one in sections
        ],
    }
    text = json.dumps(header, ensure_ascii=False, separators=(",", ":")).encode()
    body = b"".join(stream for one in sections for stream in one.streams)
    return zlib.compress(len(text).to_bytes(4, "little") + text + body, LEVEL)


def number_section(name: str, values: pd.Series, decimals: int = 0, guide: Guide | None = None) -> Section:
    """``values`` [rows] to ``decimals`` decimals; NA, NaN and infinite ones are missing."""
    numbers = values.astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(numbers)
    scaled = np.rint(np.where(known, numbers, 0) * 10**decimals).astype(np.int64)
    says: dict[str, Any] = {"decimals": decimals}
    if guide is not None:
        scaled = scaled - guide.expected(decimals)
        says |= {"guide": guide.name} | (
            {"factor": guide.factor} if guide.factor is not None else {"order": True}
        )
    coded = np.where(known, _zigzag(scaled) + np.uint64(1), np.uint64(0))
    return Section(name, "number", (_varints(coded),), says)


def word_section(name: str, values: pd.Series) -> Section:
    """``values`` [rows] of few different texts."""
    codes, words = pd.factorize(values, sort=True)
    coded = (codes + 1).astype(np.uint64)
    return Section(name, "word", (_varints(coded),), {"words": [str(word) for word in words]})


def text_section(name: str, values: pd.Series) -> Section:
    """``values`` [rows] of mostly different texts."""
    texts = pa.array(values.fillna(""), type=pa.large_string())
    joined = SEPARATOR.join(pc.replace_substring(texts, SEPARATOR, " ").to_pylist())
    return Section(name, "text", (joined.encode(),))


def outline_section(outlines: gpd.GeoSeries) -> Section:
    """Polygons or multipolygons [rows] in any CRS; a row without an outline has no ring."""
    parts, row_of_part = _parts(shapely.normalize(outlines.to_numpy()))
    holes = shapely.get_num_interior_rings(parts)
    row_of_ring = np.repeat(row_of_part, 1 + holes)
    positions_of_ring = np.repeat(shapely.get_num_coordinates(parts), 1 + holes)
    several = np.repeat(holes > 0, 1 + holes)
    positions_of_ring[several] = shapely.get_num_coordinates(shapely.get_rings(parts[holes > 0]))
    return _shape_section("outlines", outlines, parts, row_of_ring, positions_of_ring, closed=True)


def line_section(lines: gpd.GeoSeries) -> Section:
    """Lines, multilines or points [rows] in any CRS; a row without a line has no part."""
    parts, row_of_part = _parts(lines.to_numpy())
    return _shape_section(
        "lines", lines, parts, row_of_part, shapely.get_num_coordinates(parts), closed=False
    )


def _parts(shapes: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.intp]]:
    """The single parts of ``shapes`` [rows] that are not empty, and the row of each."""
    if (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON).all():
        parts, row_of_part = shapes, np.arange(len(shapes))
    else:
        parts, row_of_part = shapely.get_parts(shapes, return_index=True)
    filled = ~shapely.is_empty(parts)
    return parts[filled], row_of_part[filled]


def _shape_section(
    kind: str,
    shapes: gpd.GeoSeries,
    parts: NDArray[Any],
    row_of_ring: NDArray[np.intp],
    positions_of_ring: NDArray[np.int_],
    *,
    closed: bool,
) -> Section:
    """The ``parts`` of ``shapes`` [rows] as four streams; the last position of a ``closed`` ring is dropped."""
    positions = shapely.get_coordinates(parts)
    if closed:
        kept = np.ones(len(positions), dtype=bool)
        kept[np.cumsum(positions_of_ring) - 1] = False
        positions, positions_of_ring = positions[kept], positions_of_ring - 1
    pixels = _pixels(positions, shapes.crs)
    rings_of_row = np.bincount(row_of_ring, minlength=len(shapes))
    both = [_steps(along, positions_of_ring) for along in pixels.T]
    return Section(
        kind,
        kind,
        (
            _varints(rings_of_row.astype(np.uint64)),
            _varints(positions_of_ring.astype(np.uint64)),
            *(_varints(_zigzag(steps - _expected(steps, positions_of_ring, closed))) for steps in both),
        ),
    )


def _pixels(positions: NDArray[np.float64], crs: CRS) -> NDArray[np.int64]:
    """``positions`` [n, 2] in ``crs`` as pixels of the world [n, 2]: across from the west, down from the north."""
    x, y = between(crs, MERCATOR).transform(*positions.T)
    half_world = np.pi * MERCATOR_RADIUS_M
    from_corner = np.column_stack([half_world + x, half_world - y])
    return np.asarray(np.rint(from_corner / (2 * half_world) * WORLD_PX), dtype=np.int64)


def _steps(along: NDArray[np.int64], positions_of_ring: NDArray[np.int64]) -> NDArray[np.int64]:
    """Each position less the one before it; the first of a ring less the first of the ring before."""
    if not len(along):
        return along
    steps = np.diff(along, prepend=0)
    counts = positions_of_ring[positions_of_ring > 0]
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    steps[starts] = np.diff(along[starts], prepend=0)
    return steps


def _expected(
    steps: NDArray[np.int64], positions_of_ring: NDArray[np.int64], closed: bool
) -> NDArray[np.int64]:
    """What a rectangle beside one like it would lead one to expect of each of ``steps``; 0 for lines."""
    expected = np.zeros_like(steps)
    if not closed or not len(steps):
        return expected
    starts = np.cumsum(positions_of_ring) - positions_of_ring
    ring = np.repeat(np.arange(len(positions_of_ring)), positions_of_ring)
    place = np.arange(len(steps)) - starts[ring]
    later = np.flatnonzero(place > 2)
    expected[later] = -steps[later - 2]
    early = np.flatnonzero((place > 0) & (place <= 2) & (ring > 0))
    early = early[positions_of_ring[ring[early] - 1] > place[early]]
    expected[early] = steps[starts[ring[early] - 1] + place[early]]
    return expected


def _zigzag(numbers: NDArray[np.int64]) -> NDArray[np.uint64]:
    """0, −1, 1, −2, … as 0, 1, 2, 3, …"""
    return ((numbers << 1) ^ (numbers >> 63)).astype(np.uint64)


def _varints(numbers: NDArray[np.uint64]) -> bytes:
    """Whole numbers from 0, seven bits a byte, low bits first."""
    longest = max(1, -(-int(numbers.max(initial=0)).bit_length() // 7))
    lengths = np.ones(len(numbers), dtype=np.intp)
    for place in range(1, longest):
        lengths += numbers >> np.uint64(7 * place) > 0
    at = np.cumsum(lengths) - lengths
    octets = np.empty(int(lengths.sum()), dtype=np.uint8)
    while len(numbers):
        more = numbers > 0x7F
        octets[at] = (numbers & np.uint64(0x7F)) | (more.astype(np.uint64) << np.uint64(7))
        numbers, at = numbers[more] >> np.uint64(7), at[more] + 1
    return octets.tobytes()
