"""The street plan of the invented town: bands, blocks, rows of lots and streets, all in a straight plane.

Here every street is straight and every lot a rectangle: ``s`` runs along the shore, ``t`` inland, both in
metres. :mod:`town_bend` then bends the plane round the bay.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from town_bend import Bend, bend_at_middle
from town_lots import cut_lots, lot_counts, without
from town_streets import (
    BULB_RADIUS_M,
    CAP_M,
    HALF_CLOSE_M,
    HALF_STREET_M,
    OLD_ROAD_HALF_M,
    Streets,
    centre_lines,
    old_roads,
    with_old_roads,
)

PARCELS_A_CENTRE = 1400

# Sites around each centre: use, how many blocks, where from the centre (s, t in metres), deep block or not.
SITES = (
    ("green", 1, (20.0, 120.0), False),
    ("hall", 1, (-120.0, 110.0), False),
    ("shop", 2, (60.0, 40.0), False),
    ("row", 4, (-60.0, 190.0), False),
    ("school", 1, (-480.0, 300.0), True),
    ("pond", 1, (640.0, 300.0), True),
    ("new", 1, (-760.0, 330.0), True),
    ("works", 2, (900.0, 30.0), False),
    ("park", 1, (-640.0, 30.0), False),
    ("pads", 1, (330.0, 130.0), False),
    ("condo", 2, (-330.0, 130.0), False),
)
WHOLE_BLOCKS = ("green", "school", "pond", "works", "park")


@dataclass(frozen=True)
class Plan:
    """The plan in the straight plane.

    ``cells`` has one row a block: its street centre lines ``s0, s1, t0, t1``, ``use`` and whether it is
    ``kept``. ``lots`` has one row a lot: its row's ``axis`` (0: frontage along s), ``front``, ``back`` and its
    ends ``a0``, ``a1``, the ``street`` number and whether it stands on the ``even`` side. ``outlines`` are the
    lots' polygons, ``lines`` the street centre lines with ``street`` and ``kind``.
    """

    bend: Bend
    cells: pd.DataFrame
    lots: pd.DataFrame
    outlines: NDArray[np.object_]
    lines: pd.DataFrame
    kinds: dict[int, str]


def lay_out(parcels: int, seed: int, plain: bool) -> Plan:
    """A plan with about ``parcels`` lots; exactly so many when ``plain`` (houses only, no sites)."""
    rng = np.random.default_rng([seed, 1])
    half_width = (36.5 if plain else 33.0) * np.sqrt(parcels)
    depth = 0.62 * half_width
    streets = Streets()
    cells = _cells(rng, 1.5 * half_width, 1.5 * depth)
    cells["remoteness"] = _remoteness(rng, cells, half_width, depth)
    cells["use"] = "single"
    roads = old_roads(depth)
    if not plain:
        _place_sites(rng, cells, roads, max(1, round(parcels / PARCELS_A_CENTRE)), half_width, depth)
    ponds = cells[cells["use"] == "pond"]
    places = [complex(*place) for place in middles(ponds)]
    bend = bend_at_middle(half_width, depth, tuple(places))
    rows = pd.DataFrame(
        [row for cell in cells.itertuples() for row in _rows(cell, streets)],
        columns=["cell", "use", "axis", "front", "back", "a0", "a1", "street", "even", "opposite", "count"],
    )
    rows["count"] = lot_counts(rng, rows, bend)
    cells["kept"] = _kept(cells, rows, parcels)
    lots, outlines = cut_lots(rng, cells, rows)
    lines = centre_lines(cells, streets)
    if plain:
        order = np.argsort(cells["remoteness"].to_numpy()[lots["cell"]], kind="stable")[:parcels]
        chosen = np.sort(order)
        lots, outlines = lots.iloc[chosen].reset_index(drop=True), outlines[chosen]
    else:
        lines, in_town = with_old_roads(cells, lines, streets, roads)
        surfaces = shapely.buffer(np.array(in_town), OLD_ROAD_HALF_M)
        lots, outlines = without(lots, outlines, surfaces, least_m2=260.0)
        closes = lines.loc[lines["kind"] == "close", "geometry"].to_numpy()
        bulbs = shapely.buffer(shapely.get_point(closes, -1), BULB_RADIUS_M)
        lots, outlines = without(lots, outlines, bulbs, least_m2=0.0)
    kinds = {number: str(key[0]) for key, number in streets.numbers.items()}
    return Plan(bend, cells, lots, outlines, lines, kinds)


def middles(cells: pd.DataFrame) -> NDArray[np.float64]:
    """The middle of each block [n, 2; m]."""
    return np.column_stack([(cells["s0"] + cells["s1"]) / 2, (cells["t0"] + cells["t1"]) / 2])


def _cells(rng: np.random.Generator, reach: float, height: float) -> pd.DataFrame:
    """Blocks between streets along the shore and streets inland; every few bands the latter are set anew."""
    found = []
    top, deep, avenues = 0.0, [False], np.array([])
    while top < height:
        band = len(deep) - 1
        if band % 3 == 0:
            steps = rng.uniform(250, 325, int(np.ceil(2 * reach / 280)) + 2)
            avenues = np.cumsum(steps) - steps.sum() / 2 + rng.uniform(-60, 60)
        bottom, depth = top, rng.uniform(164, 176) if deep[-1] else rng.uniform(62, 71)
        top += depth + 2 * HALF_STREET_M
        for gap in range(len(avenues) - 1):
            left, right = avenues[gap], avenues[gap + 1]
            whole = not deep[-1] and band > 2 and rng.random() < 0.3
            share = rng.uniform(0.485, 0.515) if deep[-1] else rng.uniform(0.38, 0.62)
            ends = [left, right] if whole else [left, left + share * (right - left), right]
            for part in range(len(ends) - 1):
                first, last = part == 0, part == len(ends) - 2
                found.append(
                    {
                        "band": band,
                        "s0": ends[part],
                        "s1": ends[part + 1],
                        "t0": bottom,
                        "t1": top,
                        "deep": deep[-1],
                        "flip": bool(rng.random() < 0.4),
                        "west": ("across", band // 3, gap) if first else ("local", band, gap),
                        "east": ("across", band // 3, gap + 1) if last else ("local", band, gap),
                    }
                )
        deep.append(len(deep) == 3 or (len(deep) > 4 and not any(deep[-2:]) and bool(rng.random() < 0.6)))
    return pd.DataFrame(found)


def _remoteness(
    rng: np.random.Generator, cells: pd.DataFrame, half_width: float, depth: float
) -> NDArray[np.float64]:
    """Distance from the harbour, 1 at the town's edge, with a ragged edge."""
    s, t = middles(cells).T / np.array([[half_width], [depth]])
    angle = np.arctan2(t, s)
    ragged = 0.07 * np.sin(3 * angle + 2.4) + 0.05 * np.sin(7 * angle + 2.0)
    return np.asarray(np.hypot(s, t) + ragged + rng.uniform(-0.07, 0.07, len(cells)), dtype=np.float64)


def _place_sites(
    rng: np.random.Generator,
    cells: pd.DataFrame,
    roads: dict[str, shapely.LineString],
    centres: int,
    half_width: float,
    depth: float,
) -> None:
    """Marks the blocks around each centre that are not plain houses."""
    s, t = middles(cells).T
    deep, remoteness = cells["deep"].to_numpy(), cells["remoteness"].to_numpy()
    boxes = shapely.box(cells["s0"], cells["t0"], cells["s1"], cells["t1"])
    surface = shapely.buffer(shapely.union_all(list(roads.values())), OLD_ROAD_HALF_M)
    free = (remoteness < 0.95) & ~shapely.intersects(boxes, surface)
    use = cells["use"].to_numpy(dtype=object).copy()
    angles, radii = rng.uniform(0.15, np.pi - 0.15, centres), np.sqrt(rng.uniform(0.1, 0.75, centres))
    places = np.column_stack([radii * np.cos(angles) * half_width, radii * np.sin(angles) * depth])
    places[0] = 0.0, 0.0
    for place in places:
        for site, blocks, (ds, dt), wants_deep in SITES:
            away = np.hypot(s - place[0] - ds, t - place[1] - dt)
            away[~free | (deep != wants_deep)] = np.inf
            chosen = np.argsort(away, kind="stable")[:blocks]
            chosen = chosen[np.isfinite(away[chosen])]
            use[chosen] = site
            free[chosen] = False
    cells["use"] = use


def _rows(cell: Any, streets: Streets) -> Iterator[tuple[object, ...]]:
    """The rows of lots of one block; ``opposite`` says how far the row behind it is (0: none)."""
    index, use, deep, flip, band = cell.Index, cell.use, cell.deep, cell.flip, cell.band
    s0, s1 = cell.s0 + HALF_STREET_M, cell.s1 - HALF_STREET_M
    t0, t1 = cell.t0 + HALF_STREET_M, cell.t1 - HALF_STREET_M
    middle = (s0 + s1) / 2
    south, north = streets.along(band, middle), streets.along(band + 1, middle)
    west, east = streets.number(*cell.west), streets.number(*cell.east)
    middle_t = (t0 + t1) / 2
    if use in WHOLE_BLOCKS:
        yield index, use, 0, t0, t1, s0, s1, south, True, 0, 1
    elif use == "pads":
        yield index, "common", 0, t0, t1, s0, s1, south, True, 0, 1
        groups = max(1, int((s1 - s0 - 8) // 40))
        starts = s0 + 8 + np.arange(groups) * (s1 - s0 - 8) / groups
        for start in starts:
            yield index, "pad", 0, t0 + 8, t0 + 21, start, start + 35, south, True, 0, 5
            yield index, "pad", 0, t1 - 8, t1 - 21, start, start + 35, north, False, 0, 5
    elif deep:
        close = streets.number("close", index)
        cap = CAP_M
        low, high = (t0 + cap, t1) if flip else (t0, t1 - cap)
        inner = "new" if use == "new" else "single"
        for side, (near, far, street, even) in enumerate(
            [(s0, middle - HALF_CLOSE_M, west, True), (s1, middle + HALF_CLOSE_M, east, False)]
        ):
            spine = (near + far) / 2
            yield index, "single", 1, near, spine, low, high, street, even, 1, 0
            yield index, inner, 1, far, spine, low, high, close, bool(side), -1, 0
        if flip:
            yield index, "single", 0, t0, t0 + cap, s0, s1, south, True, 0, 0
        else:
            yield index, "single", 0, t1, t1 - cap, s0, s1, north, False, 0, 0
    else:
        front = {"condo": "condo", "hall": "hall"}.get(use, use)
        behind = {"condo": "two", "hall": "shop"}.get(use, use)
        yield index, front, 0, t0, middle_t, s0, s1, south, True, 1, int(use == "hall")
        yield index, behind, 0, t1, middle_t, s0, s1, north, False, -1, 0


def _kept(cells: pd.DataFrame, rows: pd.DataFrame, parcels: int) -> NDArray[np.bool_]:
    """The least remote blocks that hold the wanted number of parcels (eight to a stacked lot)."""
    weight = rows["count"] * np.where(rows["use"] == "condo", 8, 1)
    lots = weight.groupby(rows["cell"]).sum().reindex(cells.index, fill_value=0).to_numpy()
    ordinary = (cells["use"] == "single").to_numpy()
    order = np.lexsort([cells["remoteness"].to_numpy(), ordinary])
    needed = int(np.searchsorted(np.cumsum(lots[order]), parcels)) + 1
    if needed > len(order):
        raise ValueError(f"the plan has room for {int(lots.sum())} parcels, not {parcels}")
    kept = np.zeros(len(cells), dtype=bool)
    kept[order[:needed]] = True
    return kept
