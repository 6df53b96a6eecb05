"""Roofs on the lots: houses, garages, sheds, rows with party walls, and the large buildings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from town_bend import Bend
from town_plan import Plan

Array = NDArray[np.float64]
Shapes = NDArray[np.object_]

# Large buildings as boxes in metres (across, inwards, width, depth) from the middle of the lot.
SCHOOL = ((-42, -14, 84, 14), (-42, -14, 15, 40), (-7, -14, 15, 34), (27, -14, 15, 40))
GYM = ((-18, 74, 30, 20),)
WORKS = ((-52, -22, 46, 44), (4, -22, 40, 24), (10, 8, 26, 14))
HALL = ((-14, -9, 28, 16), (-5, 5, 10, 8))
FLATS = ((-14, -7, 28, 13), (-14, 4, 9, 6), (5, 4, 9, 6))
PAVILION = ((-5, -3, 10, 6),)


@dataclass(frozen=True)
class Frames:
    """Each lot's own axes on the ground: ``origin`` in the middle of its front, ``across`` along the front,
    ``inwards`` at right angles to it [n, 2]; ``width`` the narrower of front and back and ``depth`` [n; m]."""

    origin: Array
    across: Array
    inwards: Array
    width: Array
    depth: Array
    corners: Array

    def place(self, lots: NDArray[np.int64], points: Array) -> Array:
        """Points [k, 2; m] in the axes of lot ``lots[k]``, on the ground."""
        return self.origin[lots] + self.across[lots] * points[:, :1] + self.inwards[lots] * points[:, 1:]


def frames_of(lots: pd.DataFrame, bend: Bend) -> Frames:
    """The axes of each lot, from its four corners."""
    ends = lots[["a0", "a1", "a1", "a0"]].to_numpy()
    sides = lots[["front", "front", "back", "back"]].to_numpy()
    upright = (lots["axis"] == 1).to_numpy()[:, None]
    plan = np.stack([np.where(upright, sides, ends), np.where(upright, ends, sides)], axis=2)
    corners = bend(plan.reshape(-1, 2)).reshape(-1, 4, 2)
    front = corners[:, 1] - corners[:, 0]
    origin = (corners[:, 0] + corners[:, 1]) / 2
    across = front / np.linalg.norm(front, axis=1, keepdims=True)
    inwards = np.column_stack([-across[:, 1], across[:, 0]])
    back = (corners[:, 2] + corners[:, 3]) / 2 - origin
    inwards *= np.sign((inwards * back).sum(axis=1, keepdims=True))
    width = np.minimum(np.linalg.norm(front, axis=1), np.linalg.norm(corners[:, 2] - corners[:, 3], axis=1))
    return Frames(origin, across, inwards, width, np.abs((inwards * back).sum(axis=1)), corners)


def roofs_on(plan: Plan, lots: pd.DataFrame, seed: int, plain: bool) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Roofs (``kind``, ``geometry`` on the ground) and their owners (``roof``, ``lot``, ``share``)."""
    rng = np.random.default_rng([seed, 6])
    frames = frames_of(lots, plan.bend)
    outlines = lots["geometry"].to_numpy()
    detached = np.flatnonzero(lots["use"].isin(["single", "two"]))
    houses, middle, backs = _houses(rng, detached, lots, frames, outlines, plain)
    stood = houses != None  # noqa: E711  (an array of shapes and None)
    found = [_one_each("house", houses[stood], detached[stood])]
    if not plain:
        found += _outbuildings(
            rng, detached[stood], houses[stood], middle[stood], backs[stood], frames, outlines
        )
        found += _rows_of_houses(rng, lots, frames)
        found.append(_garden_sheds(rng, lots, frames, outlines))
        found += _large(lots, frames)
    roofs = pd.concat([pair[0] for pair in found], ignore_index=True)
    offsets = np.cumsum([0] + [len(pair[0]) for pair in found[:-1]])
    owners = pd.concat(
        [pair[1].assign(roof=pair[1]["roof"] + start) for pair, start in zip(found, offsets, strict=True)],
        ignore_index=True,
    )
    return roofs, owners


def _one_each(kind: str, shapes: Shapes, lots: NDArray[np.int64]) -> tuple[pd.DataFrame, pd.DataFrame]:
    roofs = pd.DataFrame({"kind": kind, "geometry": list(shapes)})
    return roofs, pd.DataFrame({"roof": np.arange(len(shapes)), "lot": lots, "share": 1.0})


def _outline(kind: NDArray[np.int64], w: Array, d: Array, v: Array) -> tuple[NDArray[np.int64], Array]:
    """Corners of plain (0), L- (1) and T-shaped (2) houses, the front on y = 0, and whose corner each is."""
    wing, out = w * (0.38 + 0.14 * v), 2.4 + 2.2 * v
    zero = np.zeros_like(w)
    start, end = w * (0.22 + 0.2 * v), w * (0.62 + 0.15 * v)
    shapes = (
        [(zero, zero), (w, zero), (w, d), (zero, d)],
        [(zero, zero), (w, zero), (w, d + out), (w - wing, d + out), (w - wing, d), (zero, d)],
        [
            (zero, zero),
            (start, zero),
            (start, -out / 2),
            (end, -out / 2),
            (end, zero),
            (w, zero),
            (w, d),
            (zero, d),
        ],
    )
    owner, points = [], []
    for number, corners in enumerate(shapes):
        who = np.flatnonzero(kind == number)
        owner.append(np.repeat(who, len(corners)))
        points.append(
            np.stack([np.column_stack([x[who], y[who]]) for x, y in corners], axis=1).reshape(-1, 2)
        )
    owners, every = np.concatenate(owner), np.concatenate(points)
    order = np.argsort(owners, kind="stable")
    return owners[order], every[order]


def _houses(
    rng: np.random.Generator,
    which: NDArray[np.int64],
    lots: pd.DataFrame,
    frames: Frames,
    outlines: Shapes,
    plain: bool,
) -> tuple[Shapes, Array, Array]:
    """A house on each of the lots ``which``, None where none fits; its middle across, and its back wall."""
    n = len(which)
    room = frames.width[which]
    two = (lots["use"].to_numpy()[which] == "two").astype(float)
    w = np.minimum(rng.uniform(10.2, 14.2, n), room - 3.6)
    d = np.where(w < 10.5, rng.uniform(10.5, 13.0, n), rng.uniform(8.0, 10.6, n)) + 1.2 * two
    kind = rng.choice(3, n, p=[0.4, 0.36, 0.24])
    mirrored, v = rng.random(n) < 0.5, rng.random(n)
    setback = 5.0 + 2.5 * (lots["row"].to_numpy()[which] * 0.37 % 1.0) + rng.uniform(-0.5, 1.3, n)
    slack = np.maximum(room - w - 3.0, 0) / 2
    shift = rng.uniform(-1, 1, n) * slack
    turn = np.radians(rng.normal(0, 0.7, n) + np.where(rng.random(n) < 0.04, rng.uniform(-9, 9, n), 0))
    houses = np.full(n, None, dtype=object)
    for shrink in (1.0, 0.85, 0.7, 0.55) if plain else (1.0, 0.85, 0.7):
        left = np.flatnonzero(houses == None)  # noqa: E711
        who, points = _outline(kind[left], w[left] * shrink, d[left] * shrink, v[left])
        who = left[who]
        x = (points[:, 0] - w[who] * shrink / 2) * np.where(mirrored[who], -1, 1)
        y = points[:, 1] - d[who] * shrink / 2
        cos, sin = np.cos(turn[who]), np.sin(turn[who])
        placed = np.column_stack([x * cos - y * sin + shift[who], x * sin + y * cos])
        placed[:, 1] += setback[who] + d[who] * shrink / 2
        rings = np.unique(who, return_inverse=True)[1]
        shapes = shapely.polygons(shapely.linearrings(frames.place(which[who], placed), indices=rings))
        fits = shapely.contains_properly(shapely.buffer(outlines[which[left]], -0.9, quad_segs=2), shapes)
        houses[left[fits]] = shapes[fits]
    wing = np.where(kind == 1, 2.4 + 2.2 * v, 0.0)
    return houses, shift, setback + d + wing


def _boxes(frames: Frames, lots: NDArray[np.int64], x: Array, y: Array, w: Array, d: Array) -> Shapes:
    """Rectangles ``w`` by ``d`` from the corner ``x``, ``y`` in the axes of their lots."""
    points = np.stack(
        [np.column_stack(p) for p in ((x, y), (x + w, y), (x + w, y + d), (x, y + d))], axis=1
    ).reshape(-1, 2)
    placed = frames.place(np.repeat(lots, 4), points).reshape(-1, 4, 2)
    return np.asarray(shapely.polygons(placed))


def _outbuildings(
    rng: np.random.Generator,
    which: NDArray[np.int64],
    houses: Shapes,
    middle: Array,
    backs: Array,
    frames: Frames,
    outlines: Shapes,
) -> list[tuple[pd.DataFrame, pd.DataFrame]]:
    """Garages beside the lot line, sheds in the other back corner, and a few garages shared across a line."""
    n = len(which)
    half, depth = frames.width[which] / 2, frames.depth[which]
    side = np.where(middle > 0, -1.0, 1.0)
    double = rng.random(n) < 0.55
    gw, gd = np.where(double, rng.uniform(5.6, 6.8, n), rng.uniform(3.4, 4.1, n)), rng.uniform(6.2, 7.4, n)
    gy = backs + rng.uniform(1.5, 5.5, n)
    gx = np.where(side > 0, half - 0.8 - rng.uniform(0, 0.6, n) - gw, -half + 0.8 + rng.uniform(0, 0.6, n))
    garages = _boxes(frames, which, gx, gy, gw, gd)
    sw, sd = rng.uniform(2.2, 4.2, n), rng.uniform(2.0, 3.8, n)
    sx = np.where(side > 0, -half + 0.7 + rng.uniform(0, 2.5, n), half - 0.7 - rng.uniform(0, 2.5, n) - sw)
    sheds = _boxes(frames, which, sx, depth - 0.9 - rng.uniform(0, 2.5, n) - sd, sw, sd)
    inner = shapely.buffer(outlines[which], -0.25, quad_segs=2)
    draw = rng.random((2, n))
    garage = (draw[0] < 0.46) & shapely.contains_properly(inner, garages)
    shed = (draw[1] < 0.62) & (depth - 8 > backs) & shapely.contains_properly(inner, sheds)
    next_door = np.flatnonzero((np.diff(which) == 1) & ~garage[:-1] & ~garage[1:] & ~shed[:-1] & ~shed[1:])
    next_door = next_door[:: max(1, len(next_door) // max(1, n // 60))]
    shared = _shared_garages(frames, which, houses, next_door, outlines)
    return [
        _one_each("garage", garages[garage], which[garage]),
        _one_each("shed", sheds[shed], which[shed]),
        shared,
    ]


def _garden_sheds(
    rng: np.random.Generator, lots: pd.DataFrame, frames: Frames, outlines: Shapes
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Small sheds at the end of some row-house gardens."""
    here = np.flatnonzero((lots["use"] == "row") & ~lots["cut"].astype(bool))
    n = len(here)
    w, d = rng.uniform(1.9, 2.8, n), rng.uniform(1.9, 3.2, n)
    x = rng.uniform(-1, 1, n) * (frames.width[here] - w - 1.2) / 2 - w / 2
    sheds = _boxes(frames, here, x, frames.depth[here] - d - rng.uniform(0.6, 1.6, n), w, d)
    inner = shapely.buffer(outlines[here], -0.25, quad_segs=2)
    stands = (rng.random(n) < 0.45) & shapely.contains_properly(inner, sheds)
    return _one_each("shed", sheds[stands], here[stands])


def _shared_garages(
    frames: Frames, which: NDArray[np.int64], houses: Shapes, left: NDArray[np.int64], outlines: Shapes
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Double garages in the middle of the line between lot ``which[left]`` and the next one."""
    a, b = which[left], which[left + 1]
    same_line = np.linalg.norm(frames.corners[a, 1] - frames.corners[b, 0], axis=1) < 0.01
    a, b, near = a[same_line], b[same_line], shapely.union(houses[left], houses[left + 1])[same_line]
    start, end = frames.corners[a, 1], frames.corners[a, 2]
    inwards = (end - start) / np.linalg.norm(end - start, axis=1, keepdims=True)
    across = np.column_stack([inwards[:, 1], -inwards[:, 0]])
    middle = end - inwards * 7.5
    corners = [
        middle + across * x + inwards * y for x, y in ((-5.2, -3.2), (5.2, -3.2), (5.2, 3.2), (-5.2, 3.2))
    ]
    shapes = shapely.polygons(np.stack(corners, axis=1))
    within = shapely.area(shapely.intersection(shapes, shapely.union(outlines[a], outlines[b])))
    good = (within > 0.999 * shapely.area(shapes)) & (shapely.distance(shapes, near) > 0.8)
    return _divided(
        "garage", shapes[good], [np.array(pair) for pair in zip(a[good], b[good], strict=True)], outlines
    )


def _divided(
    kind: str, shapes: Shapes, lots: list[NDArray[np.int64]], outlines: Shapes
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Roofs over several lots, each owning the part above it."""
    roof = np.repeat(np.arange(len(shapes)), [len(group) for group in lots])
    lot = np.concatenate(lots) if lots else np.array([], dtype=np.int64)
    part = shapely.area(shapely.intersection(shapes[roof], outlines[lot]))
    share = part / np.bincount(roof, part, len(shapes))[roof]
    roofs = pd.DataFrame({"kind": kind, "geometry": list(shapes)})
    return roofs, pd.DataFrame({"roof": roof, "lot": lot, "share": share})


def _walls(frames: Frames, lots: NDArray[np.int64], low: Array, high: Array) -> Array:
    """Corners [n, 4, 2] of quads from side line to side line, ``low`` to ``high`` metres from the front."""
    c = frames.corners[lots]
    left, right = c[:, 3] - c[:, 0], c[:, 2] - c[:, 1]
    left /= np.linalg.norm(left, axis=1, keepdims=True)
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    low, high = low[:, None], high[:, None]
    return np.stack(
        [c[:, 0] + left * low, c[:, 1] + right * low, c[:, 1] + right * high, c[:, 0] + left * high], 1
    )


def _rows_of_houses(
    rng: np.random.Generator, lots: pd.DataFrame, frames: Frames
) -> list[tuple[pd.DataFrame, pd.DataFrame]]:
    """Row houses, townhouses and shops. A run with party walls is mapped as one roof or as one each."""
    found = []
    outlines = lots["geometry"].to_numpy()
    use = lots["use"].to_numpy()
    run = lots["place"].to_numpy() // np.where(use == "pad", 5, np.where(use == "shop", 3, 6))
    whole = ~lots["cut"].to_numpy(dtype=bool)
    for name, kind, one_roof in (
        ("row", "row house", 0.7),
        ("pad", "townhouse", 1.0),
        ("shop", "shop", 0.25),
    ):
        here = np.flatnonzero((use == name) & whole)
        if not len(here):
            continue
        groups = pd.Series(here).groupby([lots["row"].to_numpy()[here], run[here]])
        together: list[NDArray[np.int64]] = []
        shapes: list[object] = []
        singles: list[NDArray[np.int64]] = []
        for _, members in groups:
            group = members.to_numpy()
            quads = frames.corners[group] if name == "pad" else _run(rng, name, frames, group)
            joined = bool(np.all(np.diff(group) == 1)) and len(group) > 1
            if joined and rng.random() < one_roof:
                outline = [quads[0, 0], *quads[:, 1], *quads[::-1, 2:].reshape(-1, 2)]
                shapes.append(shapely.remove_repeated_points(shapely.Polygon(outline), 0.001))
                together.append(group)
            else:
                singles.append(group)
                found.append(_one_each(kind, np.asarray(shapely.polygons(quads)), group))
        found.append(_divided(kind, np.array(shapes, dtype=object), together, outlines))
    return found


def _run(rng: np.random.Generator, name: str, frames: Frames, group: NDArray[np.int64]) -> Array:
    """Corners [n, 4, 2] of one run of row houses or shops, with a passage beside the last."""
    if name == "shop":
        low, depth = rng.uniform(1.0, 2.0), rng.uniform(11.0, 15.0) + rng.uniform(0, 7, len(group))
    else:
        low, depth = rng.uniform(2.5, 4.0), np.full(len(group), rng.uniform(9.5, 11.5))
    quads = _walls(frames, group, np.full(len(group), low), low + depth)
    quads[-1, 1:3] += (quads[-1, [0, 3]] - quads[-1, 1:3]) * 0.18
    return quads


def _large(lots: pd.DataFrame, frames: Frames) -> list[tuple[pd.DataFrame, pd.DataFrame]]:
    """The school, the works, the hall, blocks of flats and park pavilions."""
    found = []
    sites = (
        ("school", "school", SCHOOL, 0.45),
        ("school", "school", GYM, 0.30),
        ("works", "industrial", WORKS, 0.5),
        ("hall", "public", HALL, 0.42),
        ("condo", "apartments", FLATS, 0.42),
        ("green", "pavilion", PAVILION, 0.5),
        ("park", "pavilion", PAVILION, 0.3),
    )
    for use, kind, boxes, inwards in sites:
        here = np.flatnonzero((lots["use"] == use).to_numpy())
        separate = use == "works"
        parts = [
            _boxes(
                frames,
                here,
                np.full(len(here), float(x)),
                frames.depth[here] * inwards + y,
                np.full(len(here), float(w)),
                np.full(len(here), float(d)),
            )
            for x, y, w, d in boxes
        ]
        shapes = parts if separate else [shapely.union_all(np.array(parts), axis=0)] if len(here) else []
        found += [_one_each(kind, np.asarray(shape), here) for shape in shapes]
    return found
