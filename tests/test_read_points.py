"""Points from CSV files as offices write them: encodings, separators, odd rows."""

from __future__ import annotations

from pathlib import Path

import pytest
from pyproj import CRS

from harvest.errors import LayerError
from harvest.project.outputs import Limits
from harvest.read.points import read_points
from tests.layers_made import LIMITS

ROWS = "id,longitude,latitude,street\n007,-70.5,42.1,Café Lane\n8,-70.6,42.2,\n"


def points(folder: Path, content: str | bytes, name: str = "a.csv", crs: str | None = None):
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return read_points(name, folder, LIMITS, crs)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "cp1252"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    frame = points(tmp_path, ROWS.encode(encoding))
    assert frame.columns.tolist() == ["id", "longitude", "latitude", "street", "geometry"]
    assert frame["id"].tolist() == ["007", "8"]
    assert frame["street"].fillna("-").tolist() == ["Café Lane", "-"]
    assert frame.geometry.x.tolist() == [-70.5, -70.6]
    assert CRS(frame.crs).to_epsg() == 4326


def test_bytes_that_no_encoding_of_the_west_knows(tmp_path: Path) -> None:
    assert points(tmp_path, b"lon,lat,a\n-70.5,42.1,\xe9\x81\n")["a"][0] == "é\x81"


@pytest.mark.parametrize(
    "header", ["longitude,latitude", "Lon,Lat", " LONG , lat ", "lng,LAT", "latitude,longitude"]
)
def test_names_of_coordinates(tmp_path: Path, header: str) -> None:
    row = "42.1,-70.5" if header.startswith("lat") else "-70.5,42.1"
    frame = points(tmp_path, f"{header}\n{row}\n")
    assert (frame.geometry.x[0], frame.geometry.y[0]) == (-70.5, 42.1)


def test_plane_coordinates_need_a_crs(tmp_path: Path) -> None:
    text = "x,y\n300000,900000\n"
    with pytest.raises(LayerError, match="does not say its coordinate reference system"):
        points(tmp_path, text)
    frame = points(tmp_path, text, crs="EPSG:26986")
    assert CRS(frame.crs).to_epsg() == 26986


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    frame = points(tmp_path, "lon;lat;what\r\n-70,5;42,1;flood, deep\r\n")
    assert (frame.geometry.x[0], frame.geometry.y[0]) == (-70.5, 42.1)
    assert frame["what"][0] == "flood, deep"


def test_trailing_separators_do_not_shift_columns(tmp_path: Path) -> None:
    frame = points(tmp_path, "id,lon,lat\na,-70.5,42.1,\nb,-70.6,42.2,\n")
    assert frame["id"].tolist() == ["a", "b"]
    assert frame.geometry.y.tolist() == [42.1, 42.2]


def test_rows_without_coordinates_stay(tmp_path: Path) -> None:
    frame = points(tmp_path, "id,lon,lat\na,-70.5,42.1\nb,,\nc,west,42\nd,inf,42\ne,nan,42\n")
    assert frame["id"].tolist() == list("abcde")
    assert frame.geometry.isna().tolist() == [False, True, True, True, True]


@pytest.mark.parametrize(
    ("content", "why"),
    [
        ("", "empty"),
        ("lon,lat\n", "holds no rows"),
        ("id,street\n1,a\n", "no pair of coordinate columns.*There are id, street"),
        ("lon,lat\n42.1,-120.5\n", "look swapped"),
        ("lon,lat\n300000,900000\n", "metres or feet"),
        (ROWS.encode("utf-16"), "is no CSV"),
        ("id,lon,lat\na,1,2,odd\nb,3,4,\n", "more values than its first row"),
        ('lon,lat\n"1,2\n3,4\n', "can't be read as CSV"),
    ],
)
def test_tables_that_are_refused(tmp_path: Path, content: str | bytes, why: str) -> None:
    with pytest.raises(LayerError, match=why):
        points(tmp_path, content)


def test_other_formats_and_sizes_are_refused(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"must end in one of \.csv"):
        points(tmp_path, "anything", name="a.gpkg")
    (tmp_path / "a.csv").write_text(ROWS * 1000)
    with pytest.raises(LayerError, match="too large"):
        read_points("a.csv", tmp_path, Limits(memory_gb=0.0001))
    with pytest.raises(LayerError, match="no such file"):
        read_points("b.csv", tmp_path, LIMITS)
