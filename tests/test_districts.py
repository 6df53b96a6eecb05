"""Districts: read from their file, and which of them each parcel lies in."""

from __future__ import annotations

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

from harvest.errors import LayerError, ProjectError
from harvest.findings import Finding
from harvest.layers import Extent, Layer
from harvest.place.districts import district_of, in_districts
from harvest.project import read_project
from harvest.project.districts import Districts
from harvest.read.districts import read_districts
from harvest.read.parcels import read_parcels

X, Y = HOME


def read(folder: Path, file: str, near: Extent | None = None, **settings: Any) -> Layer:
    return read_districts(Districts(file=file, **settings), folder, LIMITS, near)


def halves(**columns: Any) -> gpd.GeoDataFrame:
    """West, middle and east, each 100 by 100 m, side by side."""
    boxes = [shapely.box(X + 100 * at, Y, X + 100 * at + 100, Y + 100) for at in range(3)]
    columns = columns or {"code": [7, 8, 9], "title": ["West", "Middle", "East"]}
    return gpd.GeoDataFrame(columns, geometry=boxes, crs=26986)


def lots(*middles: tuple[float, float], ids: list[str] | None = None) -> gpd.GeoDataFrame:
    """Lots of 10 by 10 m about ``middles``, metres from the corner."""
    x, y = X + np.array([one[0] for one in middles]), Y + np.array([one[1] for one in middles])
    ids = ids or [f"p{number}" for number in range(len(middles))]
    return gpd.GeoDataFrame({"parcel_id": ids}, geometry=shapely.box(x - 5, y - 5, x + 5, y + 5), crs=26986)


def told(findings: list[Finding]) -> dict[str, int]:
    return {one.check: one.count for one in findings}


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.geojson", "a.parquet"])
def test_names_or_else_ids(tmp_path: Path, name: str) -> None:
    frame = halves().to_crs(4326) if name.endswith("json") else halves()
    file = written(frame, tmp_path, name)
    found = read(tmp_path, file, name="title")
    assert found.frame.columns.tolist() == ["district", "geometry"]
    assert found.frame["district"].tolist() == ["West", "Middle", "East"]
    assert found.account.as_dict() == {"rows_in": 3, "added": {}, "dropped": {}, "rows_out": 3}
    assert found.findings == () and found.sources[0].role == "districts"
    assert read(tmp_path, file, id="code").frame["district"].tolist() == ["7", "8", "9"]
    assert read(tmp_path, file).frame["district"].tolist() == ["row 1", "row 2", "row 3"]


def test_the_sample() -> None:
    """The wards were laid so that each holds some hundreds of parcels; geopandas' join is the reference."""
    settings = read_project(SAMPLE / "pellwick.toml").settings
    assert settings.districts is not None and settings.parcels is not None
    wards = read_districts(settings.districts, SAMPLE, LIMITS)
    assert sorted(wards.frame["district"]) == ["Harbour Ward", "Hill Ward", "West Ward"]
    parcels = read_parcels(settings.parcels, SAMPLE, LIMITS).frame
    district, findings = in_districts(parcels, wards.frame)
    points = gpd.GeoDataFrame(geometry=parcels.to_crs(wards.frame.crs).representative_point())
    joined = points.sjoin(wards.frame, predicate="within")["district"]
    pd.testing.assert_series_equal(district, joined.reindex(district.index), check_names=False)
    assert findings == [] and district.value_counts().min() > 300


def test_one_name_in_several_outlines(tmp_path: Path) -> None:
    frame = halves(code=[1, 1, 2], title=["Shore", "Hill", "Shore"])
    found = read(tmp_path, written(frame, tmp_path), name="title", id="code")
    assert found.frame["district"].tolist() == ["Shore", "Hill"]
    assert found.frame.area.tolist() == pytest.approx([20_000, 10_000])
    assert checks(found) == {"districts in several parts": 1}
    assert found.account.dropped == {"merged with others of the same name": 1}
    by_id = read(tmp_path, "parcels.gpkg", id="code")
    assert by_id.frame["district"].tolist() == ["1", "2"]


def test_a_district_without_a_name_goes_by_its_id(tmp_path: Path) -> None:
    file = written(halves(code=[7, 8, 9], title=["West", None, " "]), tmp_path)
    assert read(tmp_path, file, name="title", id="code").frame["district"].tolist() == ["West", "8", "9"]
    found = read(tmp_path, file, name="title")
    assert found.frame["district"].tolist() == ["West", "row 2", "row 3"]
    assert {one.check: one.first for one in found.findings} == {"district without a name": ("row 2", "row 3")}


@pytest.mark.parametrize(
    ("frame", "settings", "message"),
    [
        (halves(), {"name": "tittle"}, "no column 'tittle'.*did you mean 'title'"),
        (halves().set_geometry(halves().centroid), {}, "holds points; give a layer of polygons"),
        (halves().set_geometry(halves().boundary), {}, "holds lines; give a layer of polygons"),
        (halves()[:0], {}, "holds no features"),
    ],
)
def test_refusals(tmp_path: Path, frame: gpd.GeoDataFrame, settings: dict[str, Any], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        read(tmp_path, written(frame, tmp_path, "a.gpkg"), **settings)


def test_files_that_are_no_layer_of_districts(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"\[districts\] a.gpkg: there is no such file"):
        read(tmp_path, "a.gpkg")
    (tmp_path / "a.osm.pbf").write_bytes(b"\x00\x00\x00\x0d\x0a\x09OSMHeader")
    with pytest.raises(LayerError, match=r"\[districts\] a.osm.pbf"):
        read(tmp_path, "a.osm.pbf")
    with pytest.raises(ProjectError, match="districts"):
        path = tmp_path / "town.toml"
        path.write_text('[districts]\nfiel = "a.gpkg"\n')
        read_project(path)


@pytest.mark.parametrize("name", ["a.fgb", "a.gpkg"])
def test_only_what_lies_near(tmp_path: Path, name: str) -> None:
    file = written(halves(), tmp_path, name)
    town = Extent((X + 10, Y, X + 60, Y + 10), CRS(26986))
    near = read(tmp_path, file, town, name="title", clip_m=50.0)
    assert sorted(near.frame["district"]) == ["Middle", "West"]
    assert near.account.dropped == {"outside the clip": 1}
    away = Extent((X + 9_000, Y, X + 9_010, Y + 10), CRS(26986))
    with pytest.raises(LayerError, match="none of its 3 features within clip_m"):
        read(tmp_path, file, away, name="title", clip_m=50.0)


def test_the_middle_of_a_parcel_decides() -> None:
    frame = halves().rename(columns={"title": "district"})
    parcels = lots((50, 50), (97, 50), (103, 50), (299, 99))
    district, findings = in_districts(parcels, frame)
    assert district.tolist() == ["West", "West", "Middle", "East"] and findings == []


@pytest.mark.parametrize("order", [[0, 1, 2], [2, 1, 0], [1, 0, 2]])
def test_on_a_shared_edge_the_first_by_name(order: list[int]) -> None:
    frame = halves().iloc[order]
    points = shapely.points([[X + 100, Y + 50], [X + 200, Y + 100], [X + 300, Y], [X + 300.001, Y]])
    found = district_of(points, frame.geometry.to_numpy(), frame["title"])
    assert found.fillna("-").tolist() == ["Middle", "East", "East", "-"]


def test_parcels_outside_and_districts_without_any() -> None:
    frame = halves().rename(columns={"title": "district"})
    district, findings = in_districts(lots((50, 50), (900, 50), ids=["b", "a"]), frame)
    assert district.isna().tolist() == [False, True]
    assert told(findings) == {"parcels outside all districts": 1, "districts without parcels": 2}
    assert findings[0].first == ("a",) and findings[0].severity == "warning"
    district, findings = in_districts(lots((900, 50), (950, 50)), frame)
    assert district.isna().all() and told(findings) == {"parcels outside all districts": 2}
    assert findings[0].severity == "serious"


def test_districts_that_overlap() -> None:
    frame = halves().rename(columns={"title": "district"})
    whole = gpd.GeoDataFrame({"district": ["All"]}, geometry=[shapely.box(X, Y, X + 150, Y + 100)], crs=26986)
    district, findings = in_districts(lots((50, 50), (250, 50)), pd.concat([frame, whole], ignore_index=True))
    assert district.tolist() == ["All", "East"]
    assert (
        findings[0].first == ("All and Middle", "All and West") and findings[0].check == "districts overlap"
    )
    drawn = frame.copy()
    drawn.loc[0, "geometry"] = shapely.box(X, Y, X + 100.05, Y + 100)
    assert "districts overlap" not in told(in_districts(lots((50, 50)), drawn)[1])


def test_order_and_crs_do_not_matter() -> None:
    rng = np.random.default_rng(5)
    frame = halves().rename(columns={"title": "district"})
    parcels = lots(*map(tuple, rng.uniform(-20, 320, (400, 2))))
    district, findings = in_districts(parcels, frame)
    assert 0 < district.isna().sum() < 400
    order = rng.permutation(400)
    again, same = in_districts(parcels.iloc[order].to_crs(2249), frame.iloc[::-1])
    assert again.sort_index().equals(district) and same == findings
