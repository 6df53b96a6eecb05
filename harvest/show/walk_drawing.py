"""The map on a walk list: the walk of one round, its stops in order, and the streets around it, north up.

Black and white, so that it can be read off any printer. Every stop is a dot on its own side of the street. Numbers
stand where they have room: those at either end of a row of doors first, then every fifth, then the rest of a row
where all of it has room.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from harvest.show.scale import round_length

Floats = NDArray[np.float64]
Path = list[list[float]]

WIDTHS = {"us": 540.0, "metric": 523.0}
"""Width of the map [points]: that of the text on letter paper and on A4."""

HEIGHT = 320.0

MARGIN = 26.0
STRIP = 22.0
"""Left free on each side, and at the foot for scale bar and north arrow [points]."""

LEAST_VIEW_M = 160.0
"""A map shows at least this much from side to side [m]."""

BAR_SHARE = 0.2
OFF_STREET = 6.5
"""How far a dot stands from the middle of its street [points]."""

DOT, RING = 2.4, 5.0
LETTER, NAME_LETTER, LINE = 5.6, 5.0, 9.0
"""Width of a digit and of a letter of a name, and height of a line of the map's type, about [points]."""

SQUARE = 12.0
"""Side of the squares in which the sheet is searched [points]; no two circles that touch are farther apart."""

SHARES_TRIED = (0.5, 0.3, 0.7, 0.15, 0.85)
STRETCHES_TRIED = 3
BESIDE = (-1.1 * LINE, 1.1 * LINE, -2.7 * LINE, 2.7 * LINE)
"""Where along a street its name is tried, on how many of its stretches, and how far beside it [points]."""

DETAIL = 0.3
EVERY = 5
LONGEST_NAME = 30


@dataclass(frozen=True)
class Mark:
    """A text on the map around a place, turned by ``angle`` [degrees, clockwise]."""

    x: float
    y: float
    text: str
    angle: float = 0.0


@dataclass(frozen=True)
class RoundMap:
    """Paths, dots and texts in points from the upper left corner; ``bar`` is the scale bar's length."""

    width: float
    height: float
    streets: list[Path]
    walk: list[Path]
    dots: list[list[float]]
    numbers: list[Mark]
    names: list[Mark]
    start: list[float] | None
    bar: float
    bar_text: str


Circle = tuple[float, float, float]
"""Where on the sheet, and how wide: x, y, radius."""


class _Room:
    """What is taken on a sheet of some ``width`` [points], as circles, found by the square of the sheet they lie in."""

    def __init__(self, width: float) -> None:
        self._width = width
        self._squares: dict[tuple[int, int], list[Circle]] = {}

    def take(self, circles: Iterable[Circle]) -> None:
        for x, y, r in circles:
            self._squares.setdefault((int(x // SQUARE), int(y // SQUARE)), []).append((x, y, r))

    def leave(self, circles: Iterable[Circle]) -> None:
        """The counterpart of :meth:`take`."""
        for x, y, r in circles:
            self._squares[int(x // SQUARE), int(y // SQUARE)].remove((x, y, r))

    def free(self, circles: Iterable[Circle]) -> bool:
        """Whether ``circles`` lie on the sheet and touch nothing that is taken."""
        for x, y, r in circles:
            if not (r + 2 < x < self._width - r - 2 and r + 2 < y < HEIGHT - STRIP - r):
                return False
            column, line = int(x // SQUARE), int(y // SQUARE)
            for square in product((column - 1, column, column + 1), (line - 1, line, line + 1)):
                for other_x, other_y, other_r in self._squares.get(square, ()):
                    if (x - other_x) ** 2 + (y - other_y) ** 2 < (r + other_r) ** 2:
                        return False
        return True


class StreetLines:
    """The streets around all rounds: each stretch once, with its name, in metres."""

    def __init__(self, names: Sequence[str], lines: Sequence[Any]) -> None:
        seen: dict[bytes, tuple[str, Any]] = {}
        for name, line in zip(names, lines, strict=True):
            if line is not None and not line.is_empty:
                seen.setdefault(shapely.to_wkb(shapely.normalize(line)), (name, line))
        self.names = [name for name, _ in seen.values()]
        self.lines = np.array([line for _, line in seen.values()], dtype=object)
        self._tree = shapely.STRtree(self.lines)

    def within(self, west: float, south: float, east: float, north: float) -> tuple[list[str], Any]:
        """Names and lines of what meets the rectangle, in the order of the streets."""
        found = np.sort(self._tree.query(shapely.box(west, south, east, north)))
        return [self.names[at] for at in found], self.lines[found]


def round_map(
    walk: Any, fronts: Floats, homes: Floats, row_of: NDArray[np.int64], streets: StreetLines, units: str
) -> RoundMap:
    """The map of one round, all in metres, x east.

    ``fronts`` [n, 2] are the places on the street at which the walk stops and ``homes`` [n, 2] the parcels there; equal
    where it is not known on which side they are. ``row_of`` [n] numbers the rows of doors along one side of a street.
    """
    width = WIDTHS[units]
    line = walk if walk is not None and not walk.is_empty else shapely.LineString()
    points = np.vstack([fronts, shapely.get_coordinates(line)])
    west, south = points.min(axis=0)
    east, north = points.max(axis=0)
    across, along = width - 2 * MARGIN, HEIGHT - STRIP - 2 * MARGIN
    scale = min(
        across / max(east - west, LEAST_VIEW_M), along / max(north - south, LEAST_VIEW_M * along / across)
    )
    middle = np.array([(west + east) / 2, (south + north) / 2])
    centre = np.array([width / 2, (HEIGHT - STRIP) / 2])

    def on_sheet(xy: Floats) -> Floats:
        return np.asarray(centre + (xy - middle) * (scale, -scale))

    def drawn(shapes: Any) -> Any:
        scaled = shapely.simplify(shapely.transform(shapes, on_sheet), DETAIL)
        return shapely.clip_by_rect(scaled, -4.0, -4.0, width + 4.0, HEIGHT + 4.0)

    reach = np.array([width / 2, HEIGHT]) / scale
    names, lines = streets.within(*(middle - reach), *(middle + reach))
    near = drawn(lines)
    (walked,) = drawn([line])
    foot, home = on_sheet(fronts), on_sheet(homes)
    away = _unit(home - foot)
    dots = foot + OFF_STREET * away

    room = _Room(width)
    room.take((x, y, DOT) for x, y in dots.tolist())
    for path in _paths(walked):
        along_it = shapely.LineString(path)
        steps = shapely.line_interpolate_point(along_it, np.arange(0, along_it.length + 4, 5.0))
        room.take((x, y, 1.0) for x, y in shapely.get_coordinates(steps).tolist())
    start = on_sheet(shapely.get_coordinates(line)[:1])
    room.take((x, y, RING) for x, y in start.tolist())
    numbers = _numbers(dots, away, row_of, room)
    metres, text = round_length(BAR_SHARE * width / scale, units)
    return RoundMap(
        width,
        HEIGHT,
        [path for one in near for path in _paths(one)],
        _paths(walked),
        np.round(dots, 1).tolist(),
        numbers,
        _names(names, near, room),
        np.round(start[0], 1).tolist() if len(start) else None,
        round(metres * scale, 2),
        text,
    )


def _numbers(dots: Floats, away: Floats, row_of: NDArray[np.int64], room: _Room) -> list[Mark]:
    """The stops' numbers that find room beside their dots, in the order of the walk."""
    count = len(dots)
    turn = np.diff(row_of, prepend=-1, append=-1) != 0
    ends = turn[:-1] | turn[1:]
    fifth = ~ends & ((np.arange(count) + 1) % EVERY == 0)
    found: dict[int, Mark] = {}
    for at in [*np.flatnonzero(ends).tolist(), *np.flatnonzero(fifth).tolist()]:
        mark = _number(at, dots, away, room)
        if mark is not None:
            found[at] = mark
    for row in np.unique(row_of):
        rest = np.flatnonzero(~ends & ~fifth & (row_of == row)).tolist()
        made: dict[int, Mark] = {}
        for at in rest:
            mark = _number(at, dots, away, room)
            if mark is None:
                for one in made.values():
                    room.leave(_circles(one))
                break
            made[at] = mark
        else:
            found |= made
    return [found[at] for at in sorted(found)]


def _number(at: int, dots: Floats, away: Floats, room: _Room) -> Mark | None:
    """The number of stop ``at`` beside its dot, away from the street, where there is room for it."""
    text = str(at + 1)
    (x, y), (out_x, out_y) = dots[at].tolist(), away[at].tolist()
    if not (out_x or out_y):
        out_y = -1.0
    half = LETTER * len(text) / 2
    gap = DOT + LINE / 2 + 0.5 + abs(out_x) * max(0.0, half - LINE / 2)
    for shift in (0.0, 5.0, -5.0, 10.0, -10.0):
        far = gap if abs(shift) < 6 else gap - 2
        mark = Mark(
            round(x + out_x * far - out_y * shift, 1), round(y + out_y * far + out_x * shift, 1), text
        )
        if room.free(_circles(mark)):
            room.take(_circles(mark))
            return mark
    return None


def _names(names: Sequence[str], near: Any, room: _Room) -> list[Mark]:
    """Each street's name once, along one of its longest stretches on the sheet, where there is room beside it."""
    stretches: dict[str, list[Any]] = {}
    parts, at = shapely.get_parts(near, return_index=True)
    for part, place in zip(parts, at.tolist(), strict=True):
        if names[place] and part.geom_type == "LineString" and not part.is_empty:
            stretches.setdefault(names[place], []).append(part)
    made: list[Mark] = []
    for name, lines in sorted(stretches.items()):
        text = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1].rstrip() + "…"
        longest = sorted(lines, key=lambda one: (-one.length, one.bounds))[:STRETCHES_TRIED]
        mark = next((one for line in longest if (one := _along(line, text, room)) is not None), None)
        if mark is not None:
            made.append(mark)
    return made


def _along(line: Any, text: str, room: _Room) -> Mark | None:
    """``text`` beside ``line``, turned as it runs there and never upside down; None where there is no room."""
    half, length = NAME_LETTER * len(text) / 2, line.length
    at = length * np.array(SHARES_TRIED)
    places = np.concatenate([at, np.maximum(at - half / 2, 0), np.minimum(at + half / 2, length)])
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, places)).reshape(3, -1, 2)
    for (x, y), (step_x, step_y) in zip(
        points[0].tolist(), _unit(points[2] - points[1]).tolist(), strict=True
    ):
        if step_x < 0 or (step_x == 0 and step_y > 0):
            step_x, step_y = -step_x, -step_y
        if not (step_x or step_y):
            continue
        angle = round(math.degrees(math.atan2(step_y, step_x)), 1)
        for shift in BESIDE:
            mark = Mark(round(x - step_y * shift, 1), round(y + step_x * shift, 1), text, angle)
            if room.free(_circles(mark)):
                room.take(_circles(mark))
                return mark
    return None


def _circles(mark: Mark) -> list[Circle]:
    """The text of ``mark`` as circles of its height, side by side."""
    letter = LETTER if mark.text.isdecimal() else NAME_LETTER
    reach = max(0.0, letter * len(mark.text) / 2 - LINE / 2)
    gaps = math.ceil(2 * reach / (LINE * 0.7))
    turn = math.radians(mark.angle)
    steps = [reach * (2 * one / gaps - 1) for one in range(gaps + 1)] if gaps else [0.0]
    return [(mark.x + step * math.cos(turn), mark.y + step * math.sin(turn), LINE / 2) for step in steps]


def _unit(vectors: Floats) -> Floats:
    """``vectors`` [n, 2] of length 1; those shorter than anything to be seen are 0."""
    length = np.hypot(vectors[:, 0], vectors[:, 1])[:, None]
    return np.asarray(np.where(length > 1e-6, vectors / np.maximum(length, 1e-6), 0.0))


def _paths(shape: Any) -> list[Path]:
    return [
        np.round(shapely.get_coordinates(part), 1).tolist()
        for part in shapely.get_parts(shape)
        if part.geom_type == "LineString" and not part.is_empty
    ]
