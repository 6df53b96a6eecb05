"""The still figure: what its pixels show, north and scale, the same bytes, hostile texts, nothing private."""

from __future__ import annotations

import html
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pytest
import shapely
from council_result import PLANE, STREETS, context_frame, council_result, sides_frame
from map_result import EAST, HOSTILE, NORTH, PARCEL_CRS, Lot, parcels_frame, result_in
from numpy.typing import NDArray
from PIL import Image
from pyproj import Geod, Transformer

from harvest.result import Result
from harvest.show import figure
from harvest.show.classes import CLASS_COLOURS
from harvest.show.figure import FIGURES, PRINT_PNG, PRINT_SVG, SLIDE_PNG, write_figure
from harvest.show.measures import classes_of
from harvest.show.scene import ground_of, scene

Pixels = NDArray[np.uint8]
WHITE = (255, 255, 255)


def pixels(path: Path) -> Pixels:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


def rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def marked(picture: Pixels, colour: str) -> NDArray[np.bool_]:
    return np.asarray((picture == rgb(colour)).all(axis=2))


def map_part(picture: Pixels) -> Pixels:
    """What lies left of the legend."""
    return picture[:, : int(0.69 * picture.shape[1])]


def comments(svg: str) -> str:
    """Every text that an SVG draws: matplotlib writes it beside its outline."""
    return html.unescape("\n".join(re.findall(r"<!-- (.*?) -->", svg, flags=re.DOTALL)))


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Parcels, no streets, drawn."""
    result = council_result(tmp_path_factory.mktemp("plain"), streets=None)
    assert write_figure(result, result.folder) == []
    return result


@pytest.fixture(scope="module")
def streets(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Streets and surroundings, drawn."""
    result = council_result(tmp_path_factory.mktemp("streets"), context=True)
    assert write_figure(result, result.folder) == []
    return result


def test_sizes_are_those_of_a_sheet_and_a_slide(plain: Result) -> None:
    """A4 across is 297 by 210 mm (ISO 216), at 300 dots an inch."""
    with Image.open(plain.folder / PRINT_PNG) as image:
        assert image.size == (round(297 / 25.4 * 300), round(210 / 25.4 * 300))
        assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)
    with Image.open(plain.folder / SLIDE_PNG) as image:
        assert image.size == (1920, 1080)
    root = ET.parse(plain.folder / PRINT_SVG).getroot()
    width = float(root.attrib["width"].removesuffix("pt"))
    assert width == pytest.approx(297 / 25.4 * 72, abs=0.2)


def test_each_class_has_its_share_of_the_map(plain: Result) -> None:
    """As many pixels of a colour as its class has of the area of all coloured parcels."""
    parcels = plain.table("parcels")
    assert isinstance(parcels, gpd.GeoDataFrame)
    on_top = parcels[~parcels["status"].isin(["unit of association", "common ground"])]
    classes = classes_of(on_top, "us")
    area = on_top.geometry.area.to_numpy()
    for name in (PRINT_PNG, SLIDE_PNG):
        picture = map_part(pixels(plain.folder / name))
        counts = np.array([marked(picture, colour).sum() for colour in classes.colours])
        areas = np.array([area[classes.numbers == n].sum() for n in range(1, len(classes.colours) + 1)])
        assert counts / counts.sum() == pytest.approx(areas / areas.sum(), rel=0.06)


def test_a_known_parcel_has_its_colour(plain: Result) -> None:
    """The north-western lot, P098, is the coloured corner at the upper left, the north-eastern, P111, at the right."""
    parcels = plain.table("parcels").set_index("parcel_id")
    classes = classes_of(parcels.reset_index(), "us")
    number = dict(zip(parcels.index, classes.numbers, strict=True))
    picture = map_part(pixels(plain.folder / PRINT_PNG))
    known = np.any([marked(picture, colour) for colour in classes.colours], axis=0)
    rows, columns = np.nonzero(known)
    for parcel, corner in (("P098", rows + columns), ("P111", rows - columns)):
        at = corner.argmin()
        found = tuple(int(one) for one in picture[rows[at], columns[at]])
        assert found == rgb(classes.colours[number[parcel] - 1])
    assert number["P098"] != number["P097"]


def test_a_parcel_without_a_figure_is_hatched(plain: Result) -> None:
    """P021 has no rain figure; nothing else on the map has the hatch's colour."""
    hatch = marked(map_part(pixels(plain.folder / PRINT_PNG)), "#6b7680")
    rows, columns = np.nonzero(hatch)
    assert hatch.sum() > 500
    # A lot is 22 m wide and 30 m deep.
    assert np.ptp(columns) / np.ptp(rows) == pytest.approx(22 / 30, abs=0.05)


def test_north_is_up_and_the_bar_is_true(tmp_path: Path) -> None:
    """A lot that is 1,000 ft along its parallel and 500 ft along its meridian on the ellipsoid, by ``pyproj.Geod``,
    is upright and as wide as its bar says, though its coordinates are far from their central meridian and turned."""
    foot, geod, crs = 0.3048, Geod(ellps="WGS84"), "EPSG:26910"
    west, south = -118.0, 41.0
    east, *_ = geod.fwd(west, south, 90, 1000 * foot)
    _, north, _ = geod.fwd(west, south, 0, 500 * foot)
    lot = shapely.box(west, south, east, north)
    turned = shapely.transform(
        lot.segmentize(1e-5), Transformer.from_crs(4326, crs, always_xy=True).transform, interleaved=False
    )
    made = parcels_frame([Lot("P", turned, 100.0)]).set_crs(crs, allow_override=True)
    made.loc[:, "district"] = None
    result = result_in(tmp_path, made)
    result.run["plane"] = PLANE.replace("41.00", f"{south}").replace("-56.00", f"{west}")
    result.run["settings"] += [{"setting": "footprints.imagery_year", "value": 2023}]
    assert write_figure(result, tmp_path) == []
    picture = pixels(tmp_path / PRINT_PNG)
    rows, columns = np.nonzero(marked(map_part(picture), CLASS_COLOURS[0]))
    wide, high = np.ptp(columns) + 1, np.ptp(rows) + 1
    assert wide / high == pytest.approx(2.0, rel=0.01)
    assert len(rows) == pytest.approx(wide * high, rel=0.01)
    told = re.search(r"^([\d,]+) ft$", comments((tmp_path / PRINT_SVG).read_text()), flags=re.MULTILINE)
    assert told is not None
    assert bar_pixels(picture) / wide == pytest.approx(float(told[1].replace(",", "")) / 1000, rel=0.02)


def bar_pixels(picture: Pixels) -> float:
    """The length of the scale bar: the longest dark run at the map's lower left is its upper or lower edge."""
    dark = marked(picture, "#1d2730")[2 * len(picture) // 3 :, : picture.shape[1] // 3]
    longest = 0
    for row in dark:
        edges = np.flatnonzero(np.diff(np.r_[0, row.astype(int), 0]))
        longest = max(longest, int((edges[1::2] - edges[::2]).max(initial=0)))
    return float(longest)


def test_left_is_the_northern_side_of_a_street_that_runs_east(tmp_path: Path) -> None:
    middles = {}
    for hand in "LR":
        folder = tmp_path / hand
        result = council_result(folder)
        sides = result.table("sides")
        sides[sides["side_id"].str.fullmatch(f"s2. {hand}")].to_parquet(folder / "sides.parquet", index=False)
        write_figure(result, folder)
        picture = map_part(pixels(folder / PRINT_PNG))
        coloured = np.any([marked(picture, one) for one in (CLASS_COLOURS[0], CLASS_COLOURS[-1])], axis=0)
        middles[hand] = float(np.nonzero(coloured)[0].mean())
    assert middles["L"] < middles["R"] - 5


def test_streets_are_numbered_and_named(streets: Result) -> None:
    text = comments((streets.folder / PRINT_SVG).read_text())
    shown = scene(streets)
    assert shown is not None
    assert [one.number for one in shown.numbers] == [1, 2, 3, 4, 5, 6]
    for name in shown.names:
        assert name in text
    assert {name.split(" (")[0] for name in shown.names} == set(STREETS[1:4])


def test_numbers_stand_apart(streets: Result) -> None:
    shown = scene(streets)
    assert shown is not None
    at = np.array([(one.x, one.y) for one in shown.numbers])
    apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    assert apart[~np.eye(len(at), dtype=bool)].min() > 0.06 * 300


def test_surroundings_are_under_everything(streets: Result) -> None:
    picture = map_part(pixels(streets.folder / PRINT_PNG))
    assert marked(picture, "#cfe3ea").sum() > 10_000
    assert marked(picture, "#dcebd8").sum() > 10_000
    assert [ground_of(kind) for kind in context_frame()["kind"]] == ["water", "green", "water", "other"]


def test_whole_streets_tell_of_no_side_and_of_no_street_with_few_homes(streets: Result) -> None:
    """On paper that is handed out both sides are of one class, and a street of seven homes has none."""
    sides = streets.table("sides").sort_values("side_id")
    shown = scene(streets, whole_streets=True)
    assert shown is not None
    for (street, _), rows in sides.assign(number=shown.classes).groupby(["street", "district"]):
        assert rows["number"].nunique() == 1
        assert (rows["number"].iloc[0] == -1) == (street in (STREETS[0], STREETS[4]))


def test_the_same_result_gives_the_same_bytes_in_any_order_of_rows(streets: Result, tmp_path: Path) -> None:
    for name in ("parcels", "sides"):
        frame = streets.table(name)
        frame.sample(frac=1, random_state=3).to_parquet(tmp_path / f"{name}.parquet", index=False)
    for name in ("run.json", "context.parquet"):
        (tmp_path / name).write_bytes((streets.folder / name).read_bytes())
    code = (
        "import sys; from pathlib import Path; from harvest.result import Result; "
        "from harvest.show.figure import write_figure; "
        "write_figure(Result.at(Path(sys.argv[1])), Path(sys.argv[1]))"
    )
    environment = os.environ | {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "SOURCE_DATE_EPOCH": "1"}
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, env=environment, timeout=120)
    for name in FIGURES:
        assert (tmp_path / name).read_bytes() == (streets.folder / name).read_bytes()


def test_more_shapes_than_an_svg_should_hold_become_a_picture(
    plain: Result, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from harvest.show import figure_drawing

    outlines = (plain.folder / PRINT_SVG).read_text()
    assert "data:image/png" not in outlines
    layouts = figure._layouts
    monkeypatch.setattr(
        figure, "_layouts", lambda: tuple(figure_drawing.replace(one, vector_most=50) for one in layouts())
    )
    assert write_figure(plain, tmp_path) == []
    assert "data:image/png" in (tmp_path / PRINT_SVG).read_text()
    assert (tmp_path / PRINT_PNG).read_bytes() == (plain.folder / PRINT_PNG).read_bytes()


MATHS = ["$x^2$", r"$\frac$", r"\mathbf{a}$$", "a_b^c"]
TEXTS = [
    *MATHS,
    *HOSTILE.values(),
    "--> <!--",
    "\x00\x1b[31m",
    "שדרות 町 🏠",
    "x" * 5000,
    "]]>",
    "&amp;",
    "'\"",
]


@pytest.mark.parametrize("first", range(0, len(TEXTS), 5))
def test_hostile_text_is_drawn_as_text(first: int, tmp_path: Path) -> None:
    names = (TEXTS + TEXTS)[first : first + 5]
    least = {"public.least_homes": 1}
    result = council_result(tmp_path, town=names[0], streets=names, wards=False, settings=least)
    result.run["inputs"][0]["file"] = names[1]
    assert write_figure(result, tmp_path) == []
    svg = (tmp_path / PRINT_SVG).read_text()
    tags = {one.tag.rpartition("}")[2] for one in ET.fromstring(svg).iter()}
    assert not tags & {"script", "foreignObject", "a", "image"}
    assert not re.search(r"https?://(?!www\.w3\.org|purl\.org|creativecommons)", svg)
    drawn = comments(svg).splitlines()
    assert all(name in drawn for name in names if name in MATHS)
    if first == 0:
        assert f"Where to knock first in {names[0]}" in drawn


def test_nothing_private_stands_in_the_figure(sample_result: Result, tmp_path: Path) -> None:
    assert write_figure(sample_result, tmp_path) == []
    svg = (tmp_path / PRINT_SVG).read_text()
    text = comments(svg)
    parcels = sample_result.table("parcels", ["parcel_id", "address"])
    assert not [one for one in parcels["address"].dropna() if one in svg or one in text]
    words = set(re.findall(r"[\w.]+", svg))
    assert not words & set(parcels["parcel_id"])


def test_without_matplotlib_a_finding_says_so(
    plain: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    found = write_figure(plain, tmp_path)
    assert [(one.check, one.severity) for one in found] == [("no figure", "warning")]
    assert "matplotlib" in found[0].message and "pip install" in found[0].remedy
    assert not list(tmp_path.iterdir())


def test_a_town_without_outlines_gets_a_finding(tmp_path: Path) -> None:
    bare = parcels_frame().assign(geometry=None).set_crs(PARCEL_CRS)
    roofed = council_result(tmp_path / "with", streets=None)
    bare.to_parquet(roofed.folder / "parcels.parquet", index=False)
    assert [one.check for one in write_figure(roofed, tmp_path)] == ["no figure"]


def test_streets_beyond_the_parcels_are_still_on_the_map(tmp_path: Path) -> None:
    result = council_result(tmp_path)
    sides = sides_frame(result.table("parcels"))
    sides.loc[0, "geometry"] = shapely.LineString([(EAST - 900, NORTH), (EAST, NORTH)])
    sides.to_parquet(tmp_path / "sides.parquet", index=False)
    shown = scene(result)
    assert shown is not None
    assert shown.view[2] - shown.view[0] > 1200
