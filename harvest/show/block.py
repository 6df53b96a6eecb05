"""One layer as one compact block of bytes for the map page.

A block is zlib-compressed: a 4-byte little-endian length, a JSON header of that length, then the sections
that the header lists, in its order. ``page/unpack.js`` is the other half. Whole numbers are written as
zigzag varints: seven bits a byte, the highest bit set on all but the last byte of a number.

========  ==========================================================================================
kind      what a section holds
========  ==========================================================================================
outlines  four streams: rings a row, positions a ring (the closing one dropped), then the steps in x
          and in y from position to position, in pixels of the world at zoom 20
number    one number a row, scaled by 10^decimals: 0 for a missing one, else its zigzag plus 1
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
import shapely
from numpy.typing import NDArray

ZOOM = 20
WORLD_PX = 256 * 2**ZOOM
"""Width of the world at zoom 20; one pixel is about 0.15 m at the equator and less elsewhere."""

MERCATOR_RADIUS_M = 6_378_137.0
SEPARATOR = "\x1f"


@dataclass(frozen=True)
class Section:
    """One named stream of bytes and what the header says about it."""

    name: str
    kind: str
    streams: tuple[bytes, ...]
    says: dict[str, Any] = field(default_factory=dict)


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
    return zlib.compress(len(text).to_bytes(4, "little") + text + body, 9)


def number_section(name: str, values: pd.Series, decimals: int = 0) -> Section:
    """``values`` [rows] to ``decimals`` decimals; NA, NaN and infinite ones are missing."""
    numbers = values.astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(numbers)
    scaled = np.rint(np.where(known, numbers, 0) * 10**decimals).astype(np.int64)
    coded = np.where(known, _zigzag(scaled) + np.uint64(1), np.uint64(0))
    return Section(name, "number", (_varints(coded),), {"decimals": decimals})


def word_section(name: str, values: pd.Series) -> Section:
    """``values`` [rows] of few different texts."""
    codes, words = pd.factorize(values, sort=True)
    coded = (codes + 1).astype(np.uint64)
    return Section(name, "word", (_varints(coded),), {"words": [str(word) for word in words]})


def text_section(name: str, values: pd.Series) -> Section:
    """``values`` [rows] of mostly different texts."""
    texts = values.fillna("").astype("str").str.replace(SEPARATOR, " ", regex=False)
    return Section(name, "text", (SEPARATOR.join(texts).encode(),))


def outline_section(outlines: gpd.GeoSeries) -> Section:
    """Polygons or multipolygons [rows] in any CRS; a row without an outline has no ring."""
    shapes = outlines.to_crs(3857).force_2d().to_numpy()
    parts, row_of_part = shapely.get_parts(shapes, return_index=True)
    rings, part_of_ring = shapely.get_rings(parts, return_index=True)
    positions, ring_of_position = shapely.get_coordinates(rings, return_index=True)
    last = np.flatnonzero(np.diff(ring_of_position, append=len(rings)))
    half_world = np.pi * MERCATOR_RADIUS_M
    across = (positions[:, 0] + half_world) / (2 * half_world) * WORLD_PX
    down = (half_world - positions[:, 1]) / (2 * half_world) * WORLD_PX
    pixels = np.delete(np.rint(np.column_stack([across, down])).astype(np.int64), last, axis=0)
    positions_of_ring = np.bincount(np.delete(ring_of_position, last), minlength=len(rings))
    rings_of_row = np.bincount(row_of_part[part_of_ring], minlength=len(shapes))
    return Section(
        "outlines",
        "outlines",
        (
            _varints(rings_of_row.astype(np.uint64)),
            _varints(positions_of_ring.astype(np.uint64)),
            _varints(_zigzag(_steps(pixels[:, 0], positions_of_ring))),
            _varints(_zigzag(_steps(pixels[:, 1], positions_of_ring))),
        ),
    )


def _steps(along: NDArray[np.int64], positions_of_ring: NDArray[np.int64]) -> NDArray[np.int64]:
    """Each position less the one before it; the first of a ring less the first of the ring before."""
    if not len(along):
        return along
    steps = np.diff(along, prepend=0)
    starts = np.concatenate([[0], np.cumsum(positions_of_ring)[:-1]])
    steps[starts] = np.diff(along[starts], prepend=0)
    return steps


def _zigzag(numbers: NDArray[np.int64]) -> NDArray[np.uint64]:
    """0, −1, 1, −2, … as 0, 1, 2, 3, …"""
    return ((numbers << 1) ^ (numbers >> 63)).astype(np.uint64)


def _varints(numbers: NDArray[np.uint64]) -> bytes:
    """Whole numbers from 0, seven bits a byte, low bits first."""
    shifts = np.arange(0, 63, 7, dtype=np.uint64)
    sevens = (numbers[:, None] >> shifts) & np.uint64(0x7F)
    used = np.maximum(1, len(shifts) - (sevens[:, ::-1] != 0).argmax(axis=1))
    used[numbers == 0] = 1
    place = np.arange(len(shifts))
    more = place < used[:, None] - 1
    octets = (sevens | np.where(more, np.uint64(0x80), np.uint64(0))).astype(np.uint8)
    return bytes(octets[place < used[:, None]])
