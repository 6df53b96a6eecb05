"""Columns of what barrels would do, as the register asks for them, for invented results: figures by plain rules.

Parcels take turns with 1, 2 and 3 suggested barrels, which deliver 600 L each and a litre more for each m² of roof.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from harvest.fields.barrels import MOST_BARRELS, yield_name

HANGS_ON, NO_PAYBACK = "how often people draw", "It does not pay back in money."
USABLE_L, GARDEN_M2 = 174.0, 14.0


def downspout_columns(guttered_m2: pd.Series) -> dict[str, pd.Series]:
    """A downspout for each 50 m² begun [rows]; missing without a gutter."""
    roof = guttered_m2.astype("float64").where(guttered_m2.gt(0))
    count = roof.floordiv(50).add(1)
    served = roof / count
    depth = USABLE_L / (0.8 * served)
    return {
        "downspout_count": count.astype("Int64"),
        "barrel_places": count.astype("Int64"),
        "served_area_m2": served,
        "storm_downspout_l": served * 0.8 * 25.4,
        "fill_depth_mm": depth,
        "fill_min": depth / 25.4 * 60,
    }


def barrel_columns(
    ids: pd.Series, guttered_m2: pd.Series, bare: pd.Series, doubtless: pd.Series
) -> dict[str, pd.Series]:
    """Every parcel column of barrels [rows]; ``guttered_m2`` missing is a parcel of which nothing is known.

    Parcels marked ``bare`` have no garden; of those marked ``doubtless`` no range of what is used is known.
    """
    roof = guttered_m2.astype("float64")
    known = roof.notna()
    garden = pd.Series(GARDEN_M2, index=roof.index).mask(bare, 0.0).where(known)
    some = roof.gt(0) & garden.gt(0)
    barrels = pd.Series(np.arange(len(roof)) % 3 + 1.0, index=roof.index).where(some, 0.0).where(known)
    used = (600 * barrels + roof).where(some, 0.0).where(known)
    doubted = used.mask(doubtless)

    def of_year(value: float) -> pd.Series:
        return pd.Series(value, index=roof.index).where(some)

    def text(value: str, where: pd.Series) -> pd.Series:
        return pd.Series(value, index=roof.index, dtype="str").where(where)

    return {
        "barrel_roof_id": ("R-" + ids).where(roof.gt(0)).astype("str"),
        **downspout_columns(roof),
        "garden_m2": garden,
        "suggested_barrels": barrels.astype("Int64"),
        "yield_l_yr": used,
        "yield_low_l_yr": 0.78 * doubted,
        "yield_high_l_yr": 1.31 * doubted,
        "yield_hangs_on": text(HANGS_ON, some & doubted.notna()),
        "yield_poor_year_l_yr": 0.72 * doubted,
        "yield_good_year_l_yr": 1.23 * doubted,
        **{yield_name(number): used for number in range(1, MOST_BARRELS + 1)},
        "demand_l_yr": 2 * used,
        "inflow_l_yr": 3 * used,
        "overflow_l_yr": 2 * used,
        "demand_days_yr": of_year(15.0),
        "days_met_yr": of_year(12.0),
        "fills_yr": of_year(6.5),
        "room_share": of_year(0.14),
        "first_inch_share": of_year(0.01),
        "capturable_low_l_yr": 400 * roof,
        "capturable_high_l_yr": 550 * roof,
        "saving_usd_yr": (used / 400).where(some),
        "saving_low_usd_yr": (used / 1700).where(some),
        "saving_high_usd_yr": (used / 130).where(some),
        "net_cost_usd": (70 * barrels).where(some),
        "payback_chance": of_year(0.0),
        "payback": text(NO_PAYBACK, some),
    }
