"""Streets as people speak of them: the sides of one name in one district taken together, the best first.

Made for paper that may be handed out, so a street with few homes has no row, and no row tells of one home.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from harvest.fields.parcels import HOMES
from harvest.result import Result
from harvest.show.precision import significant

LEAST_HOMES = 10
"""Homes that a street must have to be told of, where the run does not say otherwise."""

WORTH_A_MINUTE = "worth_l_min"
USED_A_HOME = "yield_door_l_yr"
CAPTURABLE_A_HOME = "capturable_door_l_yr"

COMPARED_DIGITS = 6
NUMBER_FIRST = re.compile(r"\d{1,9}(?!\d)\S*\s+(?P<street>.+)")
NUMBER_LAST = re.compile(r"(?P<street>.+?)\s+\d{1,9}(?!\d)\S*")
SIDE_SUMS = ("door_count", "to_visit_count", "canvass_min", "capturable_l_yr", "yield_l_yr", "worth_l_yr")
HOME_SUMS = ("door_count", "capturable_l_yr", "yield_l_yr")
PLACE = ["street", "district"]


def least_homes(run: Mapping[str, Any]) -> int:
    """The fewest homes that a street told of in public must have, by the run's settings."""
    found = {one["setting"]: one["value"] for one in run["settings"]}.get("public.least_homes")
    return LEAST_HOMES if found is None else int(found)


def best_streets(result: Result) -> tuple[pd.DataFrame, str]:
    """The streets that have enough homes and something to win, best first, and the name of the column that orders.

    Where ``result`` has street sides, their columns are summed, and worth a minute orders. Else parcels on the list
    of homes are summed by the street of the parcel, or of its address, and what is used a home orders, or, where
    barrels are not known of, what is capturable a home. Equal streets go by name, then by district.
    """
    if result.has("sides"):
        rows, measure = _of_sides(result), WORTH_A_MINUTE
    else:
        rows = _of_parcels(result)
        measure = USED_A_HOME if rows[USED_A_HOME].gt(0).any() else CAPTURABLE_A_HOME
    rows = rows[(rows["door_count"] >= least_homes(result.run)) & rows[measure].gt(0)]
    alike = significant(rows[measure].to_numpy(dtype=float), COMPARED_DIGITS)
    order = rows.assign(_alike=-alike, _district=rows["district"].fillna(""))
    rows = order.sort_values(["_alike", "street", "_district"]).drop(columns=["_alike", "_district"])
    return rows.reset_index(drop=True), measure


def _of_sides(result: Result) -> pd.DataFrame:
    sides = result.table("sides", ["side_id", *PLACE, *SIDE_SUMS]).sort_values("side_id")
    rows = _summed(sides[sides["street"].notna()], SIDE_SUMS)
    return rows.assign(
        worth_door_l_yr=_divided(rows["worth_l_yr"], rows["to_visit_count"]),
        worth_l_min=_divided(rows["worth_l_yr"], rows["canvass_min"]),
    )


def _of_parcels(result: Result) -> pd.DataFrame:
    columns = ["parcel_id", "address", "list", *PLACE, *HOME_SUMS]
    parcels = result.table("parcels", columns).sort_values("parcel_id")
    parcels = parcels[parcels["list"].eq(HOMES)]
    named = parcels["street"].where(parcels["street"].notna(), parcels["address"].map(street_of))
    parcels = parcels.assign(street=named)
    rows = _summed(parcels[parcels["street"].notna()], HOME_SUMS)
    return rows.assign(
        yield_door_l_yr=_divided(rows["yield_l_yr"], rows["door_count"]),
        capturable_door_l_yr=_divided(rows["capturable_l_yr"], rows["door_count"]),
    )


def street_of(address: object) -> str | None:
    """The street in ``address``, whose number stands first or last; None where no number tells the two apart."""
    if not isinstance(address, str):
        return None
    text = " ".join(address.partition(",")[0].split())
    found = NUMBER_FIRST.fullmatch(text) or NUMBER_LAST.fullmatch(text)
    return found["street"] if found else None


def _summed(frame: pd.DataFrame, columns: tuple[str, ...]) -> pd.DataFrame:
    """``frame`` added up by street and district; a sum of nothing but missing figures is missing."""
    numbers = frame.astype(dict.fromkeys(columns, "float64"))
    if isinstance(numbers, gpd.GeoDataFrame):
        numbers = pd.DataFrame(numbers)
    return numbers.groupby(PLACE, dropna=False, sort=True)[list(columns)].sum(min_count=1).reset_index()


def _divided(whole: pd.Series, by: pd.Series) -> pd.Series:
    return whole / by.where(by > 0, np.nan)
