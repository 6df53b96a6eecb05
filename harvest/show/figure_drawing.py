"""The still figure laid out on a sheet: the map at one side, its key at the other, title above, sources below."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle

from harvest.show.figure_map import (
    BEST_COLOUR,
    EDGE,
    GROUND_COLOURS,
    INK,
    MISSING_EDGE,
    MISSING_HATCH,
    QUIET,
    WHITE,
    draw_ground,
    draw_numbers,
    draw_parcels,
    draw_streets,
    draw_surroundings,
    line_styles,
)
from harvest.show.scale import round_length
from harvest.show.scene import BEST, Scene
from harvest.show.sheet import LINE_HEIGHT, PT_PER_INCH, Place, Sheet, fitted, wrapped
from harvest.show.words.figure import said

GAP = 0.25
"""Between the map and its key [inches]."""

MOST_FOOT = 3
"""Lines for cautions, and for sources."""

LEGEND_ROW, LIST_ROW = 1.55, 1.36
"""From one line of the legend, or of a list, to the next, as a share of the size of type."""


@dataclass(frozen=True)
class Layout:
    """Sizes of one kind of sheet: inches, and points for type. ``framed``: with title, sources and cautions.

    With more than ``vector_most`` shapes an SVG holds them as a picture."""

    width: float
    height: float
    dpi: float
    margin: float
    panel: float
    title: float
    heading: float
    body: float
    small: float
    framed: bool = True
    vector_most: int = 10_000


def drawn(scene: Scene, layout: Layout) -> Sheet:
    """``scene`` on a new sheet."""
    sheet = Sheet(layout.width, layout.height, layout.dpi)
    top, bottom = layout.height - layout.margin, layout.margin
    right = layout.width - layout.margin
    beside = right - layout.panel
    foot = bottom
    if layout.framed:
        top = _head(sheet, scene, layout, top)
        edge = beside - GAP if scene.names else right
        foot = _foot(sheet, scene, layout, (layout.margin, bottom), edge - layout.margin)
    _map(sheet, scene, layout, (layout.margin, foot, beside - GAP, top))
    _panel(sheet, scene, layout, (beside, bottom if scene.names else foot, right, top))
    return sheet


def _head(sheet: Sheet, scene: Scene, layout: Layout, top: float) -> float:
    """Title and what is shown; the lower edge."""
    wide = layout.width - 2 * layout.margin
    sizes = [layout.title * share for share in (1, 0.9, 0.8, 0.7, 0.6)]
    title, size = fitted(scene.title, sizes, wide, bold=True)
    y = top - 0.76 * layout.title / PT_PER_INCH
    sheet.text((layout.margin, y), title, size, bold=True, color=INK)
    y -= 1.75 * layout.body / PT_PER_INCH
    y = sheet.lines((layout.margin, y), scene.under, layout.body, wide, most=2, color=QUIET)
    return y + (LINE_HEIGHT - 0.9) * layout.body / PT_PER_INCH


def _foot(sheet: Sheet, scene: Scene, layout: Layout, at: Place, wide: float) -> float:
    """Cautions and sources, as many lines as they need; the upper edge."""
    left, y = at
    for text, size, style in (
        (scene.source, layout.small, {"color": QUIET}),
        (scene.caution, layout.body, {"color": INK, "bold": True}),
    ):
        step = size * LINE_HEIGHT / PT_PER_INCH
        lines = len(wrapped(text, size, wide, most=MOST_FOOT, bold="bold" in style))
        sheet.lines((left, y + step * (lines - 1)), text, size, wide, most=MOST_FOOT, **style)
        y += step * lines + 0.35 * layout.body / PT_PER_INCH
    return y + 0.2 * layout.body / PT_PER_INCH


def _map(sheet: Sheet, scene: Scene, layout: Layout, box: tuple[float, float, float, float]) -> None:
    """The map in ``box``, with a strip under it for scale bar and north arrow."""
    left, bottom, right, top = box
    strip = 3.4 * layout.body / PT_PER_INCH
    axes = sheet.window((left, bottom + strip, right, top))
    wide, high = right - left, top - bottom - strip
    west, south, east, north = scene.view
    metres = 1.04 * max((east - west) / wide, (north - south) / high, 1e-3)
    middle = np.array([west + east, south + north]) / 2
    half = metres * np.array([wide, high]) / 2
    (least_x, least_y), (most_x, most_y) = middle - half, middle + half
    axes.set(xlim=(least_x, most_x), ylim=(least_y, most_y))
    dot = metres / layout.dpi
    picture = len(scene.shapes) > layout.vector_most

    for name, shapes in scene.surroundings.items():
        seen = shapely.clip_by_rect(shapes, least_x, least_y, most_x, most_y)
        draw_surroundings(axes, name, seen, dot)
    if scene.streets:
        draw_ground(axes, scene.ground, dot, len(scene.ground) > layout.vector_most)
        draw_streets(axes, scene, metres, picture)
        draw_numbers(axes, scene, layout.body)
    else:
        draw_parcels(axes, scene, dot, picture)
    frame = Rectangle((left, bottom + strip), wide, high, facecolor="none", edgecolor=EDGE, linewidth=0.6)
    sheet.page.add_patch(frame)
    _scale(sheet, scene, layout, (left + 0.02, bottom + 0.12), wide, metres)


def _panel(sheet: Sheet, scene: Scene, layout: Layout, box: tuple[float, float, float, float]) -> None:
    """Legend, and the best streets by name or the town's totals; in smaller type where there is much to say."""
    left, bottom, right, top = box
    wide = right - left
    rows = list(_legend(scene))
    grounds = [] if scene.names else list(reversed(scene.surroundings))
    heading = len(wrapped(scene.heading, layout.heading, wide, most=3, bold=True))
    below = len(scene.names) if scene.names else len(scene.levels) * layout.framed
    needed = LINE_HEIGHT * layout.heading * (heading + 1.4 * bool(below))
    needed += layout.body * (LEGEND_ROW * (len(rows) + len(grounds)) + LIST_ROW * below)
    smaller = min(1.0, (top - bottom) * PT_PER_INCH / needed)
    layout = replace(layout, heading=smaller * layout.heading, body=smaller * layout.body)

    y = top - 0.8 * layout.heading / PT_PER_INCH
    y = sheet.lines((left, y), scene.heading, layout.heading, wide, most=3, bold=True, color=INK)
    y -= 0.2 * layout.heading / PT_PER_INCH
    text_at = left + 3.1 * layout.body / PT_PER_INCH
    for number, text in rows:
        _swatch(sheet, scene, layout, (left, y), number)
        sheet.text((text_at, y), text, layout.body, color=INK)
        y -= LEGEND_ROW * layout.body / PT_PER_INCH
    for name in grounds:
        _square(sheet, layout, (left, y), facecolor=GROUND_COLOURS[name], edgecolor=EDGE)
        sheet.text((text_at, y), said(f"legend_{name}"), layout.body, color=INK)
        y -= LEGEND_ROW * layout.body / PT_PER_INCH
    y -= 0.3 * layout.heading / PT_PER_INCH
    if scene.names:
        _best(sheet, scene, layout, (left, y), wide)
    elif below:
        _levels(sheet, scene, layout, (left, y), wide)


def _legend(scene: Scene) -> Iterator[tuple[int, str]]:
    """Classes with their texts, the highest first; then nothing to catch, and no figure, where there are such."""
    for number in range(len(scene.legend), 0, -1):
        yield number, scene.legend[number - 1]
    if (scene.classes == 0).any():
        yield 0, scene.nil
    if (scene.classes == -1).any():
        yield -1, scene.missing


def _swatch(sheet: Sheet, scene: Scene, layout: Layout, at: Place, number: int) -> None:
    if scene.streets:
        width = 0.42 * layout.body
        for style in line_styles(scene, number, width):
            _stroke(sheet, layout, at, style)
    elif number == -1:
        _square(sheet, layout, at, facecolor=WHITE, edgecolor=MISSING_EDGE, hatch=MISSING_HATCH)
    else:
        colour = WHITE if number == 0 else scene.colours[number - 1]
        _square(sheet, layout, at, facecolor=colour, edgecolor=EDGE if number == 0 else "none")


def _square(sheet: Sheet, layout: Layout, at: Place, **style: Any) -> None:
    size = layout.body / PT_PER_INCH
    sheet.page.add_patch(
        Rectangle((at[0], at[1] - 0.22 * size), 2.4 * size, 1.2 * size, linewidth=0.6, **style)
    )


def _stroke(sheet: Sheet, layout: Layout, at: Place, style: dict[str, Any]) -> None:
    size = layout.body / PT_PER_INCH
    line = Line2D(
        [at[0], at[0] + 2.4 * size],
        [at[1] + 0.36 * size] * 2,
        color=style["colors"],
        linewidth=style["linewidths"],
        linestyle=style.get("linestyles", "solid"),
        solid_capstyle="butt",
        dash_capstyle="butt",
    )
    sheet.page.add_line(line)


def _best(sheet: Sheet, scene: Scene, layout: Layout, at: Place, wide: float) -> None:
    left, y = at
    name = "legend_best" if len(scene.names) == BEST else "legend_best_few"
    sheet.text((left, y), said(name), layout.heading, bold=True, color=INK)
    y -= LIST_ROW * layout.body / PT_PER_INCH
    indent = 2.0 * layout.body / PT_PER_INCH
    for number, street in enumerate(scene.names, 1):
        text, size = fitted(street, (layout.body, 0.9 * layout.body, 0.8 * layout.body), wide - indent)
        sheet.text(
            (left + 0.75 * indent, y), str(number), layout.body, bold=True, across="right", color=BEST_COLOUR
        )
        sheet.text((left + indent, y), text, size, color=INK)
        y -= LIST_ROW * layout.body / PT_PER_INCH


def _levels(sheet: Sheet, scene: Scene, layout: Layout, at: Place, wide: float) -> None:
    """The town's totals, level under level, so that nobody takes the coloured one for what is used."""
    left, y = at
    sheet.text((left, y), scene.levels_heading, layout.heading, bold=True, color=INK)
    for label, figure in scene.levels:
        y -= LIST_ROW * layout.body / PT_PER_INCH
        sheet.text((left, y), label, layout.body, color=INK)
        text, size = fitted(
            figure, (layout.body, 0.9 * layout.body, 0.8 * layout.body), 0.66 * wide, bold=True
        )
        sheet.text((left + wide, y), text, size, bold=True, across="right", color=INK)


def _scale(sheet: Sheet, scene: Scene, layout: Layout, at: Place, wide: float, metres: float) -> None:
    """A bar of a round length with its text over it, and an arrow to the north."""
    left, bottom = at
    body = layout.body / PT_PER_INCH
    length, text = round_length(0.24 * wide * metres, scene.units)
    end, high = left + length / metres, 0.4 * body
    y = bottom + 0.02
    sheet.page.add_patch(
        Rectangle((left, y), (end - left) / 2, high, facecolor=INK, edgecolor=INK, linewidth=0.8)
    )
    sheet.page.add_patch(
        Rectangle(
            (left + (end - left) / 2, y),
            (end - left) / 2,
            high,
            facecolor=WHITE,
            edgecolor=INK,
            linewidth=0.8,
        )
    )
    sheet.text((left, y + high + 0.45 * body), "0", layout.body, color=INK)
    sheet.text((end, y + high + 0.45 * body), text, layout.body, across="center", color=INK)
    x, tall = left + wide - 2.4 * body, 1.9 * body
    points = [(x, y + tall), (x + 0.65 * body, y), (x, y + 0.4 * body), (x - 0.65 * body, y)]
    sheet.page.add_patch(Polygon(points, closed=True, facecolor=INK, edgecolor=INK, linewidth=0.5))
    sheet.text((x + 1.1 * body, y + 0.35 * body), said("north"), 1.2 * layout.body, bold=True, color=INK)
