"""Which district (ward, precinct) each parcel lies in."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from harvest.findings import Finding, counted
from harvest.layers import between
from harvest.place.plane import Geometries, transformed

OVERLAP_SHARE = 0.001
"""Two districts that share less than this of the smaller one differ by how their edge was drawn."""


def in_districts(parcels: gpd.GeoDataFrame, districts: gpd.GeoDataFrame) -> tuple[pd.Series, list[Finding]]:
    """The district [n; text] of each of ``parcels`` (``parcel_id``, outline), NA outside all of them; and findings.

    A point inside a parcel decides, taken to the CRS of ``districts`` (``district``, outline), in which their edges
    are as straight as they were drawn.
    """
    points = shapely.point_on_surface(np.asarray(parcels.geometry.array, dtype=object))
    placed = transformed(points, between(CRS(parcels.crs), CRS(districts.crs)))
    areas = np.asarray(districts.geometry.array, dtype=object)
    found = district_of(placed, areas, districts["district"])
    district = found.set_axis(parcels.index)
    return district, [
        *check_overlaps(areas, districts["district"]),
        *_check_outside(parcels["parcel_id"], district),
        *_check_empty(district, districts["district"]),
    ]


def district_of(points: Geometries, districts: Geometries, names: pd.Series) -> pd.Series:
    """The name of the district that holds each of ``points`` [n], NA outside all ``districts`` [k].

    Where several hold it, as on a shared edge, the first by name.
    """
    point, area = shapely.STRtree(districts).query(points, predicate="intersects")
    held = names.to_numpy(dtype=object)[area]
    first = pd.Series(held, index=point, dtype="str").groupby(level=0).min()
    return first.reindex(range(len(points))).astype("str")


def check_overlaps(districts: Geometries, names: pd.Series) -> list[Finding]:
    """A warning that names the pairs of ``districts`` [k] that lie on one another."""
    one, other = shapely.STRtree(districts).query(districts, predicate="intersects")
    one, other = one[one < other], other[one < other]
    shared = shapely.area(shapely.intersection(districts[one], districts[other]))
    smaller = np.minimum(shapely.area(districts[one]), shapely.area(districts[other]))
    lie: NDArray[np.bool_] = shared > OVERLAP_SHARE * smaller
    if not lie.any():
        return []
    told = names.to_numpy(dtype=object)
    pairs = sorted(" and ".join(sorted(pair)) for pair in zip(told[one[lie]], told[other[lie]], strict=True))
    return [
        Finding.of(
            "districts overlap",
            "districts",
            "warning",
            pairs,
            f"{counted(len(pairs), 'pair')} of districts lie on one another; a parcel in both counts for the first "
            "by name.",
            "Mend their outlines, or give a layer of one kind of district.",
        )
    ]


def _check_outside(ids: pd.Series, district: pd.Series) -> list[Finding]:
    outside = district.isna()
    if not outside.any():
        return []
    return [
        Finding.of(
            "parcels outside all districts",
            "districts",
            "serious" if outside.all() else "warning",
            sorted(ids[outside]),
            f"{counted(int(outside.sum()), 'parcel')} of {len(district):,} lie in no district; figures by district "
            "leave them out.",
            "Compare the district layer with the parcels; if they lie apart, check its crs.",
        )
    ]


def _check_empty(district: pd.Series, names: pd.Series) -> list[Finding]:
    empty = sorted(set(names) - set(district.dropna()))
    if not empty or district.isna().all():
        return []
    return [
        Finding.of(
            "districts without parcels",
            "districts",
            "note",
            empty,
            f"{counted(len(empty), 'district')} of {len(names)} hold no parcel.",
            "Nothing to do if they lie beyond the parcels given.",
        )
    ]
