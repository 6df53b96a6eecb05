"""The gate: what may be opened at all, and what is refused before memory is gone."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely

from harvest.errors import GridError, LayerError
from harvest.project.inputs import Parcels
from harvest.project.outputs import Limits
from harvest.read.parcels import read_parcels
from tests.layers_made import footprints, parcels, rain, squares, write_grid, written


def test_missing_file_names_its_neighbours(tmp_path: Path) -> None:
    written(squares(), tmp_path, "parcels_2024.gpkg")
    with pytest.raises(LayerError, match=r"parcel_2024\.gpkg: there is no such file .*parcels_2024\.gpkg\?"):
        parcels(tmp_path, "parcel_2024.gpkg")


def test_missing_file_in_a_missing_folder(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match="nor that folder"):
        parcels(tmp_path, "data/parcels.gpkg")


def test_missing_file_lists_what_there_is(tmp_path: Path) -> None:
    written(squares(), tmp_path, "land.gpkg")
    with pytest.raises(LayerError, match=r"there are land\.gpkg\."):
        parcels(tmp_path, "zzz.shp")


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("https://example.org/parcels.geojson", "an address"),
        ("s3://bucket/parcels.parquet", "an address"),
        ("GPKG:parcels.gpkg:parcels", "an address"),
        ("/vsicurl/https://example.org/parcels.geojson", "virtual path"),
        ("\\vsizip\\parcels.zip", "virtual path"),
        ("/VSIMEM/parcels.gpkg", "virtual path"),
        (".", "a folder"),
        ("/dev/zero", "not a plain file"),
        ("parcels.vrt", "VRT"),
        ("parcels.mdb", "name must end in"),
        ("rain.tif", "name must end in"),
    ],
)
def test_names_that_are_refused(tmp_path: Path, name: str, why: str) -> None:
    for plain in ("parcels.vrt", "parcels.mdb", "rain.tif"):
        (tmp_path / plain).write_text("anything")
    with pytest.raises(LayerError, match=why):
        parcels(tmp_path, name)


VECTOR_VRT = "<OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>b</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
RASTER_VRT = "<VRTDataset rasterXSize='5' rasterYSize='5'></VRTDataset>"


@pytest.mark.parametrize(
    "name", ["a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet", "a.osm", "a.osm.pbf", "a.zip"]
)
def test_vrt_under_another_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(VECTOR_VRT)
    with pytest.raises(LayerError, match="points at other files"):
        parcels(tmp_path, name)


@pytest.mark.parametrize("name", ["rain.tif", "rain.nc"])
def test_raster_vrt_under_another_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(RASTER_VRT)
    with pytest.raises(GridError, match="points at other files"):
        rain(tmp_path, name)


@pytest.mark.parametrize("padding", [0, 10_000])
def test_geojson_that_is_a_recipe_for_reading_other_files(tmp_path: Path, padding: int) -> None:
    """GDAL runs such a text as a pipeline when left to choose the format; also behind much white space."""
    other = tmp_path / written(squares(), tmp_path, "other.gpkg")
    recipe = {"type": "gdal_streamed_alg", "command_line": f"gdal vector pipeline ! read {other}"}
    (tmp_path / "a.geojson").write_text("{" + " " * padding + json.dumps(recipe)[1:])
    with pytest.raises(LayerError):
        parcels(tmp_path, "a.geojson")


@pytest.mark.parametrize(
    "name", ["a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet", "a.osm", "a.osm.pbf", "a.zip"]
)
@pytest.mark.parametrize("content", [b"\x00" * 500, b"Not what the name says. " * 30])
def test_content_that_belies_the_name(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(LayerError, match="although its name says so"):
        parcels(tmp_path, name)


@pytest.mark.parametrize("name", ["a.tif", "a.nc"])
def test_raster_content_that_belies_the_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"SQLite format 3\x00" + bytes(500))
    with pytest.raises(GridError, match="although its name says so"):
        rain(tmp_path, name)


def test_empty_file(tmp_path: Path) -> None:
    (tmp_path / "a.gpkg").touch()
    with pytest.raises(LayerError, match="empty"):
        parcels(tmp_path, "a.gpkg")


@pytest.mark.parametrize("name", ["a.gpkg", "a.fgb", "a.parquet", "a.geojson", "a.shp"])
@pytest.mark.parametrize("share", [0.3, 0.7, 0.95])
def test_truncated_file(tmp_path: Path, name: str, share: float) -> None:
    frame = squares(3000)
    written(frame, tmp_path, name)
    whole = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(whole[: int(share * len(whole))])
    with pytest.raises(LayerError):
        parcels(tmp_path, name)


def test_json_of_another_kind(tmp_path: Path) -> None:
    """A layer in another vendor's JSON is not taken for GeoJSON."""
    ring = [[-72, 42], [-72, 42.001], [-71.999, 42.001], [-72, 42]]
    other = {
        "geometryType": "esriGeometryPolygon",
        "features": [{"geometry": {"rings": [ring]}, "attributes": {}}],
    }
    (tmp_path / "a.json").write_text(json.dumps(other))
    with pytest.raises(LayerError, match="can't be read as GeoJSON"):
        parcels(tmp_path, "a.json")


def test_truncated_grid(tmp_path: Path) -> None:
    write_grid(tmp_path / "rain.tif", np.full((1, 300, 300), 900.0), cell=0.002)
    whole = (tmp_path / "rain.tif").read_bytes()
    (tmp_path / "rain.tif").write_bytes(whole[: len(whole) // 4])
    with pytest.raises(GridError, match=r"rain\.tif can't be read"):
        rain(tmp_path, "rain.tif")


def test_shapefile_without_its_index(tmp_path: Path) -> None:
    written(squares(), tmp_path, "a.shp")
    (tmp_path / "a.shx").unlink()
    with pytest.raises(LayerError, match=r"a\.shx"):
        parcels(tmp_path, "a.shp")
    assert not (tmp_path / "a.shx").exists()


def test_inputs_are_left_as_they_were(tmp_path: Path) -> None:
    for name in ("a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet"):
        written(squares(), tmp_path, name)
    write_grid(tmp_path / "rain.tif", np.full((1, 8, 8), 900.0))
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    for name in ("a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet"):
        parcels(tmp_path, name)
    rain(tmp_path, "rain.tif")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_sources_hold_hash_size_and_rows(tmp_path: Path) -> None:
    import hashlib

    written(squares(), tmp_path, "a.shp")
    sources = parcels(tmp_path, "a.shp").sources
    assert [source.path.suffix for source in sources] == [".shp", ".shx", ".dbf", ".prj", ".cpg"]
    for source in sources:
        content = source.path.read_bytes()
        assert source.sha256 == hashlib.sha256(content).hexdigest()
        assert (source.bytes, source.role, source.crs) == (len(content), "parcels", "EPSG:26986")
    assert [source.rows for source in sources] == [4, None, None, None, None]


def zipped(folder: Path, stem: str, archive: zipfile.ZipFile, inside: str = "") -> None:
    for part in folder.glob(f"{stem}.*"):
        if part.suffix != ".zip":
            archive.write(part, f"{inside}{part.name}")


def test_zip_with_several_shapefiles_needs_a_layer(tmp_path: Path) -> None:
    written(squares(3), tmp_path, "one.shp")
    written(squares(5), tmp_path, "two.shp")
    with zipfile.ZipFile(tmp_path / "both.zip", "w") as archive:
        zipped(tmp_path, "one", archive, "east/")
        zipped(tmp_path, "two", archive, "west/")
    with pytest.raises(LayerError, match="layer = one of one, two"):
        parcels(tmp_path, "both.zip")
    layer = parcels(tmp_path, "both.zip", layer="two", id="pid")
    assert layer.frame["parcel_id"].tolist() == ["0001", "0002", "0003", "0004", "0005"]
    assert [source.path.name for source in layer.sources] == ["both.zip"]


def test_zip_without_a_shapefile(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("readme.txt", "nothing here")
    with pytest.raises(LayerError, match=r"holds no Shapefile but readme\.txt"):
        parcels(tmp_path, "a.zip")


def test_zip_members_can_not_leave_their_folder(tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    written(squares(), inner, "a.shp")
    project = tmp_path / "project"
    project.mkdir()
    with zipfile.ZipFile(project / "a.zip", "w") as archive:
        zipped(inner, "a", archive, "../../")
        archive.writestr("../../stray.txt", "out")
    before = sorted(path.name for path in tmp_path.iterdir())
    assert len(parcels(project, "a.zip").frame) == 4
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_zip_that_swells(tmp_path: Path) -> None:
    written(squares(), tmp_path, "a.shp")
    with zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for ending in ("shx", "dbf", "prj"):
            archive.write(tmp_path / f"a.{ending}", f"a.{ending}")
        with archive.open("a.shp", "w") as member:
            member.write((tmp_path / "a.shp").read_bytes())
            for _ in range(80):
                member.write(bytes(1_000_000))
    with pytest.raises(LayerError, match="swell"):
        parcels(tmp_path, "a.zip")
    with pytest.raises(LayerError, match=r"unpacks to 0\.1 GB"):
        read_parcels(Parcels(file="a.zip"), tmp_path, Limits(memory_gb=0.01))


def test_zip_that_is_damaged(tmp_path: Path) -> None:
    written(squares(200), tmp_path, "a.shp")
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        zipped(tmp_path, "a", archive)
    whole = bytearray((tmp_path / "a.zip").read_bytes())
    (tmp_path / "cut.zip").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(LayerError, match="damaged zip"):
        parcels(tmp_path, "cut.zip")
    start = whole.index(b"\x00\x00\x27\x0a") + 200
    whole[start : start + 50] = bytes(50)
    (tmp_path / "wrong.zip").write_bytes(whole)
    with pytest.raises(LayerError, match="damaged zip"):
        parcels(tmp_path, "wrong.zip")


def test_zip_with_a_password(tmp_path: Path) -> None:
    written(squares(), tmp_path, "a.shp")
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        zipped(tmp_path, "a", archive)
    whole = bytearray((tmp_path / "a.zip").read_bytes())
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = whole.find(mark)
        while at >= 0:
            whole[at + offset] |= 1
            at = whole.find(mark, at + 4)
    (tmp_path / "a.zip").write_bytes(whole)
    with pytest.raises(LayerError, match="password"):
        parcels(tmp_path, "a.zip")


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.fgb", "a.parquet", "a.geojson", "arrow.parquet"])
def test_layer_above_the_memory_limit(tmp_path: Path, name: str) -> None:
    if name == "arrow.parquet":
        squares(2000).to_parquet(tmp_path / name, geometry_encoding="geoarrow")
    else:
        written(squares(2000), tmp_path, name)
    with pytest.raises(LayerError, match=r"memory_gb = 0\.001"):
        read_parcels(Parcels(file=name), tmp_path, Limits(memory_gb=0.001))


def test_sparse_text_of_two_gigabytes(tmp_path: Path) -> None:
    with (tmp_path / "a.geojson").open("wb") as stream:
        stream.write(b'{"type": "FeatureCollection", "features": [')
        stream.truncate(2_000_000_000)
    with pytest.raises(LayerError, match=r"is 2\.0 GB of text"):
        parcels(tmp_path, "a.geojson")


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.fgb", "a.parquet", "a.osm.pbf", "a.zip"])
def test_sparse_file_of_two_gigabytes(tmp_path: Path, name: str) -> None:
    with (tmp_path / name).open("wb") as stream:
        stream.truncate(2_000_000_000)
    with pytest.raises(LayerError, match="although its name says so"):
        parcels(tmp_path, name)


@pytest.mark.parametrize("stored_schema", [True, False])
def test_parquet_that_swells(tmp_path: Path, stored_schema: bool) -> None:
    """A million times the same polygon of 6,000 corners packs to a small file."""
    corner = np.linspace(0, 2 * np.pi, 6000, endpoint=False)
    ring = np.column_stack([1000 * np.cos(corner), 1000 * np.sin(corner)]) + 900_000
    wkb = pa.array([shapely.to_wkb(shapely.Polygon(ring))], pa.binary())
    rows = pa.DictionaryArray.from_arrays(pa.array(np.zeros(1_000_000, "int32")), wkb)
    geo = {"version": "1.0.0", "primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB"}}}
    table = pa.table({"geometry": rows}).replace_schema_metadata({"geo": json.dumps(geo)})
    with pq.ParquetWriter(tmp_path / "a.parquet", table.schema, store_schema=stored_schema) as writer:
        writer.write_table(table)
        if not stored_schema:
            writer.add_key_value_metadata({"geo": json.dumps(geo)})
    assert (tmp_path / "a.parquet").stat().st_size < 1_000_000
    with pytest.raises(LayerError, match="memory_gb = 4"):
        parcels(tmp_path, "a.parquet")


def test_grid_that_swells(tmp_path: Path) -> None:
    """A sparse GeoTIFF of 10¹² cells: refused where the town's window alone is too large, else read."""
    import rasterio
    from rasterio import Affine

    with rasterio.open(
        tmp_path / "rain.tif",
        "w",
        driver="GTiff",
        width=1_000_000,
        height=1_000_000,
        count=1,
        dtype="float32",
        crs=4326,
        transform=Affine(2e-7, 0, -72.1, 0, -2e-7, 42.2),
        tiled=True,
        compress="deflate",
        SPARSE_OK=True,
        BIGTIFF=True,
    ) as target:
        target.units = ("mm",)
    assert (tmp_path / "rain.tif").stat().st_size < 200_000_000
    with pytest.raises(GridError, match="GB of memory over the town"):
        rain(tmp_path, "rain.tif")
    with pytest.raises(GridError, match="0 mm a year"):
        rain(tmp_path, "rain.tif", bounds=(-72.0, 42.1, -71.9999, 42.1001))


def test_grid_in_one_huge_strip(tmp_path: Path) -> None:
    """One compressed strip must be unpacked whole, whatever the window."""
    import rasterio
    from rasterio import Affine

    with rasterio.open(
        tmp_path / "rain.tif",
        "w",
        driver="GTiff",
        width=20_000,
        height=60_000,
        count=1,
        dtype="float32",
        crs=4326,
        transform=Affine(1e-5, 0, -72.1, 0, -1e-5, 42.2),
        blockysize=60_000,
        compress="deflate",
        SPARSE_OK=True,
    ) as target:
        target.units = ("mm",)
    with pytest.raises(GridError, match="GB of memory over the town"):
        rain(tmp_path, "rain.tif", bounds=(-72.0, 42.0, -71.9999, 42.0001))


def test_geopackage_open_in_another_program(tmp_path: Path) -> None:
    """Rows that the other program has saved but not yet moved into the main file are read."""
    import sqlite3

    written(squares(), tmp_path, "a.gpkg")
    editing = sqlite3.connect(tmp_path / "a.gpkg")
    for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
        editing.create_function(name, 1, lambda _: 1)
    try:
        editing.execute("PRAGMA journal_mode=WAL")
        editing.execute("UPDATE a SET pid = '9999' WHERE fid = 1")
        editing.commit()
        assert (tmp_path / "a.gpkg-wal").stat().st_size > 0
        assert parcels(tmp_path, "a.gpkg", id="pid").frame["parcel_id"][0] == "9999"
    finally:
        editing.close()


def test_geopackage_left_in_journal_mode_gets_no_companions(tmp_path: Path) -> None:
    import sqlite3

    written(squares(), tmp_path, "a.gpkg")
    editing = sqlite3.connect(tmp_path / "a.gpkg")
    editing.execute("PRAGMA journal_mode=WAL")
    editing.close()
    parcels(tmp_path, "a.gpkg")
    assert [path.name for path in tmp_path.iterdir()] == ["a.gpkg"]


def test_parquet_without_geometry(tmp_path: Path) -> None:
    squares().drop(columns="geometry").to_parquet(tmp_path / "a.parquet")
    with pytest.raises(LayerError, match="without geometry"):
        parcels(tmp_path, "a.parquet")


def test_table_of_a_geopackage_without_geometry(tmp_path: Path) -> None:
    import pyogrio

    pyogrio.write_dataframe(squares().drop(columns="geometry"), tmp_path / "a.gpkg")
    with pytest.raises(LayerError, match="no layer with geometry"):
        parcels(tmp_path, "a.gpkg")


def test_layer_must_be_named_among_several(tmp_path: Path) -> None:
    squares(3).to_file(tmp_path / "a.gpkg", layer="parcels")
    squares(4).to_file(tmp_path / "a.gpkg", layer="buildings")
    with pytest.raises(LayerError, match="layer = one of parcels, buildings"):
        footprints(tmp_path, "a.gpkg")
    with pytest.raises(LayerError, match="did you mean 'buildings'"):
        footprints(tmp_path, "a.gpkg", layer="building")
    assert len(footprints(tmp_path, "a.gpkg", layer="buildings").frame) == 4


def test_empty_layer(tmp_path: Path) -> None:
    for name in ("a.gpkg", "a.shp", "a.fgb", "a.parquet"):
        written(squares().iloc[:0], tmp_path, name)
        with pytest.raises(LayerError, match="no features"):
            parcels(tmp_path, name)
    (tmp_path / "a.geojson").write_text('{"type": "FeatureCollection", "features": []}')
    with pytest.raises(LayerError, match=r"no features|can't be read"):
        parcels(tmp_path, "a.geojson")


def test_path_with_signs_that_a_library_would_take_for_an_archive(tmp_path: Path) -> None:
    folder = tmp_path / "odd!town"
    folder.mkdir()
    squares().to_parquet(folder / "a.parquet")
    with pytest.raises(LayerError, match="its path holds '!'; rename it"):
        parcels(folder, "a.parquet")


@pytest.mark.parametrize("folder", ["a town", "50% of it", "a#b", "a?b", "Straße", "x'y", "a+b", "[town]"])
def test_paths_with_other_signs(tmp_path: Path, folder: str) -> None:
    place = tmp_path / folder
    place.mkdir()
    for name in ("a.gpkg", "a.shp", "a.geojson", "a.fgb", "a.parquet"):
        written(squares(), place, name)
        assert len(parcels(place, name).frame) == 4
    write_grid(place / "rain.tif", np.full((1, 8, 8), 900.0))
    assert rain(place, "rain.tif").depth_mm.shape[0] == 1
