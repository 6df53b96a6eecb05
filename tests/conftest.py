"""What several test files share: the sample town, and one run of it."""

from __future__ import annotations

import shutil
from pathlib import Path

import geopandas as gpd
import pytest
from make_town import Town, build_town

from harvest.project import read_project
from harvest.result import Result
from harvest.run import run

SAMPLE = Path(__file__).parents[1] / "data" / "sample"


@pytest.fixture(scope="session")
def sample_result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """One run of the sample, for tests that only look at it."""
    return run(read_project(SAMPLE / "pellwick.toml"), tmp_path_factory.mktemp("sample") / "pellwick")


@pytest.fixture(scope="session")
def town() -> Town:
    """The sample town as its maker makes it."""
    return build_town()


@pytest.fixture(scope="session")
def footprints() -> gpd.GeoDataFrame:
    """The sample's footprints as they lie in their file."""
    return gpd.read_file(SAMPLE / "footprints.gpkg")


@pytest.fixture(scope="session")
def parcels() -> gpd.GeoDataFrame:
    """The sample's parcels as they lie in their file."""
    return gpd.read_file(SAMPLE / "parcels.zip")


@pytest.fixture
def sample_copy(tmp_path: Path) -> Path:
    """A project file beside copies of the sample's layers, for tests that spoil something."""
    folder = tmp_path / "town"
    folder.mkdir()
    for entry in SAMPLE.iterdir():
        if entry.suffix in {".toml", ".gpkg", ".zip", ".tif", ".csv", ".geojson", ".fgb"}:
            shutil.copy(entry, folder)
    project = folder / "pellwick.toml"
    text = project.read_text(encoding="utf-8")
    project.write_text(text.replace("../../maps/pellwick", "results"), encoding="utf-8")
    return project
