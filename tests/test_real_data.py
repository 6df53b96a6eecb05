"""The main job on real neighbourhoods and a real rainfall grid, read from packages; no copy is kept here.

Prague (Bubenec): buildings and plots that momepy carries (buildings OpenStreetMap, ODbL; package BSD-3).
Finland: a suburb that pyrosm carries as an OpenStreetMap extract (ODbL), buildings without parcels.
Carolinas: monthly rain of 1999 at 1/8°, from Debian's package r-cran-stars (file: freely available).
No fine grid covers the two towns, so each gets a small GeoTIFF of a stated value, or is moved.
"""

from __future__ import annotations

from importlib.metadata import distribution
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from fetch_data import debian_file
from pyproj import CRS, Geod
from rasterio.transform import Affine

from harvest.clock import Clock
from harvest.estimate import Estimate, estimate
from harvest.project import read_project
from harvest.result import Result
from harvest.run import read_inputs, run

BUBENEC = Path(str(distribution("momepy").locate_file("momepy/datasets/bubenec.gpkg")))
FINLAND = Path(str(distribution("pyrosm").locate_file("pyrosm/data/test.osm.pbf")))
RALEIGH = (-78.69, 35.81)
GEOD = Geod(ellps="WGS84")


def flat_grid(path: Path, bounds: tuple[float, ...], mm_yr: float) -> None:
    """A 12-band grid of equal months over ``bounds`` [degrees], ``mm_yr`` in all."""
    west, south, east, north = bounds
    size = 0.01
    shape = (int((north - south) / size) + 3, int((east - west) / size) + 3)
    with rasterio.open(
        path, "w", driver="GTiff", dtype="float64", count=12, height=shape[0], width=shape[1], crs="EPSG:4326",
        transform=Affine(size, 0, west - size, 0, -size, north + size),
    ) as grid:  # fmt: skip
        grid.write(np.full((12, *shape), mm_yr / 12))
        grid.units = ("mm",) * 12


def estimated(project: Path) -> Estimate:
    opened = read_project(project)
    return estimate(read_inputs(opened, Clock()), opened.settings, Clock())


def geodesic_areas(frame: gpd.GeoDataFrame) -> np.ndarray:
    outlines = shapely.orient_polygons(frame.geometry.to_crs(4326).to_numpy())
    return np.array([abs(GEOD.geometry_area_perimeter(outline)[0]) for outline in outlines])


def prague_project(folder: Path) -> Path:
    buildings = gpd.read_file(BUBENEC, layer="buildings")
    flat_grid(folder / "rain.tif", buildings.to_crs(4326).total_bounds, 500.0)
    (folder / "b.gpkg").write_bytes(BUBENEC.read_bytes())
    project = folder / "prague.toml"
    project.write_text(
        """
        [town]
        name = "A quarter of Prague"
        units = "metric"
        [footprints]
        file = "b.gpkg"
        layer = "buildings"
        id = "uID"
        [parcels]
        file = "b.gpkg"
        layer = "plots"
        [rainfall]
        file = "rain.tif"
        [outputs]
        formats = []
        figure = false
        brief = false
        """,
        encoding="utf-8",
    )
    return project


def test_prague_end_to_end(tmp_path: Path) -> None:
    """144 real buildings on 407 real plots, stored in Web Mercator, where areas would come out 2.4 times too large."""
    result: Result = run(read_project(prague_project(tmp_path)), tmp_path / "out")
    roofs = result.table("roofs").drop_duplicates("roof_id")
    assert roofs["roof_area_m2"].sum() == pytest.approx(43_151, rel=1e-3)
    assert gpd.read_file(BUBENEC, layer="buildings").area.sum() == pytest.approx(104_843, rel=1e-3)
    assert roofs["roof_area_m2"].to_numpy() == pytest.approx(geodesic_areas(roofs), rel=1e-5)
    run_totals = result.run["totals"]
    assert run_totals["roofs"] == 144
    assert run_totals["runoff_l_yr"] == pytest.approx(43_151 * 500 * 0.8, rel=1e-3)
    parcels, rows = result.table("parcels"), result.table("roofs")
    lost = rows[rows["parcel_id"].isna()]["runoff_l_yr"].sum()
    assert parcels["runoff_l_yr"].sum() + lost == pytest.approx(rows["runoff_l_yr"].sum(), rel=1e-9)


def test_prague_roofs_lie_on_one_plot_but_for_those_that_straddle(tmp_path: Path) -> None:
    """GeoPandas' own overlay names the plot that holds most of each building; ours agrees with all of them."""
    found = estimated(prague_project(tmp_path))
    buildings = gpd.read_file(BUBENEC, layer="buildings").to_crs(32633)
    plots = gpd.read_file(BUBENEC, layer="plots").to_crs(32633)[["geometry"]]
    plots["plot"] = [f"row {i + 1}" for i in range(len(plots))]
    pieces = gpd.overlay(buildings[["uID", "geometry"]], plots, how="intersection", keep_geom_type=True)
    most = pieces.loc[pieces.area.groupby(pieces["uID"]).idxmax()].set_index(pieces["uID"].astype(str).loc[
        pieces.area.groupby(pieces["uID"]).idxmax()])["plot"]  # fmt: skip
    ours = (
        found.roofs.sort_values("parcel_share").drop_duplicates("roof_id", keep="last").set_index("roof_id")
    )
    assert (ours["parcel_id"] == most.reindex(ours.index)).all()
    assert found.roofs.loc[found.roofs["placement"] == "divided", "roof_id"].nunique() <= 3


def finland_project(folder: Path) -> Path:
    (folder / "suburb.osm.pbf").write_bytes(FINLAND.read_bytes())
    boxes = pyogrio.read_bounds(FINLAND, layer="multipolygons")[1]
    flat_grid(folder / "rain.tif", (*boxes[:2].min(axis=1), *boxes[2:].max(axis=1)), 600.0)
    project = folder / "suburb.toml"
    project.write_text(
        """
        [town]
        name = "A suburb in Finland"
        units = "metric"
        [footprints]
        file = "suburb.osm.pbf"
        kind = "building"
        address = ["addr:street", "addr:housenumber"]
        [rainfall]
        file = "rain.tif"
        """,
        encoding="utf-8",
    )
    return project


@pytest.mark.filterwarnings("ignore:Non closed ring detected")
def test_finland_without_parcels(tmp_path: Path) -> None:
    """2,215 real buildings that can be read, 348,904 m² in all; each stands for itself."""
    found = estimated(finland_project(tmp_path))
    area = found.roofs.drop_duplicates("roof_id")
    read = found.accounts[0]
    assert read.rows_in - read.dropped["geometry can't be read"] == 2215
    assert len(found.parcels) == found.accounts[0].rows_out
    # duplicates and overlaps are taken off, so a little below the sum of all outlines
    assert 0.98 * 348_904 < area["roof_area_m2"].sum() <= 348_904 * 1.001
    assert area["roof_area_m2"].to_numpy() == pytest.approx(geodesic_areas(area), rel=1e-5)
    assert found.parcels["runoff_l_yr"].sum() == pytest.approx(
        area["roof_area_m2"].sum() * 600 * 0.8, rel=1e-9
    )


def carolina_project(folder: Path) -> Path:
    """Prague's quarter, set down in Raleigh, under the real monthly rain of 1999."""
    (folder / "bcsd_obs_1999.nc").write_bytes(debian_file("bcsd_obs_1999.nc").read_bytes())
    here = CRS.from_proj4(f"+proj=laea +lat_0={RALEIGH[1]} +lon_0={RALEIGH[0]} +datum=WGS84")
    for layer in ("buildings", "plots"):
        frame = gpd.read_file(BUBENEC, layer=layer).to_crs(32633)
        x, y = 457_700, 5_551_000
        west, south, east, north = gpd.read_file(BUBENEC, layer="buildings").to_crs(32633).total_bounds
        x, y = (west + east) / 2, (south + north) / 2
        frame.set_geometry(frame.geometry.translate(-x, -y).set_crs(here, allow_override=True)).to_file(
            folder / f"{layer}.gpkg"
        )
    project = folder / "raleigh.toml"
    project.write_text(
        """
        [town]
        name = "Prague in Raleigh"
        [footprints]
        file = "buildings.gpkg"
        id = "uID"
        [parcels]
        file = "plots.gpkg"
        [rainfall]
        file = "bcsd_obs_1999.nc"
        variable = "pr"
        [season]
        first = "09-01"
        last = "09-30"
        """,
        encoding="utf-8",
    )
    return project


def test_carolinas_grid(tmp_path: Path) -> None:
    """Raleigh's cell held 1,337.5 mm in 1999, of it 519.9 in September: three hurricanes."""
    found = estimated(carolina_project(tmp_path))
    assert found.roofs["rain_mm_yr"].to_numpy() == pytest.approx(1337.5, abs=0.1)
    assert found.roofs["season_rain_mm_yr"].to_numpy() == pytest.approx(519.9, abs=0.1)
    expected = found.roofs["catchment_area_m2"].sum() * 519.9 * 0.8
    assert found.roofs["capturable_l_yr"].sum() == pytest.approx(expected, rel=1e-3)
