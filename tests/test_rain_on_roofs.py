"""Rain on roofs, held to published zonal cases and to an independent library."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource
from pyproj import CRS, Transformer

from harvest.layers import RainGrid
from harvest.place.plane import local_plane, transformed
from harvest.place.rain import cell_weights, check_rain, rain_on

PLANE = local_plane((-0.05, -0.05, 0.05, 0.05))


def grid_of(
    values: np.ndarray, *, west: float = 0, north: float | None = None, cell: float = 1.0, crs: CRS = PLANE
):
    """A grid of ``values`` [bands, rows, columns] with its lower left corner at 0, 0 unless said otherwise."""
    values = np.asarray(values, dtype=float)
    top = values.shape[1] * cell if north is None else north
    return RainGrid(values, west, top, cell, cell, crs, 0, 0, (), ())


def one(polygon: shapely.Polygon) -> np.ndarray:
    return np.array([polygon], dtype=object)


def test_square_over_nine_cells() -> None:
    """exactextractr, test_exact_extract.R: cells 1 to 9, square 0.5 to 2.5: cover as printed, mean 5."""
    grid = grid_of(np.arange(1, 10).reshape(1, 3, 3))
    roof = one(shapely.box(0.5, 0.5, 2.5, 2.5))
    pairs = cell_weights(roof, grid)
    assert pairs.weight.tolist() == [0.25, 0.5, 0.25, 0.5, 1, 0.5, 0.25, 0.5, 0.25]
    assert pairs.weight.sum() == 4
    rain = rain_on(roof, PLANE, grid)
    assert rain.depth_mm[0, 0] == pytest.approx(5, abs=1e-12)
    assert rain.cover[0] == 1


def test_no_data_is_left_out_of_the_mean() -> None:
    """exactextractr, test_exact_extract.R: 1 to 100 with a block of no data, square 3.5 to 4.5: mean 58, cover 0.75."""
    values = np.arange(1, 101, dtype=float).reshape(1, 10, 10)
    values[0, 6:10, 0:4] = np.nan
    rain = rain_on(one(shapely.box(3.5, 3.5, 4.5, 4.5)), PLANE, grid_of(values))
    assert rain.depth_mm[0, 0] == pytest.approx(58, abs=1e-12)
    assert rain.cover[0] == pytest.approx(0.75, abs=1e-12)
    assert rain.depth_mm[0, 0] * rain.cover[0] == pytest.approx(43.5, abs=1e-12)


def test_no_figure_is_missing_and_never_zero() -> None:
    """exactextractr, test_exact_extract.R: all no data gives count 0 and no mean."""
    values = np.full((1, 4, 4), np.nan)
    inside_one_cell, across = shapely.box(0.2, 0.2, 0.6, 0.6), shapely.box(0.5, 0.5, 1.5, 1.5)
    rain = rain_on(np.array([inside_one_cell, across], dtype=object), PLANE, grid_of(values))
    assert np.isnan(rain.depth_mm).all()
    assert rain.cover.tolist() == [0, 0]
    (found,) = check_rain(rain, np.array(["a", "b"], dtype=object))
    assert (found.severity, found.count, found.first) == ("serious", 2, ("a", "b"))


def test_slanted_polygon_covers_part_of_a_cell() -> None:
    """exactextractr, test_exact_extract.R: the cell centred on 3.5, 4.5 is covered to 0.296875."""
    polygon = shapely.Polygon([(3.5, 4.4), (7.5, 4.5), (7.5, 6.5), (3.5, 6.5)])
    pairs = cell_weights(one(polygon), grid_of(np.zeros((1, 10, 10))))
    cell = (pairs.row == 5) & (pairs.column == 3)
    assert pairs.weight[cell] == pytest.approx([0.296875], abs=1e-8)


def random_roofs(count: int, extent: float, seed: int) -> np.ndarray:
    """Rotated L-shapes of 6 to 60 m, some with a courtyard, in the plane."""
    rng = np.random.default_rng(seed)
    roofs = []
    for size, angle, x, y in zip(
        rng.uniform(6, 60, count),
        rng.uniform(0, 6.3, count),
        *rng.uniform(-extent, extent, (2, count)),
        strict=True,
    ):
        shape = shapely.Polygon(
            [(0, 0), (size, 0), (size, size / 2), (size / 2, size / 2), (size / 2, size), (0, size)]
        )
        if size > 40:
            shape = shape.difference(shapely.box(2, 2, size / 3, size / 3))
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        roofs.append(shapely.transform(shape, lambda xy, turn=turn, x=x, y=y: xy @ turn + (x, y)))
    return np.array(roofs, dtype=object)


@pytest.mark.parametrize(("spread", "tolerance"), [(0.01, 1e-9), (0.9, 1e-7)])
@pytest.mark.parametrize(
    ("crs", "cell"), [(CRS.from_epsg(4326), 0.0006), (CRS.from_epsg(3857), 90.0), (PLANE, 45.0)]
)
def test_equals_an_independent_library(crs: CRS, cell: float, spread: float, tolerance: float) -> None:
    """exactextract (its Python package) gives the same mean for 400 roofs, holes in the grid too.

    The library keeps cover in single precision. Where neighbouring cells differ as rain does (one percent)
    that leaves 1e-9; where they differ wildly, 1e-7.
    """
    rng = np.random.default_rng(11)
    roofs = random_roofs(400, 900.0, 3)
    moved = transformed(roofs, Transformer.from_crs(PLANE, crs, always_xy=True))
    west, south, east, north = shapely.total_bounds(moved)
    rows, columns = int((north - south) / cell) + 3, int((east - west) / cell) + 3
    values = rng.uniform(100 * (1 - spread), 100 * (1 + spread), (12, rows, columns))
    values[:, rng.random((rows, columns)) < 0.05] = np.nan
    grid = grid_of(values, west=west - cell, north=north + cell, cell=cell, crs=crs)
    ours = rain_on(roofs, PLANE, grid)
    assert 0 < ours.straddling < len(roofs)
    frame = gpd.GeoDataFrame(geometry=moved, crs=crs)
    for band in (0, 6, 11):
        source = NumPyRasterSource(
            values[band],
            grid.west,
            grid.north - rows * cell,
            grid.west + columns * cell,
            grid.north,
            srs_wkt=crs.to_wkt(),
        )
        theirs = exact_extract(source, frame, ["mean", "count"], output="pandas")
        mean = theirs["mean"].to_numpy(dtype=float)
        assert np.array_equal(np.isnan(mean), np.isnan(ours.depth_mm[:, band]))
        known = ~np.isnan(mean)
        assert ours.depth_mm[known, band] == pytest.approx(mean[known], rel=tolerance)


def test_roof_reaching_beyond_the_grid_has_less_cover() -> None:
    rain = rain_on(one(shapely.box(-1, 0, 1, 1)), PLANE, grid_of(np.full((12, 2, 2), 50.0)))
    assert rain.cover[0] == pytest.approx(0.5)
    assert rain.depth_mm[0] == pytest.approx(np.full(12, 50.0))
    (found,) = check_rain(rain, np.array(["a"], dtype=object))
    assert found.severity == "warning"


def test_order_of_roofs_does_not_matter() -> None:
    roofs = random_roofs(60, 300, 5)
    grid = grid_of(np.random.default_rng(1).uniform(0, 90, (12, 20, 20)), west=-500, north=500, cell=50)
    order = np.random.default_rng(2).permutation(60)
    assert np.array_equal(
        rain_on(roofs, PLANE, grid).depth_mm[order], rain_on(roofs[order], PLANE, grid).depth_mm
    )
