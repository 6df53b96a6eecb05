"""The public edition's page in a browser, opened from disk with no network."""

from __future__ import annotations

import re
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from axe_playwright_python.sync_playwright import Axe
from browser_pages import DESK, PHONE, SMALL_PHONE, Opened, Opener
from map_pages import colours_at
from public_result import HOSTILE, edition_in
from public_towns import PLANE

from harvest.fields.public import MEASURES
from harvest.project.public import Public
from harvest.result import Result
from harvest.show.classes import class_colours, class_of, quantile_breaks
from harvest.show.public import write_public
from harvest.show.public_drawn import STRIP_M, drawn
from harvest.units import litres_to_gallons


def page_of(folder: Path, sample: Result, by: str, units: str = "us", **more: object) -> Path:
    settings = Public.model_validate({"by": by, **more})
    result, *_ = edition_in(folder, sample, units=units, settings=settings)
    write_public(result, folder)
    return folder / "public" / "map.html"


@pytest.fixture(scope="module")
def streets(sample_result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return page_of(tmp_path_factory.mktemp("streets"), sample_result, "streets")


@pytest.fixture(scope="module")
def blocks(sample_result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return page_of(tmp_path_factory.mktemp("blocks"), sample_result, "blocks")


def cells_beside(page: Path) -> gpd.GeoDataFrame:
    return gpd.read_parquet(page.parents[1] / "public_cells.parquet")


def points_in(cells: gpd.GeoDataFrame) -> gpd.GeoSeries:
    """Twelve points in each cell, so that most of them lie on no line drawn over it."""
    return cells.geometry.sample_points(12, rng=1).explode()


def colours_of(opened: Opened, places: gpd.GeoSeries) -> list[str]:
    opened.page.eval_on_selector_all(
        ".cell-tiles", "all => all.forEach(one => one.classList.add('parcel-tiles'))"
    )
    return colours_at(opened, places)


def table_of(opened: Opened) -> list[list[str]]:
    rows = opened.page.eval_on_selector_all(
        "#table-body tr", "all => all.map(one => [...one.children].map(cell => cell.textContent.trim()))"
    )
    return [list(map(str, row)) for row in rows]


def told_gallons(litres: float) -> str:
    value = round(litres_to_gallons(litres))
    return "under 500" if value == 0 else f"{float(f'{value:.2e}'):,.0f}"


@pytest.mark.parametrize("by", ["streets", "blocks"])
def test_the_table_tells_the_figures_of_the_result(
    opens: Opener, request: pytest.FixtureRequest, by: str
) -> None:
    path = request.getfixturevalue(by)
    opened = opens(path)
    cells = cells_beside(path)
    shown = []
    while True:
        shown += table_of(opened)
        if opened.page.locator("#table-next").is_disabled():
            break
        opened.page.click("#table-next")
    expected = sorted(
        (f"{one['home_count']:,}", *(told_gallons(one[name]) for name in MEASURES))
        for one in cells.to_dict("records")
    )
    assert sorted(tuple(row[1:]) for row in shown) == expected
    assert opened.requests == [path.as_uri()]
    assert opened.texts(".edition") == [
        "Public edition. Sums of at least 10 homes, rounded. No home can be told from them."
    ]


def test_each_block_has_the_colour_of_its_class(opens: Opener, blocks: Path) -> None:
    opened = opens(blocks)
    cells = cells_beside(blocks)
    places = points_in(cells)
    for name in ("capturable_l_yr", "yield_l_yr"):
        opened.page.select_option("#choose-measure", name)
        values = np.rint(litres_to_gallons(cells[name].to_numpy()))
        breaks = quantile_breaks(values)
        colours = class_colours(len(breaks) + 1)
        expected = [colours[one] for one in class_of(values, breaks)]
        seen = pd.Series(colours_of(opened, places.reset_index(drop=True)), index=places.index)
        assert len(set(expected)) > 2
        assert seen.groupby(level=0).agg(lambda some: some.mode()[0]).tolist() == expected
        boxes = opened.page.eval_on_selector_all(
            "#legend .swatch", "all => all.map(one => one.style.backgroundColor)"
        )
        assert len(boxes) == len(colours)


def test_sides_of_a_street_are_drawn_on_their_own_side() -> None:
    """A line 100 m east and 50 m up a slope: its north side lies above it, its south side below, both on both."""
    line = shapely.LineString([(0, 0), (100, 50)])
    for turned in (line, line.reverse()):
        frame = gpd.GeoDataFrame(
            {"side": ["north", "south", "west", "east", "both sides"]}, geometry=[turned] * 5, crs=PLANE
        )
        north, south, west, east, both = drawn(frame, PLANE)
        assert north.centroid.y > line.centroid.y + 5 and south.centroid.y < line.centroid.y - 5
        assert west.centroid.x < line.centroid.x - 2 and east.centroid.x > line.centroid.x + 2
        assert both.centroid.distance(line.centroid) < 0.01
        assert north.area == pytest.approx(line.length * STRIP_M)
        assert both.area == pytest.approx(2 * line.length * STRIP_M)


def test_sides_have_the_colour_of_their_class_when_near(opens: Opener, streets: Path) -> None:
    opened = opens(streets)
    cells = cells_beside(streets)
    values = np.rint(litres_to_gallons(cells["capturable_l_yr"].to_numpy()))
    breaks = quantile_breaks(values)
    colours = class_colours(len(breaks) + 1)
    opened.page.evaluate("map_harvest.setZoom(15, { animate: false })")
    strips = gpd.GeoDataFrame(geometry=drawn(cells, PLANE).buffer(-3))
    places = points_in(strips)
    seen = pd.Series(colours_of(opened, places.reset_index(drop=True)), index=places.index)
    most = seen[seen.ne("")].groupby(level=0).agg(lambda some: some.mode()[0])
    expected = pd.Series([colours[one] for one in class_of(values, breaks)])[most.index]
    assert len(most) > 50
    assert (most == expected).mean() > 0.95  # strips meet at corners


@pytest.mark.parametrize("by", ["streets", "blocks"])
def test_keys_alone_open_a_sum_and_come_back(opens: Opener, request: pytest.FixtureRequest, by: str) -> None:
    opened = opens(request.getfixturevalue(by))
    page = opened.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.locator("#table-body button").nth(3).focus()
    name = page.evaluate("document.activeElement.textContent")
    page.keyboard.press("Enter")
    dialog = page.locator("[role=dialog]")
    assert dialog.locator("h2").inner_text() == name
    assert "homes" in dialog.inner_text() and "Used in a year" in dialog.inner_text()
    assert page.locator("#table-body tr[aria-current]").count() == 1
    page.keyboard.press("Escape")
    assert dialog.count() == 0
    assert page.evaluate("document.activeElement.textContent") == name
    page.locator(".folium-map").focus()
    page.keyboard.press("+")
    page.wait_for_timeout(300)
    assert page.evaluate("map_harvest.getZoom()") > 13


def test_headings_sort(opens: Opener, blocks: Path) -> None:
    opened = opens(blocks)
    opened.page.click("th.of-capturable_l_yr button")
    assert opened.page.get_attribute("th.of-capturable_l_yr", "aria-sort") == "descending"
    shown = [int(row[3].replace(",", "")) for row in table_of(opened)]
    assert shown == sorted(shown, reverse=True)


@pytest.mark.parametrize("by", ["streets", "blocks"])
def test_axe_finds_nothing(opens: Opener, request: pytest.FixtureRequest, by: str) -> None:
    opened = opens(request.getfixturevalue(by))
    opened.page.locator(".about details").evaluate("one => { one.open = true; }")
    opened.page.locator("#table-body button").nth(2).click()
    found = Axe().run(opened.page)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("size", [DESK, PHONE, SMALL_PHONE])
@pytest.mark.parametrize("by", ["streets", "blocks"])
def test_nothing_is_wider_than_the_window(
    opens: Opener, request: pytest.FixtureRequest, by: str, size: tuple[int, int]
) -> None:
    opened = opens(request.getfixturevalue(by), size)
    opened.page.locator(".about details").evaluate("one => { one.open = true; }")
    overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert opened.page.evaluate(overflow) == 0
    cut = opened.page.eval_on_selector_all(
        ".ranked :is(th, td), .scale li, select",
        "all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.textContent)",
    )
    assert cut == []


def test_hostile_street_names_show_as_text(opens: Opener, streets: Path) -> None:
    opened = opens(streets)
    names = set()
    while True:
        names |= {row[0] for row in table_of(opened)}
        if opened.page.locator("#table-next").is_disabled():
            break
        opened.page.click("#table-next")
    for hostile in HOSTILE.values():
        assert [one for one in names if one.startswith(hostile)]
    assert opened.page.evaluate("window.bad") is None
    policy = opened.page.get_attribute("meta[http-equiv=Content-Security-Policy]", "content") or ""
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe" not in policy and not re.search(r"https?:", policy)


def test_an_edition_without_a_single_sum_says_so(
    opens: Opener, sample_result: Result, tmp_path: Path
) -> None:
    path = page_of(tmp_path, sample_result, "streets", least_homes=1000)
    opened = opens(path)
    assert opened.texts("#shown p") == ["Nothing can be shown: there are too few homes in one place."]
    assert table_of(opened) == [["Nothing can be shown."]]
    assert opened.page.locator("#about-town").is_hidden()


def test_metric_people_read_litres(opens: Opener, sample_result: Result, tmp_path: Path) -> None:
    path = page_of(tmp_path, sample_result, "blocks", units="metric")
    opened = opens(path)
    cells = cells_beside(path)
    first = table_of(opened)[0]
    assert first[3] in {f"{float(f'{one:.2e}'):,.0f}" for one in cells["capturable_l_yr"]}
    assert "L a year" in opened.page.inner_text("#legend-of")
    assert "150 m" in opened.page.inner_text("#shown")
