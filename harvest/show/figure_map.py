"""The map on the still figure: surroundings, parcels or street sides, and the numbers of the best streets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.path import Path
from numpy.typing import NDArray

from harvest.show.scene import Scene, Shapes
from harvest.show.sheet import PT_PER_INCH, face

INK, QUIET, EDGE, WHITE = "#1d2730", "#4e5b66", "#a9b1ae", "#ffffff"
BEST_COLOUR, BEST_BAND = "#d05a00", "#f6b26b"
"""Set apart from every class for colour-blind readers, the band light enough for grey; each of the best streets
carries its number too."""

GROUND_EDGE = "#d5d9d6"
GROUND_COLOURS = {"water": "#cfe3ea", "green": "#dcebd8", "other": "#ece9e2", "street": "#cdd2cf"}
GROUND_LINES = {"water": "#8fb9c9", "green": "#a9c6a0", "other": "#c9c4b8", "street": "#cdd2cf"}
"""A line in an area's pale colour could not be seen."""

MISSING_EDGE, MISSING_HATCH = "#6b7680", "/////"
CHUNK = 200
"""Shapes drawn in one go; Agg can't fill paths of any length."""

PLAIN = 9
"""Outlines of no more positions than this are drawn as they are."""

FINE = 0.25
"""Outlines are drawn to this part of a dot."""


def draw_surroundings(axes: Axes, name: str, shapes: Shapes, dot: float) -> None:
    """Areas and lines of surroundings under everything else."""
    areas = shapes[shapely.get_dimensions(shapes) == 2]
    lines = shapes[shapely.get_dimensions(shapes) == 1]
    colour, of_lines = GROUND_COLOURS[name], GROUND_LINES[name]
    axes.add_collection(_areas(areas, dot, facecolor=colour, edgecolor="none", zorder=0), autolim=False)
    axes.add_collection(
        LineCollection(_paths(lines, dot), colors=of_lines, linewidths=1.5, zorder=0), autolim=False
    )


def draw_ground(axes: Axes, parcels: Shapes, dot: float, picture: bool) -> None:
    """Parcels under street sides, for finding one's way only."""
    axes.add_collection(
        _areas(
            parcels,
            dot,
            facecolor="none",
            edgecolor=GROUND_EDGE,
            linewidth=_edge_width(parcels, dot),
            rasterized=picture,
        ),
        autolim=False,
    )


def draw_parcels(axes: Axes, scene: Scene, dot: float, picture: bool) -> None:
    """Parcels in the order of the scene, so that what lies under others is drawn first."""
    edge = _edge_width(scene.shapes, dot)
    for start, end, number in _runs(scene.classes):
        shapes = scene.shapes[start:end]
        style: dict[str, Any]
        if number == -1:
            style = {
                "facecolor": WHITE,
                "edgecolor": MISSING_EDGE,
                "hatch": MISSING_HATCH,
                "linewidth": max(edge, 0.2),
            }
        elif number == 0:
            style = {"facecolor": WHITE, "edgecolor": EDGE, "linewidth": max(edge, 0.2)}
        else:
            colour = scene.colours[number - 1]
            style = {
                "facecolor": colour,
                "edgecolor": WHITE if edge > 0 else colour,
                "linewidth": edge or 0.2,
            }
        axes.add_collection(_areas(shapes, dot, rasterized=picture, **style), autolim=False)


def draw_streets(axes: Axes, scene: Scene, metres: float, picture: bool) -> None:
    """Each side beside the middle of its street, wider the more it is worth, so that grey tells it as well."""
    widest = _line_width(scene, metres)
    per_point = metres / PT_PER_INCH
    if len(scene.best):
        best = LineCollection(
            _paths(scene.best, per_point / 4),
            colors=BEST_BAND,
            linewidths=3.4 * widest,
            capstyle="round",
            rasterized=picture,
            zorder=2,
        )
        axes.add_collection(best, autolim=False)
    away = 0.62 * widest * per_point
    beside = shapely.offset_curve(scene.shapes, np.where(scene.left, away, -away))
    empty = shapely.is_empty(beside) | shapely.is_missing(beside)
    beside = np.where(empty, scene.shapes, beside)
    steps = len(scene.colours)
    for number in (-1, 0, *range(1, steps + 1)):
        lines = _paths(beside[scene.classes == number], per_point / 4)
        if not lines:
            continue
        for style in line_styles(scene, number, widest):
            axes.add_collection(
                LineCollection(lines, rasterized=picture, zorder=3 + number / 10, **style), autolim=False
            )


def line_styles(scene: Scene, number: int, widest: float) -> Iterator[dict[str, Any]]:
    """How lines of class ``number`` are drawn, the lowest first."""
    thin = 0.4 * widest
    if number == -1:
        yield {"colors": QUIET, "linewidths": thin, "linestyles": (0, (2.0, 2.0)), "capstyle": "butt"}
    elif number == 0:
        yield {"colors": EDGE, "linewidths": thin, "capstyle": "butt"}
    else:
        width = widest * (0.6 + 0.4 * number / len(scene.colours))
        yield {"colors": INK, "linewidths": width + min(0.8, 0.4 * widest), "capstyle": "butt"}
        yield {"colors": scene.colours[number - 1], "linewidths": width, "capstyle": "butt"}


def _line_width(scene: Scene, metres: float) -> float:
    """The width of the widest side [points]: a part of the room between streets, within what can be read."""
    west, south, east, north = scene.view
    length = float(shapely.length(scene.shapes).sum()) / 2
    between = (east - west) * (north - south) / max(length, 1.0) / metres * PT_PER_INCH
    return float(np.clip(0.11 * between, 0.4, 3.2))


def draw_numbers(axes: Axes, scene: Scene, size: float) -> None:
    """Numbers of the best streets, each in a disc of one size."""
    for one in reversed(scene.numbers):
        axes.plot(
            [one.x],
            [one.y],
            marker="o",
            markersize=1.6 * size,
            markerfacecolor=WHITE,
            markeredgecolor=BEST_COLOUR,
            markeredgewidth=1.4,
            zorder=6,
            scalex=False,
            scaley=False,
        )
        style: dict[str, Any] = {"ha": "center", "va": "center_baseline", "parse_math": False, "zorder": 6}
        axes.text(one.x, one.y, str(one.number), font=face(True), fontsize=size, color=INK, **style)


def _edge_width(shapes: Shapes, dot: float) -> float:
    """The width of outlines [points]: none where shapes are so small that outlines would hide them."""
    side = float(np.sqrt(np.median(shapely.area(shapes)))) / dot
    return 0.0 if side < 6 else float(np.clip(side / 80, 0.15, 0.6))


def _runs(classes: NDArray[np.int64]) -> Iterator[tuple[int, int, int]]:
    """Start, end and class of each stretch of equal ``classes``."""
    starts = np.flatnonzero(np.diff(classes, prepend=classes[:1] - 1))
    for start, end in zip(starts, [*starts[1:], len(classes)], strict=True):
        yield int(start), int(end), int(classes[start])


def _areas(shapes: Shapes, dot: float, **style: Any) -> PathCollection:
    return PathCollection(_area_paths(shapes, dot), **style)


def _area_paths(shapes: Shapes, dot: float) -> list[Path]:
    """Polygons as compound paths of some hundred each, holes among them, no finer than a part of a ``dot`` [m]."""
    parts = shapely.get_parts(shapes)
    fine = shapely.get_num_coordinates(parts) > PLAIN
    parts[fine] = shapely.simplify(parts[fine], FINE * dot)
    parts = parts[(shapely.get_dimensions(parts) == 2) & ~shapely.is_empty(parts)]
    # A hole stays empty only if it runs the other way round.
    holed = shapely.get_num_interior_rings(parts) > 0
    parts[holed] = shapely.orient_polygons(parts[holed])
    return [_compound(parts[start : start + CHUNK]) for start in range(0, len(parts), CHUNK)]


def _compound(polygons: Shapes) -> Path:
    rings = shapely.get_rings(polygons)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    codes = np.full(len(points), Path.LINETO, dtype=np.uint8)
    first = np.diff(ring, prepend=-1) > 0
    last = np.append(first[1:], True)
    codes[first], codes[last] = Path.MOVETO, Path.CLOSEPOLY
    return Path(points, codes)


def _paths(lines: Shapes, fine: float) -> list[NDArray[np.float64]]:
    """Lines as arrays of points, no finer than ``fine`` [m]."""
    parts = shapely.get_parts(shapely.simplify(lines, fine))
    return [shapely.get_coordinates(one) for one in parts if not one.is_empty]
