"""From checked layers to roofs and parcels with their litres, and to lists and ranks: one area, nothing written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from harvest.clock import Clock
from harvest.errors import ProjectError
from harvest.fields.parcels import NO_FOOTPRINT
from harvest.fields.roofs import DIVIDED, UNPLACED, WHOLE
from harvest.findings import Account, Finding
from harvest.layers import DailyRain, Layer, MonthlyTemperature, RainGrid, between
from harvest.litres import Litres, by_month
from harvest.office import Office
from harvest.parcel_rows import roofs_as_parcels, with_sites
from harvest.place.offset import Offset, check_offset, offset
from harvest.place.ownership import Shares, check_shares, shares
from harvest.place.plane import Bounds, Geometries, local_plane, onto_plane, transformed
from harvest.place.rain import RoofRain, check_rain, rain_on
from harvest.place.roofs import Roofs, roofs
from harvest.place.sites import sites
from harvest.plan.rank import check_lists, ranks, statuses
from harvest.plan.totals import parcel_totals
from harvest.project import Settings
from harvest.water.capture import Floats, runoff, year_depth
from harvest.weather import Weather, weather


@dataclass(frozen=True)
class Inputs:
    """Everything that was read, and where it lies. ``parcels`` is None when each roof stands for itself."""

    footprints: Layer
    parcels: Layer | None
    rain: RainGrid
    bounds: Bounds
    findings: tuple[Finding, ...]
    gauge: DailyRain | None = None
    temperature: MonthlyTemperature | None = None
    streets: Layer | None = None
    districts: Layer | None = None
    context: tuple[Layer, ...] = ()
    office: Office | None = None

    @property
    def latitude_deg(self) -> float:
        """The middle of the town [degrees north]."""
        return (self.bounds[1] + self.bounds[3]) / 2


@dataclass(frozen=True)
class Estimate:
    """Tables with the register's columns (and a few that later steps need), and how they came about.

    ``roofs`` has ``at`` [rows], the position of each row's roof in ``outlines`` [roofs; plane, m] and in
    ``rain_mm`` [roofs, 12 or 1; mm]. ``normals_mm`` [12 or 1; mm] is the town's rain, its mean over roof area.
    ``more`` are the optional tables of the register by name, ``told`` what further joins ``run.json``.
    """

    parcels: gpd.GeoDataFrame
    roofs: gpd.GeoDataFrame
    findings: tuple[Finding, ...]
    accounts: tuple[Account, ...]
    plane: CRS
    offset: Offset | None
    straddling_cells: int
    outlines: Geometries
    rain_mm: Floats
    normals_mm: Floats
    weather: Weather | None
    more: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    told: Mapping[str, Any] = field(default_factory=dict)


def estimate(inputs: Inputs, settings: Settings, clock: Clock) -> Estimate:
    """Place, rain and litres for one area. Rows come out sorted by id, whatever order they came in."""
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
        monthly = by_month(rain.depth_mm, settings.season)
        normals = _town_normals(monthly, roof["roof_area_m2"].to_numpy())
        days = _needed_days(inputs, normals, settings)
        litres = Litres.of(monthly, settings, days)
        rows = _with_volumes(_roof_rows(roof, parcels, owned), rain, litres, settings)
        table = with_totals(parcels, rows, settings)

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
    )
    return Estimate(
        table,
        gpd.GeoDataFrame(rows, crs=footprints.crs),
        found,
        accounts,
        plane,
        moved,
        rain.straddling,
        counted.outline,
        monthly,
        normals,
        days,
    )


def ranked(found: Estimate, settings: Settings, clock: Clock) -> Estimate:
    """``found`` with list, rank and score on its parcels."""
    with clock.step("ranking"):
        table = found.parcels.assign(**ranks(found.parcels, settings.ranking))
        return replace(
            found, parcels=table, findings=(*found.findings, *check_lists(table, settings.ranking))
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
        return roofs_as_parcels(roof), alone, None, ()
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
    rows = with_sites(parcels, lying)
    at = rows["host"].to_numpy()
    row_of_host = np.empty(len(parcels), dtype=np.intp)
    row_of_host[at[at >= 0]] = np.flatnonzero(at >= 0)
    on_rows = replace(owned, parcel=row_of_host[hosts[owned.parcel]])
    return rows, on_rows, moved, found


def _roof_rows(roof: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame, owned: Shares) -> gpd.GeoDataFrame:
    """One row for each roof on each parcel, and one for each roof on none; ``at`` is the roof's position."""
    lost = np.flatnonzero(np.bincount(owned.roof, minlength=len(roof)) == 0)
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


def _town_normals(monthly_mm: Floats, area_m2: Floats) -> Floats:
    """Mean rain over roof area [12 or 1; mm] from ``monthly_mm`` [n, 12 or 1; mm]; 0 where no roof has a figure."""
    known = np.isfinite(monthly_mm.sum(axis=1))
    total = area_m2[known].sum()
    if total == 0:
        return np.zeros(monthly_mm.shape[1])
    return np.asarray(area_m2[known] @ monthly_mm[known] / total)


def _needed_days(inputs: Inputs, normals_mm: Floats, settings: Settings) -> Weather | None:
    """Days of weather, where litres can't be told without them."""
    if settings.losses.way == "annual ratio":
        return None
    days = weather(inputs.gauge, inputs.temperature, normals_mm, inputs.latitude_deg, settings)
    if days is None:
        raise ProjectError(
            "Losses by event need days: give a record of daily rain in [gauge], or a rainfall grid with twelve "
            'months, or set [losses] way = "annual ratio".'
        )
    return days


def _with_volumes(
    rows: gpd.GeoDataFrame, rain: RoofRain, litres: Litres, settings: Settings
) -> gpd.GeoDataFrame:
    """``rows`` with gutters, area, rain and litres; what they were computed from is dropped."""
    at = rows["at"].to_numpy()
    large_enough = rows["roof_area_m2"] >= settings.footprints.gutter_least_m2
    has_gutter = rows["gutter"].fillna(large_enough.astype("boolean")).to_numpy(dtype=bool)
    area = rows["roof_area_m2"].to_numpy() * rows["parcel_share"].to_numpy()
    return rows.drop(columns=["gutter"]).assign(
        has_gutter=has_gutter,
        catchment_area_m2=area,
        rain_mm_yr=year_depth(rain.depth_mm)[at],
        season_rain_mm_yr=litres.season_rain_mm[at],
        rain_cover=rain.cover[at],
        runoff_l_yr=runoff(area, litres.year_left_mm[at], litres.year_coefficient[at]),
        capturable_l_yr=runoff(area * has_gutter, litres.season_left_mm[at], litres.season_coefficient[at]),
        storm_l=area * litres.storm_left_mm,
    )


def with_totals(parcels: gpd.GeoDataFrame, rows: gpd.GeoDataFrame, settings: Settings) -> gpd.GeoDataFrame:
    """``parcels`` with totals of their roof ``rows``, and status."""
    ids = pd.Index(parcels["parcel_id"])
    totals = parcel_totals(rows, ids).reset_index(drop=True)
    table = parcels.assign(**{name: totals[name] for name in totals.columns})
    table = table.assign(**statuses(table, settings.footprints.imagery_year))
    unknown = table["is_unit"] | table["status"].eq(NO_FOOTPRINT)
    volumes = [name for name in totals.columns if name != "roof_count"]
    table[volumes] = table[volumes].mask(unknown)
    table["roof_count"] = table["roof_count"].astype("Int64").mask(table["is_unit"])
    return table


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
        **{name: _sum_known(parcels[name]) for name in ("yield_l_yr", "saving_usd_yr")},
        "suggested_barrels": _sum_known(parcels["suggested_barrels"]),
        "unplaced_roofs": int(unplaced.sum()),
        "unplaced_runoff_l_yr": float(rows["runoff_l_yr"][unplaced].sum()),
        "roofs_without_rain": int(rows["roof_id"][~with_rain].nunique()),
        "effective_coefficient": float(rows["runoff_l_yr"].sum()) / fell if fell else None,
        "statuses": {name: int(n) for name, n in parcels["status"].value_counts().sort_index().items()},
        "lists": {name: int(n) for name, n in parcels["list"].value_counts().sort_index().items()},
    }


def _sum_known(column: pd.Series) -> float | None:
    """The sum of what is known of ``column``, None where nothing is."""
    return float(column.sum()) if column.notna().any() else None
