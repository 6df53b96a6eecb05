"""From roofs to parcels: areas and litres added up, rain averaged by area."""

from __future__ import annotations

import numpy as np
import pandas as pd

SUMMED = ("catchment_area_m2", "guttered_area_m2", "runoff_l_yr", "capturable_l_yr", "storm_l")
AVERAGED = ("rain_mm_yr", "season_rain_mm_yr", "rain_cover")


def parcel_totals(roofs: pd.DataFrame, parcels: pd.Index[str]) -> pd.DataFrame:
    """Totals of the roof rows on each of ``parcels`` [n], in that order.

    ``roofs`` [k] has ``parcel_id``, ``has_gutter`` and the volumes of each row. A parcel without a roof has 0;
    one with a roof that has no rain figure has NaN. Order of rows does not matter to 1e-9.
    """
    placed = roofs[roofs["parcel_id"].notna()]
    at = parcels.get_indexer(pd.Index(placed["parcel_id"]))
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
