"""Somebody who tries to read households back out of a public edition, knowing more than anybody should.

The auditor knows where every home is and which cell it must be in, the exact litres of the whole town, and nothing of
how cells were made. Whatever sums and differences can be had are looked at: homes in the same published sums can't be
told apart, so what can be worked out is made of such groups ("atoms").
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import linprog

MEASURES = ("runoff_l_yr", "capturable_l_yr", "yield_l_yr")
BOTH = "both sides"
Flags = NDArray[np.bool_]


def members(cells: gpd.GeoDataFrame, homes: gpd.GeoDataFrame, sides: gpd.GeoDataFrame | None) -> Flags:
    """Which homes each published cell holds [cells, homes], found from what is published of the cell alone."""
    if "square" in cells and cells["square"].notna().any():
        middles = homes.geometry.representative_point()
        outlines = cells.to_crs(homes.crs).geometry
        return np.array([middles.within(one).to_numpy() for one in outlines]).reshape(len(cells), len(homes))
    assert sides is not None
    on = sides.geometry.interpolate(0.5, normalized=True)
    lines = cells.to_crs(sides.crs).geometry
    found = [
        homes["side_id"].isin(
            sides["side_id"][on.distance(line).lt(0.5) & (sides["side"].eq(side) | (side == BOTH))]
        )
        for line, side in zip(lines, cells["side"], strict=True)
    ]
    return np.array(found, dtype=bool).reshape(len(cells), len(homes))


def atoms(sets: Flags) -> list[Flags]:
    """Homes that stand in the same of ``sets`` [sets, homes], group by group."""
    signature = pd.Series(list(map(bytes, sets.T)))
    return [signature.eq(one).to_numpy() for one in signature.unique()]


def faults(
    sets: Flags, homes: pd.DataFrame, least_homes: int, most_share: float, total_known: bool = True
) -> list[str]:
    """What can be worked out of too few homes, or of one that stands out, from sums over ``sets`` and over all."""
    whole = np.ones((1, len(homes)), dtype=bool)
    every = np.vstack([sets, whole]) if total_known else sets
    told = []
    published = [("published", one) for one in sets]
    derived = [("derived", one) for one in atoms(every) if total_known or sets[:, one].any()]
    for kind, group in published + derived:
        count = int(group.sum())
        if count == 0:
            told.append(f"{kind}: a sum of nobody")
            continue
        if count < least_homes:
            told.append(f"{kind}: a sum of {count}")
        for name in MEASURES:
            litres = homes[name].to_numpy()[group]
            if litres.sum() > 0 and litres.max() / litres.sum() > most_share + 1e-9:
                told.append(f"{kind}: one home has {litres.max() / litres.sum():.0%} of {name}")
    return told


def bounds(
    target: Flags, sets: Flags, published: NDArray[np.float64], step: float, total: float
) -> tuple[float, float]:
    """Between what the litres of ``target`` [homes] must lie, given rounded sums over ``sets`` and the exact total."""
    held = sets.astype(float)
    rows = np.vstack([held, -held])
    limits = np.concatenate([published + step / 2 + 1, -(published - step / 2 - 1)])
    whole = np.ones((1, sets.shape[1]))
    ends = []
    for sign in (1, -1):
        solved = linprog(
            sign * target.astype(float),
            rows if len(rows) else None,
            limits if len(rows) else None,
            whole,
            [total],
        )
        assert solved.status == 0, solved.message
        ends.append(sign * solved.fun)
    return ends[0], ends[1]
