"""Geometries as they come in files, turned into single 2-D lines; what can't be is dropped and told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from harvest.findings import Finding, counted
from harvest.read.files import InputFile

LINE, MULTILINE, COLLECTION = 1, 5, 7
KINDS = ("points", "lines", "lines", "polygons", "points", "lines", "polygons", "collections")


@dataclass(frozen=True)
class Lines:
    """Single 2-D lines [n], the ``row`` [n] of the file that each comes from, and what happened.

    ``dropped`` counts rows, and parts of lines, by reason; ``parted`` how many lines came of rows with several.
    """

    lines: NDArray[np.object_]
    row: NDArray[np.intp]
    parted: int
    dropped: dict[str, int]
    findings: list[Finding]


def cleaned(
    file: InputFile, geometry: NDArray[np.object_], unreadable: NDArray[np.bool_], names: pd.Series
) -> Lines:
    """``geometry`` [m] as single 2-D lines; ``names`` [m] are the ids that findings quote.

    Raises the file's refusal when it holds no line at all, saying what it holds.
    """
    dropped: dict[str, int] = {}
    findings: list[Finding] = []
    high = shapely.has_z(geometry) | shapely.has_m(geometry)
    shapes = shapely.force_2d(geometry)
    parts, row = shapely.get_parts(shapes, return_index=True)
    while (shapely.get_type_id(parts) >= MULTILINE).any():
        parts, of = shapely.get_parts(parts, return_index=True)
        row = row[of]
    parts = _rings_as_lines(parts)
    is_line = (shapely.get_type_id(parts) == LINE) & ~shapely.is_empty(parts)
    xy, part = shapely.get_coordinates(parts, return_index=True)
    finite = ~_any(part[~np.isfinite(xy).all(axis=1)], len(parts))
    usable = is_line & finite & (shapely.length(parts) > 0)
    has = {
        "line": _any(row[is_line], len(shapes)),
        "finite": _any(row[is_line & finite], len(shapes)),
        "usable": _any(row[usable], len(shapes)),
    }
    missing, empty = shapely.is_missing(shapes) & ~unreadable, shapely.is_empty(shapes)
    other = ~(missing | empty | unreadable | has["line"])
    if other.any() and not has["line"].any():
        held = dict.fromkeys(KINDS[kind] for kind in np.unique(shapely.get_type_id(shapes[other])))
        raise file.refused(f"holds {' and '.join(held)}; give a layer of lines.")
    for reason, gone, remedy in (
        ("geometry can't be read", unreadable, "redraw them, or export the layer again"),
        ("no geometry", missing, "draw them, or take them out of the file"),
        ("empty geometry", empty, "draw them, or take them out of the file"),
        ("not a line", other, "draw them as lines"),
        ("coordinates are no numbers", has["line"] & ~has["finite"], "redraw them"),
        ("no length", has["finite"] & ~has["usable"], "redraw them"),
    ):
        if gone.any():
            dropped[reason] = int(gone.sum())
            findings.append(
                Finding.of(
                    reason,
                    file.role,
                    "warning",
                    names[gone],
                    f"Features left out ({reason}): {int(gone.sum())} of {len(gone)}.",
                    f"If they stand for something real, {remedy}.",
                )
            )
    if high.any():
        findings.append(
            Finding.of(
                "heights ignored",
                file.role,
                "note",
                names[high],
                f"Heights or measures were ignored; lines are seen from above. Features: {int(high.sum())}.",
                "Nothing to do.",
            )
        )
    parted = int(usable.sum() - has["usable"].sum())
    if parted:
        several = np.bincount(row[usable], minlength=len(shapes)) > 1
        findings.append(
            Finding.of(
                "lines in several parts",
                file.role,
                "note",
                names[several],
                f"{counted(int(several.sum()), 'feature')} in several parts, taken as "
                f"{counted(int(several.sum()) + parted, 'line')}.",
                "Nothing to do.",
            )
        )
    return Lines(parts[usable], row[usable], parted, dropped, findings)


def _rings_as_lines(parts: NDArray[np.object_]) -> NDArray[np.object_]:
    """``parts`` [n] with closed rings drawn as rings taken as lines."""
    rings = shapely.get_type_id(parts) == 2
    parts = parts.copy()
    parts[rings] = [shapely.LineString(ring.coords) for ring in parts[rings]]
    return parts


def _any(rows: NDArray[np.intp], count: int) -> NDArray[np.bool_]:
    return np.asarray(np.bincount(rows, minlength=count) > 0)
