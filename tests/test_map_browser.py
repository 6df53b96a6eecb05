"""The map in a browser, opened from disk with no network: what people see, hear, reach and compute.

Expected figures are worked out here with pandas from the result's own tables, never from the page.
"""

from __future__ import annotations

import base64
import re
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from axe_playwright_python.sync_playwright import Axe
from barrel_columns import HANGS_ON, NO_PAYBACK
from browser_pages import DESK, PHONE, SMALL_PHONE, TABLET_HIGH_ZOOM, Opened, Opener
from map_pages import (
    FADED,
    NIL,
    beside_the_roof,
    between,
    click_on,
    colours_at,
    expected_lines,
    figures_in,
    lines,
    named,
    opened_at,
    plain_lots,
    ranked,
    settled,
    spot_of,
    sums,
    told,
    told_page,
)
from map_result import (
    DAY_COLUMNS,
    HOSTILE,
    MADE_UP,
    PARCEL_CRS,
    RANGES,
    TARIFF_COLUMNS,
    parcels_frame,
    result_in,
    without,
)
from playwright.sync_api import Browser, Route

from harvest.project.basemap import Basemap
from harvest.show.classes import class_colours, class_of, quantile_breaks
from harvest.show.figures import dollars, rounded, shown, shown_range
from harvest.show.map import write_map
from harvest.show.maplayers import SUMMED
from harvest.units import litres_to_gallons, square_metres_to_square_feet

PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154789c63c8a88200"
    "000200013f0b1f3c0000000049454e44ae426082"
)


@pytest.fixture(scope="session")
def small_town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small-town")
    write_map(result_in(folder), folder, 20_000, 5_000)
    return folder / "map.html"


@pytest.fixture
def desk(opens: Opener, small_town: Path) -> Opened:
    opened = opens(small_town)
    settled(opened)
    return opened


# Offline, quiet, and the same as the tables


def test_it_opens_from_disk_and_asks_for_nothing(desk: Opened, small_town: Path) -> None:
    for _ in range(3):
        desk.page.locator(".leaflet-control-zoom-in").click()
    desk.page.locator("#table-body button").first.click()
    desk.page.wait_for_selector("[role=dialog]")
    assert desk.requests == [small_town.as_uri()]
    assert desk.page.title() == "Pellwick: what roofs could catch"


def test_the_table_says_what_the_result_says(desk: Opened) -> None:
    expected = expected_lines(ranked())
    seen = lines(desk)
    assert seen == expected[:25]
    while desk.page.locator("#table-next").is_enabled():
        desk.page.locator("#table-next").click()
        seen += lines(desk)
    assert seen == expected
    assert desk.texts("#table-rows") == [
        f"{len(expected) - len(expected) % 25 + 1} to {len(expected)} of {len(expected)}"
    ]


def test_the_totals_are_those_of_the_parcels(desk: Opened) -> None:
    parcels = parcels_frame()
    assert sums(desk) == {
        "runoff_l_yr": told(parcels["runoff_l_yr"].sum()),
        "capturable_l_yr": told(parcels["capturable_l_yr"].sum()),
        "yield_l_yr": told(parcels["yield_l_yr"].sum()),
        "catchment_area_m2": rounded(square_metres_to_square_feet(parcels["catchment_area_m2"].sum()), 3),
        "door_count": "117",
    }
    assert desk.texts("#totals .count") == ["All 117 parcels"]
    missing = int(parcels["capturable_l_yr"].isna().sum())
    assert desk.texts("#totals > .quiet") == [f"{missing} of them have no figure and are not in these sums."]


def test_the_page_rounds_as_all_other_outputs_do(desk: Opened) -> None:
    drawn = np.random.default_rng(3).lognormal(5, 4, 400)
    assert drawn.min() < 0.1 and drawn.max() > 1e7
    numbers = [
        0.0,
        0.5,
        1.0,
        5.004,
        99.96,
        999.6,
        1234.5678,
        9_994_999.0,
        9_999_999.0,
        1.2e7,
        2.4389e9,
        *drawn.tolist(),
    ]
    seen = desk.page.evaluate("numbers => numbers.map(one => page.rounded(one, 3))", numbers)
    assert seen == [rounded(one, 3) for one in numbers]
    assert desk.page.evaluate("page.rounded(NaN, 3)") == "–"
    money = [0.0, 0.05, 0.5, 9.99, 10.0, 13.0, 99.0, 123.0, 1200.0, 12_300_000.0]
    seen = desk.page.evaluate("all => all.map(one => page.told('net_cost_usd', one))", money)
    assert seen == [dollars(one) for one in money]


def test_outlines_and_columns_come_back_as_they_were_written(desk: Opened) -> None:
    layer = desk.page.evaluate(
        """async () => {
            const layer = await unpackedLayer("parcels-data");
            const plain = value => ArrayBuffer.isView(value)
                ? [...value].map(one => Number.isNaN(one) ? null : one) : value;
            const all = Object.fromEntries(Object.entries(layer).map(([name, value]) => [name, plain(value)]));
            all.outlines = Object.fromEntries(
                Object.entries(layer.outlines).map(([name, value]) => [name, plain(value)]));
            return all;
        }"""
    )
    parcels = parcels_frame().set_index("parcel_id").loc[layer["parcel_id"]].reset_index()
    assert layer["address"] == [None if pd.isna(text) else text for text in parcels["address"]]
    assert layer["reason"] == [None if pd.isna(text) else text for text in parcels["reason"]]
    assert layer["yield_hangs_on"] == [None if pd.isna(text) else text for text in parcels["yield_hangs_on"]]
    for name in ("runoff_l_yr", "storm_l", "yield_l_yr", "yield_low_l_yr"):
        there = pd.Series(layer[name], dtype="float64").to_numpy()
        exact = litres_to_gallons(parcels[name].to_numpy())
        np.testing.assert_allclose(there, exact, rtol=1.01e-4 if name in SUMMED else 0.005)
        assert [told_page(one) for one in there] == [told_page(one) for one in exact]
    world, half = 256 * 2**20, np.pi * 6_378_137
    shapes = layer["outlines"]
    scale = 2 * half / world
    rebuilt = []
    for row in range(layer["rows"]):
        rings = []
        for ring in range(shapes["firstRing"][row], shapes["firstRing"][row + 1]):
            span = slice(shapes["firstPosition"][ring], shapes["firstPosition"][ring + 1])
            x, y = np.array(shapes["x"][span]), np.array(shapes["y"][span])
            rings.append(np.column_stack([x * scale - half, half - y * scale]))
        rebuilt.append(shapely.Polygon(rings[0], rings[1:]))
    ground = gpd.GeoSeries(rebuilt, crs=3857).to_crs(PARCEL_CRS)
    # A pixel at zoom 20 is 0.15 m at the equator and 0.11 m here; a corner is off by half of that each way.
    assert shapely.hausdorff_distance(ground.to_numpy(), parcels.geometry.to_numpy()).max() < 0.09
    assert {len(shape.interiors) for shape in rebuilt} == {0, 1}


def test_rows_are_put_in_order_as_numpy_does_it(desk: Opened) -> None:
    """numpy's stable sort, for few and many digits of 16 bits, ties, none and one."""
    rng = np.random.default_rng(5)
    for keys in (
        rng.integers(0, 9, 500),
        rng.integers(0, 2**53, 500),
        rng.integers(2**16 - 2, 2**16 + 2, 500),
        np.zeros(3, int),
        np.array([7]),
        np.array([], int),
    ):
        seen = desk.page.evaluate("keys => [...rowsBy(keys)]", keys.tolist())
        assert seen == np.argsort(keys, kind="stable").tolist()
    worth = np.where(rng.random(400) < 0.2, np.nan, rng.integers(0, 300, 400) / 100)
    slivers_beside_a_mall = np.array([1.2345e-5, 9.8e7, 1.2346e-5, 1.2344e-5, np.nan, 1.2345e-5])
    for values, decimals in ((worth, 2), (slivers_beside_a_mall, 9)):
        places = np.empty(len(values), int)
        places[np.argsort(-np.nan_to_num(values), kind="stable")] = np.arange(1, len(values) + 1)
        seen = desk.page.evaluate("([values, n]) => [...placesBy(values, n)]", [values.tolist(), decimals])
        assert seen == places.tolist()


def test_bytes_are_the_same_in_browsers_without_a_function_of_their_own_for_them(desk: Opened) -> None:
    data = np.random.default_rng(6).bytes(1000)
    assert desk.page.evaluate("'fromBase64' in Uint8Array"), "else both ways below are the same one"
    old, new = desk.page.evaluate(
        """text => {
            const own = Uint8Array.fromBase64;
            const made = [[...bytesOf(text)]];
            delete Uint8Array.fromBase64;
            made.unshift([...bytesOf(text)]);
            Uint8Array.fromBase64 = own;
            return made;
        }""",
        base64.b64encode(data).decode(),
    )
    assert old == new == list(data)


def test_figures_in_litres_for_those_who_read_litres(opens: Opener, tmp_path: Path) -> None:
    write_map(result_in(tmp_path, units="metric"), tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    parcels = parcels_frame()
    assert sums(opened) == {
        "runoff_l_yr": rounded(parcels["runoff_l_yr"].sum(), 3),
        "capturable_l_yr": rounded(parcels["capturable_l_yr"].sum(), 3),
        "yield_l_yr": rounded(parcels["yield_l_yr"].sum(), 3),
        "catchment_area_m2": rounded(parcels["catchment_area_m2"].sum(), 3),
        "door_count": "117",
    }
    assert "million" in sums(opened)["runoff_l_yr"]
    assert opened.texts("#legend-of") == ["Capturable in a year, L a year"]
    assert opened.texts(".leaflet-control-scale-line")[0].endswith(" m")


# Colours


def test_every_parcel_has_the_colour_of_its_class(desk: Opened) -> None:
    parcels = parcels_frame()
    gallons = litres_to_gallons(parcels["capturable_l_yr"].to_numpy())
    breaks = quantile_breaks(gallons[gallons > 0])
    colours = class_colours(len(breaks) + 1)
    lots = plain_lots()
    water = litres_to_gallons(lots["capturable_l_yr"].to_numpy())
    expected = [
        NIL if litres == 0 else colours[number]
        for litres, number in zip(water, class_of(water, breaks), strict=True)
    ]
    known = ~np.isnan(water)
    seen = colours_at(desk, beside_the_roof(lots))
    assert [one for one, is_known in zip(seen, known, strict=True) if is_known] == [
        one for one, is_known in zip(expected, known, strict=True) if is_known
    ]
    assert len(set(expected)) == 6
    swatches = desk.page.eval_on_selector_all(
        "#legend .swatch", "all => all.map(one => getComputedStyle(one).backgroundColor)"
    )
    assert swatches == [f"rgb({int(c[1:3], 16)}, {int(c[3:5], 16)}, {int(c[5:7], 16)})" for c in colours]


def test_the_legend_gives_bounds_in_the_unit_people_read(desk: Opened) -> None:
    gallons = litres_to_gallons(parcels_frame()["capturable_l_yr"].to_numpy())
    breaks = quantile_breaks(gallons[gallons > 0])
    bounds = [rounded(one, 2) for one in breaks]
    between = [f"{low} to {high}" for low, high in pairwise(bounds)]
    counts = np.bincount(class_of(gallons[gallons > 0], breaks))
    expected = [f"under {bounds[0]}", *between, f"{bounds[-1]} and more"]
    assert desk.texts("#legend li") == [
        f"{one}\n{n} parcels" for one, n in zip(expected, counts, strict=True)
    ]
    nil, missing = int((gallons == 0).sum()), int(np.isnan(gallons).sum())
    assert desk.texts("#legend-of") == ["Capturable in a year, gal a year"]
    assert desk.texts("#legend-marks li") == [
        f"0 (no roof with a gutter)\n{nil} parcels",
        f"no figure\n{missing} parcels",
        "not among those shown",
    ]


def test_a_parcel_without_a_figure_is_hatched(desk: Opened) -> None:
    lot = parcels_frame().set_index("parcel_id").loc[["P021"]].geometry
    west, south, *_ = lot.total_bounds
    steps = [(west + 2 + 0.5 * i, south + 2 + 0.5 * j) for i in range(8) for j in range(8)]
    seen = set(colours_at(desk, gpd.GeoSeries(shapely.points(steps), crs=PARCEL_CRS)))
    assert "#ffffff" in seen and len(seen) > 2


def test_roofs_appear_when_zoomed_in(desk: Opened) -> None:
    centre = parcels_frame().set_index("parcel_id").loc[["P040"]].geometry.centroid
    degrees = centre.to_crs(4326).iloc[0]
    seen = {}
    for zoom in (16, 18):
        desk.page.evaluate(f"map_harvest.setView([{degrees.y}, {degrees.x}], {zoom}, {{animate: false}})")
        settled(desk)
        (seen[zoom],) = colours_at(desk, centre)
    lightness = {zoom: int(colour[1:3], 16) for zoom, colour in seen.items()}
    assert lightness[18] > lightness[16] + 30


# Choosing, sorting, finding


def test_only_the_best_of_a_list(desk: Opened) -> None:
    before = sums(desk)
    desk.page.select_option("#choose-list", "homes")
    desk.page.select_option("#choose-best", "25")
    homes = ranked("homes").head(25)
    assert lines(desk) == expected_lines(homes)
    assert desk.texts("#totals .count") == ["25 of 117 parcels"]
    assert sums(desk)["capturable_l_yr"] == told(homes["capturable_l_yr"].sum()) != before["capturable_l_yr"]
    lots = plain_lots()
    seen = np.array(colours_at(desk, beside_the_roof(lots)))
    assert ((seen == FADED) == ~lots["parcel_id"].isin(homes["parcel_id"]).to_numpy()).all()
    desk.page.select_option("#choose-list", "all")
    assert sums(desk) == before
    assert desk.page.input_value("#choose-best") == ""


def test_a_limit_counts_in_each_list(desk: Opened) -> None:
    desk.page.select_option("#choose-best", "25")
    assert desk.page.input_value("#choose-list") == "both"
    both = ranked()
    assert desk.texts("#totals .count") == [f"{int((both['rank'] <= 25).sum())} of 117 parcels"]
    desk.page.select_option("#choose-list", "large roofs")
    assert lines(desk) == expected_lines(ranked("large roofs"))


def test_headings_sort_and_say_so(desk: Opened) -> None:
    frame = ranked()
    sorts = {
        "Capturable": "capturable_l_yr",
        "Used": "yield_l_yr",
        "Barrels": "suggested_barrels",
        "Roof area": "catchment_area_m2",
    }
    for label, column in sorts.items():
        heading = desk.page.locator("#table-head th", has_text=label)
        heading.locator("button").click()
        assert heading.get_attribute("aria-sort") == "descending"
        assert desk.page.locator("#table-head [aria-sort]").count() == 1
        expected = frame.sort_values([column, "list", "rank"], ascending=[False, True, True])
        assert lines(desk) == expected_lines(expected.head(25))
        heading.locator("button").click()
        assert heading.get_attribute("aria-sort") == "ascending"
        expected = frame.sort_values([column, "list", "rank"], ascending=[True, True, True])
        assert lines(desk) == expected_lines(expected.head(25))
        assert desk.page.evaluate("document.activeElement.textContent") == label


def test_search_by_address_and_number(desk: Opened) -> None:
    desk.page.fill("#search", "  ALDER   street ")
    addresses = parcels_frame()["address"].dropna()
    wanted = addresses[addresses.str.endswith("Alder Street")]
    assert len(wanted) > 8
    assert desk.texts("#search-status") == [f"{len(wanted)} found; the first 8 are shown."]
    assert desk.texts("#found button") == sorted(wanted, key=lambda text: int(text.split()[0]))[:8]
    desk.page.fill("#search", "9 Alder Street")
    assert desk.texts("#found button")[0] == "19 Alder Street"
    desk.page.fill("#search", "site of")
    assert desk.texts("#search-status") == ["1 found."]
    desk.page.fill("#search", "U1")
    assert desk.texts("#search-status") == ["2 found."]
    desk.page.fill("#search", "P021")
    assert desk.texts("#search-status") == ["1 found."]
    desk.page.press("#search", "Enter")
    assert "P021" in desk.page.locator("[role=dialog]").inner_text()
    desk.page.fill("#search", "nowhere at all")
    assert desk.texts("#search-status") == ["Nothing found."]


# The pop-up


def test_the_popup_gives_the_three_levels_together_and_the_rest(desk: Opened) -> None:
    homes = ranked("homes").reset_index(drop=True)
    place = int(homes.index[homes["suggested_barrels"] == 2][1])
    row = next(homes.iloc[[place]].itertuples())
    desk.page.locator("#table-body button").nth(place).click()
    dialog = desk.page.locator("[role=dialog]")
    assert figures_in(dialog) == {
        "runoff_l_yr": f"{told(row.runoff_l_yr)} gal a year",
        "capturable_l_yr": f"{told(row.capturable_l_yr)} gal a year",
        "yield_l_yr": f"{told(row.yield_l_yr)} gal a year",
        "yield_low_l_yr": between(row.yield_low_l_yr, row.yield_high_l_yr),
        "yield_poor_year_l_yr": between(row.yield_poor_year_l_yr, row.yield_good_year_l_yr),
        "net_cost_usd": "$140",
        "saving_low_usd_yr": shown_range(row.saving_low_usd_yr, row.saving_high_usd_yr, "USD/yr", "us"),
        "storm_l": f"{told(row.storm_l)} gal",
        "catchment_area_m2": f"{rounded(square_metres_to_square_feet(row.catchment_area_m2), 3)} ft²",
        "served_area_m2": f"{rounded(square_metres_to_square_feet(row.served_area_m2), 3)} ft²",
        "garden_m2": "151 ft²",
        "rain_mm_yr": f"{rounded(1000 / 25.4, 3)} inches a year",
        "roof_count": "1",
        "door_count": "1",
    }
    dialog.locator("summary").press("Enter")  # by key: the map may still be moving under the pointer
    said = dialog.inner_text()
    assert f"Homes: rank {place + 1} of {len(homes)}" in said
    assert f"Parcel {row.parcel_id}" in said
    assert "never means ineligible" in said
    assert "Used with 2 suggested barrels" in said
    share = 100 * row.yield_l_yr / row.runoff_l_yr
    assert f"Used is about {rounded(share, 1)}% of what the roofs shed" in said
    assert f"The doubt hangs most on {HANGS_ON}." in said
    assert NO_PAYBACK in said
    assert (
        f"fills in about {rounded(row.fill_min, 2)} minutes of rain at 1 in an hour: it is full before a storm peaks"
        in said
    )
    assert "Sheds in one storm (1 in of rain)" in said
    assert "made up" not in said
    assert desk.page.locator("#table-body tr[aria-current=true] td").first.inner_text() == str(place + 1)


def test_bars_are_in_proportion_to_what_the_roofs_shed(desk: Opened) -> None:
    row = parcels_frame().set_index("parcel_id").loc["P040"]
    shares = (
        opened_at(desk, "P040")
        .locator(".levels > div")
        .evaluate_all(
            """all => all.map(one => {
            const bar = getComputedStyle(one, "::after");
            return [bar.backgroundSize, parseFloat(bar.width)];
        })"""
        )
    )
    sizes = [size for size, _ in shares]
    assert sizes[0].startswith("max(2px, 100%)")
    for size, name in zip(sizes, ("runoff_l_yr", "capturable_l_yr", "yield_l_yr"), strict=True):
        percent = re.search(r"([\d.]+)%\)", size)
        assert percent and float(percent[1]) == pytest.approx(100 * row[name] / row["runoff_l_yr"], rel=1e-3)
    assert all(width > 200 for _, width in shares)


@pytest.mark.parametrize(
    ("parcel", "said"),
    [
        ("P012", "No barrel is suggested: there is no garden to water, as far as is known."),
        ("P023", "No barrel is suggested: no roof here counts as having a gutter."),
        ("P020", "No barrel is suggested: there is no roof."),
    ],
    ids=["no garden", "no gutter", "no roof"],
)
def test_no_barrel_is_told_in_a_plain_sentence(desk: Opened, parcel: str, said: str) -> None:
    dialog = opened_at(desk, parcel)
    assert said in dialog.inner_text()
    found = figures_in(dialog)
    assert found["yield_l_yr"] == "0 gal a year"
    assert not {name for name in found if name.startswith(("yield_low", "yield_poor", "saving", "net_cost"))}
    assert "The doubt" not in dialog.inner_text() and "of what the roofs shed" not in dialog.inner_text()


def test_what_is_not_known_of_a_parcel_is_left_out(desk: Opened) -> None:
    found = figures_in(opened_at(desk, "P021"))
    assert set(found) == {"catchment_area_m2", "roof_count", "door_count"}
    desk.page.keyboard.press("Escape")
    dialog = opened_at(desk, "P014")
    found = figures_in(dialog)
    assert "yield_l_yr" in found and "saving_low_usd_yr" in found
    assert not {"yield_low_l_yr", "yield_poor_year_l_yr"} & set(found)
    assert "The doubt" not in dialog.inner_text() and "–" not in dialog.inner_text()


def test_without_a_tariff_nothing_is_said_of_savings(opens: Opener, tmp_path: Path) -> None:
    ranges = {name: ends for name, ends in RANGES.items() if name != "saving_usd_yr"}
    result = result_in(tmp_path, without(parcels_frame(), *TARIFF_COLUMNS), ranges=ranges)
    write_map(result, tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    dialog = opened_at(opened, "P040")
    assert figures_in(dialog)["net_cost_usd"] == "$140"
    assert "saving_low_usd_yr" not in figures_in(dialog)
    assert "pay back" not in dialog.inner_text() and "aved" not in dialog.inner_text()
    opened.page.keyboard.press("Escape")
    opened.page.locator(".about summary").click()
    assert "aved" not in opened.page.locator(".about").inner_text()


def test_without_days_two_levels_stand_and_nothing_of_barrels(opens: Opener, tmp_path: Path) -> None:
    ranges = {name: RANGES[name] for name in ("runoff_l_yr", "capturable_l_yr")}
    result = result_in(tmp_path, without(parcels_frame(), *DAY_COLUMNS), days=None, ranges=ranges)
    write_map(result, tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    assert set(sums(opened)) == {"runoff_l_yr", "capturable_l_yr", "catchment_area_m2", "door_count"}
    assert opened.texts("#table-head button") == ["Rank", "Address", "Sheds", "Capturable", "Roof area"]
    dialog = opened_at(opened, "P040")
    assert {"runoff_l_yr", "capturable_l_yr", "garden_m2"} <= set(figures_in(dialog))
    assert "yield_l_yr" not in figures_in(dialog)
    assert "A barrel delivers far less" in dialog.inner_text()
    assert "suggested" not in dialog.inner_text()


def test_made_up_days_are_told_wherever_what_is_used_is_told(opens: Opener, tmp_path: Path) -> None:
    write_map(result_in(tmp_path, days=MADE_UP), tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    said = "The days of rain behind what barrels deliver are made up, since no gauge was given."
    assert opened.texts("#totals .made-up") == [said]
    assert said in opened_at(opened, "P040").inner_text()
    opened.page.keyboard.press("Escape")
    assert said not in opened_at(opened, "P021").inner_text()
    assert Axe().run(opened.page).violations_count == 0


def test_a_large_roof_calls_for_a_tank(desk: Opened) -> None:
    said = opened_at(desk, "site of U1").inner_text()
    assert "So large a roof calls for a tank" in said and "never means ineligible" not in said


def test_the_town_stands_with_its_ranges(desk: Opened) -> None:
    desk.page.locator(".about summary").click()
    rows = desk.page.eval_on_selector_all(
        "#about-town tr", "all => all.map(row => [...row.children].map(cell => cell.innerText.trim()))"
    )
    used = parcels_frame()["yield_l_yr"].sum()
    assert [row[0] for row in rows][-5:] == [
        "Roof area",
        "Sheds in a year",
        "Capturable in a year",
        "Used in a year",
        "Saved on water bills",
    ]
    assert rows[-2][1:] == [
        f"{told(used)} gal a year",
        f"32,600 to 62,000 gal a year\nhangs most on {HANGS_ON}",
    ]
    saved = parcels_frame()["saving_usd_yr"].sum()
    assert rows[-1][1:] == [
        f"{shown(saved, 'USD/yr', 'us')}",
        "$62 to $1,200 a year\nhangs most on how much tap water it replaces",
    ]
    assert rows[-4][2].endswith("hangs most on the runoff <i>coefficient</i>")
    assert "hangs" not in rows[-3][2]


@pytest.mark.parametrize(
    ("parcel", "said"),
    [
        ("P021", ["Not ranked: no rain figure.", "The rainfall grid holds no figure here."]),
        ("P020", ["Not ranked: no roof."]),
        ("U2", ["Not ranked: unit of association."]),
        ("site of U1", ["Large roofs: rank 1 of 8", "An association answers for it."]),
    ],
)
def test_the_popup_says_why(desk: Opened, parcel: str, said: list[str]) -> None:
    desk.page.fill("#search", parcel)
    desk.page.press("#search", "Enter")
    text = desk.page.locator("[role=dialog]").inner_text()
    assert all(part in text for part in said), text


def test_a_click_on_the_map_opens_the_parcel_and_marks_its_row(desk: Opened) -> None:
    frame = ranked().reset_index(drop=True)
    place = int(frame.index[frame["parcel_id"] == "P060"][0])
    assert place >= 25
    click_on(desk, "P060")
    marked = desk.page.locator("#table-body tr[aria-current=true]")
    assert marked.count() == 1
    assert marked.locator("td").first.inner_text() == str(frame.loc[place, "rank"])
    assert "P060" in desk.page.locator("[role=dialog]").inner_text()
    box, panel = marked.bounding_box(), desk.page.locator("#panel").bounding_box()
    assert (
        box and panel and panel["y"] <= box["y"] and box["y"] + box["height"] <= panel["y"] + panel["height"]
    )
    desk.page.keyboard.press("Escape")
    assert desk.page.locator("[role=dialog]").count() == 0
    assert desk.page.locator("#table-body tr[aria-current]").count() == 0


@pytest.mark.parametrize(
    ("parcel", "across", "said"),
    [("C1", 12, "C2"), ("C1", 3, "C1"), ("U1", 3, "site of U1")],
    ids=["a pad in common ground", "common ground beside it", "a site over its units"],
)
def test_a_click_finds_what_lies_on_top(desk: Opened, parcel: str, across: float, said: str) -> None:
    click_on(desk, parcel, across, 15)
    assert re.search(rf"{said}\b", desk.page.locator("[role=dialog]").inner_text())


def test_a_click_in_the_hole_of_a_parcel_finds_nothing(desk: Opened) -> None:
    click_on(desk, "P022", 11, 15)
    assert desk.page.locator("[role=dialog]").count() == 0
    click_on(desk, "P022", 3, 15)
    assert "P022" in desk.page.locator("[role=dialog]").inner_text()


def test_what_lies_under_the_pointer_is_told(desk: Opened) -> None:
    """It follows the pointer from parcel to parcel, and tells the measure that colours the map by now."""
    frame = parcels_frame().set_index("parcel_id")
    tip = desk.page.locator(".parcel-tip")

    def tells(parcel: str, column: str) -> str:
        row = frame.loc[parcel]
        return f"{row['address']}\n{told(row[column])} gal a year"

    for parcel, across in (("P022", 3), ("P022", 5), ("P023", 3)):
        desk.page.mouse.move(*spot_of(desk, parcel, across, 15))
        assert tip.inner_text() == tells(parcel, "capturable_l_yr")
    desk.page.select_option("#choose-measure", "yield_l_yr")
    assert tip.count() == 0
    desk.page.mouse.move(*spot_of(desk, "P023", 4, 15))
    assert tip.inner_text() == tells("P023", "yield_l_yr")
    desk.page.mouse.move(5, 5)
    assert tip.count() == 0


# Keyboard


def test_keyboard_from_skip_link_to_popup_and_back(desk: Opened) -> None:
    page = desk.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip the map and go to the table"
    page.keyboard.press("Enter")
    for _ in range(7 + 2):  # seven headings, then the second row
        page.keyboard.press("Tab")
    row = ranked().iloc[1]
    assert page.evaluate("document.activeElement.textContent") == row["address"]
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.getAttribute('role')") == "dialog"
    assert page.locator("[role=dialog] h2").inner_text() == row["address"]
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Close"
    page.keyboard.press("Escape")
    assert page.locator("[role=dialog]").count() == 0
    assert page.evaluate("document.activeElement.textContent") == row["address"]


def test_details_open_by_keyboard_and_stay_in_sight(opens: Opener, small_town: Path) -> None:
    for size in (DESK, PHONE, SMALL_PHONE):
        page = opens(small_town, size).page
        page.locator("#table-body button").nth(3).click()
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.tagName") == "SUMMARY"
        page.keyboard.press("Enter")
        page.wait_for_timeout(200)
        parts = [
            page.locator(one).bounding_box()
            for one in ("[role=dialog]", "#map-side", ".facts > :first-child")
        ]
        dialog, side, fact = parts
        assert dialog and side and fact
        assert side["y"] <= dialog["y"] and dialog["y"] + dialog["height"] <= side["y"] + side["height"]
        assert dialog["y"] < fact["y"] < dialog["y"] + dialog["height"] - fact["height"]
        heading = page.locator("[role=dialog] h2").bounding_box()
        assert heading and heading["y"] >= dialog["y"]
        page.keyboard.press("Escape")
        assert page.locator("[role=dialog]").count() == 0


def test_focus_returns_to_the_row_though_the_table_was_sorted_meanwhile(desk: Opened) -> None:
    page = desk.page
    page.select_option("#choose-list", "homes")
    best = named(next(ranked("homes").itertuples()))
    page.locator("#table-body button").first.click()
    page.locator("#table-head button", has_text="Capturable").click()
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.textContent") == best
    page.locator("#table-body button").first.click()
    page.locator("#table-head button", has_text="Rank").click()
    page.locator("#table-head button", has_text="Rank").click()
    page.locator("[role=dialog] .close").click()
    assert best not in [line[1] for line in lines(desk)]
    assert page.evaluate("document.activeElement.className").startswith("folium-map")


def test_every_stop_on_the_way_through_the_page_shows_its_focus(desk: Opened) -> None:
    page = desk.page
    stops = []
    for _ in range(60):
        page.keyboard.press("Tab")
        stop = page.evaluate(
            """() => {
                const at = document.activeElement;
                const style = getComputedStyle(at), ring = getComputedStyle(at, "::before");
                const shown = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2
                    || ring.borderTopStyle === "solid" && parseFloat(ring.borderTopWidth) >= 2;
                return at === document.body ? null : [at.tagName, at.textContent.slice(0, 30), shown];
            }"""
        )
        if stop is None:
            break
        stops.append(stop)
    assert len(stops) > 35
    assert [stop for stop in stops if not stop[2]] == []


def test_enter_on_the_map_opens_the_parcel_in_the_middle(desk: Opened) -> None:
    page = desk.page
    lot = parcels_frame().set_index("parcel_id").loc[["P050"]].geometry.centroid.to_crs(4326).iloc[0]
    page.evaluate(f"map_harvest.setView([{lot.y}, {lot.x}], 19, {{animate: false}})")
    page.locator(".folium-map").focus()
    page.keyboard.press("Enter")
    assert "P050" in page.locator("[role=dialog]").inner_text()
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.className").startswith("folium-map")


def test_axe_finds_nothing(desk: Opened) -> None:
    axe = Axe()
    desk.page.locator(".about details").evaluate("one => { one.open = true; }")
    desk.page.locator("#table-body button").nth(10).click()
    desk.page.locator("[role=dialog] summary").press("Enter")
    desk.page.fill("#search", "Alder")
    found = axe.run(desk.page)
    assert found.violations_count == 0, found.generate_report()


# Hostile text


def test_hostile_text_shows_as_text_and_does_nothing(desk: Opened) -> None:
    page = desk.page
    for parcel, text in HOSTILE.items():
        page.fill("#search", parcel)
        shown = page.locator("#found button").first
        assert shown.evaluate("one => one.textContent") == text
        shown.click()
        dialog = page.locator("[role=dialog]")
        assert dialog.locator("h2").evaluate("one => one.textContent") == text
        said = dialog.evaluate("one => [...one.querySelectorAll('p')].map(part => part.textContent)")
        assert text in said and f"The doubt hangs most on {text}." in said
        assert dialog.locator("img, b, script").count() == 0
        page.keyboard.press("Escape")
    page.locator("#table-head button").nth(1).click()
    assert page.locator("main img").count() == 0
    assert page.evaluate("window.broken") is None
    assert page.locator("#about-findings b").count() == 0
    assert "<b>roofs</b>" in page.locator("#about-findings").evaluate("one => one.textContent")


def test_the_policy_stops_markup_that_would_run(opens: Opener, small_town: Path) -> None:
    opened = opens(small_town, quiet=False)
    opened.page.wait_for_selector("html[data-ready]")
    opened.page.evaluate(
        """() => {
            document.getElementById("made-with").innerHTML = '<img src="data:," onerror="window.broken = 9">';
        }"""
    )
    opened.page.wait_for_timeout(200)
    assert opened.page.evaluate("window.broken") is None
    assert any("Content Security Policy" in line for line in opened.console)


# Sizes


@pytest.mark.parametrize("size", [PHONE, SMALL_PHONE, TABLET_HIGH_ZOOM], ids=["390", "360", "200 % zoom"])
def test_small_windows_scroll_one_way_only(opens: Opener, small_town: Path, size: tuple[int, int]) -> None:
    opened = opens(small_town, size)
    page = opened.page
    page.locator(".about details").evaluate("one => { one.open = true; }")
    overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(overflow) == 0
    page.locator("#table-body button").nth(2).click()
    page.wait_for_timeout(400)
    assert page.evaluate(overflow) == 0
    popup, side = page.locator(".leaflet-popup").bounding_box(), page.locator("#map-side").bounding_box()
    assert popup and side
    assert popup["y"] >= side["y"] - 1 and popup["y"] + popup["height"] <= side["y"] + side["height"] + 1
    assert side["y"] >= -1 and popup["x"] >= 0 and popup["x"] + popup["width"] <= size[0]
    page.keyboard.press("Escape")
    assert (
        page.locator("#table-body button")
        .nth(2)
        .evaluate("one => one === document.activeElement && one.getBoundingClientRect().top < innerHeight")
    )


def test_no_cell_of_the_table_is_cut_off(opens: Opener, small_town: Path) -> None:
    for size in (DESK, PHONE, SMALL_PHONE):
        opened = opens(small_town, size)
        cut = opened.page.eval_on_selector_all(
            ".ranked :is(th, td), .sums dd, .scale li, select",
            "all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.textContent)",
        )
        assert cut == []


# Less than everything


def test_a_limited_map_says_so(opens: Opener, tmp_path: Path) -> None:
    write_map(result_in(tmp_path), tmp_path, most_parcels=100, best=12)
    opened = opens(tmp_path / "map.html")
    assert opened.texts(".limited") == [
        "The town has 117 parcels, too many for this page: it shows only the 12 best ranked. "
        "The tables beside this file hold all of them."
    ]
    assert len(lines(opened)) == 12
    opened.page.locator("#table-body button").first.click()
    assert f"Homes: rank 1 of {len(ranked('homes'))}" in opened.page.locator("[role=dialog]").inner_text()


def test_an_unlimited_map_has_no_such_line(desk: Opened) -> None:
    assert not desk.page.locator(".limited").is_visible()
    assert not desk.page.locator("#trouble").is_visible()
    assert not desk.page.locator("#basemap-choice").is_visible()


def test_a_town_without_parcels_opens(opens: Opener, tmp_path: Path) -> None:
    write_map(result_in(tmp_path, parcels_frame().iloc[:0]), tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    assert opened.texts("#totals .count") == ["No parcel"]
    assert lines(opened) == [["No ranked parcel is shown."]]


def test_damaged_data_is_told(opens: Opener, small_town: Path, tmp_path: Path) -> None:
    whole = small_town.read_text(encoding="utf-8")
    start = whole.index('id="parcels-data">') + len('id="parcels-data">')
    damaged = tmp_path / "map.html"
    damaged.write_text(whole[: start + 400] + whole[start + 800 :], encoding="utf-8")
    opened = opens(damaged, quiet=False)
    opened.page.wait_for_function("() => document.getElementById('trouble').textContent.includes('damaged')")
    assert opened.page.locator("#trouble").is_visible()


# A background map


def test_a_background_map_asks_its_own_host_only(opens: Opener, browser: Browser, tmp_path: Path) -> None:
    basemap = Basemap(url="https://tiles.example/{z}/{x}/{y}.png", attribution="© <b>Someone</b> {{ 6*7 }}")
    write_map(result_in(tmp_path), tmp_path, 20_000, 5_000, basemap)
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]})

    answered = []

    def answer(route: Route) -> None:
        answered.append(route.request.url)
        route.fulfill(body=PNG, content_type="image/png")

    context.route(re.compile("^https?://"), answer)
    opened = Opened(context.new_page())
    opened.watch()
    opened.page.goto((tmp_path / "map.html").as_uri())
    opened.page.wait_for_selector("html[data-ready]")
    opened.page.wait_for_selector(".leaflet-tile-pane img.leaflet-tile-loaded")
    asked = [url for url in opened.requests if not url.startswith("file:")]
    assert asked and asked == answered
    assert all(re.fullmatch(r"https://tiles\.example/\d+/\d+/\d+\.png", url) for url in asked)
    assert "© <b>Someone</b> {{ 6*7 }}" in opened.page.locator(".leaflet-control-attribution").inner_text()
    assert opened.console == []
    opened.page.uncheck("#choose-basemap")
    assert opened.page.locator(".leaflet-tile-pane img").count() == 0
    opened.page.evaluate("() => { new Image().src = 'https://elsewhere.example/x.png'; }")
    opened.page.wait_for_timeout(200)
    assert not any("elsewhere" in url for url in answered)
    assert any("elsewhere.example" in line and "Content Security Policy" in line for line in opened.console)
    context.close()
