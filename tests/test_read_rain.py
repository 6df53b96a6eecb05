"""Rainfall grids that can be used: what they are, where they lie, and what is said about them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from pyproj import CRS, Transformer

from harvest.errors import GridError
from harvest.layers import RainGrid
from harvest.read.rain_unit import parsed
from tests.fetch_data import debian_file
from tests.layers_made import checks, rain, write_grid

YEAR = np.arange(64, dtype="float32").reshape(1, 8, 8) + 900
MONTHS = np.arange(12 * 64, dtype="float32").reshape(12, 8, 8) / 10 + 50


def at(grid: RainGrid, x: float, y: float) -> np.ndarray:
    """The bands [mm] of the cell that holds point ``x``, ``y`` in the grid's own CRS."""
    return grid.depth_mm[:, int((grid.north - y) / grid.cell_y), int((x - grid.west) / grid.cell_x)]


def test_year_grid_is_cut_to_the_town_with_one_cell_more(tmp_path: Path) -> None:
    """Cells of 0.05° from 72.1° W, 42.2° N: the town touches 2 columns and 2 rows of them."""
    write_grid(tmp_path / "rain.tif", YEAR)
    grid = rain(tmp_path, "rain.tif", bounds=(-71.99, 42.01, -71.91, 42.09))
    assert not grid.monthly
    assert (grid.first_row, grid.first_column) == (1, 1)
    assert grid.depth_mm.tolist() == YEAR[:, 1:5, 1:5].tolist()
    assert (grid.west, grid.north) == pytest.approx((-72.05, 42.15))
    assert (grid.cell_x, grid.cell_y) == pytest.approx((0.05, 0.05))
    assert grid.crs == CRS(4326)
    assert grid.findings == ()
    assert [(source.role, source.rows) for source in grid.sources] == [("rainfall", None)]


def test_no_margin_where_the_grid_ends(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR)
    grid = rain(tmp_path, "rain.tif", bounds=(-72.099, 42.151, -72.09, 42.199))
    assert (grid.first_row, grid.first_column) == (0, 0)
    assert grid.depth_mm.shape == (1, 2, 2)


def test_months(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", MONTHS)
    grid = rain(tmp_path, "rain.tif")
    assert grid.monthly
    assert at(grid, -71.97, 42.03) == pytest.approx(MONTHS[:, 3, 2])


def test_twelve_files_are_the_same_as_twelve_bands(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", MONTHS)
    names = [write_grid(tmp_path / f"m{month:02d}.tif", MONTHS[month : month + 1]) for month in range(12)]
    one, twelve = rain(tmp_path, "rain.tif"), rain(tmp_path, names)
    assert np.array_equal(one.depth_mm, twelve.depth_mm)
    assert one.as_dict() == twelve.as_dict()
    assert [source.path.name for source in twelve.sources] == names
    assert twelve.findings == ()


def test_thirteenth_band_that_is_the_sum_is_dropped(tmp_path: Path) -> None:
    months = np.round(MONTHS)
    total = np.round(MONTHS.sum(axis=0, keepdims=True))
    write_grid(tmp_path / "rain.tif", np.concatenate([months, total]))
    grid = rain(tmp_path, "rain.tif")
    assert len(grid.depth_mm) == 12
    assert checks(grid) == {"sum band dropped": 1}
    assert at(grid, -71.97, 42.03) == pytest.approx(months[:, 3, 2])


def test_grid_stored_from_south_to_north(tmp_path: Path) -> None:
    """The same grid with its rows turned round gives the same cells."""
    write_grid(tmp_path / "north.tif", MONTHS)
    south_up = rasterio.Affine(0.05, 0, -72.1, 0, 0.05, 42.2 - 8 * 0.05)
    write_grid(tmp_path / "south.tif", MONTHS[:, ::-1], transform=south_up)
    north, south = rain(tmp_path, "north.tif"), rain(tmp_path, "south.tif")
    assert np.array_equal(north.depth_mm, south.depth_mm)
    assert (south.west, south.north) == pytest.approx((north.west, north.north))
    assert (south.first_row, south.first_column) == (north.first_row, north.first_column)


def test_grid_in_feet(tmp_path: Path) -> None:
    """EPSG:2249 is in US survey feet; the cell under the town's middle is found by transforming its corner."""
    x, y = Transformer.from_crs(4326, 2249, always_xy=True).transform(-71.95, 42.05)
    write_grid(tmp_path / "rain.tif", YEAR, west=x - 40_000, north=y + 40_000, cell=10_000, crs=2249)
    grid = rain(tmp_path, "rain.tif", bounds=(-71.951, 42.049, -71.949, 42.051))
    assert grid.crs.axis_info[0].unit_name == "US survey foot"
    assert at(grid, x + 1, y - 1).tolist() == YEAR[:, 4, 4].tolist()


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("mm", 1), ("inch", 25.4), ("cm", 10), ("m", 1000), ("0.1 mm", 0.1), ("0.01 inch", 0.254)],
)
def test_units(tmp_path: Path, unit: str, factor: float) -> None:
    """1 in = 25.4 mm exactly (international yard and pound agreement of 1959)."""
    write_grid(tmp_path / "said.tif", YEAR.astype("float64") / factor, unit=None)
    write_grid(tmp_path / "own.tif", YEAR.astype("float64") / factor, unit=unit)
    for grid in (rain(tmp_path, "said.tif", unit=unit), rain(tmp_path, "own.tif")):
        assert at(grid, -71.97, 42.03) == pytest.approx(YEAR[:, 3, 2], rel=1e-12)
        assert grid.findings == ()


@pytest.mark.parametrize(
    ("text", "unit", "period"),
    [
        ("mm", "mm", None),
        ("Millimeters", "mm", None),
        ("mm/m", "mm", "month"),
        ("mm/month", "mm", "month"),
        ("mm month-1", "mm", "month"),
        ("mm per month", "mm", "month"),
        ("mm/yr", "mm", "year"),
        ("mm yr-1", "mm", "year"),
        ("mm yr^-1", "mm", "year"),
        ("kg m-2", "mm", None),
        ("kg m^-2", "mm", None),
        ("kg m-2 month-1", "mm", "month"),
        ("in", "inch", None),
        ("inches/year", "inch", "year"),
        ("m", "m", None),
        ("0.1 mm", "0.1 mm", None),
        ("mm/day", None, None),
        ("kg m-2 s-1", None, None),
        ("mm/h", None, None),
        ("K", None, None),
        ("dBZ", None, None),
    ],
)
def test_what_files_call_units(text: str, unit: str | None, period: str | None) -> None:
    assert parsed(text) == (unit, period)


def test_unit_from_a_tag(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR / 25.4, unit=None)
    with rasterio.open(tmp_path / "rain.tif", "r+") as target:
        target.update_tags(units="inches")
    assert at(rain(tmp_path, "rain.tif"), -71.97, 42.03) == pytest.approx(YEAR[:, 3, 2])


def test_project_file_wins_over_the_unit_of_the_file(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR / 25.4, unit="mm")
    grid = rain(tmp_path, "rain.tif", unit="inch")
    assert at(grid, -71.97, 42.03) == pytest.approx(YEAR[:, 3, 2])
    assert checks(grid) == {"unit contradicted": 1}


def test_scale_and_offset(tmp_path: Path) -> None:
    """Stored = (depth − 500) / 0.5."""
    write_grid(tmp_path / "rain.tif", ((YEAR - 500) / 0.5).astype("int16"), nodata=-1)
    with rasterio.open(tmp_path / "rain.tif", "r+") as target:
        target.scales, target.offsets = (0.5,), (500,)
    assert at(rain(tmp_path, "rain.tif"), -71.97, 42.03) == pytest.approx(YEAR[:, 3, 2])


@pytest.mark.parametrize("nodata", [-9999.0, 0.0, 65535.0, 1e20, float("nan")])
def test_flagged_no_data_is_missing(tmp_path: Path, nodata: float) -> None:
    values = YEAR.copy()
    values[0, 3, 2] = nodata
    write_grid(tmp_path / "rain.tif", values, nodata=nodata)
    grid = rain(tmp_path, "rain.tif")
    assert np.isnan(at(grid, -71.97, 42.03)).all()
    assert int(np.isnan(grid.depth_mm).sum()) == 1
    assert checks(grid) == {"cells without rain": 1}
    assert grid.findings[0].severity == "note"


@pytest.mark.parametrize("value", [-3276.7, -9999.0, -1.0])
def test_unflagged_no_data_is_named(tmp_path: Path, value: float) -> None:
    values = YEAR.copy()
    values[0, 2:4, 1:3] = value
    write_grid(tmp_path / "rain.tif", values)
    grid = rain(tmp_path, "rain.tif")
    assert int(np.isnan(grid.depth_mm).sum()) == 4
    assert checks(grid)["unflagged no-data"] == 4
    assert f"{value:g}" in grid.findings[0].message


def test_unflagged_no_data_in_a_real_file(tmp_path: Path) -> None:
    """metdata.nc holds −3276.7 in 17.8 % of cells and no flag; its first day, times 100, stands for a year."""
    with rasterio.open(debian_file("metdata.nc")) as source:
        first, transform = source.read(1), source.transform
    assert np.isclose(first, -3276.7).mean() == pytest.approx(0.178, abs=0.001)
    values = np.where(np.isclose(first, -3276.7), first, first * 100 + 500)[None]
    write_grid(tmp_path / "rain.tif", values.astype("float32"), transform=transform)
    west, north = transform.c, transform.f
    everything = (west, north - 211 / 24, west + 470 / 24, north)
    grid = rain(tmp_path, "rain.tif", bounds=everything)
    assert np.isnan(grid.depth_mm).mean() == pytest.approx(0.178, abs=0.001)
    assert "-3276.7, an unflagged no-data value" in grid.findings[-2].message
    assert np.nanmin(grid.depth_mm) >= 500


def test_a_few_negative_and_infinite_figures_are_missing(tmp_path: Path) -> None:
    values = YEAR.copy()
    values[0, 2, 1:4] = (-0.4, np.inf, -np.inf)
    values[0, 3, 1] = np.nan
    write_grid(tmp_path / "rain.tif", values)
    grid = rain(tmp_path, "rain.tif")
    assert int(np.isnan(grid.depth_mm).sum()) == 4
    assert checks(grid) == {
        "infinite rain": 2,
        "negative rain": 1,
        "not a number": 1,
        "cells without rain": 2,
    }


def test_huge_unflagged_no_data_is_missing(tmp_path: Path) -> None:
    for value in (65535.0, 3.4e38, 1e20):
        values = YEAR.copy()
        values[0, 2, 1] = value
        write_grid(tmp_path / "rain.tif", values)
        grid = rain(tmp_path, "rain.tif")
        assert int(np.isnan(grid.depth_mm).sum()) == 1
        assert checks(grid)["unflagged no-data"] == 1


def test_a_cell_that_lacks_one_month_is_missing(tmp_path: Path) -> None:
    values = MONTHS.copy()
    values[4, 3, 2] = -9999
    write_grid(tmp_path / "rain.tif", values, nodata=-9999)
    grid = rain(tmp_path, "rain.tif")
    assert np.isnan(at(grid, -71.97, 42.03)).all()
    assert checks(grid) == {"months missing": 1, "cells without rain": 1}


def test_grid_that_ends_inside_the_town(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR)
    grid = rain(tmp_path, "rain.tif", bounds=(-71.8, 42.0, -71.6, 42.1))
    assert checks(grid) == {"grid covers part of the town": 1}


def test_longitudes_from_0_to_360(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR, west=360 - 72.1)
    write_grid(tmp_path / "same.tif", YEAR)
    turned, same = rain(tmp_path, "rain.tif"), rain(tmp_path, "same.tif")
    assert np.array_equal(turned.depth_mm, same.depth_mm)
    assert turned.west == pytest.approx(same.west)


def test_crs_from_the_project_file(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR, crs=None)
    with pytest.raises(GridError, match=r"add crs = .* to \[rainfall\]"):
        rain(tmp_path, "rain.tif")
    assert rain(tmp_path, "rain.tif", crs="EPSG:4326").findings == ()


CITIES = {
    "Raleigh": (-78.64, 35.78, 1337.5),
    "Asheville": (-82.55, 35.595, 941.8),
    "Charlotte": (-80.84, 35.227, 912.6),
}


@pytest.mark.parametrize("city", CITIES)
def test_real_monthly_netcdf(city: str) -> None:
    """bcsd_obs_1999.nc: totals of 1999 in the cells of three cities, read beforehand with another library."""
    path = debian_file("bcsd_obs_1999.nc")
    longitude, latitude, total = CITIES[city]
    bounds = (longitude, latitude, longitude + 1e-6, latitude + 1e-6)
    grid = rain(path.parent, path.name, bounds=bounds, variable="pr")
    assert grid.monthly
    assert at(grid, longitude, latitude).sum() == pytest.approx(total, abs=0.05)
    if city == "Raleigh":
        assert at(grid, longitude, latitude)[8] == pytest.approx(519.9, abs=0.05)
    assert checks(grid) == {"crs assumed": 1}
    assert grid.crs == CRS(4326)


def test_real_monthly_netcdf_as_a_whole() -> None:
    """The same file: no-data in 593 of its 2,673 cells."""
    path = debian_file("bcsd_obs_1999.nc")
    grid = rain(path.parent, path.name, bounds=(-84.99, 33.01, -74.89, 37.11), variable="pr")
    assert grid.depth_mm.shape == (12, 33, 81)
    assert int(np.isnan(grid.depth_mm).all(axis=0).sum()) == 593
    assert checks(grid) == {"crs assumed": 1, "cells without rain": 593}
