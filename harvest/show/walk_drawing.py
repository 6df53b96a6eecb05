"""The map on a walk list: the walk of one round, its stops in order, and the streets around it, north up.

Black and white, so that it can be read off any printer. Every stop is a dot on its own side of the street. Numbers
stand where they have room: those at either end of a row of doors first, then every fifth, then the rest of a row
where all of it has room.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
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
LETTER, LINE = 5.6, 9.0
"""Width of a digit or letter and height of a line of the map's type, about [points]."""

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


@dataclass
class _Room:
    """What is taken on a sheet of some ``width`` [points], as circles [n, 3: x, y, radius]."""

    width: float
    taken: Floats = field(default_factory=lambda: np.zeros((0, 3)))

    def take(self, circles: Floats) -> None:
        self.taken = np.vstack([self.taken, circles])

    def free(self, circles: Floats) -> bool:
        """Whether ``circles`` lie on the sheet and touch nothing that is taken."""
        x, y, r = circles.T
        if (
            (x - r).min() < 2
            or (x + r).max() > self.width - 2
            or (y - r).min() < 2
            or (y + r).max() > HEIGHT - STRIP
        ):
            return False
        apart = np.hypot(self.taken[:, 0, None] - x, self.taken[:, 1, None] - y)
        return bool((apart >= self.taken[:, 2, None] + r).all())


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

    def within(self, west: float, south: float, east: float, north: float) -> Iterable[tuple[str, Any]]:
        """Names and lines of what meets the rectangle, in the order of the streets."""
        found = np.sort(self._tree.query(shapely.box(west, south, east, north)))
        return ((self.names[at], self.lines[at]) for at in found.tolist())


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

    def drawn(shape: Any) -> Any:
        return shapely.clip_by_rect(
            shapely.transform(shape, on_sheet).simplify(DETAIL), -4.0, -4.0, width + 4.0, HEIGHT + 4.0
        )

    reach = np.array([width / 2, HEIGHT]) / scale
    near = [(name, drawn(one)) for name, one in streets.within(*(middle - reach), *(middle + reach))]
    walked = drawn(line)
    foot, home = on_sheet(fronts), on_sheet(homes)
    away = _unit(home - foot)
    dots = foot + OFF_STREET * away

    room = _Room(width)
    room.take(np.column_stack([dots, np.full(len(dots), DOT)]))
    if not walked.is_empty:
        steps = np.arange(0, walked.length, 5.0)
        room.take(
            np.column_stack([shapely.get_coordinates(shapely.line_interpolate_point(_joined(walked), steps)),
                             np.full(len(steps), 1.0)])
        )  # fmt: skip
    start = on_sheet(shapely.get_coordinates(line)[:1])
    room.take(np.column_stack([start, np.full(len(start), RING)]))
    numbers = _numbers(dots, away, row_of, room)
    metres, text = round_length(BAR_SHARE * width / scale, units)
    return RoundMap(
        width,
        HEIGHT,
        [path for _, one in near for path in _paths(one)],
        _paths(walked),
        np.round(dots, 1).tolist(),
        numbers,
        _names(near, room),
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
        before = room.taken
        rest = np.flatnonzero(~ends & ~fifth & (row_of == row)).tolist()
        made = [_number(at, dots, away, room) for at in rest]
        if None in made:
            room.taken = before
        found |= {
            at: mark for at, mark in zip(rest, made, strict=True) if mark is not None and None not in made
        }
    return [found[at] for at in sorted(found)]


def _number(at: int, dots: Floats, away: Floats, room: _Room) -> Mark | None:
    """The number of stop ``at`` beside its dot, away from the street, where there is room for it."""
    text = str(at + 1)
    out = away[at] if away[at].any() else np.array([0.0, -1.0])
    beside = np.array([-out[1], out[0]])
    half = LETTER * len(text) / 2
    gap = DOT + LINE / 2 + 0.5 + abs(out[0]) * max(0.0, half - LINE / 2)
    for shift in (0.0, 5.0, -5.0, 10.0, -10.0):
        place = dots[at] + out * (gap if abs(shift) < 6 else gap - 2) + beside * shift
        circles = _circles(place, half, 0.0)
        if room.free(circles):
            room.take(circles)
            return Mark(round(float(place[0]), 1), round(float(place[1]), 1), text)
    return None


def _names(near: Sequence[tuple[str, Any]], room: _Room) -> list[Mark]:
    """Each street's name once, along its longest stretch on the sheet where there is room beside or on it."""
    stretches: dict[str, list[Any]] = {}
    for name, line in near:
        if name and not line.is_empty:
            stretches.setdefault(name, []).extend(
                part for part in shapely.get_parts(line) if part.geom_type == "LineString"
            )
    made: list[Mark] = []
    for name, lines in sorted(stretches.items()):
        text = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1].rstrip() + "…"
        half = LETTER * 0.9 * len(text) / 2
        for line in sorted(lines, key=lambda one: (-one.length, one.bounds))[:3]:
            mark = _along(line, text, half, room)
            if mark is not None:
                made.append(mark)
                break
    return made


def _along(line: Any, text: str, half: float, room: _Room) -> Mark | None:
    for share in (0.5, 0.3, 0.7, 0.15, 0.85):
        at = line.length * share
        here, ahead = (
            np.array(line.interpolate(one).coords[0])
            for one in (max(0.0, at - half / 2), min(line.length, at + half / 2))
        )
        step = _unit((ahead - here)[None])[0]
        if not step.any():
            continue
        if step[0] < 0 or (abs(step[0]) < 1e-9 and step[1] > 0):
            step = -step
        middle = np.array(line.interpolate(at).coords[0])
        across = np.array([-step[1], step[0]])
        angle = float(np.degrees(np.arctan2(step[1], step[0])))
        for shift in (-1.1 * LINE, 1.1 * LINE, -2.7 * LINE, 2.7 * LINE):
            place = middle + across * shift
            circles = _circles(place, half, angle)
            if room.free(circles):
                room.take(circles)
                return Mark(round(float(place[0]), 1), round(float(place[1]), 1), text, round(angle, 1))
    return None


def _circles(place: Floats, half: float, angle: float) -> Floats:
    """A text of half-width ``half`` around ``place`` as circles of its height [m, 3]."""
    reach = max(0.0, half - LINE / 2)
    steps = np.linspace(-reach, reach, max(1, int(np.ceil(2 * reach / (LINE * 0.7))) + 1))
    turn = np.radians(angle)
    return np.column_stack(
        [place[0] + steps * np.cos(turn), place[1] + steps * np.sin(turn), np.full(len(steps), LINE / 2)]
    )


def _unit(vectors: Floats) -> Floats:
    """``vectors`` [n, 2] of length 1; those shorter than anything to be seen are 0."""
    length = np.hypot(vectors[:, 0], vectors[:, 1])[:, None]
    return np.asarray(np.where(length > 1e-6, vectors / np.maximum(length, 1e-6), 0.0))


def _joined(lines: Any) -> Any:
    """One line through all pieces of ``lines``, for stepping along it."""
    parts = [shapely.get_coordinates(part) for part in shapely.get_parts(lines)]
    return shapely.LineString(np.vstack(parts)) if len(parts) > 1 else shapely.get_parts(lines)[0]


def _paths(shape: Any) -> list[Path]:
    return [
        np.round(shapely.get_coordinates(part), 1).tolist()
        for part in shapely.get_parts(shape)
        if part.geom_type == "LineString" and not part.is_empty
    ]
