"""``harvest start``: what it recognises, what it writes, and what it refuses to do."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from harvest.errors import InputError, OutputError
from harvest.project import Settings, read_project
from harvest.project.draft import Said, project_text
from harvest.read.guess import month_in
from harvest.start import start
from tests.fetch_data import debian_file
from tests.layers_made import HOME, write_grid, written
from tests.test_read_formats import package_file

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
TOWN = (-70.5, 42.6)
"""The corner of the made town is near 70.29° W, 42.34° N; 10 by 10 cells of 0.05° from here cover it."""


def town_layers(count: int = 60) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Roofs of 10 by 10 m on parcels of 25 by 30 m, with columns whose names say nothing."""
    x, y = HOME[0] + 25 * (np.arange(count) % 10), HOME[1] + 30 * (np.arange(count) // 10)
    roofs = gpd.GeoDataFrame(
        {"a": range(count)}, geometry=shapely.box(x + 5, y + 5, x + 15, y + 15), crs=26986
    )
    lots = gpd.GeoDataFrame({"b": range(count)}, geometry=shapely.box(x, y, x + 25, y + 30), crs=26986)
    return roofs, lots


def rain_file(
    folder: Path, name: str = "rain.tif", factor: float = 1.0, unit: str | None = "mm", bands: int = 12
) -> None:
    values = np.full((bands, 10, 10), 1092.0 / bands * factor, "float32")
    write_grid(folder / name, values, west=TOWN[0], north=TOWN[1], unit=unit)


def named_town(folder: Path) -> None:
    roofs, lots = town_layers()
    written(roofs, folder, "buildings.gpkg")
    written(lots, folder, "parcels.gpkg")
    rain_file(folder)


def test_the_sample_is_recognised(tmp_path: Path) -> None:
    folder = tmp_path / "pellwick-town"
    folder.mkdir()
    for entry in SAMPLE.iterdir():
        if entry.suffix in {".gpkg", ".zip", ".tif", ".csv", ".geojson", ".fgb"}:
            shutil.copy(entry, folder)
    report = start(folder)
    settings = read_project(report.path).settings
    mine = read_project(SAMPLE / "pellwick.toml").settings
    assert report.path == folder / "harvest.toml"
    assert settings.town.name == "Pellwick Town"
    assert settings.footprints.file == mine.footprints.file
    assert (settings.footprints.id, settings.footprints.kind) == (mine.footprints.id, mine.footprints.kind)
    assert settings.parcels is not None and mine.parcels is not None
    for key in ("file", "id", "address", "land_use", "doors", "built_year"):
        assert getattr(settings.parcels, key) == getattr(mine.parcels, key), key
    assert settings.rainfall.file == mine.rainfall.file
    assert settings.gauge is not None and settings.temperature is not None
    assert settings.gauge.model_fields_set == settings.temperature.model_fields_set == {"file"}
    assert settings.gauge.file == "gauge_daily.csv"
    assert settings.temperature.file == "temperature_monthly.csv"
    text = report.path.read_text(encoding="utf-8")
    assert text.startswith("#:schema ./harvest-schema.json\n")
    assert "single family" in text.split("[ranking]")[1]
    told = "\n".join(report.lines)
    assert settings.streets is not None and mine.streets is not None
    assert (settings.streets.file, settings.streets.name) == (mine.streets.file, mine.streets.name)
    assert settings.districts == mine.districts
    assert settings.context == mine.context and len(settings.context) == 2
    assert settings.visits is not None and settings.visits.model_fields_set == {"file"}
    assert settings.visits.file == "visits_2025.csv"
    assert "Streets: streets.geojson: 259 lines; its name says 'streets'. Columns: name = name." in told
    assert "Districts: wards.fgb: 3 polygons; its name says 'wards'. Columns: id = ward, name = name." in told
    unused = [line for line in report.lines if line.startswith("Not used by this version")]
    assert unused == ["Not used by this version: drainage_reports.csv, points."]
    assert "Gauge: gauge_daily.csv: a column says 'rain'; it holds 19 whole years" in told
    assert "Temperatures: temperature_monthly.csv: a column says 'tmin'; it holds 12 months" in told
    assert not re.search("Not used.*(gauge_daily|temperature_monthly)", told)
    schema = json.loads((folder / "harvest-schema.json").read_text(encoding="utf-8"))
    assert set(schema["properties"]) == set(Settings.model_fields)


def test_layers_whose_names_say_nothing(tmp_path: Path) -> None:
    """Of two layers of polygons the one of smaller outlines holds the roofs."""
    roofs, lots = town_layers()
    written(lots, tmp_path, "x1.shp")
    written(roofs, tmp_path, "x2.fgb")
    rain_file(tmp_path, "x3.tif")
    settings = read_project(start(tmp_path).path).settings
    assert settings.parcels is not None
    assert (settings.footprints.file, settings.parcels.file) == ("x2.fgb", "x1.shp")
    assert settings.rainfall.file == "x3.tif"
    assert settings.footprints.id is None and settings.parcels.id is None


def test_ponds_are_no_roofs(tmp_path: Path) -> None:
    roofs, lots = town_layers()
    written(roofs, tmp_path, "ponds.fgb")
    written(roofs, tmp_path, "x1.fgb")
    written(lots, tmp_path, "x2.fgb")
    rain_file(tmp_path)
    assert read_project(start(tmp_path).path).settings.footprints.file == "x1.fgb"


def test_one_geopackage_of_several_layers(tmp_path: Path) -> None:
    roofs, lots = town_layers()
    for name, frame in (("roofs", roofs), ("lots", lots), ("zoning", lots.dissolve())):
        frame.to_file(tmp_path / "town.gpkg", layer=name)
    rain_file(tmp_path)
    settings = read_project(start(tmp_path).path).settings
    assert settings.parcels is not None
    assert (settings.footprints.layer, settings.parcels.layer) == ("roofs", "lots")


COLUMNS = {
    "FID_1": [1] * 60,
    "PARCEL_NO": [f"{number:05d}" for number in range(60)],
    "SITE_ADDR": [f"{number} Quay Row" for number in range(60)],
    "USE_CODE": [101, 102, 340] * 20,
    "NUM_UNITS": [1, 2, 8] * 20,
    "YR_BUILT": [0, 1950, 2001] * 20,
    "OBJECTID": range(60),
}


def test_columns_by_usual_names(tmp_path: Path) -> None:
    named_town(tmp_path)
    lots = town_layers()[1].assign(**COLUMNS)
    written(lots, tmp_path)
    parcels = read_project(start(tmp_path).path).settings.parcels
    assert parcels is not None
    assert (parcels.id, parcels.address, parcels.land_use) == ("PARCEL_NO", "SITE_ADDR", "USE_CODE")
    assert (parcels.doors, parcels.built_year) == ("NUM_UNITS", "YR_BUILT")


def test_columns_whose_values_belie_their_names(tmp_path: Path) -> None:
    named_town(tmp_path)
    lies = {
        "PARCEL_NO": ["1", "2"] * 30,
        "ADDRESS": [None] * 59 + ["x"],
        "LAND_USE": [f"note {number}" for number in range(59)] + ["more"],
        "UNITS": ["m", "ft"] * 30,
        "YEAR_BUILT": [2] * 60,
        "UID": range(60),
    }
    lies["LAND_USE"] = ["all the same"] * 60
    written(town_layers()[1].assign(**lies), tmp_path)
    parcels = read_project(start(tmp_path).path).settings.parcels
    assert parcels is not None
    assert parcels.id == "UID"
    assert [parcels.address, parcels.land_use, parcels.doors, parcels.built_year] == [None] * 4


def test_house_number_and_street(tmp_path: Path) -> None:
    named_town(tmp_path)
    lots = town_layers()[1].assign(ST_NUM=range(60), STREET_NAME=["Quay Row", None, "Hill Lane"] * 20)
    written(lots, tmp_path)
    parcels = read_project(start(tmp_path).path).settings.parcels
    assert parcels is not None
    assert parcels.address == ["ST_NUM", "STREET_NAME"]


def test_twelve_files_in_the_order_of_months(tmp_path: Path) -> None:
    named_town(tmp_path)
    (tmp_path / "rain.tif").unlink()
    names = [f"ppt_1991_2020_{month}.tif" for month in range(1, 13)]
    for name in names:
        rain_file(tmp_path, name, factor=1 / 12, bands=1)
    rain_file(tmp_path, "temp_1991_2020_1.tif", factor=1 / 12, bands=1)
    report = start(tmp_path)
    assert read_project(report.path).settings.rainfall.file == names
    assert "12 files, one a month by their names" in "\n".join(report.lines)


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("rain_03.tif", ("rain_#.tif", 3)),
        ("rain_2020_12.tif", ("rain_2020_#.tif", 12)),
        ("Ppt7.TIF", ("ppt#.tif", 7)),
        ("mean-september.tif", ("mean-#.tif", 9)),
        ("jan_rain.tif", ("#_rain.tif", 1)),
        ("rain_2020.tif", None),
        ("elevation.tif", None),
    ],
)
def test_month_in_a_file_name(name: str, found: tuple[str, int] | None) -> None:
    assert month_in(name) == found


@pytest.mark.parametrize(
    ("factor", "unit"),
    [(1.0, "mm"), (1 / 25.4, "inch"), (10.0, "0.1 mm"), (0.001, "m"), (100 / 25.4, "0.01 inch")],
)
def test_unit_is_guessed_where_the_file_does_not_say(tmp_path: Path, factor: float, unit: str) -> None:
    """1,092 mm a year, in each unit: of several possible ones, the usual amount of rain decides."""
    named_town(tmp_path)
    rain_file(tmp_path, factor=factor, unit=None)
    report = start(tmp_path)
    assert read_project(report.path).settings.rainfall.unit == unit
    assert "the town has 1,092 mm of rain a year" in " ".join(
        report.path.read_text(encoding="utf-8").replace("\n# ", " ").split()
    )


def test_unit_that_the_file_says_is_not_repeated(tmp_path: Path) -> None:
    named_town(tmp_path)
    assert read_project(start(tmp_path).path).settings.rainfall.unit is None


def test_grid_elsewhere_is_told(tmp_path: Path) -> None:
    named_town(tmp_path)
    write_grid(tmp_path / "rain.tif", np.full((12, 10, 10), 91.0), west=0, north=0)
    told = "\n".join(start(tmp_path).lines)
    assert "does not reach the town" in told


def test_grid_of_rain_among_others(tmp_path: Path) -> None:
    named_town(tmp_path)
    rain_file(tmp_path, "evaporation_monthly.tif")
    rain_file(tmp_path, "precip_annual.tif", bands=1)
    (tmp_path / "rain.tif").unlink()
    assert read_project(start(tmp_path).path).settings.rainfall.file == "precip_annual.tif"


def test_netcdf_variable(tmp_path: Path) -> None:
    """The real monthly grid holds rain (pr) and temperature (tas); the roofs are moved to Raleigh."""
    shutil.copy(debian_file("bcsd_obs_1999.nc"), tmp_path)
    roof = shapely.box(-78.64, 35.78, -78.6399, 35.7801)
    written(gpd.GeoDataFrame({"id": [1]}, geometry=[roof], crs=4326), tmp_path, "roofs.geojson")
    settings = read_project(start(tmp_path).path).settings
    assert (settings.rainfall.file, settings.rainfall.variable) == ("bcsd_obs_1999.nc", "pr")
    assert settings.rainfall.unit is None


def test_openstreetmap_extract_without_parcels(tmp_path: Path) -> None:
    shutil.copy(package_file("pyrosm", "data/test.osm.pbf"), tmp_path)
    write_grid(tmp_path / "rain.tif", np.full((1, 10, 10), 600.0), west=26.8, north=60.7)
    report = start(tmp_path)
    settings = read_project(report.path).settings
    assert settings.parcels is None
    assert (settings.footprints.file, settings.footprints.id) == ("test.osm.pbf", None)
    assert settings.footprints.address == ["addr:housenumber", "addr:street"]
    assert settings.footprints.kind == "building"
    assert settings.streets is not None and settings.streets.file == "test.osm.pbf"
    assert settings.town.units == "metric"
    assert "# [parcels]" in report.path.read_text(encoding="utf-8")
    assert "Parcels: none found" in "\n".join(report.lines)


def test_an_existing_project_file_is_never_overwritten(tmp_path: Path) -> None:
    named_town(tmp_path)
    (tmp_path / "harvest.toml").write_text("mine")
    with pytest.raises(InputError, match="is not overwritten"):
        start(tmp_path)
    assert (tmp_path / "harvest.toml").read_text() == "mine"
    assert not (tmp_path / "harvest-schema.json").exists()


def test_a_schema_of_someone_else_is_left_alone(tmp_path: Path) -> None:
    named_town(tmp_path)
    (tmp_path / "harvest-schema.json").write_text('{"title": "other"}')
    with pytest.raises(OutputError, match="not written by harvest"):
        start(tmp_path)
    assert (tmp_path / "harvest-schema.json").read_text() == '{"title": "other"}'


def test_target_in_another_folder(tmp_path: Path) -> None:
    layers, projects = tmp_path / "layers", tmp_path / "projects"
    layers.mkdir()
    projects.mkdir()
    named_town(layers)
    report = start(layers, projects / "town.toml")
    project = read_project(report.path)
    assert project.settings.footprints.file == "../layers/buildings.gpkg"
    assert (project.folder / project.settings.footprints.file).exists()
    assert (projects / "harvest-schema.json").exists()


def test_folder_that_can_not_be_written(tmp_path: Path) -> None:
    named_town(tmp_path)
    with pytest.raises(OutputError, match="can't be written"):
        start(tmp_path, tmp_path / "nowhere" / "harvest.toml")


def test_what_is_missing_and_what_there_is(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no folder"):
        start(tmp_path / "nowhere")
    with pytest.raises(InputError, match="no file of a known format"):
        start(tmp_path)
    written(town_layers()[1].assign(parcel_id="x"), tmp_path, "parcels.gpkg")
    (tmp_path / "damaged.gpkg").write_bytes(b"SQLite format 3\x00" + bytes(3000))
    with pytest.raises(InputError) as refused:
        start(tmp_path)
    told = str(refused.value)
    assert "lacks building footprints (polygons) and a rainfall grid" in told
    assert "parcels.gpkg (parcels)" in told and "damaged.gpkg (can't be read" in told
    assert not (tmp_path / "harvest.toml").exists()


def test_files_that_can_not_be_read_do_not_stop_it(tmp_path: Path) -> None:
    named_town(tmp_path)
    (tmp_path / "cut.shp").write_bytes(b"\x00\x00\x27\x0a" + bytes(90))
    (tmp_path / "virtual.tif").write_text("<VRTDataset></VRTDataset>")
    (tmp_path / "table.csv").write_bytes(b"a;b\n1;2;3;4\n")
    (tmp_path / "empty.geojson").touch()
    (tmp_path / "plain.zip").write_bytes(b"PK\x03\x04 nothing")
    told = "\n".join(start(tmp_path).lines)
    for name in ("cut.shp", "virtual.tif", "empty.geojson", "plain.zip"):
        assert f"Not used by this version: {name}, can't be read" in told


def test_layer_without_a_crs(tmp_path: Path) -> None:
    named_town(tmp_path)
    roofs = town_layers()[0]
    roofs.to_file(tmp_path / "buildings.shp")
    (tmp_path / "buildings.gpkg").unlink()
    (tmp_path / "buildings.prj").unlink()
    told = "\n".join(start(tmp_path).lines)
    assert 'add crs = "EPSG:…" to [footprints]' in told


def test_names_that_would_break_the_file(tmp_path: Path) -> None:
    """Quotes, line breaks and signs of TOML in file and column names come through."""
    folder = tmp_path / 'x"] %41 [town'
    folder.mkdir()
    roofs, lots = town_layers()
    odd = 'parcel "id"\n# = ['
    lots.assign(**{odd: [f"p{number}" for number in range(60)]}).to_parquet(folder / "parcels 'a\" é.parquet")
    written(roofs, folder, "buildings.gpkg")
    rain_file(folder)
    settings = read_project(start(folder).path).settings
    assert settings.parcels is not None
    assert settings.parcels.file == "parcels 'a\" é.parquet"
    assert settings.parcels.id == odd


def test_start_is_repeatable(tmp_path: Path) -> None:
    named_town(tmp_path)
    first = start(tmp_path).path.read_bytes()
    (tmp_path / "harvest.toml").unlink()
    assert start(tmp_path).path.read_bytes() == first


NEEDED = {
    "town": {"name": Said("Pellwick")},
    "footprints": {"file": Said("a.gpkg")},
    "rainfall": {"file": Said("r.tif")},
}


def test_every_setting_stands_in_the_text_with_its_default() -> None:
    """With the mark of a remark taken off each line that shows a default, the file says the same as without."""
    said = NEEDED | {"parcels": {"file": Said("b.gpkg")}}
    text = project_text(said)
    for name, field in Settings.model_fields.items():
        assert re.search(rf"^(# )?\[+{name}\]+$", text, re.MULTILINE), name
        assert field is not None
    plain = Settings.model_validate(tomllib.loads(text))
    spoken = [block for block in re.split(r"(?m)^(?=(?:# )?\[)", text) if block.startswith("[")]
    shown = re.sub(r"^# (?=[a-z_0-9]+ = [^…]+$)", "", "".join(spoken), flags=re.MULTILINE)
    everything = Settings.model_validate(tomllib.loads(shown))
    assert everything == plain
    assert "gutter_least_m2" in everything.footprints.model_fields_set
    assert "coefficient" in everything.losses.model_fields_set


def test_unit_bounds_and_source_stand_beside_a_default() -> None:
    text = " ".join(project_text(NEEDED).replace("\n# ", " ").split())
    assert "(at least 0.3, at most 1.0; source of the default: enHealth 2010" in text
    assert (
        "(in m²; at least 0, at most 500; source of the default: practitioners' figure, from memory)" in text
    )
    assert '(one of "us", "metric")' in text
