"""Cuts rows of land into lots, and roads out of lots, in the straight plane."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from town_bend import Bend

# Lot frontage in metres by the use of a row: smallest and largest.
FRONTAGES = {
    "single": (17.5, 21.5),
    "new": (17.5, 20.5),
    "two": (14.5, 17.0),
    "row": (6.2, 7.0),
    "shop": (10.0, 14.0),
    "condo": (36.0, 46.0),
    "pad": (6.6, 7.4),
}


def lot_counts(rng: np.random.Generator, rows: pd.DataFrame, bend: Bend) -> NDArray[np.int64]:
    """How many lots each row holds: as given, else by frontages measured on the ground."""
    low = rows["use"].map({use: span[0] for use, span in FRONTAGES.items()}).fillna(1.0).to_numpy()
    high = rows["use"].map({use: span[1] for use, span in FRONTAGES.items()}).fillna(1.0).to_numpy()
    along, across = (rows["a0"] + rows["a1"]) / 2, rows["front"]
    upright = rows["axis"] == 1
    middle = np.column_stack([across.where(upright, along), along.where(upright, across)])
    length = (rows["a1"] - rows["a0"]).to_numpy() * bend.stretch(middle)
    fitted = np.round(length / rng.uniform(low, high))
    given = rows["count"].to_numpy()
    return np.asarray(np.where(given > 0, given, np.maximum(fitted, 1)), dtype=np.int64)


def cut_lots(
    rng: np.random.Generator, cells: pd.DataFrame, rows: pd.DataFrame
) -> tuple[pd.DataFrame, NDArray[np.object_]]:
    """Cuts the kept rows into lots whose back corners match the lots behind them."""
    rows = rows[cells["kept"].to_numpy()[rows["cell"]]].reset_index(drop=True)
    count = rows["count"].to_numpy()
    row = np.repeat(np.arange(len(rows)), count)
    starts = np.cumsum(count) - count
    place = np.arange(len(row)) - starts[row]
    width = rng.uniform(0.86, 1.14, len(row))
    detached = rows["use"].isin(["single", "two", "new"]).to_numpy()[row] & (count[row] >= 4)
    corner = (place == 0) | (place == count[row] - 1)
    width[detached & corner] *= 1.18
    even = rows["use"].isin(["pad", "row"]).to_numpy()[row]
    width[even] = 1.0
    share = np.cumsum(width)
    before = (share - width)[starts][row]
    total = np.add.reduceat(width, starts)[row]
    a0, a1 = rows["a0"].to_numpy()[row], rows["a1"].to_numpy()[row]
    lots = rows.loc[row, ["cell", "use", "axis", "front", "back", "street", "even"]].reset_index(drop=True)
    lots["row"], lots["place"] = row, place
    lots["a0"] = a0 + (a1 - a0) * (share - width - before) / total
    lots["a1"] = np.where(corner & (place == count[row] - 1), a1, a0 + (a1 - a0) * (share - before) / total)
    opposite = np.where(rows["opposite"] != 0, np.arange(len(rows)) + rows["opposite"], -1)[row]
    return lots, _outlines(lots, opposite)


def _outlines(lots: pd.DataFrame, opposite: NDArray[np.int64]) -> NDArray[np.object_]:
    """Rectangles, with a further corner on the back line wherever two lots meet behind it."""
    big = 1e7
    a0, a1 = lots["a0"].to_numpy(), lots["a1"].to_numpy()
    divisions = lots["row"].to_numpy() * big + a0 + big / 2
    first = np.searchsorted(divisions, opposite * big + a0 + big / 2 + 0.05)
    last = np.searchsorted(divisions, opposite * big + a1 + big / 2 - 0.05)
    extra = np.where(opposite >= 0, np.maximum(last - first, 0), 0)
    total = 4 + extra
    lot = np.repeat(np.arange(len(lots)), total)
    ends = np.cumsum(total)
    step = np.arange(ends[-1]) - (ends - total)[lot]
    front, back = lots["front"].to_numpy(), lots["back"].to_numpy()
    along = np.where((step == 0) | (step == total[lot] - 1), a0[lot], a1[lot])
    between = (step >= 3) & (step < total[lot] - 1)
    along[between] = a0[(last[lot] - 1 - (step - 3))[between]]
    across = np.where(step <= 1, front[lot], back[lot])
    axis = lots["axis"].to_numpy()[lot]
    points = np.column_stack([np.where(axis == 0, along, across), np.where(axis == 0, across, along)])
    return np.asarray(shapely.polygons(shapely.linearrings(points, indices=lot)))


def without(
    lots: pd.DataFrame, outlines: NDArray[np.object_], holes: NDArray[np.object_], least_m2: float
) -> tuple[pd.DataFrame, NDArray[np.object_]]:
    """Cuts road surfaces out of the lots; what is left too small to build on becomes verge."""
    cut = outlines.copy()
    for hole, lot in shapely.STRtree(outlines).query(holes, predicate="intersects").T:
        left = shapely.get_parts(shapely.difference(cut[lot], holes[hole]))
        cut[lot] = left[np.argmax(shapely.area(left))] if len(left) else shapely.Polygon()
    changed = cut != outlines
    stays = ~changed | (shapely.area(cut) >= max(least_m2, 1.0))
    lots = lots.assign(cut=lots.get("cut", False) | changed)
    return lots[stays].reset_index(drop=True), cut[stays]
