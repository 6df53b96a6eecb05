"""Rows of the parcel table: sites of stacked parcels added, or each roof standing for itself."""

from __future__ import annotations

from itertools import takewhile

import geopandas as gpd
import numpy as np
import pandas as pd

from harvest.place.sites import Sites

SAID_BY_OWNERS = ("owner", "consent", "earlier_rebate")
"""What the parcel file may say for rules of eligibility; it holds of a site where it holds alike of all its units."""
UNIT_WORDS = {"unit", "apt", "apartment", "suite", "ste", "no", "flat", ""}


def roofs_as_parcels(roof: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Each roof as a parcel of its own, where the town has no parcels."""
    return gpd.GeoDataFrame(
        {
            "parcel_id": roof["roof_id"],
            "address": roof["address"],
            "land_use": pd.Series(pd.NA, index=roof.index, dtype="str"),
            "door_count": pd.Series(1, index=roof.index, dtype="Int64"),
            "built_year": pd.Series(pd.NA, index=roof.index, dtype="Int64"),
            "exclusion_reason": pd.Series(pd.NA, index=roof.index, dtype="str"),
            "parcel_area_m2": pd.Series(np.nan, index=roof.index, dtype="float64"),
            "is_unit": False,
            "is_site": False,
            "is_common": False,
            "site_id": pd.Series(pd.NA, index=roof.index, dtype="str"),
        },
        geometry=roof.geometry,
        crs=roof.crs,
    )


def with_sites(parcels: gpd.GeoDataFrame, lying: Sites) -> gpd.GeoDataFrame:
    """``parcels`` with one more row for each site of stacked parcels, sorted by id.

    ``host`` is the position of the parcel whose roofs a row holds, -1 on the rows of single units.
    """
    stacked = lying.stacked
    host = np.where(stacked, -1, np.arange(len(parcels)))
    flagged = parcels.assign(is_unit=stacked, is_site=False, is_common=lying.common, host=host)
    site_id = "site of " + parcels["parcel_id"].iloc[lying.host].reset_index(drop=True)
    flagged["site_id"] = site_id.where(stacked, pd.NA).astype("str")
    if not stacked.any():
        return flagged
    units = flagged[stacked].groupby(lying.host[stacked])
    site = flagged.iloc[list(units.groups)].copy()
    site["address"] = units["address"].agg(shared_address).astype("str")
    site["door_count"] = units["door_count"].sum()
    site["built_year"] = units["built_year"].max()
    all_out = units["exclusion_reason"].agg(lambda reasons: reasons.notna().all())
    site["exclusion_reason"] = site["exclusion_reason"].where(all_out.reindex(site.index), pd.NA)
    for name in SAID_BY_OWNERS:
        if name in site:
            alike = units[name].nunique(dropna=False).reindex(site.index).eq(1)
            site[name] = site[name].where(alike)
    site["host"] = site.index
    site["parcel_id"], site["site_id"] = site["site_id"], pd.array([pd.NA] * len(site), dtype="str")
    site["is_unit"], site["is_site"] = False, True
    flagged["door_count"] = flagged["door_count"].mask(stacked)
    both = pd.concat([flagged, site]).sort_values("parcel_id", ignore_index=True)
    return gpd.GeoDataFrame(both, crs=parcels.crs)


def shared_address(addresses: pd.Series) -> str | None:
    """The words that all ``addresses`` of a site begin with: "12 Oak Road" of "12 Oak Road Unit 3" and others."""
    known = [text.split() for text in addresses.dropna()]
    alike = takewhile(lambda words: len(set(words)) == 1, zip(*known, strict=False))
    same = [words[0] for words in alike]
    while same and same[-1].casefold().strip(".,#") in UNIT_WORDS:
        same.pop()
    return " ".join(same) or None
