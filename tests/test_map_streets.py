"""The map of a town with streets, rounds, surroundings and visits, in a browser; and of towns without some of them.

Expected figures are worked out here with pandas from the result's own tables, never from the page.
"""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from urllib.parse import parse_qs

import geopandas as gpd
import numpy as np
import pandas as pd
import pypdf
import pyproj
import pytest
import shapely
from axe_playwright_python.sync_playwright import Axe
from browser_pages import DESK, PHONE, SMALL_PHONE, TABLET_HIGH_ZOOM, Opened, Opener
from map_pages import FADED, click_on, colours_at, figures_in, lines, named, opened_at, settled, sums, told
from map_result import EAST, HOSTILE, PARCEL_CRS, parcels_frame, result_in
from map_streets import (
    CAUTION,
    CAUTIONED,
    DISTRICTS,
    HOSTILE_STREET,
    HOSTILE_STRETCH,
    STREETS,
    VISITS,
    WATER_NAME,
    context_frame,
    placed,
    sides_frame,
    street_tables,
    street_y,
    town_with_streets,
)

from harvest.fields.barrels import yield_name
from harvest.show.classes import class_colours, class_of, quantile_breaks
from harvest.show.figures import rounded
from harvest.show.limits import FORMULA_STARTS
from harvest.show.map import write_map
from harvest.units import litres_to_gallons

ORANGE, WATER, PARK = "#d05a00", "#cfe3ee", "#d9e8d0"


@pytest.fixture(scope="session")
def street_town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("street-town")
    write_map(town_with_streets(folder), folder, 20_000, 5_000)
    return folder / "map.html"


@pytest.fixture
def desk(opens: Opener, street_town: Path) -> Opened:
    opened = opens(street_town)
    settled(opened)
    return opened


@pytest.fixture(scope="module")
def parcels() -> gpd.GeoDataFrame:
    return placed(parcels_frame())


@pytest.fixture(scope="module")
def sides(parcels: gpd.GeoDataFrame) -> pd.DataFrame:
    """Street sides in the order of their ranks, with what the page calls them."""
    frame = sides_frame(parcels).sort_values("rank").reset_index(drop=True)
    called = frame["street"].str.replace(r"\s+", " ", regex=True) + ", " + frame["side"] + " side"
    return pd.DataFrame(frame.assign(called=called))


def side_lines(frame: pd.DataFrame) -> list[list[str]]:
    return [
        [
            str(row.rank),
            row.called,
            str(row.to_visit_count),
            rounded(row.canvass_min, 3),
            rounded(litres_to_gallons(row.worth_l_min), 3),
            rounded(litres_to_gallons(row.worth_door_l_yr), 3),
            "–" if pd.isna(row.round) else str(row.round),
        ]
        for row in frame.itertuples()
    ]


def view_of(opened: Opened) -> dict[str, str]:
    """What the fragment of the page's address says."""
    fragment = opened.page.evaluate("location.hash").removeprefix("#")
    return {name: texts[0] for name, texts in parse_qs(fragment).items()}


def zoomed(opened: Opened, east: float, north: float, zoom: float) -> None:
    point = gpd.GeoSeries([shapely.Point(east, north)], crs=PARCEL_CRS).to_crs(4326).iloc[0]
    opened.page.evaluate(f"map_harvest.setView([{point.y}, {point.x}], {zoom}, {{animate: false}})")
    settled(opened)


def around(east: float, north: float, reach: float = 6) -> gpd.GeoSeries:
    steps = np.arange(-reach, reach + 0.1, 0.5)
    return gpd.GeoSeries(
        shapely.points([(east + x, north + y) for x in steps for y in steps]), crs=PARCEL_CRS
    )


# Each layer and table only where the result holds it


def test_street_sides_stand_in_a_table_of_their_own(desk: Opened, sides: pd.DataFrame) -> None:
    assert desk.page.locator("#table-part").is_hidden()
    assert lines(desk, "sides") == side_lines(sides)
    second = desk.page.locator("#sides-body th .quiet").nth(0).text_content()
    first = sides.iloc[0]
    assert second == f"{first['stretch']} · {first['numbers']} · {first['district']}"
    desk.page.check("#table-choice input[value=parcels]")
    assert desk.page.locator("#sides-part").is_hidden() and desk.page.locator("#table-body tr").count() == 25


@pytest.mark.parametrize("absent", ["sides", "rounds", "context"])
def test_what_the_result_lacks_is_not_in_the_page(opens: Opener, tmp_path: Path, absent: str) -> None:
    write_map(town_with_streets(tmp_path, leave_out=(absent,)), tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    offered = opened.page.eval_on_selector_all("#layers input", "all => all.map(one => one.dataset.layer)")
    everything = ["parcels", "roofs", "sides", "rounds", "visits", "context"]
    assert offered == [one for one in everything if one != absent]
    assert opened.page.locator("#table-choice").is_visible() == (absent != "sides")
    assert opened.page.locator("#sides-part").is_visible() == (absent != "sides")
    if absent == "sides":
        assert opened.page.locator("#street-choice").is_visible()  # parcels know their street still
    settled(opened)


def test_a_town_without_any_of_it_offers_none_of_it(opens: Opener, tmp_path: Path) -> None:
    write_map(result_in(tmp_path), tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    offered = opened.page.eval_on_selector_all("#layers input", "all => all.map(one => one.dataset.layer)")
    assert offered == ["parcels", "roofs"]
    for name in ("street", "district", "visit"):
        assert opened.page.locator(f"#{name}-choice").is_hidden()
    assert (
        opened.page.locator("#class-choice").is_visible()
        and opened.page.locator("#status-choice").is_visible()
    )
    assert opened.page.locator("#table-choice").is_hidden()


# Layers


def test_the_best_tenth_is_orange_and_says_its_rank(desk: Opened, sides: pd.DataFrame) -> None:
    best = sides.iloc[0]
    street, stretch, hand = int(best["side_id"][1]), int(best["side_id"][2]), best["side_id"][4]
    assert len(sides) == 16 and int(np.ceil(0.1 * len(sides))) == 2
    middle = EAST + 154 * stretch + 77
    up = 1 if hand == "L" else -1
    zoomed(desk, middle, street_y(street), 18)
    beside = gpd.GeoSeries([shapely.Point(middle + 71, street_y(street) + 1.8 * up)], crs=PARCEL_CRS)
    assert colours_at(desk, beside) == [ORANGE]
    label = around(middle, street_y(street) + 6.3 * up, 3)
    seen = set(colours_at(desk, label))
    assert "#ffffff" in seen and "#7a3400" in seen
    other = next(row for row in sides.itertuples() if row.rank > 2 and row.side_id[:3] != best["side_id"][:3])
    place = gpd.GeoSeries(
        [
            shapely.Point(
                EAST + 154 * int(other.side_id[2]) + 117,
                street_y(int(other.side_id[1])) + (1.8 if other.side_id[4] == "L" else -1.8),
            )
        ],
        crs=PARCEL_CRS,
    )
    zoomed(desk, place.iloc[0].x, place.iloc[0].y, 18)
    assert ORANGE not in colours_at(desk, around(place.iloc[0].x, place.iloc[0].y, 3))
    assert "best tenth of street sides (2)" in desk.texts("#layer-keys li")[0]


def test_layers_go_and_come(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    spot = {
        "pond": gpd.GeoSeries(
            [shapely.Point(EAST + 240, context_frame().geometry[0].centroid.y)], crs=PARCEL_CRS
        ),
        "park": context_frame().geometry[2:3].centroid,
        "lot": parcels[parcels["parcel_id"].eq("P000")].geometry.representative_point(),
    }
    before = {name: colours_at(desk, points)[0] for name, points in spot.items()}
    assert before["pond"] == WATER and before["park"] == PARK
    for name in ("context", "parcels"):
        desk.page.uncheck(f"#layers input[data-layer={name}]")
    after = {name: colours_at(desk, points)[0] for name, points in spot.items()}
    assert after["pond"] not in (WATER,) and after["park"] not in (PARK,) and after["lot"] != before["lot"]
    desk.page.check("#layers input[data-layer=parcels]")
    assert colours_at(desk, spot["lot"])[0] == before["lot"]


def test_rounds_differ_by_dash_and_number(desk: Opened) -> None:
    desk.page.check("#layers input[data-layer=rounds]")
    looks = desk.page.evaluate("() => [1, 2, 3, 4, 5, 6].map(one => JSON.stringify(roundLook(one).dash))")
    assert len(set(looks[:5])) == 5
    seen = desk.page.evaluate(
        "() => Array.from({length: 20}, (nothing, i) => JSON.stringify(roundLook(i + 1)))"
    )
    assert len(set(seen)) == 20
    zoomed(desk, EAST + 308, street_y(1), 18)
    found = set(colours_at(desk, around(EAST + 308, street_y(1), 8)))
    assert "#882255" in found or "#332288" in found


def test_marks_of_visits_have_shapes_of_their_own(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    shapes = desk.page.evaluate("VISIT_SHAPES")
    assert len(set(shapes.values())) == len(shapes)
    lot = parcels[parcels["parcel_id"].eq("P018")].geometry.centroid
    zoomed(desk, lot.x.iloc[0], lot.y.iloc[0], 18)
    points = around(lot.x.iloc[0], lot.y.iloc[0], 3)
    with_mark = colours_at(desk, points)
    desk.page.uncheck("#layers input[data-layer=visits]")
    assert colours_at(desk, points) != with_mark
    assert {"#ffffff", "#1d2730"} <= set(with_mark)
    keys = desk.texts("#layer-keys li")
    desk.page.check("#layers input[data-layer=visits]")
    assert "refused" not in keys and "refused" in desk.texts("#layer-keys li")


# Measures


def test_one_measure_at_a_time_colours_the_map(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    offered = desk.page.eval_on_selector_all("#choose-measure option", "all => all.map(one => one.value)")
    assert offered == ["capturable_l_yr", "yield_l_yr", "used_a_door", "suggested_barrels"]
    lots = parcels[
        parcels["parcel_id"].str.startswith("P") & parcels["catchment_area_m2"].lt(300)
    ].reset_index(drop=True)
    corner = lots.geometry.bounds
    points = gpd.GeoSeries(shapely.points(corner["minx"] + 3, corner["miny"] + 3), crs=PARCEL_CRS)
    desk.page.uncheck("#layers input[data-layer=visits]")
    desk.page.select_option("#choose-measure", "suggested_barrels")
    barrels = lots["suggested_barrels"].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    everyone = parcels["suggested_barrels"].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    breaks = quantile_breaks(everyone[everyone > 0])
    colours = class_colours(len(breaks) + 1)
    expected = [
        "#ffffff" if n == 0 else colours[c] for n, c in zip(barrels, class_of(barrels, breaks), strict=True)
    ]
    known = ~np.isnan(barrels)
    seen = colours_at(desk, points)
    assert [one for one, is_known in zip(seen, known, strict=True) if is_known] == [
        one for one, is_known in zip(expected, known, strict=True) if is_known
    ]
    counts = pd.Series(everyone[everyone > 0]).value_counts()
    assert desk.texts("#legend li") == [f"{n}\n{counts[n]} parcels" for n in (1, 2)] + [
        f"3 and more\n{counts[3]} parcels"
    ]


def test_used_a_door_is_what_is_used_divided_by_doors(opens: Opener, tmp_path: Path) -> None:
    frame = parcels_frame()
    frame.loc[frame["parcel_id"].eq("P040"), "door_count"] = 4
    frame.loc[frame["parcel_id"].eq("P041"), "door_count"] = 0
    frame.loc[frame["parcel_id"].eq("P042"), "door_count"] = pd.NA
    write_map(result_in(tmp_path, frame, units="metric"), tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html", fragment="#measure=used_a_door")
    used = frame["yield_l_yr"].to_numpy()
    doors = frame["door_count"].to_numpy(dtype=float, na_value=np.nan)
    a_door = np.where(doors > 0, used / np.where(doors > 0, doors, 1), np.nan)
    nothing, missing = int((a_door == 0).sum()), int(np.isnan(a_door).sum())
    marks = opened.texts("#legend-marks li")
    assert marks[:2] == [f"0\n{nothing} parcels", f"no figure\n{missing} parcels"]
    assert missing == int(np.isnan(used).sum()) + 2
    assert opened.texts("#legend-of") == ["Used a door, L a year"]
    breaks = [
        float(one.split()[-1].replace(",", ""))
        for one in (text.split("\n")[0] for text in opened.texts("#legend li")[:-1])
    ]
    classes = opened.page.evaluate(
        "() => page.values.measures.find(one => one.name === 'used_a_door').breaks"
    )
    assert breaks == classes


def test_another_number_of_barrels_recolours_from_what_the_run_computed(
    opens: Opener, tmp_path: Path
) -> None:
    frame = parcels_frame()
    for number in range(1, 7):
        frame[yield_name(number)] = frame["yield_l_yr"] * (0.6 + 0.15 * number)
    write_map(result_in(tmp_path, frame), tmp_path, 20_000, 5_000)
    opened = opens(tmp_path / "map.html")
    page = opened.page
    assert page.eval_on_selector_all("#choose-barrels option", "all => all.map(one => one.value)") == list(
        "01234"
    )
    page.select_option("#choose-measure", "yield_l_yr")
    pooled = np.concatenate(
        [frame[name].to_numpy() for name in ("yield_l_yr", *map(yield_name, range(1, 5)))]
    )
    breaks = quantile_breaks(litres_to_gallons(pooled[pooled > 0]))
    shown = {}
    for number in (1, 4):
        page.select_option("#choose-barrels", str(number))
        gallons = litres_to_gallons(frame[yield_name(number)].to_numpy())
        counts = np.bincount(class_of(gallons[gallons > 0], breaks), minlength=len(breaks) + 1)
        shown[number] = [int(text.split("\n")[1].split()[0]) for text in opened.texts("#legend li")]
        assert (
            np.abs(np.array(shown[number]) - counts).sum() <= 2
        )  # a figure at a bound may be rounded over it
        assert sums(opened)["yield_l_yr"] == told(frame[yield_name(number)].sum())
        label = "1 barrel" if number == 1 else "4 barrels"
        assert opened.texts("#legend-of") == [f"Used in a year, with {label}, gal a year"]
        assert opened.texts("#totals [data-figure=yield_l_yr] dt") == [f"Used with {label}"]
        assert f"Used, {label}" in opened.texts("#table-head button")
    assert shown[1] != shown[4]
    row = frame.set_index("parcel_id").loc["P040"]
    dialog = opened_at(opened, "P040")
    assert figures_in(dialog)["yield_4_barrels_l_yr"] == f"{told(row[yield_name(4)])} gal a year"
    assert figures_in(dialog)["yield_l_yr"] == f"{told(row['yield_l_yr'])} gal a year"


# The door


def test_the_popup_tells_the_next_step_caution_side_and_round(desk: Opened) -> None:
    dialog = opened_at(desk, CAUTIONED)
    said = dialog.inner_text()
    assert "Next: knock; nobody has been there yet." in said
    assert dialog.locator(".door-caution").text_content() == CAUTION
    assert f"Elder Row, north side · Round 1 · {DISTRICTS[0]}" in said
    desk.page.keyboard.press("Escape")
    for parcel, words in {
        "P018": "they said no",
        "P001": "nobody was home",
        "P017": "has been verified",
    }.items():
        assert words in opened_at(desk, parcel).inner_text()
        desk.page.keyboard.press("Escape")


# Both ways between map and tables


def test_a_side_leads_to_the_map_and_to_its_parcels(
    desk: Opened, parcels: gpd.GeoDataFrame, sides: pd.DataFrame
) -> None:
    page = desk.page
    before = page.evaluate("map_harvest.getZoom()")
    page.locator("#sides-body button").nth(3).click()
    row = sides.iloc[3]
    own = parcels[parcels["side_id"].eq(row["side_id"])]
    assert desk.texts("#totals .count") == [f"{len(own)} of 117 parcels"]
    assert sums(desk)["capturable_l_yr"] == told(own["capturable_l_yr"].sum())
    assert (
        page.locator("#side-name").text_content() == f"Only {row['called']}"
        or HOSTILE_STREET in row["street"]
    )
    assert page.locator("#sides-body tr[aria-current=true] td").first.inner_text() == str(row["rank"])
    assert lines(desk, "sides") == side_lines(sides)
    assert page.evaluate("map_harvest.getZoom()") > before
    assert page.evaluate("document.activeElement.closest('tr')?.getAttribute('aria-current')") == "true"
    page.check("#table-choice input[value=parcels]")
    ranked = own[own["rank"].notna()].sort_values(["list", "rank"])
    assert [line[1] for line in lines(desk)] == [named(one) for one in ranked.itertuples()]
    page.locator("#side-leave").click()
    assert desk.texts("#totals .count") == ["All 117 parcels"]
    assert page.evaluate("document.activeElement.id") == "shown-heading"


def test_a_click_on_a_street_chooses_its_side(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    desk.page.check("#table-choice input[value=parcels]")
    zoomed(desk, EAST + 60, street_y(1), 18)
    point = gpd.GeoSeries([shapely.Point(EAST + 60, street_y(1) - 1.5)], crs=PARCEL_CRS).to_crs(4326).iloc[0]
    spot = desk.page.evaluate(
        """place => {
            const map = document.querySelector(".folium-map").getBoundingClientRect();
            const at = map_harvest.latLngToContainerPoint(place);
            return [at.x + map.left, at.y + map.top];
        }""",
        [point.y, point.x],
    )
    desk.page.mouse.move(*spot)
    assert "Fir Row, south side" in desk.page.locator(".parcel-tip").inner_text()
    desk.page.mouse.click(*spot)
    count = int(parcels["side_id"].eq("S10 R").sum())
    assert desk.texts("#totals .count") == [f"{count} of 117 parcels"]
    assert desk.page.locator("#sides-part").is_visible()
    assert desk.page.locator("#sides-body tr[aria-current=true]").count() == 1


def test_a_click_on_a_parcel_marks_its_row(desk: Opened) -> None:
    desk.page.check("#table-choice input[value=parcels]")
    click_on(desk, "P060")
    assert desk.page.locator("#table-body tr[aria-current=true]").count() == 1


# Finding and filtering


def test_search_finds_streets_first(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    page = desk.page
    offered = page.eval_on_selector_all("#street-names option", "all => all.map(one => one.value)")
    assert sorted(offered) == sorted(STREETS)
    page.fill("#search", "fir r")
    assert desk.texts("#found li") == ["Fir Row\nstreet: show its parcels only"]
    page.press("#search", "Enter")
    assert page.input_value("#choose-street") == "Fir Row"
    count = int(parcels["street"].eq("Fir Row").sum())
    assert desk.texts("#totals .count") == [f"{count} of 117 parcels"]
    assert {line[1] for line in lines(desk, "sides")} == {"Fir Row, north side", "Fir Row, south side"}


def test_filters_narrow_together_and_say_what_is_left(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    page = desk.page
    page.select_option("#choose-street", "Fir Row")
    page.select_option("#choose-visit", "to visit")
    left = parcels[parcels["street"].eq("Fir Row") & parcels["visit_status"].eq("to visit")]
    assert desk.texts("#totals .count") == [f"{len(left)} of 117 parcels"]
    assert sums(desk)["yield_l_yr"] == told(left["yield_l_yr"].sum())
    page.select_option("#choose-class", "4")
    gallons = litres_to_gallons(parcels["capturable_l_yr"].to_numpy())
    bound = quantile_breaks(gallons[gallons > 0])[2]
    left = left[litres_to_gallons(left["capturable_l_yr"]) >= bound]
    assert 0 < len(left) < 20
    assert desk.texts("#totals .count") == [f"{len(left)} of 117 parcels"]
    assert sums(desk)["capturable_l_yr"] == told(left["capturable_l_yr"].sum())
    assert page.locator("#totals").get_attribute("role") == "status"
    page.select_option("#choose-district", DISTRICTS[1])
    left = left[left["district"].eq(DISTRICTS[1])]
    assert desk.texts("#totals .count") == [f"{len(left)} of 117 parcels" if len(left) else "No parcel"]
    page.click("#show-all")
    assert desk.texts("#totals .count") == ["All 117 parcels"] and page.locator("#show-all").is_disabled()
    page.select_option("#choose-status", "no roof")
    assert desk.texts("#totals .count") == [f"{int(parcels['status'].eq('no roof').sum())} of 117 parcels"]


# CSV


def downloaded(opened: Opened) -> tuple[str, bytes]:
    with opened.page.expect_download() as waiting:
        opened.page.click("#download")
    return waiting.value.suggested_filename, waiting.value.path().read_bytes()


def test_the_rows_in_view_come_as_csv(desk: Opened, parcels: gpd.GeoDataFrame, sides: pd.DataFrame) -> None:
    page = desk.page
    page.check("#table-choice input[value=parcels]")
    name, data = downloaded(desk)
    assert name == "parcels-shown.csv" and data.startswith(b"\xef\xbb\xbf")
    text = data.decode("utf-8-sig")
    assert text.count("\r\n") == text.count("\n") - sum(one.count("\n") for one in HOSTILE.values())
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    ranked = parcels[parcels["rank"].notna()].sort_values(["list", "rank"])
    assert [row["Parcel"] for row in rows] == ranked["parcel_id"].tolist()
    expected = [float(f"{litres_to_gallons(one):.2e}") for one in ranked["capturable_l_yr"]]
    np.testing.assert_allclose(
        [float(row["Capturable in a year (gal a year)"]) for row in rows], expected, rtol=1e-9
    )
    by_id = {row["Parcel"]: row for row in rows}
    for parcel, hostile in HOSTILE.items():
        assert by_id[parcel]["Address"] == hostile
    street = STREETS[3]
    assert street.startswith("=") and {row["Street"] for row in rows} >= {f"'{street}", HOSTILE_STREET}
    assert {row["District"] for row in rows} >= {f"'{DISTRICTS[1]}"}
    assert by_id[CAUTIONED]["Caution at the door"] == CAUTION
    page.check("#table-choice input[value=sides]")
    page.select_option("#choose-street", "Fir Row")
    name, data = downloaded(desk)
    text = data.decode("utf-8-sig")
    assert name == "street-sides-shown.csv"
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    own = sides[sides["street"].eq("Fir Row")]
    assert [row["Street side"] for row in rows] == own["side_id"].tolist()
    assert {row["Stretch"] for row in rows} == {"Low Lane to Long Lane", HOSTILE_STRETCH}
    assert all(row["House numbers"] == "'-2+3 to 19, odd" for row in rows)
    assert not re.search(
        rf'(^|,)"?[{re.escape("".join(FORMULA_STARTS))}]', text.replace("\r\n", "\n"), re.MULTILINE
    )


# The link


def test_a_view_comes_back_from_its_link(desk: Opened, opens: Opener, street_town: Path) -> None:
    page = desk.page
    assert view_of(desk) == {}
    page.select_option("#choose-measure", "yield_l_yr")
    page.select_option("#choose-barrels", "2")
    page.check("#layers input[data-layer=rounds]")
    page.uncheck("#layers input[data-layer=visits]")
    page.select_option("#choose-visit", "to visit")
    page.locator("#sides-body button").nth(2).click()
    page.check("#table-choice input[value=parcels]")
    view = view_of(desk)
    assert view["measure"] == "yield_l_yr" and view["barrels"] == "2" and view["visit"] == "to visit"
    link = page.locator("#view-link").get_attribute("href")
    assert link == page.evaluate("location.hash")
    other = opens(street_town, fragment=link)
    assert view_of(other) == view
    assert lines(other) == lines(desk) and sums(other) == sums(desk)
    assert other.texts("#legend-of") == desk.texts("#legend-of")
    for name in ("parcels", "rounds", "visits"):
        box = f"#layers input[data-layer={name}]"
        assert other.page.is_checked(box) == page.is_checked(box)
    centre = "() => [map_harvest.getCenter().lat, map_harvest.getCenter().lng, map_harvest.getZoom()]"
    np.testing.assert_allclose(other.page.evaluate(centre), page.evaluate(centre), atol=2e-5)
    assert other.requests == [street_town.as_uri() + link] or other.requests == [street_town.as_uri()]


@pytest.mark.parametrize(
    "fragment",
    [
        "#table-heading",
        "#measure=nonsense&barrels=99&layers=nothing&list=all&street=Nowhere&side=none&at=x+y+z&table=chairs",
        "#at=1e9+NaN+Infinity&barrels=-1",
        "#%E0%A4%A&measure",
        "#<img src=x onerror=window.broken=9>",
    ],
)
def test_a_bad_link_is_ignored(opens: Opener, street_town: Path, fragment: str) -> None:
    opened = opens(street_town, fragment=fragment)
    assert opened.texts("#totals .count") == ["All 117 parcels"]
    assert opened.texts("#legend-of") == ["Capturable in a year, gal a year"]
    assert opened.page.evaluate("window.broken") is None


# Hostile text, keyboard, accessibility, sizes


def test_hostile_text_of_streets_does_nothing(desk: Opened, sides: pd.DataFrame) -> None:
    page = desk.page
    page.check("#layers input[data-layer=rounds]")
    texts = page.locator("#sides-body").text_content() or ""
    assert HOSTILE_STREET in texts and HOSTILE_STRETCH in texts and DISTRICTS[1] in texts
    page.fill("#search", "<img")
    page.press("#search", "Enter")
    assert page.input_value("#choose-street") == HOSTILE_STREET
    zoomed(desk, EAST + 77, street_y(2), 18)
    page.locator("#sides-body button").first.click()
    assert HOSTILE_STREET in (page.locator("#side-name").text_content() or "")
    assert page.locator("main img, main b[onclick]").count() == 0
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#sheet img").count() == 0
    assert page.evaluate("window.broken") is None
    assert WATER_NAME not in page.content()


def test_the_panel_works_by_keyboard_alone(desk: Opened) -> None:
    page = desk.page
    page.locator("#search").focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "choose-measure"
    page.keyboard.press("ArrowDown")
    assert desk.texts("#legend-of")[0].startswith("Used in a year")
    page.locator("#layers input[data-layer=rounds]").focus()
    page.keyboard.press("Space")
    assert page.is_checked("#layers input[data-layer=rounds]")
    page.locator("#table-choice input[value=sides]").focus()
    page.keyboard.press("ArrowDown")
    assert page.locator("#table-part").is_visible()
    page.keyboard.press("ArrowUp")
    page.locator("#sides-body button").first.focus()
    page.keyboard.press("Enter")
    assert page.locator("#side-chosen").is_visible()
    page.keyboard.press("Enter")
    assert page.locator("#side-chosen").is_hidden()


def test_axe_finds_nothing_with_everything_on(desk: Opened) -> None:
    page = desk.page
    page.locator(".about details").evaluate("one => { one.open = true; }")
    page.check("#layers input[data-layer=rounds]")
    page.locator("#sides-body button").first.click()
    page.fill("#search", "fir")
    opened_at(desk, CAUTIONED)
    for choice in ("sides", "parcels"):
        page.check(f"#table-choice input[value={choice}]")
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("size", [DESK, TABLET_HIGH_ZOOM, PHONE, SMALL_PHONE])
def test_it_fits_every_window(opens: Opener, street_town: Path, size: tuple[int, int]) -> None:
    opened = opens(street_town, size)
    opened.page.locator("#sides-body button").first.click()
    overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert opened.page.evaluate(overflow) == 0
    cut = opened.page.eval_on_selector_all(
        ".ranked :is(th, td), .sums dd, .scale li, .layers label, .side-chosen",
        "all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.textContent)",
    )
    assert cut == []


@pytest.mark.parametrize(
    ("chosen", "heading"), [("sides", "Street sides to canvass"), ("parcels", "Ranked parcels")]
)
def test_a_printed_map_is_one_sheet_and_its_table_another(desk: Opened, chosen: str, heading: str) -> None:
    page = desk.page
    page.check(f"#table-choice input[value={chosen}]")
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    assert len(printed.pages) == 2
    for sheet in printed.pages:
        width, height = (float(one) for one in sheet.mediabox[2:])
        assert width > height
    first, second = (re.sub(r"\s+", " ", sheet.extract_text()) for sheet in printed.pages)
    assert "What the roofs of Pellwick could catch" in first and "Capturable in a year, gal a year" in first
    assert "All 117 parcels" in first and "North is up" in first and re.search(r"\b[125]0* ft\b", first)
    assert "not drinking water" in first and heading in second
    if chosen == "sides":
        assert "1 to 16 of 16" in second and "Fir Row, north side" in second
    else:
        assert "1 to 28 of 111" in second and "Homes" not in second.split(heading)[0]


def test_the_printed_map_is_painted_with_its_colours(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    page = desk.page
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    seen = page.evaluate(
        """() => {
            const canvas = document.querySelector("#sheet-map canvas");
            const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
            const counts = {};
            for (let i = 0; i < data.length; i += 4) {
                const colour = "#" + [...data.slice(i, i + 3)].map(v => v.toString(16).padStart(2, "0")).join("");
                counts[colour] = (counts[colour] ?? 0) + 1;
            }
            return counts;
        }"""
    )
    assert all(seen.get(colour, 0) > 5_000 for colour in (*class_colours(5), WATER, PARK))
    assert seen.get(ORANGE, 0) > 500
    bar = page.locator("#sheet-map .bar")
    told_length = float(bar.inner_text().split()[0].replace(",", "")) * 0.3048
    share = bar.evaluate("one => one.getBoundingClientRect().width / one.parentElement.clientWidth")
    west, east = (page.evaluate(f"map_harvest.getBounds().get{one}()") for one in ("West", "East"))
    south, north = (page.evaluate(f"map_harvest.getBounds().get{one}()") for one in ("South", "North"))
    wide, high = pyproj.Geod(ellps="WGS84").line_lengths([west, east], [(south + north) / 2] * 2)[0], 0.0
    high = pyproj.Geod(ellps="WGS84").line_lengths([west, west], [south, north])[0]
    whole = max(wide, high * 960 / 500)  # the sheet is 960 by 500, and holds all that the map shows
    assert share * whole == pytest.approx(told_length, rel=0.02)


def test_those_out_of_choice_are_faded(desk: Opened, parcels: gpd.GeoDataFrame) -> None:
    desk.page.select_option("#choose-visit", "refused")
    inside = parcels[parcels["parcel_id"].isin(["P018", "P050"])].sort_values("parcel_id").geometry.bounds
    points = gpd.GeoSeries(shapely.points(inside["minx"] + 3, inside["miny"] + 3), crs=PARCEL_CRS)
    first, second = colours_at(desk, points)
    assert first != FADED and second == FADED
    assert VISITS["P018"] == "refused" and "P050" not in VISITS


def test_same_tables_same_bytes(tmp_path: Path) -> None:
    parcels = placed(parcels_frame())
    tables = street_tables(parcels)
    pages = []
    for name, seed in (("one", None), ("two", 5)):
        mixed = tables
        if seed is not None:
            mixed = {
                key: one.sample(frac=1, random_state=seed).reset_index(drop=True)
                for key, one in tables.items()
            }
        result = result_in(tmp_path / name, parcels, further=mixed)
        write_map(result, result.folder, 20_000, 5_000)
        pages.append((result.folder / "map.html").read_bytes())
    assert pages[0] == pages[1]
