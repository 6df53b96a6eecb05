"""Rainfall grids that can't be used: each refusal says why, and what to do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from harvest.errors import GridError
from harvest.project.outputs import Limits
from tests.fetch_data import debian_file
from tests.layers_made import rain, write_grid

YEAR = np.full((1, 8, 8), 1092.2, dtype="float32")
MONTHS = np.full((12, 8, 8), 90.0, dtype="float32")


@pytest.mark.parametrize("bands", [2, 7, 14, 24, 365])
def test_number_of_bands(tmp_path: Path, bands: int) -> None:
    write_grid(tmp_path / "rain.tif", np.full((bands, 8, 8), 90.0, "float32"))
    with pytest.raises(GridError, match=rf"rain\.tif has {bands} bands where rainfall needs 1 band .* or 12"):
        rain(tmp_path, "rain.tif")


def test_thirteenth_band_that_is_not_the_sum(tmp_path: Path) -> None:
    mean = MONTHS.mean(axis=0, keepdims=True)
    write_grid(tmp_path / "rain.tif", np.concatenate([MONTHS, mean]))
    with pytest.raises(GridError, match="13 bands and the last is not the sum"):
        rain(tmp_path, "rain.tif")


def test_twelve_files_of_which_one_has_more_bands(tmp_path: Path) -> None:
    names = [write_grid(tmp_path / f"m{month}.tif", MONTHS[:1]) for month in range(12)]
    write_grid(tmp_path / "m7.tif", MONTHS[:2])
    with pytest.raises(GridError, match=r"m7\.tif has 2 bands where rainfall needs 1 band each"):
        rain(tmp_path, names)


@pytest.mark.parametrize("other", [{"west": -72.11}, {"cell": 0.051}, {"crs": 4269}])
def test_twelve_files_on_different_grids(tmp_path: Path, other: dict[str, float]) -> None:
    names = [write_grid(tmp_path / f"m{month}.tif", MONTHS[:1]) for month in range(12)]
    write_grid(tmp_path / "m7.tif", MONTHS[:1], **other)
    with pytest.raises(GridError, match=r"m7\.tif has other cells than m0\.tif"):
        rain(tmp_path, names)


def test_twelve_files_in_different_units(tmp_path: Path) -> None:
    names = [write_grid(tmp_path / f"m{month}.tif", MONTHS[:1]) for month in range(12)]
    write_grid(tmp_path / "m7.tif", MONTHS[:1], unit="inch")
    with pytest.raises(GridError, match=r"m7\.tif is in 'inch', m0\.tif in 'mm'"):
        rain(tmp_path, names)


def test_missing_among_twelve_files(tmp_path: Path) -> None:
    names = [write_grid(tmp_path / f"m{month:02d}.tif", MONTHS[:1]) for month in range(12)]
    (tmp_path / "m07.tif").unlink()
    with pytest.raises(GridError, match=r"m07\.tif: there is no such file .* did you mean m"):
        rain(tmp_path, names)


def test_rotated(tmp_path: Path) -> None:
    turned = (
        rasterio.Affine.translation(-72.1, 42.2) @ rasterio.Affine.rotation(10) @ rasterio.Affine.scale(0.05)
    )
    write_grid(tmp_path / "rain.tif", YEAR, transform=turned)
    with pytest.raises(GridError, match="rotated; resample it to a north-up grid"):
        rain(tmp_path, "rain.tif")


def test_not_georeferenced(tmp_path: Path) -> None:
    with pytest.warns(rasterio.errors.NotGeoreferencedWarning):
        write_grid(tmp_path / "rain.tif", YEAR, transform=rasterio.Affine.identity(), crs=None)
    with pytest.raises(GridError, match="does not say where it lies"):
        rain(tmp_path, "rain.tif")


def test_curvilinear_netcdf() -> None:
    path = debian_file("test_stageiv_xyt.nc")
    with pytest.raises(GridError, match=r"its own latitude and longitude .a curvilinear grid.; resample"):
        rain(path.parent, path.name, bounds=(-80.0, 35.0, -79.0, 36.0))


def test_netcdf_of_several_variables() -> None:
    path = debian_file("bcsd_obs_1999.nc")
    bounds = (-79.0, 35.5, -78.3, 36.0)
    with pytest.raises(GridError, match="variable = one of pr, tas"):
        rain(path.parent, path.name, bounds=bounds)
    with pytest.raises(GridError, match="no variable 'prec'; did you mean 'pr'"):
        rain(path.parent, path.name, bounds=bounds, variable="prec")
    with pytest.raises(GridError, match="is in 'C', which is no depth of rain"):
        rain(path.parent, path.name, bounds=bounds, variable="tas")


def test_netcdf_of_days() -> None:
    path = debian_file("metdata.nc")
    with pytest.raises(GridError, match="5 bands"):
        rain(path.parent, path.name, bounds=(-85.0, 35.0, -84.0, 36.0))


def test_does_not_reach_the_town(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR)
    with pytest.raises(GridError) as refused:
        rain(tmp_path, "rain.tif", bounds=(-80.0, 35.0, -79.9, 35.1))
    told = str(refused.value)
    assert "longitude -72.10 to -71.70, latitude 41.80 to 42.20" in told
    assert "longitude -80.00 to -79.90, latitude 35.00 to 35.10" in told
    assert "Check the CRS of both." in told


def test_latitude_and_longitude_swapped(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR, west=41.9, north=-71.8)
    with pytest.raises(GridError, match="latitude and longitude swapped they would meet"):
        rain(tmp_path, "rain.tif")


def test_town_outside_the_projection(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR, crs=32619, west=250_000, north=4_700_000, cell=2000)
    with pytest.raises(GridError, match="does not reach the town"):
        rain(tmp_path, "rain.tif", bounds=(110.0, -30.0, 110.1, -29.9))


def test_no_figure_over_the_town(tmp_path: Path) -> None:
    values = YEAR.copy()
    values[0, 1:5, 1:5] = -9999
    write_grid(tmp_path / "rain.tif", values, nodata=-9999)
    with pytest.raises(GridError, match="no figure over the town: all 4 cells"):
        rain(tmp_path, "rain.tif", bounds=(-71.99, 42.01, -71.91, 42.09))
    write_grid(tmp_path / "rain.tif", values)
    with pytest.raises(GridError, match="no figure over the town"):
        rain(tmp_path, "rain.tif", bounds=(-71.99, 42.01, -71.91, 42.09))


def test_unit_that_nobody_told(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR, unit=None)
    with pytest.raises(GridError, match=r'does not say the unit .* plausible as "mm" \(1,092 mm a year\)'):
        rain(tmp_path, "rain.tif")


@pytest.mark.parametrize(
    ("declared", "true", "factor"),
    [
        ("mm", "inch", 25.4),
        ("mm", "0.1 mm", 0.1),
        ("0.01 inch", "inch", 25.4),
        ("inch", "mm", 1.0),
        ("mm", "m", 1000.0),
        ("cm", "mm", 1.0),
        ("m", "mm", 1.0),
    ],
)
@pytest.mark.parametrize("months", [False, True])
def test_wrong_unit_is_named(tmp_path: Path, declared: str, true: str, factor: float, months: bool) -> None:
    """43 inches, 1,092 mm, 10,922 tenths: each declared as another unit."""
    values = (np.repeat(YEAR / 12, 12, axis=0) if months else YEAR) / factor
    write_grid(tmp_path / "rain.tif", values, unit=declared)
    with pytest.raises(GridError, match=rf'"{true}" \(1,092 mm a year\)') as refused:
        rain(tmp_path, "rain.tif")
    assert f"(unit {declared})" in str(refused.value)
    assert rain(tmp_path, "rain.tif", unit=true).depth_mm.sum(axis=0).mean() == pytest.approx(
        1092.2, rel=1e-5
    )


def test_no_unit_explains_the_figures(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", np.zeros((1, 8, 8), "float32"))
    with pytest.raises(GridError, match=r"gives the town 0 mm a year .* no unit explains that"):
        rain(tmp_path, "rain.tif")


@pytest.mark.parametrize("unit", ["mm/day", "kg m-2 s-1", "degC"])
def test_unit_that_is_no_depth(tmp_path: Path, unit: str) -> None:
    write_grid(tmp_path / "rain.tif", YEAR, unit=unit)
    with pytest.raises(GridError, match="no depth of rain per month or year"):
        rain(tmp_path, "rain.tif")


def test_period_of_the_unit_contradicts_the_bands(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", YEAR, unit="mm/month")
    with pytest.raises(GridError, match="one band for a year"):
        rain(tmp_path, "rain.tif")
    write_grid(tmp_path / "rain.tif", MONTHS, unit="mm/yr")
    with pytest.raises(GridError, match="12 bands, one a month"):
        rain(tmp_path, "rain.tif")


def test_window_above_the_memory_limit(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", np.full((12, 300, 300), 90, "uint8"), cell=0.0005, compress="deflate")
    with pytest.raises(GridError, match=r"memory_gb = 0\.01"):
        rain(tmp_path, "rain.tif", bounds=(-72.09, 42.1, -72.0, 42.19), limits=Limits(memory_gb=0.01))
    assert rain(tmp_path, "rain.tif", bounds=(-72.09, 42.18, -72.08, 42.19), limits=Limits(memory_gb=0.01))


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("rain.asc", "name must end in"),
        ("https://example.org/rain.tif", "address"),
        ("NETCDF:rain.nc:pr", "address"),
        ("/vsicurl/https://example.org/rain.tif", "virtual path"),
        ("rain.vrt", "VRT"),
    ],
)
def test_names_that_are_refused(tmp_path: Path, name: str, why: str) -> None:
    for plain in ("rain.asc", "rain.vrt"):
        (tmp_path / plain).write_text("anything")
    with pytest.raises(GridError, match=why):
        rain(tmp_path, name)
