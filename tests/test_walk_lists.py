"""Walk lists: what the pages say, read back with pypdf; the table, read back as the visit log; the map's geometry."""

from __future__ import annotations

import csv
import io
import re
import sys
from dataclasses import asdict
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
import shapely
from scipy import stats
from test_cards import HOSTILE
from walk_result import CAUTION, LOTS, WALKED, parcels, rounds, sides, stops, walk_result, with_settings

from harvest.errors import OutputError
from harvest.fields import STOPS
from harvest.fields.outreach import INSTALLED, JOINED, NOT_HOME, OUTCOMES, REFUSED, VERIFIED
from harvest.project.outputs import Limits
from harvest.project.outreach import Visits
from harvest.read.visits import read_visits
from harvest.result import Result
from harvest.show import walk
from harvest.show.walk import WALK_LISTS, Door, walk_lists, write_walk_lists
from harvest.show.walk_drawing import HEIGHT, STRIP, WIDTHS, RoundMap, StreetLines, round_map
from harvest.show.walk_table import WALK_TABLE
from harvest.show.walk_texts import binomial_quantile, duration, usual
from harvest.show.words.walk import CAUTIONS, TICK_WORDS, WALK_WORDS
from harvest.units import L_PER_GALLON


def flat(text: str) -> str:
    """Text of a page on one line, without the marks that let long words break."""
    return " ".join(text.replace("\u200b", "").split())


def pages_of(content: bytes) -> list[str]:
    return [flat(page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(content)).pages]


def printed(result: Result) -> list[str]:
    assert write_walk_lists(result, result.folder) == []
    return pages_of((result.folder / WALK_LISTS).read_bytes())


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return walk_result(tmp_path_factory.mktemp("walk") / "us")


@pytest.fixture(scope="module")
def pages(town: Result) -> list[str]:
    return printed(town)


def doors_of(result: Result, number: int = 0) -> list[Door]:
    return [door for stretch in walk_lists(result)[0].rounds[number].stretches for door in stretch.doors]


# ---- The pages


def test_without_stops_there_is_no_walk_list(tmp_path: Path, town: Result) -> None:
    bare = tmp_path / "bare"
    bare.mkdir()
    for one in town.folder.glob("*.parquet"):
        if one.stem != "stops":
            (bare / one.name).write_bytes(one.read_bytes())
    (bare / "run.json").write_bytes((town.folder / "run.json").read_bytes())
    before = set(bare.iterdir())
    assert write_walk_lists(Result.at(bare), bare) == []
    assert set(bare.iterdir()) == before


def test_each_round_begins_on_a_page_of_its_own_and_counts_its_own_pages(pages: list[str]) -> None:
    said = [re.match(r"Round (\d) Roof-water visits, Pellwick page (\d) of (\d) ", page) for page in pages]
    numbers = [tuple(map(int, one.groups())) for one in said if one]
    assert len(numbers) == len(pages)
    expected = []
    for number in (1, 2, 3):
        last = max(page for at, page, _ in numbers if at == number)
        expected += [(number, page, last) for page in range(1, last + 1)]
    assert numbers == expected


def test_the_head_of_a_round_tells_its_figures_in_us_units(pages: list[str]) -> None:
    head = pages[0]
    assert "Alder Street, Birch Lane Ward 1 Doors 14 at 7 stops" in head
    # 172.4 min to the next five minutes; half a mile as it is.
    assert "Time 2 h 50 min at doors and between Walk 0.50 miles" in head
    assert "Knock only 9 am to 7:30 pm or less, by local rules" in head


def test_the_head_of_a_round_in_metric_units_is_on_a4(tmp_path: Path, town: Result) -> None:
    result = walk_result(tmp_path / "metric", units="metric")
    pages = printed(result)
    # Half a mile is 804.67 m; 500 gal are 1,893 L and 200 gal 757 L, to two digits.
    assert "Walk 800 m" in pages[0] and "Knock only 09:00 to 19:30" in pages[0]
    says = "25.4 mm of rain brings 1,900 L off this roof. 1 barrel would give the garden about 760 L a year."
    assert says in pages[1]
    # ISO 216: A4 is 210 by 297 mm. US letter is 8½ by 11 in, 72 points an inch.
    sizes = [
        [float(edge) for edge in pypdf.PdfReader(one.folder / WALK_LISTS).pages[0].mediabox[2:]]
        for one in (result, town)
    ]
    assert sizes[0] == pytest.approx([210 / 25.4 * 72, 297 / 25.4 * 72], abs=0.1)
    assert sizes[1] == pytest.approx([8.5 * 72, 11 * 72], abs=0.1)


def test_likely_answers_are_the_middle_of_a_binomial_distribution() -> None:
    for count, mean in ((14, 4.62), (61, 20.13), (61, 1.6104), (1, 0.33), (300, 3.0), (2, 2.0), (5, 0.0)):
        for share in (0.1, 0.5, 0.9):
            assert binomial_quantile(share, count, mean) == stats.binom.ppf(share, count, mean / count)
    # A canvasser who passes 120 houses has 40 conversations a day (current.org, August 2016).
    assert usual(40, 120) == "33 to 47"
    assert usual(0.0, 5) == "0" and usual(2.0, 2) == "2"


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        *((0, "5 min"), (7, "5 min"), (8, "10 min"), (57.4, "55 min"), (58, "1 h"), (62, "1 h")),
        *((179.8, "3 h"), (172.4, "2 h 50 min")),
    ],
)
def test_times_are_told_to_five_minutes(minutes: float, said: str) -> None:
    assert duration(minutes).replace("\u00a0", " ") == said


def test_doors_stand_in_walking_order_with_what_to_say(pages: list[str]) -> None:
    text = " ".join(pages[1:3])
    places = [
        text.index(f" {at} {where}")
        for at, where in ((1, "1 Alder Street"), (2, "3 Alder Street"), (3, "5 Alder Street"))
    ]
    assert places == sorted(places)
    says = "1 in of rain brings 500 gal off this roof. {} would give the garden about 200 gal a year."
    assert f"1 1 Alder Street {says.format('1 barrel')}" in text
    assert f"3 5 Alder Street {says.format('2 barrels')} Before: try again at another hour." in text
    assert "10 Birch Lane 1 in of rain brings 500 gal off this roof. No barrel is suggested yet" in text
    assert "9 Birch Lane No figures for this roof: ask about gutter and garden." in text
    assert f"Careful: {CAUTION}" in text
    assert "to visit" not in text
    assert "5 No address on file, parcel S2" in text


def test_every_door_has_a_box_for_every_outcome_of_a_knock(pages: list[str], town: Result) -> None:
    boxes = "not home again come back joined refused ineligible other language"
    # Round 1: one line for each of 5 single doors, 2 for two doors, 4 of 7 doors; rounds 2 and 3: 1 and 2.
    assert sum(page.count(boxes) for page in pages) == 5 + 2 + 4 + 1 + 2
    assert "door 4 " + boxes + " and 3 more doors: note them on the back" in " ".join(pages)
    # Installed and verified are no outcome of a knock; every other word of the log is a box, as the log has it.
    assert set(TICK_WORDS) == set(OUTCOMES) - {INSTALLED, VERIFIED} and list(TICK_WORDS) == list(
        TICK_WORDS.values()
    )


def test_crossing_and_streets_are_marked(town: Result) -> None:
    sheet = walk_lists(town)[0].rounds[0]
    assert [(one.heading, len(one.doors)) for one in sheet.stretches] == [
        ("Alder Street, north side", 5),
        ("Birch Lane, east side", 2),
    ]
    # From N3 on the north side of the second stretch to S3 on its south side; the second stretch alone is no crossing.
    assert [door.cross for door in doors_of(town)] == ["", "", "", "Cross over to the south side", "", "", ""]
    assert [bool(one.warning) for one in sheet.stretches] == [False, True]
    assert walk_lists(town)[0].rounds[2].stretches[0].heading == "Street without a name, west side"


def test_a_street_that_bends_is_not_crossed(tmp_path: Path) -> None:
    bent = sides()
    bent.loc[bent["side_id"] == "A2 L", "side"] = "west"
    result = walk_result(tmp_path / "town", sides_are=bent)
    crossings = [door.cross for door in doors_of(result)][:4]
    # From north to west the street bends; from left to right of one stretch it is crossed, whatever the compass says.
    assert crossings == ["", "", "Here it is the west side", "Cross over to the south side"]


def test_the_second_pass_is_told_whether_it_is_counted_or_not(tmp_path: Path, pages: list[str]) -> None:
    assert "Second pass. Not counted in the time above." in pages[0]
    result = with_settings(walk_result(tmp_path / "town"), **{"rounds.second_pass": 0.5})
    # 127 min until every door was tried once.
    assert "Second pass. After about 2 h 5 min every door has been tried once." in printed(result)[0]


def test_totals_are_those_of_the_stops(pages: list[str], town: Result) -> None:
    here = stops()[lambda frame: frame["round"] == 1]
    storm, used = (here[name].sum() / L_PER_GALLON for name in ("storm_l", "yield_l_yr"))
    assert (storm, used) == (pytest.approx(3000), pytest.approx(1200)) and here[
        "suggested_barrels"
    ].sum() == 6
    text = " ".join(pages)
    assert (
        "All doors of round 1 7 stops, 14 doors, 6 barrels suggested. One storm (1 in of rain) brings about 3,000 gal "
        "off these roofs; the barrels would give the gardens about 1,200 gal a year." in text
    )


def test_cautions_stand_on_the_first_page_of_every_round(pages: list[str]) -> None:
    heads = [page for page in pages if " page 1 of " in page]
    assert len(heads) == 3
    for name in CAUTIONS:
        said = WALK_WORDS[name].replace("{hours}", "9 am to 7:30 pm")
        assert all(said in page for page in heads)
    told = " ".join(WALK_WORDS[name] for name in CAUTIONS).casefold()
    for word in (
        "local rules",
        "permit",
        "pairs",
        "identification",
        "leave",
        "dogs",
        "gate",
        "heat",
        "lightning",
        "drinking",
    ):
        assert word in told


def test_no_type_is_smaller_than_ten_points_and_nothing_has_colour(town: Result) -> None:
    reader = pypdf.PdfReader(town.folder / WALK_LISTS)
    sizes: set[float] = set()

    def look(text: str, _: Any, matrix: list[float], __: Any, size: float) -> None:
        if text.strip():
            sizes.add(round(abs(size * float(np.hypot(matrix[0], matrix[1]))), 2))

    for page in reader.pages:
        page.extract_text(visitor_text=look)
        content = page.get_contents()
        assert content is not None
        # PDF 32000-1:2008, table 74: rg, RG, k and K choose a colour; sc, SC, scn and SCN one of the space in force.
        drawn = content.get_data().decode("latin-1")
        assert not re.search(r"(?m)(?:^|\s)(?:rg|RG|k|K)\s*$", drawn)
        for values in re.findall(r"(?m)^([\d. ]+) (?:scn|SCN|sc|SC)\s*$", drawn):
            assert len(set(values.split())) == 1
    assert min(sizes) >= 10


def test_names_and_numbers_of_people_have_no_place(town: Result) -> None:
    assert not {"name", "owner", "phone", "telephone"} & set(STOPS.names)
    assert set(rows_of(town.folder / WALK_TABLE)[0]) == {
        *STOPS.names,
        *("date", "outcome", "barrels", "volume_gal", "note"),
    }


@pytest.mark.parametrize("units", ["us", "metric"])
def test_hostile_texts_are_printed_as_texts(tmp_path: Path, units: str) -> None:
    frame, around = stops(), sides()
    texts = [*HOSTILE, "x" * 400][: len(frame)]
    frame["address"], frame["door_caution"] = texts, texts
    around["street"] = [texts[at % len(texts)] for at in range(len(around))]
    frame["street"] = texts
    result = walk_result(
        tmp_path / "town",
        units=units,
        town=HOSTILE[-1],
        stops_are=frame,
        sides_are=around,
        rounds_are=rounds(
            streets=[HOSTILE[7], "W" * 400, HOSTILE[8]], district=[HOSTILE[11], HOSTILE[0], None]
        ),
    )
    text = " ".join(printed(result))
    for one in (
        '#eval("1+1") *bold* _low_ $x^2$',
        '#read("/etc/passwd") #panic()',
        "{{ 6*7 }}",
        "two lines and bell",
    ):
        assert one in text
    width = float(pypdf.PdfReader(result.folder / WALK_LISTS).pages[0].mediabox[2])
    ends: list[float] = []
    for page in pypdf.PdfReader(result.folder / WALK_LISTS).pages:
        page.extract_text(
            visitor_text=lambda text, cm, tm, font, size: ends.append(cm[4]) if text.strip() else None
        )
    assert ends and max(ends) < width


def test_the_same_result_gives_the_same_bytes(tmp_path: Path, town: Result, pages: list[str]) -> None:
    again = walk_result(tmp_path / "town")
    write_walk_lists(again, again.folder)
    shuffled = walk_result(
        tmp_path / "shuffled",
        stops_are=stops().iloc[::-1].reset_index(drop=True),
        rows=parcels()[::-1],
        rounds_are=rounds().iloc[::-1].reset_index(drop=True),
    )
    write_walk_lists(shuffled, shuffled.folder)
    assert (again.folder / WALK_TABLE).read_bytes() == (town.folder / WALK_TABLE).read_bytes()
    for one in (again, shuffled):
        assert (one.folder / WALK_LISTS).read_bytes() == (town.folder / WALK_LISTS).read_bytes()


def test_without_the_typesetter_the_table_is_written_and_said_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = walk_result(tmp_path / "town")
    monkeypatch.setitem(sys.modules, "typst", None)
    (found,) = write_walk_lists(result, result.folder)
    assert (found.check, found.count) == ("no walk lists as PDF", 3) and "pip install" in found.message
    assert (result.folder / WALK_TABLE).exists() and not (result.folder / WALK_LISTS).exists()


def test_more_stops_than_fit_are_left_to_the_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    result = walk_result(tmp_path / "town")
    monkeypatch.setattr(walk, "MOST_STOPS", 8)
    (found,) = write_walk_lists(result, result.folder)
    assert (found.check, found.count) == ("walk lists left out", 1) and "first 2 of 3 rounds" in found.message
    text = " ".join(pages_of((result.folder / WALK_LISTS).read_bytes()))
    assert "Round 2" in text and "Round 3" not in text
    assert len(rows_of(result.folder / WALK_TABLE)) == 10


@pytest.mark.parametrize("name", [WALK_LISTS, WALK_TABLE])
def test_a_file_that_cannot_be_written_is_named(tmp_path: Path, name: str) -> None:
    result = walk_result(tmp_path / "town")
    (result.folder / name).mkdir()
    with pytest.raises(OutputError, match=name):
        write_walk_lists(result, result.folder)


# ---- The table


def test_a_filled_in_table_is_read_as_the_log(tmp_path: Path) -> None:
    for units, unit, litres in (("us", "volume_gal", 55 * L_PER_GALLON), ("metric", "volume_l", 55.0)):
        result = walk_result(tmp_path / units, units=units)
        write_walk_lists(result, result.folder)
        rows = rows_of(result.folder / WALK_TABLE)
        rows[0] |= {"date": "2026-05-02", "outcome": NOT_HOME}
        rows[1] |= {"date": "2026-05-02", "outcome": JOINED, "note": "wants two, back yard"}
        rows[4] |= {"date": "2026-05-03", "outcome": REFUSED}
        rows[7] |= {"date": "2026-06-01", "outcome": INSTALLED, "barrels": "1", unit: "55"}
        with (tmp_path / f"{units}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
        log = read_visits(Visits(file=f"{units}.csv"), tmp_path, Limits(), date(2026, 7, 1))
        read = log.rows
        assert read["parcel"].tolist() == ["N1", "N2", "S2", "S1"]
        assert read["outcome"].tolist() == [NOT_HOME, JOINED, REFUSED, INSTALLED]
        assert read["address"].tolist() == ["1 Alder Street", "3 Alder Street", "", "2 Alder Street"]
        assert read["day"].dt.strftime("%Y-%m-%d").tolist() == [
            "2026-05-02",
            "2026-05-02",
            "2026-05-03",
            "2026-06-01",
        ]
        assert read["barrels"].tolist()[3] == 1 and read["volume_l"].iloc[3] == pytest.approx(litres)
        # Doors where nothing was written are no visits; none of them is lost.
        assert len(log.unmatched) == 6 and log.unmatched["reason"].str.startswith("no visit").all()


def test_the_table_holds_every_stop_as_it_is(town: Result) -> None:
    raw = (town.folder / WALK_TABLE).read_bytes()
    assert raw.startswith(b"\xef\xbb\xbfround,stop,parcel_id,address,") and raw.endswith(b",,,,,\r\n")
    rows = rows_of(town.folder / WALK_TABLE)
    assert [row["parcel_id"] for row in rows] == [name for names in WALKED for name in names]
    assert float(rows[0]["storm_l"]) == stops()["storm_l"].iloc[0] and rows[6]["storm_l"] == ""
    assert {row[name] for row in rows for name in ("date", "outcome", "barrels", "volume_gal", "note")} == {
        ""
    }


def test_a_spreadsheet_runs_no_text_of_the_table(tmp_path: Path) -> None:
    frame = stops()
    frame["address"] = '=HYPERLINK("x")'
    result = walk_result(tmp_path / "town", stops_are=frame)
    write_walk_lists(result, result.folder)
    assert {row["address"] for row in rows_of(result.folder / WALK_TABLE)} == {'\'=HYPERLINK("x")'}


# ---- The map


def map_of(result: Result, number: int = 0) -> RoundMap:
    drawn = walk_lists(result)[0].rounds[number].map
    assert drawn is not None
    return drawn


def test_the_map_is_to_scale_with_north_up(town: Result) -> None:
    drawn = map_of(town)
    walked = np.array(drawn.walk[0])
    a_foot = drawn.bar / float(drawn.bar_text.removesuffix(" ft"))
    # Alder Street is walked for 200 m to the east, Birch Lane for 120 m to the north.
    assert walked[1] - walked[0] == pytest.approx([200 / 0.3048 * a_foot, 0], abs=0.3)
    assert walked[2] - walked[1] == pytest.approx([0, -120 / 0.3048 * a_foot], abs=0.3)
    assert drawn.start == pytest.approx(walked[0].tolist(), abs=0.1)
    metric = map_of(with_units(town))
    assert metric.bar_text.endswith(" m") and metric.width == WIDTHS["metric"]


def with_units(town: Result) -> Result:
    return Result(town.folder, town.run | {"units": "metric"})


def test_dots_stand_in_front_of_their_parcels_on_their_side(town: Result) -> None:
    drawn = map_of(town)
    walked, dots = np.array(drawn.walk[0]), np.array(drawn.dots)
    street_y, lane_x = walked[0][1], walked[2][0]
    scale = (walked[1][0] - walked[0][0]) / 200
    for dot, name in zip(dots, WALKED[0], strict=True):
        _, _, street, x, _ = LOTS[name]
        if street == "Alder Street":
            assert dot[0] == pytest.approx(walked[0][0] + x * scale, abs=0.3)
            assert (dot[1] < street_y) == name.startswith("N")
        else:
            assert dot[0] > lane_x


def test_streets_around_are_drawn_once_and_only_near_ones(town: Result) -> None:
    drawn = map_of(town)
    # Two stretches of Alder Street, Birch Lane and the street without a name; Cedar and Dock Street are far off.
    assert len(drawn.streets) == 4
    assert {one.text for one in drawn.names} == {"Alder Street", "Birch Lane"}


def test_numbers_are_those_of_the_list_and_stand_by_their_dots(town: Result) -> None:
    drawn = map_of(town)
    assert [one.text for one in drawn.numbers] == [str(at) for at in range(1, 8)]
    for one, dot in zip(drawn.numbers, drawn.dots, strict=True):
        assert np.hypot(one.x - dot[0], one.y - dot[1]) < 20


def crowded(spacing_m: float, count: int = 60) -> RoundMap:
    """A street of 600 m with ``count`` doors on either side, so near each other that not all numbers have room."""
    street = shapely.LineString([(0, 0), (600, 0)])
    x = 5 + spacing_m * np.arange(count)
    fronts = np.column_stack([np.concatenate([x, x[::-1]]), np.zeros(2 * count)])
    homes = fronts + np.repeat([[0.0, 15.0], [0.0, -15.0]], count, axis=0)
    row_of = np.repeat([0, 1], count)
    return round_map(street, fronts, homes, row_of, StreetLines(["Long Street"], [street]), "us")


def test_numbers_never_lie_on_each_other_nor_off_the_map() -> None:
    for spacing in (9.0, 5.0, 2.0):
        drawn = crowded(spacing)
        for one in drawn.numbers:
            assert 0 < one.x < drawn.width and 0 < one.y < HEIGHT - STRIP
        boxes = [
            shapely.box(one.x - 2.5 * len(one.text), one.y - 3.5, one.x + 2.5 * len(one.text), one.y + 3.5)
            for one in drawn.numbers
        ]
        walked = shapely.LineString(drawn.walk[0])
        assert not [1 for at, one in enumerate(boxes) for other in boxes[:at] if one.intersects(other)]
        assert not [one for one in boxes if one.intersects(walked)]


def test_crowded_rows_show_their_ends_and_every_fifth_number() -> None:
    shown = [int(one.text) for one in crowded(9.0).numbers]
    assert {1, 60, 61, 120} <= set(shown) and {5, 10, 15, 65, 70} <= set(shown)
    assert all(number % 5 == 0 or number in (1, 61) for number in shown)
    assert [a for a, b in pairwise(shown) if a >= b] == []


def test_a_round_at_one_place_and_one_without_outlines_are_drawn_as_far_as_they_go(tmp_path: Path) -> None:
    result = walk_result(tmp_path / "town")
    alone = map_of(result, 1)
    assert (len(alone.dots), alone.walk, alone.start) == (1, [], None)
    assert [one.text for one in alone.numbers] == ["1"]
    rows = [row | {"geometry": shapely.Polygon()} if row["parcel_id"] == "S1" else row for row in parcels()]
    bare = walk_result(tmp_path / "bare", rows=rows)
    assert walk_lists(bare)[0].rounds[1].map is None
    assert "No walk to draw." in " ".join(printed(bare))


def test_every_word_is_used(town: Result) -> None:
    source = " ".join(one.read_text(encoding="utf-8") for one in Path(walk.__file__).parent.glob("*.py"))
    unused = [name for name in WALK_WORDS if f'"{name}"' not in source and name not in CAUTIONS]
    assert unused == []
    assert asdict(walk_lists(town)[0])["rounds"]
