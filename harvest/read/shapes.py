"""Geometries as they come in files, turned into valid 2-D polygons; what can't be is dropped and told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from harvest.findings import Finding
from harvest.parts import in_parts
from harvest.read.files import InputFile

POLYGON, MULTIPOLYGON, COLLECTION = 3, 6, 7
TYPE_NAMES = ("points", "lines", "lines", "polygons", "points", "lines", "polygons", "collections")


@dataclass(frozen=True)
class Shapes:
    """Valid 2-D polygons [n kept], ``kept`` [n read] saying which rows they are, and what happened."""

    polygons: NDArray[np.object_]
    kept: NDArray[np.bool_]
    dropped: dict[str, int]
    findings: list[Finding]


def cleaned(
    file: InputFile, geometry: NDArray[np.object_], unreadable: NDArray[np.bool_], names: pd.Series
) -> Shapes:
    """``geometry`` [n] as valid 2-D polygons; ``names`` [n] are the ids that findings quote.

    Raises the file's refusal when it holds no polygon at all, saying what it holds.
    """
    work = _Work(file, geometry.copy(), np.ones(len(geometry), bool), names, {}, [])
    work.drop(unreadable, "geometry can't be read", "redraw them, or export the layer again")
    work.drop(shapely.is_missing(work.shapes), "no geometry", "draw them, or take them out of the file")
    work.drop(shapely.is_empty(work.shapes), "empty geometry", "draw them, or take them out of the file")
    work.drop(_not_finite(work.shapes), "coordinates are no numbers", "redraw them")
    _flatten(work)
    _keep_polygons(work)
    _repair(work)
    return Shapes(work.shapes[work.kept], work.kept, work.dropped, work.findings)


@dataclass
class _Work:
    file: InputFile
    shapes: NDArray[np.object_]
    kept: NDArray[np.bool_]
    names: pd.Series
    dropped: dict[str, int]
    findings: list[Finding]

    def drop(self, where: NDArray[np.bool_], reason: str, remedy: str) -> None:
        """Leave out the rows still kept that are marked in ``where`` [n]."""
        gone = where & self.kept
        if not gone.any():
            return
        count = int(gone.sum())
        self.dropped[reason] = count
        self.kept &= ~gone
        self.shapes[gone] = None
        self.findings.append(
            Finding.of(
                reason,
                self.file.role,
                "warning",
                self.names[gone],
                f"Features left out ({reason}): {count} of {len(gone)}.",
                f"If they stand for something real, {remedy}.",
            )
        )


def _not_finite(shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Where a geometry has a coordinate that is infinite or no number [n]."""
    if np.isfinite(shapely.get_coordinates(shapes)).all():
        return np.zeros(len(shapes), bool)
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    bad = np.zeros(len(shapes), bool)
    bad[owner[~np.isfinite(xy).all(axis=1)]] = True
    return bad


def _flatten(work: _Work) -> None:
    """Drop heights and measures."""
    high = shapely.has_z(work.shapes) | shapely.has_m(work.shapes)
    if high.any():
        work.shapes[high] = shapely.force_2d(work.shapes[high])
        work.findings.append(
            Finding.of(
                "heights ignored",
                work.file.role,
                "note",
                work.names[high],
                f"Heights or measures were ignored; areas are those seen from above. Features: {int(high.sum())}.",
                "Nothing to do.",
            )
        )


def _keep_polygons(work: _Work) -> None:
    """Take the polygons out of collections; drop what is no polygon; refuse a layer without any."""
    kinds = shapely.get_type_id(work.shapes)
    mixed = np.flatnonzero(kinds == COLLECTION)
    for row in mixed:
        work.shapes[row] = _polygons_of(work.shapes[row])
    kinds[mixed] = shapely.get_type_id(work.shapes[mixed])
    fits = (kinds == POLYGON) | (kinds == MULTIPOLYGON)
    held = [
        TYPE_NAMES[kind] if kind < len(TYPE_NAMES) else "other shapes" for kind in np.unique(kinds[work.kept])
    ]
    if work.kept.any() and not (fits & work.kept).any():
        raise work.file.refused(f"holds {' and '.join(dict.fromkeys(held))}; give a layer of polygons.")
    work.drop(~fits, "not a polygon", "draw them as polygons")


def _polygons_of(shape: shapely.Geometry) -> shapely.Geometry:
    """The polygons in ``shape`` as one geometry, or ``shape`` itself when it holds none."""
    parts = shapely.get_parts(shape)
    while (shapely.get_type_id(parts) >= MULTIPOLYGON).any():
        parts = shapely.get_parts(parts)
    polygons = parts[(shapely.get_type_id(parts) == POLYGON) & ~shapely.is_empty(parts)]
    if len(polygons) == 0:
        return shape
    return polygons[0] if len(polygons) == 1 else shapely.multipolygons(polygons)


def _repair(work: _Work) -> None:
    """Mend rings that cross themselves and the like; a repair that leaves nothing drops the row."""
    broken = np.flatnonzero(~in_parts(shapely.is_valid, work.shapes) & work.kept)
    if len(broken) == 0:
        return
    mended = shapely.make_valid(work.shapes[broken], method="structure", keep_collapsed=False)
    for row in np.flatnonzero(~np.isin(shapely.get_type_id(mended), (POLYGON, MULTIPOLYGON))):
        mended[row] = _polygons_of(mended[row])
    lasting = np.isin(shapely.get_type_id(mended), (POLYGON, MULTIPOLYGON)) & ~shapely.is_empty(mended)
    work.shapes[broken[lasting]] = mended[lasting]
    gone = np.zeros(len(work.shapes), bool)
    gone[broken[~lasting]] = True
    if lasting.any():
        work.findings.append(
            Finding.of(
                "repaired",
                work.file.role,
                "note",
                work.names.iloc[broken[lasting]],
                f"Outlines that crossed or touched themselves and were repaired: {int(lasting.sum())}.",
                "Look at the first few if their areas matter.",
            )
        )
    work.drop(gone, "outline without area", "redraw them")
