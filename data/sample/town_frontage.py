"""Which street each parcel of the invented town faces, and on which side: what a program should find out."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from town_plan import Plan

OLD_ROADS = ("hill", "mill")


def frontage_on(plan: Plan, rows: pd.DataFrame) -> pd.DataFrame:
    """One row a parcel of ``rows`` (``parcel_id``, ``lot``): ``line``, the position of its street among the centre
    lines, and ``left``, whether it stands on the left of that line's direction.

    A lot looks out over the middle of its front at the street in front of it; no lot faces the old roads that
    cut through the blocks.
    """
    lots, lines = plan.lots, plan.lines
    middle = shapely.get_coordinates(shapely.centroid(plan.outlines))
    front = middle.copy()
    upright = lots["axis"].to_numpy() == 1
    front[~upright, 1] = lots["front"].to_numpy()[~upright]
    front[upright, 0] = lots["front"].to_numpy()[upright]
    faced = np.flatnonzero(~lines["kind"].isin(OLD_ROADS).to_numpy())
    tree = shapely.STRtree(lines["geometry"].to_numpy()[faced])
    line = faced[tree.nearest(shapely.points(front))]
    ends = shapely.get_coordinates(
        shapely.get_point(np.repeat(lines["geometry"].to_numpy()[line], 2), np.tile([0, -1], len(line)))
    ).reshape(-1, 2, 2)
    way, out = ends[:, 1] - ends[:, 0], middle - ends[:, 0]
    left = way[:, 0] * out[:, 1] - way[:, 1] * out[:, 0] > 0
    lot = rows["lot"].to_numpy()
    return pd.DataFrame({"parcel_id": rows["parcel_id"].to_numpy(), "line": line[lot], "left": left[lot]})
