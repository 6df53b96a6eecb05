"""The CRS gate: every layer is placed on the earth, or refused with the likely cause."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely
from pyproj import CRS

from harvest.errors import LayerError
from harvest.layers import Extent
from harvest.read.crs import to_wgs84, widened
from tests.layers_made import HOME, checks, footprints, parcels, squares, written


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.fgb", "a.parquet"])
def test_no_crs(tmp_path: Path, name: str) -> None:
    frame = squares()
    frame = gpd.GeoDataFrame(frame[["pid"]], geometry=frame.geometry.to_numpy())
    if name == "a.parquet":
        frame.to_parquet(tmp_path / name)
    else:
        with pytest.warns(UserWarning, match="crs"):
            pyogrio.write_dataframe(frame, tmp_path / name)
    with pytest.raises(LayerError, match=r'does not say its coordinate .* add crs = "EPSG:…" to \[parcels\]'):
        parcels(tmp_path, name)
    layer = parcels(tmp_path, name, crs="EPSG:26986")
    assert CRS(layer.frame.crs).to_epsg() == 26986
    assert layer.findings == ()


def test_geojson_is_in_degrees_unless_it_says_otherwise(tmp_path: Path) -> None:
    written(squares().to_crs(4326), tmp_path, "a.geojson")
    assert CRS(parcels(tmp_path, "a.geojson").frame.crs).to_epsg() == 4326


def test_project_file_wins_over_the_file_and_that_is_told(tmp_path: Path) -> None:
    written(squares(), tmp_path)
    layer = parcels(tmp_path, "parcels.gpkg", crs="EPSG:6491")
    assert CRS(layer.frame.crs).to_epsg() == 6491
    assert checks(layer) == {"crs contradicted": 1}
    assert "EPSG:26986" in layer.findings[0].message and "EPSG:6491" in layer.findings[0].message
    assert parcels(tmp_path, "parcels.gpkg", crs="EPSG:26986").findings == ()


@pytest.mark.parametrize("said", ["EPSG:99999", "feet", ""])
def test_crs_that_is_not_known(tmp_path: Path, said: str) -> None:
    written(squares(), tmp_path)
    with pytest.raises(LayerError, match="is not known"):
        parcels(tmp_path, "parcels.gpkg", crs=said)


LOCAL = 'LOCAL_CS["Site grid",UNIT["metre",1],AXIS["X",EAST],AXIS["Y",NORTH]]'


def test_local_system_is_refused(tmp_path: Path) -> None:
    squares().set_crs(CRS.from_wkt(LOCAL), allow_override=True).to_file(tmp_path / "a.gpkg")
    with pytest.raises(LayerError, match=r"does not say its .* \(only 'Site grid'\)"):
        parcels(tmp_path, "a.gpkg")
    assert len(parcels(tmp_path, "a.gpkg", crs="EPSG:26986").frame) == 4
    written(squares(), tmp_path, "b.gpkg")
    with pytest.raises(LayerError, match="tied to no place on earth"):
        parcels(tmp_path, "b.gpkg", crs=LOCAL)


def test_undefined_systems_of_geopackage_are_none(tmp_path: Path) -> None:
    import sqlite3

    for number in (-1, 0):
        name = f"a{number}.gpkg"
        written(squares(), tmp_path, name)
        with sqlite3.connect(tmp_path / name) as stored:
            for table in ("gpkg_contents", "gpkg_geometry_columns"):
                stored.execute(f"UPDATE {table} SET srs_id = {number}")
        stored.close()
        with pytest.raises(LayerError, match="does not say its coordinate reference system"):
            parcels(tmp_path, name)


@pytest.mark.parametrize(("code", "unit"), [(2249, "US survey foot"), (2222, "foot"), (26986, "metre")])
def test_feet_and_metres(tmp_path: Path, code: int, unit: str) -> None:
    """EPSG:2249 is in US survey feet, EPSG:2222 (Arizona East) in international feet."""
    assert CRS(code).axis_info[0].unit_name == unit
    place = squares() if code != 2222 else squares().set_crs(26948, allow_override=True)
    written(place.to_crs(code), tmp_path, "a.gpkg")
    layer = parcels(tmp_path, "a.gpkg")
    assert CRS(layer.frame.crs).to_epsg() == code
    assert layer.frame.to_crs(place.crs).area.tolist() == pytest.approx([100] * 4, rel=1e-6)


def test_crs_without_a_code(tmp_path: Path) -> None:
    own = CRS.from_proj4(
        "+proj=lcc +lat_1=41.2 +lat_2=42.3 +lat_0=41 +lon_0=-71.5 +x_0=250000 +y_0=8e5 +units=m"
    )
    assert own.to_epsg() is None
    written(squares().to_crs(own), tmp_path, "a.gpkg")
    layer = parcels(tmp_path, "a.gpkg")
    assert layer.frame.to_crs(26986).area.tolist() == pytest.approx([100] * 4, rel=1e-4)
    assert "Lambert" in layer.sources[0].crs


@pytest.mark.parametrize("said", ["EPSG:7415", "EPSG:4979", "EPSG:5498"])
def test_height_is_taken_off_the_crs(tmp_path: Path, said: str) -> None:
    """Compound (7415: Amersfoort and height; 5498: NAD83 and NAVD88) and 3-D (4979: WGS 84) systems."""
    flat = {"EPSG:7415": 28992, "EPSG:4979": 4326, "EPSG:5498": 4269}[said]
    place = shapely.box(5.0, 52.0, 5.001, 52.001)
    frame = gpd.GeoDataFrame(geometry=[place], crs=4326).to_crs(flat)
    frame.set_crs(said, allow_override=True).to_parquet(tmp_path / "a.parquet")
    layer = parcels(tmp_path, "a.parquet")
    assert CRS(layer.frame.crs).to_epsg() == flat
    assert len(CRS(layer.frame.crs).axis_info) == 2


def test_latitude_and_longitude_swapped(tmp_path: Path) -> None:
    """West of 90° W no latitude can be meant; farther east, the rainfall grid shows that layers do not meet."""
    right = shapely.box(-121.5, 38.5, -121.4999, 38.5001)
    swapped = shapely.transform(right, lambda xy: xy[:, ::-1])
    for shape, name in ((right, "a.parquet"), (swapped, "b.parquet")):
        gpd.GeoDataFrame(geometry=[shape], crs=4326).to_parquet(tmp_path / name)
    assert len(parcels(tmp_path, "a.parquet").frame) == 1
    with pytest.raises(LayerError, match="latitude and longitude look swapped"):
        parcels(tmp_path, "b.parquet")


def test_metres_labelled_degrees(tmp_path: Path) -> None:
    written(squares().set_crs(4326, allow_override=True), tmp_path)
    with pytest.raises(LayerError, match="look like metres or feet"):
        footprints(tmp_path, "parcels.gpkg")


def test_degrees_labelled_metres(tmp_path: Path) -> None:
    written(squares().to_crs(4326).set_crs(26986, allow_override=True), tmp_path)
    with pytest.raises(LayerError, match="look like degrees"):
        footprints(tmp_path, "parcels.gpkg")


def test_coordinates_that_do_not_exist_in_their_system(tmp_path: Path) -> None:
    frame = squares()
    frame["geometry"] = shapely.transform(frame.geometry.array, lambda xy: xy * 1e9)
    written(frame.set_crs(32619, allow_override=True), tmp_path)
    with pytest.raises(LayerError, match="do not exist in EPSG:32619"):
        parcels(tmp_path, "parcels.gpkg")


def test_feet_labelled_metres_lie_far_outside_the_area_of_the_system(tmp_path: Path) -> None:
    written(squares().to_crs(2249).set_crs(26986, allow_override=True), tmp_path)
    layer = parcels(tmp_path, "parcels.gpkg")
    assert checks(layer) == {"outside the area of its CRS": 1}
    assert layer.findings[0].severity == "serious"


def test_extent_widened_by_metres() -> None:
    """1,000 m beyond a point near 42° N, in degrees: 1,000 / 111,071 m north, 1,000 / 82,850 m east (WGS 84)."""
    spot = Extent((-72.0, 42.0, -72.0, 42.0), CRS(4326))
    west, south, east, north = widened(spot, 1000, CRS(4326))
    assert (west, east) == pytest.approx((-72 - 1000 / 82_850, -72 + 1000 / 82_850), abs=2e-5)
    assert (south, north) == pytest.approx((42 - 1000 / 111_071, 42 + 1000 / 111_071), abs=2e-5)
    feet = widened(Extent((*HOME, *HOME), CRS(26986)), 100, CRS(2249))
    across = 200 / 0.3048006096
    assert across <= feet[2] - feet[0] < 1.02 * across
    assert to_wgs84(spot.bounds, CRS(4326)) == pytest.approx(spot.bounds)


@pytest.mark.parametrize(
    ("code", "taken_by_code"),
    [(32621, True), (32620, False), (99999, False)],
)
def test_geoparquet_crs_is_its_definition_whatever_code_it_names(
    tmp_path: Path, code: int, taken_by_code: bool
) -> None:
    squares().set_crs(32621, allow_override=True).to_parquet(tmp_path / "plain.parquet")
    table = pq.read_table(tmp_path / "plain.parquet")
    geo = json.loads(table.schema.metadata[b"geo"])
    geo["columns"]["geometry"]["crs"]["id"] = {"authority": "EPSG", "code": code}
    pq.write_table(
        table.replace_schema_metadata({**table.schema.metadata, b"geo": json.dumps(geo).encode()}),
        tmp_path / "a.parquet",
    )
    crs = parcels(tmp_path, "a.parquet").frame.crs
    assert crs.coordinate_operation.to_json_dict()["parameters"][1]["value"] == -57  # middle of zone 21
    assert (crs.srs == "EPSG:32621") == taken_by_code
