"""Where barrels could stand: downspouts of every roof, and for each parcel the roof, the garden, and no figures yet."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.estimate import Estimate
from harvest.fields.barrels import DOWNSPOUTS, MOST_BARRELS, PARCEL_FIELDS, yield_name
from harvest.litres import storm_left_mm, storm_losses
from harvest.place.eaves import eave_lengths
from harvest.plan.totals import positions
from harvest.project import Settings
from harvest.water.barrels import Floats, usable_volume
from harvest.water.downspouts import downspout_count, mean_served_area, usable_downspouts
from harvest.water.storms import depth_to_fill_mm

DECIMALS_THAT_COUNT = 2
"""Of areas [m²] and eaves [m] in the rule of downspouts, so that rounding noise in an outline makes none."""
OF_ROOF = tuple(one.name for one in DOWNSPOUTS)
NOTHING = (
    *(
        "suggested_barrels",
        "yield_l_yr",
        "yield_low_l_yr",
        "yield_high_l_yr",
        "yield_poor_year_l_yr",
        "yield_good_year_l_yr",
    ),
    *(yield_name(number) for number in range(1, MOST_BARRELS + 1)),
    *("inflow_l_yr", "overflow_l_yr"),
)
"""What is 0, not missing, where nothing can be caught or nothing wants the water."""


def with_downspouts(found: Estimate, settings: Settings) -> gpd.GeoDataFrame:
    """The roof rows with their eaves and downspouts; missing where a roof has no gutter. A roof whose area was
    corrected keeps its shape, so its eaves follow as the root."""
    rows, rule = found.roofs, settings.downspouts
    at = rows["at"].to_numpy()
    share = rows["parcel_share"].to_numpy()
    area = rows["catchment_area_m2"].to_numpy()
    corrected = rows["area_factor"].to_numpy() if "area_factor" in rows else 1.0
    eaves = eave_lengths(found.outlines)[at] * share * np.sqrt(corrected)
    count = downspout_count(
        np.round(area, DECIMALS_THAT_COUNT),
        np.round(eaves, DECIMALS_THAT_COUNT),
        area_served_m2=rule.area_served_m2,
        spacing_m=rule.spacing_m,
        least=rule.least,
    )
    served = mean_served_area(area, count, rule.inequality)
    gutter = rows["has_gutter"].to_numpy(dtype=bool)
    places = usable_downspouts(count, rule.usable_share)
    if "no_downspouts" in rows:
        places = np.where(rows["no_downspouts"], 0, places)
    first_mm, then = storm_losses(settings.losses)
    fill = first_mm + depth_to_fill_mm(usable_l(settings), served, then)

    def guttered(values: NDArray[Any]) -> Floats:
        return np.where(gutter, values, np.nan)

    return rows.assign(
        eave_m=eaves,
        downspout_count=_whole(guttered(count)),
        barrel_places=_whole(guttered(places)),
        served_area_m2=guttered(served),
        storm_downspout_l=guttered(served * storm_left_mm(settings.storm.depth_mm, settings.losses)),
        fill_depth_mm=guttered(fill),
        fill_min=guttered(fill / settings.storm.intensity_mm_h * 60),
    )


def usable_l(settings: Settings) -> float:
    """What one barrel can give [L]."""
    barrel = settings.barrel
    return usable_volume(barrel.volume_l, barrel.dead_l, barrel.head_l)


def _whole(values: Floats) -> pd.Series:
    return pd.Series(values).astype("Int64")


def with_barrel_roof(
    parcels: gpd.GeoDataFrame, roofs: gpd.GeoDataFrame, settings: Settings
) -> gpd.GeoDataFrame:
    """``parcels`` with the roof at which barrels stand, its downspouts and its ``at``, and their garden."""
    placed = roofs[roofs["has_gutter"] & roofs["parcel_id"].notna()]
    order = np.lexsort((placed["roof_id"].to_numpy(dtype=object), -placed["catchment_area_m2"].to_numpy()))
    best = placed.iloc[order].drop_duplicates("parcel_id")
    row = positions(parcels["parcel_id"], best["parcel_id"])
    known = parcels["catchment_area_m2"].notna().to_numpy() & (row >= 0)
    row = np.where(known, row, -1)
    values = {
        name: best[name].array.take(row, allow_fill=True)
        for name in ("roof_id", *OF_ROOF, "at", "rain_mm_yr")
    }
    values["barrel_roof_id"] = values.pop("roof_id")
    values["barrel_rain_mm_yr"] = values.pop("rain_mm_yr")
    values["at"] = np.where(known, best["at"].to_numpy()[row] if len(best) else -1, -1)
    return parcels.assign(**values, garden_m2=_garden(parcels, settings))


def _garden(parcels: gpd.GeoDataFrame, settings: Settings) -> Floats:
    """Garden of each parcel [n; m²]: the set one, or the set share of its open ground where that is less."""
    garden = settings.garden
    open_ground = (parcels["parcel_area_m2"] - parcels["catchment_area_m2"]).to_numpy(dtype=float)
    most = np.where(np.isnan(open_ground), np.inf, np.maximum(open_ground, 0.0) * garden.most_open_share)
    area = np.minimum(garden.area_m2, most)
    area = np.where(area < garden.least_m2, 0.0, area)
    return np.where(parcels["catchment_area_m2"].isna(), np.nan, area)


def without_figures(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """``parcels`` with every field of barrels that they lack, missing throughout."""
    lacking = [one for one in PARCEL_FIELDS if one.name not in parcels.columns]
    kinds = {"string": "str", "integer": "Int64", "float": "float64"}
    return parcels.assign(
        **{
            one.name: pd.Series(pd.NA, index=parcels.index, dtype="str")
            if one.dtype == "string"
            else pd.Series(np.nan, index=parcels.index).astype(kinds[one.dtype])
            for one in lacking
        }
    )


def with_nothing(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """``parcels`` with 0 where no roof has a gutter, no barrel can stand, or no garden wants the water; missing stays
    missing."""
    idle = parcels["garden_m2"].eq(0) | parcels["barrel_places"].eq(0).fillna(False).astype(bool)
    none = parcels["guttered_area_m2"].eq(0) | idle & parcels["runoff_l_yr"].notna()
    return parcels.assign(**{name: parcels[name].mask(none, 0) for name in NOTHING})


def on_rows(parcels: gpd.GeoDataFrame, row: np.ndarray, values: dict[str, Any]) -> gpd.GeoDataFrame:
    """``parcels`` with ``values`` [n each] in their columns at positions ``row`` [n]."""
    changed = {}
    for name, mine in values.items():
        column = parcels[name].copy()
        column.iloc[row] = mine
        changed[name] = column
    return parcels.assign(**changed)
