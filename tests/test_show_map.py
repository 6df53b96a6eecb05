"""The map file as bytes: what is written, what never is, and what the writer does with strange input."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
import zlib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from map_result import HOSTILE, findings_frame, parcels_frame, result_in
from pydantic import ValidationError

from harvest.errors import HarvestError, OutputError
from harvest.fields import FINDINGS
from harvest.project.basemap import Basemap
from harvest.show import public_page
from harvest.show.block import block, number_section, outline_section, text_section, word_section
from harvest.show.map import SCRIPTS, write_map
from harvest.show.maplayers import FIGURES, SENTENCES, SUMMED, layers, parcels_shown
from harvest.show.measures import classes_of
from harvest.show.pageframe import OfflineMap, page_html
from harvest.show.words.page import WORDS

PAGE = Path(__file__).parents[1] / "harvest" / "show" / "page"
MOST, BEST = 20_000, 5_000


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("map")
    assert write_map(result_in(folder), folder, MOST, BEST) == []
    return (folder / "map.html").read_text(encoding="utf-8")


def values_in(page: str) -> dict[str, object]:
    found = re.search(
        r'<script type="application/json" id="page-values">(.*?)</script[\s/>]', page, re.DOTALL
    )
    assert found
    return dict(json.loads(found[1]))


# The frame


def test_the_page_links_to_nothing(text: str) -> None:
    own = re.sub(r"<script>.*?</script>", "", text, flags=re.DOTALL)
    assert not re.findall(r"<(?:link|img|iframe|object|embed|base)\b", own)
    assert re.findall(r'\b(?:src|href)="([^"]*)"', own) == ["#table-heading"]
    assert set(re.findall(r"url\(\"?([a-z]+:|[^)]{0,20})", own)) == {"data:", "#default#VML"}
    assert "@import" not in own and "sourceMappingURL" not in text


def test_the_policy_allows_exactly_what_stands_in_the_page(text: str) -> None:
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert policy
    rules = dict(rule.split(" ", 1) for rule in policy[1].split("; "))
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert rules["img-src"] == "data:"
    for element, rule in (("script", "script-src"), ("style", "style-src")):
        inline = re.findall(rf"<{element}>(.*?)</{element}>", text, re.DOTALL)
        digests = [base64.b64encode(hashlib.sha256(one.encode()).digest()).decode() for one in inline]
        assert len(inline) >= 2
        assert rules[rule].split() == [f"'sha256-{digest}'" for digest in digests]


def test_head_says_language_title_and_lets_people_zoom(text: str) -> None:
    assert text.startswith('<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">')
    assert "<title>Pellwick: what roofs could catch</title>" in text
    assert text.count('name="viewport"') == 1
    assert "user-scalable" not in text.split("<style>")[0]


def test_a_script_that_would_end_its_element_is_refused() -> None:
    for bad in ("let a = '</script>'", "let a = '<!-- '", "let a;\r\n"):
        with pytest.raises(HarvestError, match="would break the page"):
            page_html(
                OfflineMap("x", (0, 0)),
                language="en",
                title="",
                body="$map",
                texts={},
                styles=[],
                scripts=[bad],
                values={},
                blocks={},
            )


def test_same_result_same_bytes_in_any_row_order(tmp_path: Path) -> None:
    frame = parcels_frame()
    shuffled = frame.sample(frac=1, random_state=7).reset_index(drop=True)
    pages = []
    for name, parcels in (("one", frame), ("two", frame), ("three", shuffled)):
        result = result_in(tmp_path / name, parcels)
        write_map(result, result.folder, MOST, BEST)
        pages.append((result.folder / "map.html").read_bytes())
    assert pages[0] == pages[1] == pages[2]


# Text from outside


def test_nothing_from_outside_stands_in_the_page_as_markup(tmp_path: Path) -> None:
    town = "<b>Pell</b> {{ 7*7 }} {% if %} $map & ${map}</title>"
    result = result_in(tmp_path, town=town)
    write_map(result, tmp_path, MOST, BEST)
    page = (tmp_path / "map.html").read_text(encoding="utf-8")
    assert f"<title>{html.escape(town)}: what roofs could catch</title>" in page
    assert f"<h1>What the roofs of {html.escape(town)} could catch</h1>" in page
    assert page.count('class="folium-map"') == 1
    for hostile in HOSTILE.values():
        assert hostile not in page
    assert "<b>roofs</b>" not in page
    findings = values_in(page)["findings"]
    assert isinstance(findings, list)
    assert findings[0]["message"] == "Two </script ><b>roofs</b> lie on no parcel."


def test_findings_come_gravest_first(tmp_path: Path) -> None:
    rows = [
        (f"c{i}", "roofs", severity, i, "m", "r", None)
        for i, severity in enumerate(("note", "warning", "serious"))
    ]
    frame = pd.DataFrame(rows, columns=list(FINDINGS.names)).astype(findings_frame().dtypes.to_dict())
    result = result_in(tmp_path)
    frame.to_parquet(tmp_path / "findings.parquet", index=False)
    write_map(result, tmp_path, MOST, BEST)
    findings = values_in((tmp_path / "map.html").read_text(encoding="utf-8"))["findings"]
    assert isinstance(findings, list)
    assert [one["severity"] for one in findings] == ["serious", "warning", "note"]


# What is shown


def test_above_the_limit_the_best_of_both_lists_are_shown_and_a_note_says_so(tmp_path: Path) -> None:
    result = result_in(tmp_path)
    found = write_map(result, tmp_path, most_parcels=100, best=12)
    assert [(one.check, one.severity, one.count) for one in found] == [
        ("map shows the best only", "note", 105)
    ]
    assert "117 parcels" in found[0].message and "12 best" in found[0].message
    page = (tmp_path / "map.html").read_text(encoding="utf-8")
    assert "The town has 117 parcels, too many for this page: it shows only the 12 best ranked." in page
    drawn = layers(result, 100, 12)
    parcels, roofs = drawn.parcels, drawn.roofs
    assert drawn.everything == 117
    assert sorted(zip(parcels["list"], parcels["rank"], strict=True)) == [
        (name, rank) for name in ("homes", "large roofs") for rank in range(1, 7)
    ]
    assert set(roofs["roof_id"]) == {f"R-{name}" for name in parcels["parcel_id"]}


def test_at_the_limit_every_parcel_is_shown(tmp_path: Path) -> None:
    result = result_in(tmp_path)
    assert write_map(result, tmp_path, most_parcels=117, best=12) == []
    parcels, everything = parcels_shown(result, 117, 12)
    assert len(parcels) == everything == 117


def test_a_divided_roof_is_drawn_once(tmp_path: Path) -> None:
    result = result_in(tmp_path)
    roofs = layers(result, MOST, BEST).roofs
    assert (result.table("roofs", ["roof_id"])["roof_id"] == "R-divided").sum() == 2
    assert (roofs["roof_id"] == "R-divided").sum() == 1
    assert roofs["roof_id"].is_unique


def test_parcels_underneath_are_drawn_first(tmp_path: Path) -> None:
    parcels, _ = parcels_shown(result_in(tmp_path), MOST, BEST)
    assert set(parcels["parcel_id"][:3]) == {"U1", "U2", "C1"}


def test_open_land_moves_no_class_and_missing_figures_have_their_own() -> None:
    litres = pd.Series([np.nan, *[0.0] * 500, *range(1000, 2000)], dtype="float64")
    frame = pd.DataFrame({"capturable_l_yr": litres})
    # By hand: fifths of 1000..1999 are 1199.8, 1399.6, 1599.4 and 1799.2, to two digits as below.
    classes = classes_of(frame, "metric")
    assert classes.breaks == [1200.0, 1400.0, 1600.0, 1800.0]
    assert classes.numbers[0] == -1
    assert np.bincount(classes.numbers[1:]).tolist() == [500, 200, 200, 200, 200, 200]


def test_classes_break_at_round_gallons_for_those_who_read_gallons() -> None:
    litres = np.arange(1000, 2000) * 231 * 2.54**3 / 1000  # 1 US gallon is 231 in³ by definition
    assert classes_of(pd.DataFrame({"capturable_l_yr": litres}), "us").breaks == [
        1200.0,
        1400.0,
        1600.0,
        1800.0,
    ]


def test_a_result_without_a_parcel_still_makes_a_page(tmp_path: Path) -> None:
    result = result_in(tmp_path, parcels_frame().iloc[:0])
    assert write_map(result, tmp_path, MOST, BEST) == []
    assert (tmp_path / "map.html").exists()


# The compact block


def opened(data: bytes) -> tuple[dict[str, object], bytes]:
    raw = zlib.decompress(data)
    end = 4 + int.from_bytes(raw[:4], "little")
    return json.loads(raw[4:end]), raw[end:]


def test_numbers_are_coded_as_described() -> None:
    # By hand: missing 0; else zigzag + 1: 0 -> 1, -1 -> 2, 1 -> 3, 64 -> 129 = 0x81 0x01 in sevens, low first.
    section = number_section("n", pd.Series([np.nan, 0, -1, 1, 64, np.inf]))
    assert section.streams == (bytes([0, 1, 2, 3, 0x81, 0x01, 0]),)
    # 1.25 to two decimals is 125 -> 251 = 0xfb 0x01.
    assert number_section("n", pd.Series([1.25]), decimals=2).streams == (bytes([0xFB, 0x01]),)


def test_large_numbers_survive() -> None:
    section = number_section("n", pd.Series([2.0**45]))
    octets = section.streams[0]
    assert sum((octet & 0x7F) << (7 * i) for i, octet in enumerate(octets)) == 2 * 2**45 + 1
    assert all(octet & 0x80 for octet in octets[:-1]) and not octets[-1] & 0x80


def test_words_and_texts_are_coded_as_described() -> None:
    words = word_section("w", pd.Series(["b", None, "a", "b"], dtype="str"))
    assert words.says == {"words": ["a", "b"]} and words.streams == (bytes([2, 0, 1, 2]),)
    texts = text_section("t", pd.Series(["ä", None, "x\x1fy"], dtype="str"))
    assert texts.streams == ("ä\x1f\x1fx y".encode(),)


def test_outlines_are_steps_of_world_pixels() -> None:
    # By hand: 360° of longitude are 256·2²⁰ px, and the equator lies half way down.
    px = 360 / (256 * 2**20)
    square = shapely.box(0, 0, 10 * px, 10 * px)
    ringed = shapely.Polygon(square.exterior, [shapely.box(2 * px, 2 * px, 4 * px, 4 * px).exterior])
    outlines = gpd.GeoSeries([ringed, None, shapely.MultiPolygon([square, square])], crs=4326)
    rings, positions, across, down = outline_section(outlines).streams
    assert rings == bytes([2, 0, 2]) and positions == bytes([4, 4, 4, 4])
    assert len(down) > 16 and len(across) > 16
    middle = 2 * 2**27  # zigzag of the first x: 128·2²⁰ px to Greenwich, where the west side lies
    assert sum((octet & 0x7F) << (7 * i) for i, octet in enumerate(across[:5])) == middle


def test_a_block_lists_its_sections() -> None:
    header, body = opened(block(2, [number_section("n", pd.Series([1, 2]))]))
    assert header == {
        "rows": 2,
        "sections": [{"name": "n", "kind": "number", "bytes": [2], "decimals": 0}],
    }
    assert body == bytes([3, 5])


# Wording


def test_every_text_of_the_page_stands_in_the_one_table() -> None:
    body = (PAGE / "body.html").read_text(encoding="utf-8")
    loose = [part.strip() for part in re.findall(r">([^<]*)<", body) if part.strip()]
    assert all(re.fullmatch(r"(\$\w+\s*)+", part) for part in loose), loose
    attributes = re.findall(r'(?:aria-label|title|placeholder)="([^"]*)"', body)
    assert attributes and all(part.startswith("$") for part in attributes)


def test_every_word_is_asked_for_and_every_asked_for_word_exists() -> None:
    body = (PAGE / "body.html").read_text(encoding="utf-8")
    scripts = "\n".join((PAGE / name).read_text(encoding="utf-8") for name in SCRIPTS)
    python = "\n".join(
        (PAGE.parent / name).read_text(encoding="utf-8")
        for name in ("map.py", "mapdata.py", "measures.py", "style.py", "town.py")
    )
    exact = set(re.findall(r"\$(\w+)", body)) - {"map"}
    exact |= set(re.findall(r'word\("(\w+)"[,)]', scripts))
    exact |= set(re.findall(r'(?:filled\(|WORDS\[)"(\w+)"', python))
    begun = {"parcels_", "sides_"}  # the columns of both tables: word(`${table}_${name}`)
    begun |= set(re.findall(r'word\("(\w+_)" \+', scripts)) | set(re.findall(r'WORDS\[f"(\w+_)\{', python))
    assert exact <= set(WORDS)
    quoted = set(re.findall(r'"(\w+)"', scripts))
    left = {name for name in WORDS if name not in exact | quoted and not any(map(name.startswith, begun))}
    assert left == set()


def test_every_figure_that_is_sent_is_shown_somewhere() -> None:
    scripts = "\n".join((PAGE / name).read_text(encoding="utf-8") for name in SCRIPTS)
    quoted = set(re.findall(r'"(\w+)"', scripts)) | set(re.findall(r"parcels\.(\w+)\[", scripts))
    assert {*FIGURES, *SENTENCES} <= quoted
    assert set(SUMMED) <= set(FIGURES)


def test_every_page_script_is_in_the_page(text: str) -> None:
    assert {path.name for path in PAGE.glob("*.js")} == {*SCRIPTS, *public_page.SCRIPTS}
    for name in SCRIPTS:
        assert (PAGE / name).read_text(encoding="utf-8") in text


# Background map and the disk


def test_a_background_map_adds_its_host_for_images_and_nothing_else(tmp_path: Path) -> None:
    result = result_in(tmp_path)
    write_map(result, tmp_path, MOST, BEST)
    without = (tmp_path / "map.html").read_text(encoding="utf-8")
    basemap = Basemap(
        url="https://tiles.example:8443/a/{z}/{x}/{y}.png?k={{6*7}}", attribution="© <b>Someone</b> {{ 6*7 }}"
    )
    write_map(result, tmp_path, MOST, BEST, basemap)
    page = (tmp_path / "map.html").read_text(encoding="utf-8")
    assert "img-src data: https://tiles.example:8443;" in page
    policies = [re.search(r'content="(default-src[^"]*)"', one) for one in (without, page)]
    assert policies[0] and policies[1]
    assert policies[1][1].replace(" https://tiles.example:8443", "") == policies[0][1]
    assert values_in(page)["basemap"] == {
        "url": basemap.url,
        "attribution": basemap.attribution,
        "max_zoom": 19,
    }
    assert values_in(without)["basemap"] is None


@pytest.mark.parametrize(
    "url",
    [
        "tiles/{z}/{x}/{y}.png",
        "https://{s}.tiles.example/{z}/{x}/{y}.png",
        "https://tiles.example/{z}/{x}.png",
        "javascript:alert(1)//{z}/{x}/{y}",
        "https://tiles.example; script-src */{z}/{x}/{y}",
        "https://tiles.example/{z}/{x}/{y}.png\" onerror='x'",
    ],
)
def test_a_background_map_needs_a_plain_template(url: str) -> None:
    with pytest.raises(ValidationError, match=r"write it as https://host/path"):
        Basemap(url=url, attribution="Someone")


def test_a_map_that_cant_be_written_is_told(tmp_path: Path) -> None:
    result = result_in(tmp_path / "result")
    with pytest.raises(OutputError, match=r"nowhere.map\.html can't be written: No such file"):
        write_map(result, tmp_path / "nowhere", MOST, BEST)
