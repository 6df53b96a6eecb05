"""The folder ``public/``: its files tell of sums, and of no home, however they are opened."""

from __future__ import annotations

import base64
import json
import re
import shutil
import zlib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from public_audit import faults, members
from public_result import HOSTILE, edition_in

from harvest.fields import PUBLIC
from harvest.fields.parcels import HOMES
from harvest.project import read_project
from harvest.project.public import Public
from harvest.result import Result
from harvest.run import run
from harvest.show.public import write_public
from harvest.units import L_PER_GALLON

FILES = {
    *("map.html", "figure.svg", "figure.png", "figure-slide.png"),
    *("public_cells.csv", "public_cells.geojson", "datapackage.json"),
}
Edition = tuple[Path, Result, gpd.GeoDataFrame, gpd.GeoDataFrame]


def written(folder: Path, sample: Result, by: str) -> Edition:
    settings = Public.model_validate({"by": by})
    result, _, parcels, sides = edition_in(folder, sample, settings=settings)
    write_public(result, folder)
    return folder / "public", result, parcels, sides


@pytest.fixture(scope="module", params=["streets", "blocks"])
def edition(
    request: pytest.FixtureRequest, sample_result: Result, tmp_path_factory: pytest.TempPathFactory
) -> Edition:
    return written(tmp_path_factory.mktemp(f"by-{request.param}"), sample_result, request.param)


def texts_in(folder: Path) -> dict[str, str]:
    """Everything that can be read in ``folder``: each file, and each block of data inside a page, opened."""
    found = {}
    for path in sorted(folder.rglob("*")):
        found[path.name] = path.read_bytes().decode("latin-1" if path.suffix == ".png" else "utf-8")
    blocks = re.findall(
        r'<script type="application/octet-stream" id="([\w-]+)">([^<]*)</script>', found["map.html"]
    )
    for name, packed in blocks:
        found[name] = zlib.decompress(base64.b64decode(packed)).decode("utf-8", errors="replace")
    assert {"cells-data", "ground-data"} <= set(found)
    return found


def test_there_are_a_map_two_tables_and_a_dictionary(edition: Edition) -> None:
    assert {path.name for path in edition[0].rglob("*")} == FILES
    package = json.loads((edition[0] / "datapackage.json").read_text(encoding="utf-8"))
    table = next(one for one in package["resources"] if one["name"] == "public_cells")
    assert {one["name"] for one in table["schema"]["fields"]} <= {
        one.name for one in PUBLIC.fields if one.published
    }
    assert {one["path"] for one in package["resources"]} == FILES - {"datapackage.json"}


def test_no_parcel_roof_address_or_file_is_in_any_byte(edition: Edition) -> None:
    folder, result, parcels, sides = edition
    texts = texts_in(folder)
    private = {*parcels["parcel_id"], *parcels["site_id"].dropna(), *sides["side_id"]}
    private |= {one["sha256"] for one in result.run["inputs"]} | {one["file"] for one in result.run["inputs"]}
    findings = result.table("findings")
    sentences = {*findings["message"], *findings["remedy"], *parcels["reason"].dropna()}
    addresses = set(parcels["address"].dropna().str.casefold())
    assert len(private) > 1_500 and len(addresses) > 1_000 and len(sentences) > 5
    for name, text in texts.items():
        words = set(re.findall(r"[\w.-]+", text)) | set(re.findall(r"\w+", text))
        assert not words & private, name
        folded = text.casefold()
        near = [one for one in addresses if one in folded]
        assert not [one for one in near if re.search(rf"(?<!\w){re.escape(one)}(?!\w)", folded)], name
        assert not [one for one in sentences | private if len(one) > 8 and one in text], name


def test_the_search_finds_what_is_there(edition: Edition, tmp_path: Path) -> None:
    """The same search over the internal map's own block would find an address: the test above can fail."""
    folder, result, parcels, sides = edition
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    with (tmp_path / "public_cells.csv").open("a", encoding="utf-8") as file:
        file.write(parcels["address"].dropna().iloc[5])
    with pytest.raises(AssertionError, match=r"public_cells\.csv"):
        test_no_parcel_roof_address_or_file_is_in_any_byte((tmp_path, result, parcels, sides))


def test_an_auditor_of_the_files_reads_nobody_back(edition: Edition) -> None:
    folder, _, parcels, sides = edition
    homes = parcels[parcels["list"].eq(HOMES) & parcels["yield_l_yr"].notna()].reset_index(drop=True)
    table = pd.read_csv(folder / "public_cells.csv", encoding="utf-8-sig")
    shapes = gpd.read_file(folder / "public_cells.geojson")
    assert len(shapes) == len(table) > 20
    for name in ("home_count", "runoff_l_yr", "capturable_l_yr", "yield_l_yr"):
        np.testing.assert_array_equal(shapes[name], table[name])
    sets = members(shapes, homes, sides)
    assert faults(sets, homes, 10, 0.4) == []
    step = 1_000 * L_PER_GALLON
    edges = shapes.to_crs(homes.crs).boundary
    points = homes.geometry.representative_point().union_all()
    # Corners are rounded to 0.1 m, so a home within a foot of an edge may be taken for one beyond it.
    sure = (edges.distance(points) > 1).to_numpy() | shapes["side"].notna().to_numpy()
    assert sure.mean() > 0.6
    for name in ("runoff_l_yr", "capturable_l_yr", "yield_l_yr"):
        exact = sets @ homes[name].to_numpy()
        assert np.abs(exact - table[name])[sure].max() <= step / 2 + 1
        assert np.abs(table[name] / step - (table[name] / step).round()).max() < 1e-3
    assert np.abs(sets.sum(axis=1) - table["home_count"])[sure].max() <= 2.5
    assert set(table["home_count"] % 5) == {0}


def test_no_total_is_told_finer_than_two_digits(edition: Edition) -> None:
    """No number of the page, the tables or the dictionary is the sum of what is shown, or of all homes."""
    folder, _, parcels, _ = edition
    homes = parcels[parcels["list"].eq(HOMES)]
    page = texts_in(folder)["map.html"]
    values = json.loads(re.search(r'id="page-values">(.*?)</script>', page)[1])
    totals = {one["label"]: one["value"] for one in values["totals"]}
    assert totals["Homes"] == "1,200"
    gallons = homes["capturable_l_yr"].sum() / L_PER_GALLON
    assert totals["Capturable in a year"] == f"{float(f'{gallons:.1e}') / 1e6:g} million gal a year"
    shown = pd.read_csv(folder / "public_cells.csv", encoding="utf-8-sig")
    assert (
        len(shown.columns) == len(PUBLIC.names) - 1
    )  # a row a cell and nothing below: no total can stand there
    numbers = np.array([float(one) for one in re.findall(r"\d{4,12}", json.dumps(values).replace(",", ""))])
    assert len(numbers) > 10
    for name in ("runoff_l_yr", "capturable_l_yr", "yield_l_yr"):
        total = homes[name].sum()
        assert np.abs(numbers / total - 1).min() > 1e-4
        assert np.abs(numbers / (total / L_PER_GALLON) - 1).min() > 1e-4


def test_the_same_bytes_twice(edition: Edition, tmp_path: Path) -> None:
    folder, result, _, _ = edition
    write_public(result, tmp_path)
    for name in FILES:
        assert (tmp_path / "public" / name).read_bytes() == (folder / name).read_bytes()


def test_tables_of_homes_are_not_even_opened(edition: Edition, tmp_path: Path) -> None:
    """The same bytes come out where parcels, roofs and findings are not there, and private words stand in the run."""
    folder, result, _, _ = edition
    for name in ("public_cells.parquet", "sides.parquet", "context.parquet"):
        (tmp_path / name).write_bytes((result.folder / name).read_bytes())
    bare = {"program", "version", "town", "units", "plane", "settings", "public", "weather"}
    run = {name: value for name, value in result.run.items() if name in bare}
    run["settings"] = [
        one
        if re.match(r"public\.|season\.|footprints\.imagery_year", one["setting"])
        else one | {"value": "PRIVATE"}
        for one in run["settings"]
    ]
    write_public(Result(tmp_path, run), tmp_path)
    for name in FILES:
        assert (tmp_path / "public" / name).read_bytes() == (folder / name).read_bytes()


def test_hostile_street_names_are_neutral_in_the_table(sample_result: Result, tmp_path: Path) -> None:
    folder, *_ = written(tmp_path, sample_result, "streets")
    text = (folder / "public_cells.csv").read_text(encoding="utf-8-sig")
    table = pd.read_csv(folder / "public_cells.csv", encoding="utf-8-sig")
    assert "'" + HOSTILE["Shore Road"] in set(table["street"])
    assert not re.search(r'(^|,)"?=', text)
    shapes = gpd.read_file(folder / "public_cells.geojson")
    assert set(HOSTILE.values()) <= set(shapes["street"])


def test_geojson_is_longitude_before_latitude_in_few_digits(edition: Edition) -> None:
    """RFC 7946, sections 3.1.1 and 4: longitude first, WGS 84, no crs member."""
    told = json.loads((edition[0] / "public_cells.geojson").read_text(encoding="utf-8"))
    assert set(told) == {"type", "features"}
    numbers = np.array(
        re.findall(r"-?\d+\.\d+(?=,|\])", json.dumps([one["geometry"] for one in told["features"]]))
    )
    assert max(len(one.split(".")[1]) for one in numbers) <= 6
    assert {-58, -57} >= {int(float(one)) for one in numbers if float(one) < 0}


def test_a_run_writes_it_only_when_asked(sample_result: Result, lean_copy: Path) -> None:
    """The sample asks for it; the same project without the word gets no folder, and loses that of the run before."""
    assert {path.name for path in (sample_result.folder / "public").iterdir()} == FILES
    assert "public" in sample_result.run["files"]
    assert sample_result.run["public"]["by"] == "streets"
    assert "public edition" in set(sample_result.table("findings")["check"])
    text = lean_copy.read_text(encoding="utf-8")
    assert "[public]" in text
    lean_copy.write_text(text.replace("written = true", "written = false"), encoding="utf-8")
    out = lean_copy.parent / "results"
    shutil.copytree(sample_result.folder, out)
    again = run(read_project(lean_copy), out)
    assert not (again.folder / "public").exists()
    assert not again.has("public_cells")
    assert "public" not in again.run
