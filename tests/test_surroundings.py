"""Surroundings: polygons and lines read and cut off around the town, and their table in the parcels' CRS."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from conftest import SAMPLE
from layers_made import HOME, LIMITS, checks, written
from pyproj import CRS

from harvest.errors import LayerError, ProjectError
from harvest.fields import CONTEXT
from harvest.layers import Extent, Layer
from harvest.place.surroundings import surroundings
from harvest.project import read_project
from harvest.project.context import Context
from harvest.read.context import cut, read_context
from harvest.read.parcels import read_parcels

X, Y = HOME
TOWN = Extent((X, Y, X + 1_000, Y + 1_000), CRS(26986))


def read(folder: Path, file: str, *near: Extent, **settings: Any) -> Layer:
    return read_context([Context(**{"file": file, "kind": "water", **settings})], folder, LIMITS, near)[0]


def frame(shapes: list[Any], crs: Any = 26986, **columns: Any) -> gpd.GeoDataFrame:
    columns = columns or {"name": [f"Pond {number}" for number in range(len(shapes))]}
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=crs)


def pond(west: float, south: float, size: float = 100) -> shapely.Polygon:
    return shapely.box(X + west, Y + south, X + west + size, Y + south + size)


FORMATS = ["a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet"]


@pytest.mark.parametrize("name", FORMATS)
def test_cut_off_around_the_town(tmp_path: Path, name: str) -> None:
    """Within 500 m of a town of 1 km: a pond inside, one that reaches 100 m beyond the cut, and one far away.

    The cut is a rectangle in the file's system around the one of 500 m in the parcels', so some metres wider.
    """
    made = frame([pond(0, 0), pond(-600, 0, 400), pond(5_000, 0)], name=["Mill Pond", None, "Far Pond"])
    file = written(made.to_crs(4326) if name.endswith("json") else made, tmp_path, name)
    found = read(tmp_path, file, TOWN, name="name", clip_m=500.0)
    assert found.frame.columns.tolist() == ["kind", "name", "geometry"]
    assert found.frame["kind"].tolist() == ["water"] * 2
    areas = dict(zip(found.frame["name"].fillna("-"), found.frame.to_crs(26986).area, strict=True))
    assert areas == {"Mill Pond": pytest.approx(10_000, rel=1e-3), "-": pytest.approx(310 * 400, rel=0.05)}
    assert found.account.dropped == {"outside the clip": 1} and found.findings == ()
    assert found.sources[0].role == "context"
    whole = read(tmp_path, file, TOWN, name="name", clip_m=None)
    assert sorted(whole.frame["name"].fillna("-")) == ["-", "Far Pond", "Mill Pond"]
    assert whole.frame.to_crs(26986).area.max() == pytest.approx(160_000, rel=1e-3)


def test_the_table_of_the_sample() -> None:
    settings = read_project(SAMPLE / "pellwick.toml").settings
    assert settings.parcels is not None
    parcels = read_parcels(settings.parcels, SAMPLE, LIMITS)
    near_by = [one.model_copy(update={"clip_m": 500.0}) for one in settings.context]
    layers = read_context(near_by, SAMPLE, LIMITS, [parcels.extent])
    table = surroundings(layers, CRS(parcels.frame.crs))
    assert table.crs == parcels.frame.crs and table.columns.tolist() == list(CONTEXT.names)
    assert sorted(zip(table["kind"], table["name"], strict=True)) == [
        ("park", "Market Green"), ("park", "Pond Park"), ("park", "Shore Park"),
        ("water", "Mill Pond"), ("water", "Pellwick Bay"),
    ]  # fmt: skip
    west, south, east, north = parcels.frame.total_bounds
    least, most = 499 * 3937 / 1200, 560 * 3937 / 1200
    """Metres in US survey feet, 1200/3937 m each (from memory)."""
    near = shapely.box(west - least, south - least, east + least, north + least)
    drawn = shapely.union_all(table.geometry.to_numpy())
    assert shapely.box(west - most, south - most, east + most, north + most).covers(drawn)
    bay = gpd.read_file(SAMPLE / "water.geojson").to_crs(parcels.frame.crs).set_index("name").geometry
    kept = table.set_index("name").geometry
    assert kept["Mill Pond"].area == pytest.approx(bay["Mill Pond"].area, rel=1e-6)
    lost = near.intersection(bay["Pellwick Bay"]).difference(kept["Pellwick Bay"])
    assert lost.area < 1e-4 * kept["Pellwick Bay"].area
    assert kept["Pellwick Bay"].area < 0.95 * bay["Pellwick Bay"].area


def test_lines_and_polygons_of_one_layer_stay_in_order(tmp_path: Path) -> None:
    brook = shapely.LineString([(X, Y), (X + 900, Y)])
    forks = shapely.MultiLineString([[(X, Y), (X, Y + 50)], [(X + 60, Y), (X + 60, Y + 50)]])
    made = frame([brook, pond(0, 0), forks, shapely.Point(X, Y), None], name=list("abcde"))
    found = read(tmp_path, written(made, tmp_path, "a.parquet"), name="name", clip_m=None)
    assert found.frame["name"].tolist() == ["a", "b", "c", "c"]
    assert found.frame.geom_type.tolist() == ["LineString", "Polygon", "LineString", "LineString"]
    assert found.account.as_dict() == {
        "rows_in": 5,
        "added": {"parts of lines in several": 1},
        "dropped": {"neither polygon nor line": 1, "no geometry": 1},
        "rows_out": 4,
    }
    told = {one.check: one.first for one in found.findings}
    assert told["neither polygon nor line"] == ("row 4",) and told["no geometry"] == ("row 5",)


def test_what_only_touches_the_edge_is_left_out() -> None:
    """The rectangle ends at x = 10: what touches it there in a line or a point is cut off with the rest."""
    ragged = shapely.Polygon([(5, 0), (20, 0), (20, 9), (10, 9), (10, 5), (5, 5)])
    outlines = np.array(
        [
            shapely.box(10, 0, 20, 5),
            ragged,
            shapely.LineString([(10, 2), (20, 2)]),
            shapely.LineString([(4, 1), (20, 1)]),
            shapely.box(1, 1, 2, 2),
        ]
    )
    found = cut(outlines, (0, 0, 10, 10))
    assert shapely.is_empty(found).tolist() == [True, False, True, False, False]
    assert shapely.area(found).tolist() == [0, 25, 0, 0, 1] and shapely.length(found[3]) == 6
    assert set(shapely.get_type_id(found[[1, 3, 4]])) == {1, 3}


def test_a_layer_elsewhere_does_not_stop_a_run(tmp_path: Path) -> None:
    for name in ("a.fgb", "a.gpkg"):
        found = read(tmp_path, written(frame([pond(90_000, 0)]), tmp_path, name), TOWN, name="name")
        assert found.frame.empty and checks(found) == {"surroundings elsewhere": 1}
        assert found.account.dropped == {"outside the clip": 1}
    empty = surroundings([found], CRS(2249))
    assert empty.empty and empty.columns.tolist() == list(CONTEXT.names) and empty.crs == CRS(2249)
    assert surroundings([], CRS(2249)).empty


@pytest.mark.parametrize(
    ("made", "settings", "message"),
    [
        (
            frame([shapely.Point(X, Y)]),
            {},
            r"\[context\] a.gpkg holds points; give a layer of polygons or lines",
        ),
        (frame([shapely.MultiPoint([(X, Y), (X, Y + 1)])]), {}, "holds points"),
        (frame([pond(0, 0)]), {"name": "nmae"}, "no column 'nmae'.*did you mean 'name'"),
        (frame([shapely.LineString([(X, Y), (X, Y)])]), {}, "no usable polygon or line among 1 features"),
        (frame([])[:0], {}, "holds no features"),
    ],
)
def test_refusals(tmp_path: Path, made: gpd.GeoDataFrame, settings: dict[str, Any], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        read(tmp_path, written(made, tmp_path, "a.gpkg"), **settings)


def test_settings_that_are_wrong(tmp_path: Path) -> None:
    path = tmp_path / "town.toml"
    for said, message in (
        ('file = "a.gpkg"', "kind is missing"),
        ('file = "a.gpkg"\nkind = " "', "say what it is"),
        ('kind = "water"', "file is missing"),
    ):
        path.write_text(f"[[context]]\n{said}\n")
        with pytest.raises(ProjectError, match=message):
            read_project(path)


def test_self_crossing_outlines_are_mended_before_the_cut(tmp_path: Path) -> None:
    bow = shapely.Polygon([(X + 400, Y), (X + 600, Y + 100), (X + 600, Y), (X + 400, Y + 100)])
    found = read(tmp_path, written(frame([bow]), tmp_path, "a.gpkg"), TOWN, name="name")
    assert shapely.is_valid(found.frame.geometry.to_numpy()).all() and checks(found)["repaired"] == 1
    assert found.frame.area.sum() == pytest.approx(10_000)
