"""From roofs to parcels: areas and litres added up, rain averaged by area."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

SUMMED = ("catchment_area_m2", "guttered_area_m2", "runoff_l_yr", "capturable_l_yr", "storm_l")
AVERAGED = ("rain_mm_yr", "season_rain_mm_yr", "rain_cover")


def positions(ids: pd.Series, among: pd.Series | pd.Index[str]) -> NDArray[np.intp]:
    """Where each of ``ids`` [n; text] stands in ``among`` [m; text, none twice], -1 for one that does not.

    Arrow looks texts up where they lie; pandas would make an object of each first.
    """
    found = pc.index_in(pa.array(ids, pa.large_string()), pa.array(among, pa.large_string()), skip_nulls=True)
    return np.asarray(found.fill_null(-1).to_numpy(zero_copy_only=False), dtype=np.intp)


def parcel_totals(roofs: pd.DataFrame, parcels: pd.Index[str]) -> pd.DataFrame:
    """Totals of the roof rows on each of ``parcels`` [n], in that order.

    ``roofs`` [k] has ``parcel_id``, ``has_gutter`` and the volumes of each row. A parcel without a roof has 0;
    one with a roof that has no rain figure has NaN. Order of rows does not matter to 1e-9.
    """
    placed = roofs[roofs["parcel_id"].notna()]
    at = positions(placed["parcel_id"], parcels)
    area = placed["catchment_area_m2"].to_numpy()
    values = placed.assign(guttered_area_m2=np.where(placed["has_gutter"], area, 0.0))

    def added(weights: np.ndarray) -> np.ndarray:
        return np.bincount(at, weights=weights, minlength=len(parcels))

    totals = pd.DataFrame({name: added(values[name].to_numpy()) for name in SUMMED}, index=parcels)
    with np.errstate(invalid="ignore"):
        for name in AVERAGED:
            totals[name] = added(values[name].to_numpy() * area) / totals["catchment_area_m2"].to_numpy()
    totals["roof_count"] = np.bincount(at, minlength=len(parcels))
    return totals
