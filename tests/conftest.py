"""What several test files share: the sample town, one run of it, and one browser."""

from __future__ import annotations

import os
import shutil
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import pytest
from browser_pages import CHROMIUM, DESK, FLAGS, Opened, Opener
from make_town import Town, build_town
from playwright.sync_api import Browser, Page, sync_playwright

from harvest.project import read_project
from harvest.result import Result
from harvest.run import run

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
LONGEST_RUN_S = 300
LEAN = {
    'formats = ["csv", "xlsx", "gpkg"]': "formats = []\nfigure = false\nbrief = false\nwalk_lists = false",
    "[rounds]\n": "[rounds]\neffort = 0\n",
}


@pytest.fixture(scope="session")
def sample_before() -> dict[str, bytes]:
    """Every file of the sample as it is before anything runs."""
    return {path.name: path.read_bytes() for path in SAMPLE.iterdir() if path.is_file()}


@pytest.fixture(scope="session")
def sample_result(sample_before: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory) -> Result:
    """One run of the sample, for tests that only look at it; where tests run in several processes, one for all."""
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    folder, begun = shared / "sample" / "pellwick", shared / "sample"
    try:
        begun.mkdir()
    except FileExistsError:
        until = time.monotonic() + LONGEST_RUN_S
        while not folder.exists():  # a result is whole or not there
            if time.monotonic() > until:
                pytest.fail("The sample's run in another process has not ended.")
            time.sleep(0.2)
        return Result.at(folder)
    return run(read_project(SAMPLE / "pellwick.toml"), folder)


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


@pytest.fixture
def lean_copy(sample_copy: Path) -> Path:
    """The sample's copy, with few things written and rounds laid without long search."""
    text = sample_copy.read_text(encoding="utf-8")
    for old, new in LEAN.items():
        assert old in text
        text = text.replace(old, new)
    sample_copy.write_text(text, encoding="utf-8")
    return sample_copy


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


@pytest.fixture(scope="session")
def idle_pages() -> dict[tuple[int, int], list[Page]]:
    """Blank pages by the size of their window, which tests hand on: opening a window takes longer than most tests."""
    return defaultdict(list)


@pytest.fixture
def opens(browser: Browser, idle_pages: dict[tuple[int, int], list[Page]]) -> Iterator[Opener]:
    """Opens a file at a window size; afterwards nothing may have been said on the console."""
    made = []

    def open_file(path: Path, size: tuple[int, int] = DESK, quiet: bool = True, fragment: str = "") -> Opened:
        if not idle_pages[size]:
            context = browser.new_context(viewport={"width": size[0], "height": size[1]}, offline=True)
            idle_pages[size].append(context.new_page())
        opened = Opened(idle_pages[size].pop())
        opened.page.set_default_timeout(20_000)
        opened.watch()
        opened.page.goto(path.as_uri() + fragment)
        made.append((size, opened, quiet))
        if quiet:
            opened.page.wait_for_selector("html[data-ready]")
        return opened

    yield open_file
    for size, opened, quiet in made:
        if quiet:
            assert opened.console == []
        opened.leave()
        idle_pages[size].append(opened.page)
