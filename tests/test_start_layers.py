"""``harvest start``: streets, districts, surroundings and visit logs beside roofs and parcels."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from layers_made import HOME, LIMITS, written
from test_start import named_town

from harvest.project import read_project
from harvest.read.context import read_context
from harvest.read.districts import read_districts
from harvest.read.guess_layers import further, of_districts, of_streets
from harvest.read.look import Kind, Seen
from harvest.read.streets import read_streets
from harvest.start import start

X, Y = HOME
HERE, THERE = (-72.0, 42.0, -71.9, 42.1), (10.0, 50.0, 11.0, 51.0)


def seen(file: str, kind: Kind = "polygons", **more: Any) -> Seen:
    """A layer of three rows with a column of names, near the town."""
    columns = more.pop("columns", {"name": ["a", "b", "c"]})
    return Seen(file, None, kind, **{"rows": 3, "bounds": HERE, "sample": pd.DataFrame(columns), **more})


def files(found: tuple[Seen, str] | None) -> str | None:
    return found and found[0].file


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("water.geojson", "water"),
        ("Rivers_2020.shp", "water"),
        ("hydro_lake.gpkg", "water"),
        ("city_parks.geojson", "park"),
        ("village-green.fgb", "park"),
        ("parking.geojson", None),
        ("seaside_streets.geojson", None),
        ("soils.shp", None),
        ("bayberry.shp", None),
        ("greenhouses.shp", None),
    ],
)
def test_surroundings_by_their_names(name: str, kind: str | None) -> None:
    for shape in ("polygons", "lines"):
        found = further([seen(name, shape)], HERE).context
        assert [one[1] for one in found] == ([kind] if kind else [])
    assert further([seen(name, "table")], HERE).context == ()
    assert further([seen(name, bounds=THERE)], HERE).context == ()


def test_streets_by_name_or_by_a_column_of_names() -> None:
    plain = seen("x1.shp", "lines")
    bare = seen("contours.shp", "lines", columns={"height": [1, 2, 3]})
    named = seen("road_centerlines.shp", "lines", columns={"FULLNAME": ["Oak St", None, "Elm Rd"]})
    rivers = seen("rivers.shp", "lines")
    assert files(further([plain, bare, named, rivers], HERE).streets) == "road_centerlines.shp"
    assert files(further([plain, bare, rivers], HERE).streets) == "x1.shp"
    assert further([bare, rivers, seen("streets.csv", "table")], HERE).streets is None
    assert further([seen("streets.shp", "lines", bounds=THERE)], HERE).streets is None
    assert of_streets(named)["name"].value == "FULLNAME"


def test_a_kind_of_street_only_where_it_matters() -> None:
    lines = seen("s.shp", "lines", columns={"name": ["a", "b"], "highway": ["residential", "footway"]})
    assert of_streets(lines)["kind"].value == "highway"
    lines = seen("s.shp", "lines", columns={"name": ["a", "b"], "type": ["main", "side"]})
    assert "kind" not in of_streets(lines)


def test_districts_by_name_before_others() -> None:
    wards = seen("wards.shp", columns={"WARD_NO": [1, 2, 3], "LABEL": ["x", "y", "z"]}, typical_area_m2=2e6)
    zoning = seen("zoning.shp", typical_area_m2=2e6)
    assert files(further([zoning, wards], HERE).districts) == "wards.shp"
    assert files(further([zoning], HERE).districts) == "zoning.shp"
    assert {key: one.value for key, one in of_districts(wards).items()} == {"id": "WARD_NO", "name": "LABEL"}
    border = seen("ward_outline.shp", rows=1, columns={"name": ["all"]}, typical_area_m2=9e6)
    assert further([border, seen("sheds.shp", typical_area_m2=12.0)], HERE).districts is None


def test_the_latest_log_with_dates_and_outcomes() -> None:
    log = {"Date": ["5/6/2025"], "Parcel": ["1"], "Outcome": ["joined"]}
    tables = [seen(f"visits_{year}.csv", "table", columns=log, bounds=None) for year in (2024, 2025)]
    assert files(further(tables, HERE).visits) == "visits_2025.csv"
    for columns in ({"Date": ["5/6/2025"], "Parcel": ["1"]}, {"Outcome": ["joined"]}):
        assert further([seen("visits.csv", "table", columns=columns)], HERE).visits is None
    complaints = {"date": ["5/6/2025"], "status": ["closed"]}
    assert further([seen("complaints.csv", "table", columns=complaints)], HERE).visits is None


def test_what_it_writes_can_be_read(tmp_path: Path) -> None:
    named_town(tmp_path)
    lines = [shapely.LineString([(X, Y + 40 * row - 5), (X + 250, Y + 40 * row - 5)]) for row in range(4)]
    streets = gpd.GeoDataFrame({"ST_NAME": ["Oak St", None, "Elm Rd", "Quay"]}, geometry=lines, crs=26986)
    written(streets, tmp_path, "roads.shp")
    halves = [
        shapely.box(X - 500, Y - 500, X + 125, Y + 500),
        shapely.box(X + 125, Y - 500, X + 900, Y + 500),
    ]
    written(
        gpd.GeoDataFrame({"name": ["West", "East"]}, geometry=halves, crs=26986), tmp_path, "precincts.fgb"
    )
    for number, name in enumerate(("lake.geojson", "parks.gpkg", "river.shp")):
        shape = shapely.box(X, Y, X + 50, Y + 50) if number < 2 else lines[0]
        layer = gpd.GeoDataFrame({"NAME": ['Old "Mill"']}, geometry=[shape], crs=26986)
        written(layer.to_crs(4326) if number == 0 else layer, tmp_path, name)
    settings = read_project(start(tmp_path).path).settings
    assert settings.streets is not None and settings.districts is not None
    assert read_streets(settings.streets, tmp_path, LIMITS).frame["name"].notna().sum() == 3
    districts = read_districts(settings.districts, tmp_path, LIMITS).frame["district"]
    assert sorted(districts) == ["East", "West"]
    found = read_context(settings.context, tmp_path, LIMITS)
    assert [(one.frame["kind"][0], one.frame["name"][0]) for one in found] == [
        ("water", 'Old "Mill"'), ("park", 'Old "Mill"'), ("water", 'Old "Mill"'),
    ]  # fmt: skip
    assert settings.visits is None


def test_without_streets_it_says_what_is_missed(tmp_path: Path) -> None:
    named_town(tmp_path)
    report = start(tmp_path)
    assert "Streets: none found; no street will be ranked and no round laid." in report.lines
    text = report.path.read_text(encoding="utf-8")
    assert all(f"\n# {head}\n" in text for head in ("[streets]", "[districts]", "[[context]]", "[visits]"))
