"""From checked layers to roofs and parcels with their litres, list and rank: one area, nothing read or written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from harvest.clock import Clock
from harvest.fields import PARCELS, ROOFS
from harvest.fields.parcels import NO_FOOTPRINT
from harvest.fields.roofs import DIVIDED, UNPLACED, WHOLE
from harvest.findings import Account, Finding
from harvest.layers import Layer, RainGrid, between
from harvest.place.offset import Offset, check_offset, offset
from harvest.place.ownership import Shares, check_shares, shares
from harvest.place.plane import Bounds, Geometries, local_plane, onto_plane, transformed
from harvest.place.rain import RoofRain, check_rain, rain_on
from harvest.place.roofs import Roofs, roofs
from harvest.place.sites import Sites, sites
from harvest.plan.rank import check_lists, ranks, statuses
from harvest.plan.totals import parcel_totals
from harvest.project import Settings
from harvest.project.capture import Season
from harvest.water.capture import runoff, season_depth, season_shares, wetted, year_depth

UNIT_WORDS = {"unit", "apt", "apartment", "suite", "ste", "no", "flat", ""}


@dataclass(frozen=True)
class Inputs:
    """Everything that was read, and where it lies. ``parcels`` is None when each roof stands for itself."""

    footprints: Layer
    parcels: Layer | None
    rain: RainGrid
    bounds: Bounds
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Estimate:
    """Tables as the register has them, and what a run says about how they came about."""

    parcels: gpd.GeoDataFrame
    roofs: gpd.GeoDataFrame
    findings: tuple[Finding, ...]
    accounts: tuple[Account, ...]
    plane: CRS
    offset: Offset | None
    straddling_cells: int


def estimate(inputs: Inputs, settings: Settings, clock: Clock) -> Estimate:
    """Place, rain, water and rank for one area. Rows come out sorted by id, whatever order they came in."""
    placing = settings.placing
    footprints = inputs.footprints.frame.sort_values("roof_id", ignore_index=True)
    plane = local_plane(inputs.bounds)
    with clock.step("projecting layers"):
        outlines = onto_plane(footprints, plane)
    with clock.step("counting roofs once"):
        counted = roofs(
            outlines,
            footprints["roof_id"].to_numpy(dtype=object),
            eaves_m=settings.footprints.eaves_m,
            duplicate_share=placing.duplicate_share,
        )
        roof = _roof_frame(footprints, counted, plane)
    with clock.step("finding each roof's parcel"):
        parcels, owned, moved, placed_findings = _placed(inputs, roof, counted.outline, plane, settings)
    with clock.step("rain on each roof"):
        rain = rain_on(counted.outline, plane, inputs.rain)
    with clock.step("litres"):
        rows = _with_volumes(_roof_rows(roof, parcels, owned), rain, settings)
    with clock.step("ranking"):
        table = _ranked(parcels, rows, settings)

    ids = roof["roof_id"].to_numpy(dtype=object)
    accounts = (
        inputs.footprints.account.then(counted.account),
        _parcel_account(inputs, table),
        Account(
            "roofs", len(roof), len(rows), added={"further parcels of divided roofs": len(rows) - len(roof)}
        ),
    )
    found = (
        *counted.findings,
        *placed_findings,
        *check_rain(rain, ids),
        *check_lists(table, settings.ranking),
    )
    return Estimate(
        gpd.GeoDataFrame(PARCELS.checked(table), crs=parcels.crs),
        gpd.GeoDataFrame(ROOFS.checked(rows.drop(columns="at")), crs=footprints.crs),
        found,
        accounts,
        plane,
        moved,
        rain.straddling,
    )


def _roof_frame(footprints: gpd.GeoDataFrame, counted: Roofs, plane: CRS) -> gpd.GeoDataFrame:
    """The footprints that became roofs, outlines that changed brought back to the layer's own CRS."""
    roof = footprints.iloc[counted.kept].reset_index(drop=True)
    roof["roof_area_m2"] = shapely.area(counted.outline)
    if counted.changed.any():
        back = between(plane, footprints.crs)
        geometry = roof.geometry.to_numpy().copy()
        geometry[counted.changed] = transformed(counted.outline[counted.changed], back)
        roof = roof.set_geometry(gpd.GeoSeries(geometry, crs=footprints.crs))
    return roof


def _placed(
    inputs: Inputs, roof: gpd.GeoDataFrame, outlines: Geometries, plane: CRS, settings: Settings
) -> tuple[gpd.GeoDataFrame, Shares, Offset | None, Sequence[Finding]]:
    """Parcels (sites added), which roof belongs to which of them, the offset, and findings."""
    if inputs.parcels is None:
        count = len(roof)
        own = np.arange(count)
        alone = Shares(own, own, np.ones(count), np.ones(count), 0, np.zeros(count))
        return _roofs_as_parcels(roof), alone, None, ()
    placing = settings.placing
    parcels = inputs.parcels.frame.sort_values("parcel_id", ignore_index=True)
    ground = onto_plane(parcels, plane)
    lying = sites(ground, coincident_share=placing.coincident_share)
    hosts = lying.hosts
    owned = shares(
        outlines,
        ground[hosts],
        sliver_share=placing.sliver_share,
        sliver_width_m=placing.sliver_width_m,
        least_share=placing.least_share,
    )
    plain = hosts[~lying.common[hosts]]
    moved = offset(outlines, ground[plain], owned.held)
    found = [
        *check_shares(owned, roof["roof_id"].to_numpy(dtype=object), roof["roof_area_m2"].to_numpy()),
        *check_offset(moved, offset_m=placing.offset_m, footprints=roof, parcels=parcels),
    ]
    parcels["parcel_area_m2"] = shapely.area(ground)
    with_sites = _with_sites(parcels, lying)
    at = with_sites["host"].to_numpy()
    row_of_host = np.empty(len(parcels), dtype=np.intp)
    row_of_host[at[at >= 0]] = np.flatnonzero(at >= 0)
    on_rows = replace(owned, parcel=row_of_host[hosts[owned.parcel]])
    return with_sites, on_rows, moved, found


def _roofs_as_parcels(roof: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
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


def _with_sites(parcels: gpd.GeoDataFrame, lying: Sites) -> gpd.GeoDataFrame:
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
    site["address"] = units["address"].agg(_shared_address)
    site["door_count"] = units["door_count"].sum()
    site["built_year"] = units["built_year"].max()
    all_out = units["exclusion_reason"].agg(lambda reasons: reasons.notna().all())
    site["exclusion_reason"] = site["exclusion_reason"].where(all_out.reindex(site.index), pd.NA)
    site["host"] = site.index
    site["parcel_id"], site["site_id"] = site["site_id"], pd.array([pd.NA] * len(site), dtype="str")
    site["is_unit"], site["is_site"] = False, True
    flagged["door_count"] = flagged["door_count"].mask(stacked)
    both = pd.concat([flagged, site]).sort_values("parcel_id", ignore_index=True)
    return gpd.GeoDataFrame(both, crs=parcels.crs)


def _shared_address(addresses: pd.Series) -> str | None:
    """The words that all ``addresses`` of a site begin with: "12 Oak Road" of "12 Oak Road Unit 3" and others."""
    known = [text.split() for text in addresses.dropna()]
    alike = takewhile(lambda words: len(set(words)) == 1, zip(*known, strict=False))
    same = [words[0] for words in alike]
    while same and same[-1].casefold().strip(".,#") in UNIT_WORDS:
        same.pop()
    return " ".join(same) or None


def _roof_rows(roof: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame, owned: Shares) -> gpd.GeoDataFrame:
    """One row for each roof on each parcel, and one for each roof on none; ``at`` is the roof's position."""
    lost = np.setdiff1d(np.arange(len(roof)), owned.roof)
    at = np.concatenate([owned.roof, lost])
    order = np.argsort(at, kind="stable")
    names = parcels["parcel_id"].iloc[owned.parcel]
    parcel_id = pd.concat([names, pd.Series(pd.NA, index=lost, dtype="str")], ignore_index=True)
    placement = np.concatenate([np.where(owned.divided, DIVIDED, WHOLE), np.full(len(lost), UNPLACED)])
    rows = roof.iloc[at[order]].reset_index(drop=True)
    return rows.drop(columns=["address"]).assign(
        at=at[order],
        parcel_id=parcel_id.iloc[order].reset_index(drop=True),
        parcel_share=np.concatenate([owned.share, np.ones(len(lost))])[order],
        placement=pd.array(placement[order], dtype="str"),
    )


def _with_volumes(rows: gpd.GeoDataFrame, rain: RoofRain, settings: Settings) -> gpd.GeoDataFrame:
    """``rows`` with gutters, area, rain and litres; what they were computed from is dropped."""
    at = rows["at"].to_numpy()
    large_enough = rows["roof_area_m2"] >= settings.footprints.gutter_least_m2
    has_gutter = rows["gutter"].fillna(large_enough.astype("boolean")).to_numpy(dtype=bool)
    area = rows["roof_area_m2"].to_numpy() * rows["parcel_share"].to_numpy()
    coefficient = settings.losses.coefficient
    depths = depths_of(rain.depth_mm, settings)
    return rows.drop(columns=["gutter"]).assign(
        has_gutter=has_gutter,
        catchment_area_m2=area,
        rain_mm_yr=year_depth(rain.depth_mm)[at],
        season_rain_mm_yr=depths.season_rain_mm[at],
        rain_cover=rain.cover[at],
        runoff_l_yr=runoff(area, depths.year_left_mm[at], coefficient),
        capturable_l_yr=runoff(area * has_gutter, depths.season_left_mm[at], coefficient),
        storm_l=runoff(area, np.full(len(area), settings.storm.depth_mm), coefficient),
    )


@dataclass(frozen=True)
class Depths:
    """Rain on roofs [n; mm]: in season, and what wetting leaves of it in the year and in season."""

    season_rain_mm: np.ndarray
    year_left_mm: np.ndarray
    season_left_mm: np.ndarray


def depths_of(depth_mm: np.ndarray, settings: Settings) -> Depths:
    """The depths that litres follow from, of rain ``depth_mm`` [n, 12 or 1; mm]."""
    monthly = by_month(depth_mm, settings.season)
    left = wetted(monthly, settings.losses.wetting_mm_yr)
    shares = months_in_season(settings.season) if monthly.shape[1] == 12 else np.ones(1)
    return Depths(season_depth(monthly, shares), year_depth(left), season_depth(left, shares))


def by_month(depth_mm: np.ndarray, season: Season) -> np.ndarray:
    """Depth by month where months are known or given as shares, else the year as it is."""
    if depth_mm.shape[1] == 12 or season.monthly_shares is None:
        return depth_mm
    return np.asarray(depth_mm * np.array(season.monthly_shares))


def months_in_season(season: Season) -> np.ndarray:
    """Share of each month [12; 1] that lies in ``season``."""
    first, last = (tuple(int(part) for part in day.split("-")) for day in (season.first, season.last))
    return season_shares((first[0], first[1]), (last[0], last[1]))


def _ranked(parcels: gpd.GeoDataFrame, rows: gpd.GeoDataFrame, settings: Settings) -> gpd.GeoDataFrame:
    """``parcels`` with totals, status, list and rank."""
    ids = pd.Index(parcels["parcel_id"])
    totals = parcel_totals(rows, ids).reset_index(drop=True)
    table = parcels.assign(**{name: totals[name] for name in totals.columns})
    table = table.assign(**statuses(table, settings.footprints.imagery_year))
    unknown = table["is_unit"] | table["status"].eq(NO_FOOTPRINT)
    volumes = [name for name in totals.columns if name != "roof_count"]
    table[volumes] = table[volumes].mask(unknown)
    table["roof_count"] = table["roof_count"].astype("Int64").mask(table["is_unit"])
    table = table.assign(**ranks(table, settings.ranking))
    return table[list(PARCELS.names)]


def _parcel_account(inputs: Inputs, table: gpd.GeoDataFrame) -> Account:
    if inputs.parcels is None:
        return Account("parcels", 0, len(table), added={"roofs standing for themselves": len(table)})
    read = inputs.parcels.account
    new = len(table) - read.rows_out
    return read.then(Account("parcels", read.rows_out, len(table), added={"sites of stacked parcels": new}))


def totals(found: Estimate) -> dict[str, Any]:
    """The headline figures of ``run.json``: sums over roofs, and how they divide."""
    rows, parcels = found.roofs, found.parcels
    unplaced = rows["parcel_id"].isna()
    with_rain = rows["runoff_l_yr"].notna()
    fell = float((rows["catchment_area_m2"] * rows["rain_mm_yr"])[with_rain].sum())
    return {
        "roofs": int(rows["roof_id"].nunique()),
        "parcels": len(parcels),
        "parcels_with_roof": int(parcels["roof_count"].gt(0).sum()),
        "roof_area_m2": float(rows["catchment_area_m2"].sum()),
        "runoff_l_yr": float(rows["runoff_l_yr"].sum()),
        "capturable_l_yr": float(rows["capturable_l_yr"].sum()),
        "storm_l": float(rows["storm_l"].sum()),
        "unplaced_roofs": int(unplaced.sum()),
        "unplaced_runoff_l_yr": float(rows["runoff_l_yr"][unplaced].sum()),
        "roofs_without_rain": int(rows["roof_id"][~with_rain].nunique()),
        "effective_coefficient": float(rows["runoff_l_yr"].sum()) / fell if fell else None,
        "statuses": {name: int(n) for name, n in parcels["status"].value_counts().sort_index().items()},
        "lists": {name: int(n) for name, n in parcels["list"].value_counts().sort_index().items()},
    }
