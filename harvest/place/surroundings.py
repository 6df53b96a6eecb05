"""Surroundings for the map: every layer of them as one table in the parcels' CRS."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from harvest.fields import CONTEXT
from harvest.layers import Layer, between
from harvest.place.plane import transformed


def surroundings(layers: Sequence[Layer], crs: CRS) -> gpd.GeoDataFrame:
    """The table of :data:`harvest.fields.CONTEXT` in ``crs``: ``layers`` one after the other, in their rows' order."""
    frames = [one.frame for one in layers if len(one.frame)]
    placed = [
        transformed(np.asarray(frame.geometry.array, dtype=object), between(CRS(frame.crs), crs))
        for frame in frames
    ]
    table = {
        name: pd.concat([pd.Series(dtype="str"), *(frame[name] for frame in frames)], ignore_index=True)
        for name in ("kind", "name")
    }
    whole = gpd.GeoDataFrame(table, geometry=np.concatenate([*placed, np.empty(0, object)]), crs=crs)
    return gpd.GeoDataFrame(CONTEXT.checked(whole), geometry="geometry", crs=crs)
