"""What several test files share: the sample town, one run of it, and one browser."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import pytest
from browser_pages import CHROMIUM, DESK, FLAGS, Opened, Opener
from make_town import Town, build_town
from playwright.sync_api import Browser, sync_playwright

from harvest.project import read_project
from harvest.result import Result
from harvest.run import run

SAMPLE = Path(__file__).parents[1] / "data" / "sample"


@pytest.fixture(scope="session")
def sample_before() -> dict[str, bytes]:
    """Every file of the sample as it is before anything runs."""
    return {path.name: path.read_bytes() for path in SAMPLE.iterdir() if path.is_file()}


@pytest.fixture(scope="session")
def sample_result(sample_before: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory) -> Result:
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


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The one browser of the session, named ``browser``: every test of a page takes it from here.

    Playwright can be started once in a session, so no other module may start it. The profile is fresh, and there is
    no network that a page could use.
    """
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=CHROMIUM, headless=True, args=FLAGS)
        yield launched
        launched.close()


@pytest.fixture
def opens(browser: Browser) -> Iterator[Opener]:
    """Opens a file at a window size; afterwards nothing may have been said on the console."""
    made = []

    def open_file(
        path: Path, size: tuple[int, int] = DESK, offline: bool = True, quiet: bool = True, fragment: str = ""
    ) -> Opened:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, offline=offline)
        opened = Opened(context.new_page())
        opened.page.set_default_timeout(5_000)
        opened.watch()
        opened.page.goto(path.as_uri() + fragment)
        made.append((context, opened, quiet))
        if quiet:
            opened.page.wait_for_selector("html[data-ready]")
        return opened

    yield open_file
    for context, opened, quiet in made:
        if quiet:
            assert opened.console == []
        context.close()
