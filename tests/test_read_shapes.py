"""Cleaning: every geometry ends as a valid 2-D polygon, or is dropped, counted and named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from harvest.errors import LayerError
from harvest.layers import Layer
from tests.layers_made import HOME, checks, footprints, parcels, squares, write_disc, written

SQUARE = shapely.box(0, 0, 10, 10)
BOW_TIE = shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
FORMATS = ["a.gpkg", "a.parquet"]


def read(folder: Path, shapes: list[Any], name: str = "a.parquet") -> Layer:
    """``shapes``, moved to :data:`HOME`, as parcels with ids a, b, c …"""
    moved = [None if one is None else translate(one, *HOME) for one in shapes]
    ids = [chr(ord("a") + number) for number in range(len(shapes))]
    written(gpd.GeoDataFrame({"pid": ids}, geometry=moved, crs=26986), folder, name)
    return parcels(folder, name, id="pid")


@pytest.mark.parametrize("name", FORMATS)
def test_null_and_empty_geometry_is_dropped_and_counted(tmp_path: Path, name: str) -> None:
    moved = [translate(SQUARE, *HOME), None, shapely.Polygon(), translate(SQUARE, *HOME)]
    written(gpd.GeoDataFrame({"pid": list("abcd")}, geometry=moved, crs=26986), tmp_path, name)
    layer = parcels(tmp_path, name, id="pid")
    assert layer.frame["parcel_id"].tolist() == ["a", "d"]
    assert sum(layer.account.dropped.values()) == 2
    assert layer.account.dropped["no geometry"] >= 1
    named = {one for finding in layer.findings for one in finding.first}
    assert named == {"b", "c"}


def test_self_crossing_polygon_is_repaired_and_counted(tmp_path: Path) -> None:
    """A bow tie of two triangles, each 10 wide and 5 high: 50 m²."""
    layer = read(tmp_path, [SQUARE, BOW_TIE])
    assert layer.frame.geometry.area.tolist() == pytest.approx([100, 50])
    assert layer.frame.geometry.is_valid.all()
    assert checks(layer) == {"repaired": 1}
    assert layer.findings[0].first == ("b",)
    assert layer.account.rows_out == 2


def test_spike_and_repeated_ring_are_repaired(tmp_path: Path) -> None:
    spike = shapely.Polygon([(0, 0), (10, 0), (10, 10), (5, 10), (5, 20), (5, 10), (0, 10)])
    hole_outside = shapely.Polygon(SQUARE.exterior, [shapely.box(20, 20, 30, 30).exterior])
    layer = read(tmp_path, [spike, hole_outside])
    assert layer.frame.geometry.area[0] == pytest.approx(100)
    assert layer.frame.geometry.is_valid.all()
    assert set(shapely.get_type_id(layer.frame.geometry.array)) <= {3, 6}


def test_repair_that_leaves_nothing_drops_the_row(tmp_path: Path) -> None:
    flat = shapely.Polygon([(0, 0), (10, 10), (5, 5), (0, 0)])
    layer = read(tmp_path, [SQUARE, flat])
    assert layer.frame["parcel_id"].tolist() == ["a"]
    assert layer.account.dropped == {"outline without area": 1}
    assert checks(layer) == {"outline without area": 1}


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet"])
def test_heights_are_dropped(tmp_path: Path, name: str) -> None:
    high = shapely.force_3d(SQUARE, 120.5)
    layer = read(tmp_path, [high, high], name)
    assert not layer.frame.geometry.has_z.any()
    assert checks(layer) == {"heights ignored": 2}
    assert layer.frame.geometry.area.round(6).tolist() == [100, 100]


def test_measures_are_dropped(tmp_path: Path) -> None:
    x, y = (int(corner) for corner in HOME)
    corners = f"{x} {y} 1, {x + 10} {y} 2, {x + 10} {y + 10} 3, {x} {y + 10} 4, {x} {y} 5"
    moved = shapely.from_wkt(f"POLYGON M (({corners}))")
    frame = gpd.GeoDataFrame(geometry=[moved], crs=26986)
    assert shapely.has_m(moved)
    written(frame, tmp_path, "a.parquet")
    layer = parcels(tmp_path, "a.parquet")
    assert not shapely.has_m(layer.frame.geometry.array).any()
    assert checks(layer) == {"heights ignored": 1}
    assert layer.frame.geometry.area.tolist() == pytest.approx([100])


def test_parts_stay_together(tmp_path: Path) -> None:
    two = shapely.MultiPolygon([SQUARE, translate(SQUARE, 50)])
    layer = read(tmp_path, [SQUARE, two])
    assert layer.frame.geometry.area.tolist() == [100, 200]
    assert layer.findings == ()


def test_polygons_are_taken_out_of_collections(tmp_path: Path) -> None:
    line = shapely.LineString([(0, 0), (30, 30)])
    inner = shapely.GeometryCollection([translate(SQUARE, 50), shapely.Point(1, 1)])
    layer = read(tmp_path, [shapely.GeometryCollection([SQUARE, line, inner]), SQUARE])
    assert layer.frame.geometry.area.tolist() == [200, 100]


def test_odd_lines_among_polygons_are_dropped(tmp_path: Path) -> None:
    line = shapely.LineString([(0, 0), (30, 30)])
    only_line = shapely.GeometryCollection([line])
    layer = read(tmp_path, [SQUARE, line, only_line, shapely.Point(0, 0)])
    assert layer.frame["parcel_id"].tolist() == ["a"]
    assert layer.account.dropped == {"not a polygon": 3}


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet"])
@pytest.mark.parametrize(
    ("shape", "what"), [(shapely.LineString([(0, 0), (9, 9)]), "lines"), (shapely.Point(3, 3), "points")]
)
def test_wrong_kind_of_layer(tmp_path: Path, name: str, shape: shapely.Geometry, what: str) -> None:
    with pytest.raises(LayerError, match=f"holds {what}; give a layer of polygons"):
        read(tmp_path, [shape, shape], name)


def test_nothing_usable(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match="no usable polygon among 2 features"):
        read(tmp_path, [None, shapely.Polygon()])


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("name", FORMATS)
def test_coordinates_that_are_no_numbers(tmp_path: Path, bad: float, name: str) -> None:
    frame = squares(3)
    broken = shapely.get_coordinates(frame.geometry.array[1])
    broken[2, 0] = bad
    with np.errstate(invalid="ignore"):
        frame.loc[1, "geometry"] = shapely.Polygon(broken)
    written(frame, tmp_path, name)
    layer = parcels(tmp_path, name, id="pid")
    assert layer.frame["parcel_id"].tolist() == ["0001", "0003"]
    assert layer.account.dropped == {"coordinates are no numbers": 1}
    assert layer.findings[0].first == ("0002",)


def test_arcs_become_short_lines(tmp_path: Path) -> None:
    """A disc of 5 m radius is 78.54 m²."""
    write_disc(tmp_path / "disc.gpkg")
    frame = footprints(tmp_path, "disc.gpkg", id="pid").frame
    assert frame["roof_id"].tolist() == ["0001", "0002"]
    assert frame.geometry.area.tolist() == pytest.approx([78.54, 100], rel=2e-3)


def test_account_closes_over_every_kind_of_trouble(tmp_path: Path) -> None:
    flat = shapely.Polygon([(0, 0), (10, 10), (5, 5), (0, 0)])
    line = shapely.LineString([(0, 0), (30, 30)])
    layer = read(tmp_path, [SQUARE, None, BOW_TIE, flat, line, shapely.Polygon(), SQUARE])
    account = layer.account
    assert account.rows_in == 7 == account.rows_out + sum(account.dropped.values())
    assert layer.frame["parcel_id"].tolist() == ["a", "c", "g"]
    assert account.rows_out == len(layer.frame)
