"""Rows of the parcel table: sites of stacked parcels added, or each roof standing for itself."""

from __future__ import annotations

from itertools import takewhile

import geopandas as gpd
import numpy as np
import pandas as pd

from harvest.place.addresses import UNIT_WORDS, address_parts
from harvest.place.sites import Sites
from harvest.place.street_names import normal_name

SAID_BY_OWNERS = ("owner", "consent", "earlier_rebate")
"""What the parcel file may say for rules of eligibility; it holds of a site where it holds alike of all its units."""


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
    of_site = pd.Series(lying.host, index=flagged.index)[stacked]
    site["address"] = shared_addresses(flagged["address"][stacked], of_site)
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


def shared_addresses(addresses: pd.Series, site: pd.Series) -> pd.Series:
    """What the ``addresses`` [n] of each ``site`` [n] have in common, by site; NA where that is nothing.

    "12 Oak Road" of "12 Oak Road Unit 3" and "12 Oak Rd #4", "Harbour Court" of "Harbour Court 1" and 2.
    """
    known = addresses.dropna()
    of_site = site.loc[known.index]
    begin = known.groupby(of_site).agg(_first_words)
    parts = address_parts(known)
    door, began = _door(parts), _door(address_parts(begin))
    first = pd.DataFrame({"door": door, "line": _line(known, parts)}).groupby(of_site).first()
    alike = door.eq(of_site.map(first["door"])).groupby(of_site).all()
    written = begin.where(~alike | (began == first["door"]), first["line"])
    lasting = written.where(written.str.contains(r"[^\W\d_]").fillna(False))
    return lasting.reindex(pd.Index(site.unique(), name=site.name)).astype("str")


def _door(parts: pd.DataFrame) -> pd.Series:
    """Number and street of :func:`address_parts` [n] as one text that is alike where they are."""
    number = parts["number"].astype("str").fillna("") + "-" + parts["number_to"].astype("str").fillna("")
    return number + parts["suffix"].fillna("") + " " + normal_name(parts["street"]).fillna("")


def _line(addresses: pd.Series, parts: pd.DataFrame) -> pd.Series:
    """``addresses`` [n] without their units."""
    house = (
        parts["number"].astype("str")
        + ("-" + parts["number_to"].astype("str")).fillna("")
        + parts["suffix"].fillna("")
    )
    first = house + " " + parts["street"]
    last = parts["street"] + " " + house
    begins = [
        text.strip().startswith(street)
        for text, street in zip(addresses, parts["street"].fillna("?"), strict=True)
    ]
    return first.mask(pd.Series(begins, index=addresses.index), last).fillna(parts["street"])


def _first_words(addresses: pd.Series) -> str:
    """The words that all ``addresses`` begin with."""
    alike = takewhile(
        lambda words: len(set(words)) == 1, zip(*(text.split() for text in addresses), strict=False)
    )
    same = [words[0] for words in alike]
    while same and same[-1].casefold().strip(".,#") in {*UNIT_WORDS, ""}:
        same.pop()
    return " ".join(same)
