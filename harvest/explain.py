"""``harvest explain``: one parcel worked step by step, so that a sceptic can redo it with a pocket calculator."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS, Geod

from harvest.chosen import parcel_row
from harvest.errors import ResultError
from harvest.explain_barrels import barrel_lines, claim_lines
from harvest.findings import counted
from harvest.layers import Extent, RainGrid, between
from harvest.litres import Litres, by_month, months_in_season, storm_left_mm
from harvest.place.plane import Geometries, bounds_wgs84, onto_plane, transformed
from harvest.place.rain import cell_weights, rain_on
from harvest.project import Project, Settings, settings_in_force
from harvest.project.capture import Season
from harvest.read.gauge import read_gauge
from harvest.read.rain import read_rain
from harvest.read.temperature import read_temperature
from harvest.result import Result
from harvest.show.figures import shown
from harvest.water.capture import Floats, year_depth
from harvest.water.curve_number import ROOF_CURVE_NUMBER, storm_runoff_mm
from harvest.weather import Weather, weather

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
CELLS_SHOWN = 4
SAME_AREA = 1e-9

OF_NO_FIGURE = "outputs."
"""Settings of where and how tables are written change no figure."""


def explain(
    project: Project, parcel: str, out: Path | None = None, claim_usd_yr: float | None = None
) -> list[str]:
    """The lines that work ``parcel`` (its id, or its whole address) from grid cell to dollars.

    With ``claim_usd_yr`` [USD/yr] they also say what a saving that somebody claims would take here.
    Reads the last result of ``project`` and the rainfall grid anew. Raises :class:`ResultError` when there is
    no result, no such parcel, or when settings changed since the run.
    """
    result = Result.at(project.out_folder(out))
    _check_current(project, result)
    row = parcel_row(result, parcel)
    roofs = result.table("roofs")
    assert isinstance(roofs, gpd.GeoDataFrame)
    roofs = roofs[roofs["parcel_id"].eq(row["parcel_id"])]
    lines = [*_lines(project, result, row, roofs)]
    if claim_usd_yr is not None:
        lines += ["", *claim_lines(claim_usd_yr, row, project.settings, result.run)]
    return lines


def _check_current(project: Project, result: Result) -> None:
    told = json.loads(json.dumps(list(settings_in_force(project.settings)), default=str))
    now = {one["setting"]: one["value"] for one in told}
    then = {one["setting"]: one["value"] for one in result.run["settings"]}
    names = (name for name in {**then, **now} if not name.startswith(OF_NO_FIGURE))
    changed = [name for name in names if then.get(name, ...) != now.get(name, ...)]
    if changed:
        raise ResultError(
            f"Settings changed since the run in {result.folder}: {', '.join(changed)}. "
            f"Run again: harvest run {project.path}"
        )


def _lines(project: Project, result: Result, row: pd.Series, roofs: gpd.GeoDataFrame) -> Iterator[str]:
    place = f", {row['address']}" if pd.notna(row["address"]) else ""
    why = f" ({row['reason']})" if pd.notna(row["reason"]) else ""
    yield f"Parcel {row['parcel_id']}{place}: {row['status']}{why}"
    yield from office_lines(row)
    if pd.notna(row["site_id"]):
        yield f'Its litres stand on the row of its site: harvest explain {project.path.name} "{row["site_id"]}"'
    if roofs.empty:
        yield "No roof lies on it, so there is nothing to work out."
        return
    if roofs["rain_mm_yr"].isna().all():
        yield "The rainfall grid holds no figure for any roof here, so there are no litres to work out."
        return
    settings = project.settings
    grid = read_rain(settings.rainfall, project.folder, settings.limits, bounds_wgs84([Extent.of(roofs)]))
    plane = CRS.from_string(result.run["plane"])
    outlines = onto_plane(roofs, plane)
    depth = rain_on(outlines, plane, grid).depth_mm
    yield ""
    yield from _areas(roofs)
    yield from _rain(roofs, outlines, year_depth(depth), grid, plane)
    yield from _season(roofs, depth, settings.season)
    days = _weather(project, result)
    yield from _litres(roofs, Litres.of(by_month(depth, settings.season), settings, days), settings)
    yield from _storm(row, settings)
    yield from barrel_lines(row, roofs, by_month(depth, settings.season), days, settings, result.run)
    yield ""
    yield from _conclusion(row, result)


def office_lines(row: pd.Series) -> Iterator[str]:
    """What the office's files say of the parcel of ``row``: corrections, visits, cautions; nothing where none do."""
    if pd.notna(row["corrected"]):
        yield f"Corrected by the office's file: {row['corrected']}."
    if pd.notna(row["visit_status"]):
        told = f"Visits: {row['visit_status']}"
        if row["visit_count"]:
            times = counted(int(row["visit_count"]), "visit")
            told += f"; {times}, nobody home at {row['not_home_count']}; last on {row['last_visit']}"
            told += f" ({row['last_outcome']})"
        installed = row["installed_barrels"]
        if pd.isna(installed):
            told += "; installed, but the log does not say how many barrels"
        elif installed:
            told += f"; installed {counted(int(installed), 'barrel')}, {row['installed_l']:,.0f} L"
        yield f"{told}."
    if pd.notna(row["door_caution"]):
        yield f"Caution at the door: {row['door_caution']}."
    if pd.notna(row["answer_chance"]):
        yield (
            f"Chances learned from the log: {row['answer_chance']:.2f} that somebody answers a first knock, "
            f"{row['join_chance']:.2f} that a home that answers joins."
        )


def _weather(project: Project, result: Result) -> Weather | None:
    """The days of the run, read or made up anew."""
    told = result.run["weather"]
    if told is None:
        return None
    settings, folder = project.settings, project.folder
    gauge = read_gauge(settings.gauge, folder, settings.limits) if settings.gauge else None
    heat = read_temperature(settings.temperature, folder, settings.limits) if settings.temperature else None
    return weather(gauge, heat, np.array(told["town_normals_mm"]), told["latitude_deg"], settings)


def _areas(roofs: gpd.GeoDataFrame) -> Iterator[str]:
    yield "1. Roof from above (horizontal projection; its slope does not change what rain it meets)"
    geod = Geod(ellps="WGS84")
    outlines = shapely.orient_polygons(roofs.geometry.to_crs(4326).to_numpy())
    for (_, roof), outline in zip(roofs.iterrows(), outlines, strict=True):
        on_ellipsoid = abs(geod.geometry_area_perimeter(outline)[0])
        share, mapped = "", roof["roof_area_m2"] * roof["parcel_share"]
        if roof["parcel_share"] < 1 - 1e-9:
            share = f" × share {roof['parcel_share']:.4f} = {mapped:.2f} m²"
        if abs(roof["catchment_area_m2"] / mapped - 1) > SAME_AREA:
            share += f", corrected by the office's file to {roof['catchment_area_m2']:.2f} m²"
        gutter = "" if roof["has_gutter"] else "; no gutter, so not capturable"
        yield (
            f"   roof {roof['roof_id']}: {roof['roof_area_m2']:.2f} m²{share}"
            f"  (checked on the ellipsoid: {on_ellipsoid:.2f} m²){gutter}"
        )


def _rain(
    roofs: gpd.GeoDataFrame, outlines: Geometries, year_mm: Floats, grid: RainGrid, plane: CRS
) -> Iterator[str]:
    yield "2. Rain in a year: mean of the grid cells that the roof touches, weighted by cover"
    pairs = cell_weights(transformed(outlines, between(plane, grid.crs)), grid)
    in_cells = grid.depth_mm.sum(axis=0)
    rows, columns = in_cells.shape
    for position, roof_id in enumerate(roofs["roof_id"]):
        mine = pairs.roof == position
        cells = []
        for row, column, weight in zip(pairs.row[mine], pairs.column[mine], pairs.weight[mine], strict=True):
            known = 0 <= row < rows and 0 <= column < columns and np.isfinite(in_cells[row, column])
            cells.append(
                f"row {grid.first_row + row + 1} column {grid.first_column + column + 1} "
                f"({weight / pairs.weight[mine].sum():.1%} of the roof) "
                + (f"{in_cells[row, column]:.1f} mm" if known else "no figure")
            )
        more = f"; and {len(cells) - CELLS_SHOWN} more" if len(cells) > CELLS_SHOWN else ""
        yield f"   roof {roof_id}: {'; '.join(cells[:CELLS_SHOWN])}{more} → {year_mm[position]:.1f} mm"


def _season(roofs: gpd.GeoDataFrame, depth_mm: Floats, season: Season) -> Iterator[str]:
    if season.whole_year:
        yield "3. Season: the whole year, since the project file sets none"
        return
    yield f"3. Season from {season.first} to {season.last}: each month's rain × the share of its days in season"
    shares = months_in_season(season)
    monthly = by_month(depth_mm, season)
    seen: set[str] = set()
    for roof_id, months in zip(roofs["roof_id"], monthly, strict=True):
        parts = [
            f"{name} {depth:.1f}" + ("" if share == 1 else f" × {share:.3f}")
            for name, depth, share in zip(MONTHS, months, shares, strict=True)
            if share > 0
        ]
        work = f"{' + '.join(parts)} = {months @ shares:.1f} mm"
        yield f"   roof {roof_id}: " + ("the same" if work in seen else work)
        seen.add(work)


def _litres(roofs: gpd.GeoDataFrame, depths: Litres, settings: Settings) -> Iterator[str]:
    losses = settings.losses
    event = losses.way == "event"
    name = "losses.event_coefficient" if event else "losses.coefficient"
    source = next(one for one in settings_in_force(settings) if one["setting"] == name)
    wetting = f"less {losses.wetting_mm_yr:g} mm of wetting " if losses.wetting_mm_yr and not event else ""
    yield f"4. Litres: area × rain {wetting}× runoff coefficient  (1 mm on 1 m² is 1 L)"
    if event:
        yield (
            f"   each day sheds {losses.filter_share:g} × max(0, {losses.event_coefficient:g} × max(0, rain − "
            f"{losses.wetting_mm:g} mm) − first flush {losses.first_flush_mm:g} mm); the coefficients below are what "
            "that leaves of all the rain"
        )
    yield f"   the coefficient stands by {source['from']}: {source['source']}"
    for position, (_, roof) in enumerate(roofs.iterrows()):
        area, gutter = roof["catchment_area_m2"], float(roof["has_gutter"])
        year, in_season = depths.year_left_mm[position], depths.season_left_mm[position]
        of_year, of_season = depths.year_coefficient[position], depths.season_coefficient[position]
        sheds, catches = area * year * of_year, area * gutter * in_season * of_season
        yield (
            f"   roof {roof['roof_id']}: {area:.2f} × {year:.1f} × {of_year:.4g} = {sheds:,.0f} L shed; in season "
            f"{area * gutter:.2f} × {in_season:.1f} × {of_season:.4g} = {catches:,.0f} L capturable"
        )
        if not np.allclose([sheds, catches], [roof["runoff_l_yr"], roof["capturable_l_yr"]], equal_nan=True):
            yield "   This is not what the tables hold: an input changed since the run, so run again."


def _storm(row: pd.Series, settings: Settings) -> Iterator[str]:
    depth, losses = settings.storm.depth_mm, settings.losses
    yield (
        f"5. One storm of {depth:g} mm: {row['catchment_area_m2']:.2f} m² × "
        f"{storm_left_mm(depth, losses):.2f} mm that runs off = {row['storm_l']:,.0f} L"
    )
    by_number = float(storm_runoff_mm(np.array(depth)))
    yield (
        f"   beside it: the NRCS curve number of a roof, {ROOF_CURVE_NUMBER:g}, gives {by_number:.2f} mm "
        f"({by_number / depth:.0%} of this storm; {float(storm_runoff_mm(np.array(254.0))) / 254:.0%} of a storm of "
        "254 mm). A curve number loses a fixed depth first, so small rains lose most; a coefficient is the same share "
        "of all rain, drizzle too, and also holds what splashes over the gutter. Neither is put into the other."
    )


def _conclusion(row: pd.Series, result: Result) -> Iterator[str]:
    units = result.run["units"]
    yield (
        f"Sum: sheds {row['runoff_l_yr']:,.0f} L a year ({shown(row['runoff_l_yr'], 'L/yr', units)}), of it "
        f"capturable {row['capturable_l_yr']:,.0f} L ({shown(row['capturable_l_yr'], 'L/yr', units)})."
    )
    if pd.notna(row["rank"]):
        length = result.run["totals"]["lists"][row["list"]]
        yield f"Rank {row['rank']} of {length:,} on the list of {row['list']} (score {row['rank_score']:,.0f})."
    yield "Potential, not yield: a barrel overflows in most storms and delivers a small part of what is capturable."
