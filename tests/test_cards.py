"""Door cards as files: which parcels, in what order, as PDF pages or HTML, and what is refused."""

from __future__ import annotations

import builtins
import io
import json
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pypdf
import pytest
from card_result import FIGURES, parcel, result_in, town
from click.testing import CliRunner

from harvest.cards import cards
from harvest.chosen import parcel_row
from harvest.cli import main
from harvest.errors import InputError, OutputError, ResultError
from harvest.fields.parcels import ASSOCIATION, HOMES
from harvest.project import Project, read_project
from harvest.result import Result
from harvest.show.card import LONGEST_ADDRESS, deck
from harvest.show.card_texts import one_line
from harvest.show.figures import shown
from harvest.show.words.cards import CARD_MARK
from harvest.street_order import street_order

SAMPLE = Path(__file__).parents[1] / "data" / "sample" / "pellwick.toml"
HOSTILE = (
    "<script>window.broken = 1</script>",
    "{{ 6*7 }}",
    '<img src=x onerror="window.broken = 2">',
    "{% if %} {# gone #}",
    "</style></title><script>window.broken = 3</script>",
    "\u2028 $map ${map} \\u003c &lt;b&gt;",
    '=HYPERLINK("x")',
    '#eval("1+1") *bold* _low_ $x^2$ @ref <label> `raw` // gone',
    '#read("/etc/passwd") #panic() \\u{41} ] [ ) ( " } {',
    "two\r\nlines and \x07 bell",
    "12 Rue de l'Été – Łódź, Ελλάς",
    "W" * 300,
)


@pytest.fixture(scope="module")
def project() -> Project:
    return read_project(SAMPLE)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return result_in(tmp_path_factory.mktemp("cards") / "town")


def pages(file: Path | bytes) -> list[str]:
    """The text of each page, blanks taken out, since a reader of PDF guesses where they are."""
    reader = pypdf.PdfReader(io.BytesIO(file) if isinstance(file, bytes) else file)
    return [squeezed(page.extract_text()) for page in reader.pages]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def order_in(file: Path, addresses: Sequence[str]) -> list[str]:
    """Which of ``addresses`` each page is for."""
    return [next(one for one in addresses if squeezed(one) in page) for page in pages(file)]


# Pages


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_page_each_however_much_there_is_to_say(tmp_path: Path, project: Project, units: str) -> None:
    most = {
        "status": ASSOCIATION,
        "suggested_barrels": 4,
        "barrel_places": 1,
        "downspout_count": 14,
        "yield_hangs_on": "how much of the water replaces water from the tap, and when",
        "saving_low_usd_yr": 1234.0,
        "saving_high_usd_yr": 23_456.0,
        "net_cost_usd": 12_400.0,
        "payback": "The chance that it pays back in money within its life is about 3 in 10.",
        "yield_4_barrels_l_yr": 1e6,
        "yield_5_barrels_l_yr": 2e6,
    }
    rows = [
        parcel(0, "H1", "W" * 300, **most),
        parcel(1, "a parcel number that is longer than any", None, **most | dict.fromkeys(FIGURES)),
        parcel(2, "H3", "12 Alder Street", **most),
    ]
    days = "made up from monthly normals"
    out = result_in(
        tmp_path / "town", rows, units=units, days=days, town_name="A Town of " + "Many Names " * 9
    ).folder
    cards(project, best=9, target=tmp_path / "all.pdf", out=out)
    reader = pypdf.PdfReader(tmp_path / "all.pdf")
    assert len(reader.pages) == 3
    assert {tuple(map(round, page.mediabox[2:])) for page in reader.pages} == {
        (612, 792) if units == "us" else (595, 842)
    }


def test_a_page_says_what_the_facts_say(tmp_path: Path, project: Project, small: Result) -> None:
    cards(project, ["H2"], target=tmp_path / "one.pdf", out=small.folder)
    (page,) = pages(tmp_path / "one.pdf")
    made = deck(small, ["H2"])
    card = made.cards[0]
    told = [card.address, card.parcel, made.over, *made.foot]
    told += [text for one in card.levels for text in (one.label, one.means, one.figure)]
    told += [text for pair in card.ranges for text in pair]
    told += [text for one in card.parts for text in (one.heading, one.figure, one.means, *one.lines)]
    told += [text for heading, items in made.lists for text in (heading, *items)]
    assert card.drawing is not None
    for text in [*told, card.drawing.bar_text]:
        assert squeezed(text) in page, text


def test_hostile_text_is_set_as_the_text_it_is(tmp_path: Path, project: Project) -> None:
    rows = [parcel(number, f"H{number}", text) for number, text in enumerate(HOSTILE)]
    result = result_in(tmp_path / "town", rows, town_name='{{ 7*7 }} <b>#eval("7*7")')
    cards(project, best=99, target=tmp_path / "all.pdf", out=result.folder)
    found = pages(tmp_path / "all.pdf")
    assert len(found) == len(HOSTILE)
    wanted = {squeezed(one_line(text, LONGEST_ADDRESS)) for text in HOSTILE}
    for page in found:
        assert squeezed('{{ 7*7 }} <b>#eval("7*7")') in page
        assert any(text in page for text in wanted)
    assert all(any(text in page for page in found) for text in wanted)


def test_accents_and_dashes_are_in_the_typefaces(tmp_path: Path, project: Project) -> None:
    text = "“Élan” – ½ Łódź’s Ελλάς—Рус ø å ß ²"
    result = result_in(tmp_path / "town", [parcel(0, "H1", text)])
    cards(project, ["H1"], target=tmp_path / "one.pdf", out=result.folder)
    assert squeezed(text) in pages(tmp_path / "one.pdf")[0]


def test_only_the_packages_own_typefaces_and_no_date(tmp_path: Path, project: Project, small: Result) -> None:
    cards(project, best=2, target=tmp_path / "two.pdf", out=small.folder)
    reader = pypdf.PdfReader(tmp_path / "two.pdf")
    names = {
        str(font["/BaseFont"].get_object()).partition("+")[2]
        for page in reader.pages
        for font in (one.get_object() for one in page["/Resources"]["/Font"].values())  # type: ignore[index]
    }
    assert names and all(name.startswith("LibertinusSerif") for name in names)
    assert reader.metadata is not None
    assert reader.metadata.creation_date is None and reader.metadata.title == "Door cards for Pellwick"
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"] == True  # type: ignore[index]  # noqa: E712


@pytest.mark.parametrize("name", ["all.pdf", "all.html"])
def test_same_result_same_bytes(tmp_path: Path, project: Project, small: Result, name: str) -> None:
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        cards(project, best=9, target=tmp_path / folder / name, out=small.folder)
    assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_without_typst_it_says_what_to_install(
    tmp_path: Path, project: Project, small: Result, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "typst":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.delitem(sys.modules, "typst", raising=False)
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(OutputError, match=re.escape('pip install "harvest-mapper[brief]"')):
        cards(project, ["H1"], target=tmp_path / "one.pdf", out=small.folder)
    assert list(tmp_path.iterdir()) == []
    cards(project, ["H1"], target=tmp_path / "one.html", out=small.folder)


# Whose cards, in what order


def test_best_homes_come_in_street_order(tmp_path: Path, project: Project, small: Result) -> None:
    told = cards(project, best=4, target=tmp_path / "four.pdf", out=small.folder)
    ordered = ["2 Alder Street", "12 Alder Street", "101 Alder Street", "9 Birch Street"]
    assert order_in(tmp_path / "four.pdf", sorted(ordered, key=len, reverse=True)) == ordered
    assert told == [
        f"4 cards in street order, from 2 Alder Street to 9 Birch Street, in {tmp_path / 'four.pdf'}."
    ]


def test_a_street_is_found_whatever_its_case_and_may_be_cut_to_its_best(
    tmp_path: Path, project: Project, small: Result
) -> None:
    cards(project, street=" alder  STREET", target=tmp_path / "a.pdf", out=small.folder)
    assert len(pages(tmp_path / "a.pdf")) == 3
    cards(project, street="Álder St.", target=tmp_path / "c.pdf", out=small.folder)
    assert len(pages(tmp_path / "c.pdf")) == 3
    cards(project, street="Alder Street", best=2, target=tmp_path / "b.pdf", out=small.folder)
    assert order_in(tmp_path / "b.pdf", ["101 Alder Street", "12 Alder Street"]) == [
        "12 Alder Street",
        "101 Alder Street",
    ]


def test_a_home_without_an_address_is_on_the_street_in_front_of_it(tmp_path: Path, project: Project) -> None:
    rows = [row | {"street": "BIRCH ST" if row["parcel_id"] in ("H1", "H5") else None} for row in town()]
    result = result_in(tmp_path / "town", rows)
    cards(project, street="Birch Street", target=tmp_path / "a.pdf", out=result.folder)
    names = ["9 Birch Street", "No address on file"]
    assert len(pages(tmp_path / "a.pdf")) == 2 and order_in(tmp_path / "a.pdf", names) == names


def test_parcels_by_id_or_address_once_each(tmp_path: Path, project: Project, small: Result) -> None:
    cards(project, ["H3", "101 ALDER street", "H1", "H5"], target=tmp_path / "c.pdf", out=small.folder)
    names = ["101 Alder Street", "9 Birch Street", "No address on file"]
    assert order_in(tmp_path / "c.pdf", names) == names


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ({"parcels": ["H9"]}, r"No parcel 'H9' in .*ids look like H1"),
        ({"parcels": ["12 Alder Stret"]}, r"near it: 12 Alder Street"),
        ({"parcels": ["zzzzzzzzz"]}, r"ids look like H1"),
        ({"street": "Aldr Street"}, r"No ranked home on a street 'Aldr Street' in .*near it: Alder Street"),
        ({"street": "Zebra Way"}, r"see the address column"),
        ({"parcels": ["H2", "H6"]}, r"excluded parcel: H6 \(Owner has asked not to be visited\)"),
    ],
)
def test_what_is_not_there_is_named_with_what_is_near(
    tmp_path: Path, project: Project, small: Result, wanted: dict[str, Any], says: str
) -> None:
    with pytest.raises(ResultError, match=says):
        cards(project, target=tmp_path / "x.pdf", out=small.folder, **wanted)
    assert list(tmp_path.iterdir()) == []


def test_two_parcels_of_one_address_are_told_apart_by_id(tmp_path: Path, project: Project) -> None:
    rows = [parcel(0, "H1", "1 Oak Way"), parcel(1, "H2", "1 Oak Way")]
    result = result_in(tmp_path / "town", rows)
    with pytest.raises(
        ResultError, match=r"2 parcels have the address '1 oak way': H1, H2. Give the parcel's id"
    ):
        parcel_row(result, "1 oak way")
    assert parcel_row(result, "H2")["parcel_id"] == "H2"


def test_a_town_without_ranked_homes(tmp_path: Path, project: Project) -> None:
    rows = [row | {"list": None, "rank": None} for row in town()]
    result = result_in(tmp_path / "town", rows)
    with pytest.raises(ResultError, match="No home is ranked"):
        cards(project, best=3, target=tmp_path / "x.pdf", out=result.folder)


@pytest.mark.parametrize(
    "wanted", [{}, {"parcels": ["H1"], "best": 2}, {"parcels": ["H1"], "street": "Alder Street"}, {"best": 0}]
)
def test_one_way_of_choosing(tmp_path: Path, project: Project, small: Result, wanted: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=r"--best"):
        cards(project, target=tmp_path / "x.pdf", out=small.folder, **wanted)


def test_a_result_of_an_earlier_version_asks_for_a_new_run(tmp_path: Path, project: Project) -> None:
    for at, what in enumerate(("settings", "columns")):
        folder = result_in(tmp_path / what).folder
        if what == "settings":
            run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
            run["settings"] = run["settings"][:1]
            (folder / "run.json").write_text(json.dumps(run), encoding="utf-8")
        else:
            table = gpd.read_parquet(folder / "parcels.parquet").drop(columns="yield_low_l_yr")
            table.to_parquet(folder / "parcels.parquet", index=False)
        with pytest.raises(ResultError, match="made before cards could be; run again"):
            cards(project, best=1, target=tmp_path / f"{at}.html", out=folder)


def test_too_many_cards_for_one_pdf(tmp_path: Path, small: Result) -> None:
    text = SAMPLE.read_text(encoding="utf-8") + "\n[limits]\nmemory_gb = 0.004\n"
    (tmp_path / "town.toml").write_text(text, encoding="utf-8")
    tight = read_project(tmp_path / "town.toml")
    with pytest.raises(InputError, match=r"5 cards in one PDF .* which is 2 cards; write them by --street"):
        cards(tight, best=9, target=tmp_path / "x.pdf", out=small.folder)
    cards(tight, best=2, target=tmp_path / "x.pdf", out=small.folder)
    cards(tight, best=9, target=tmp_path / "x.html", out=small.folder)


# Where they go


def test_only_cards_of_ours_are_replaced(tmp_path: Path, project: Project, small: Result) -> None:
    for name in ("all.pdf", "all.html"):
        target = tmp_path / name
        cards(project, best=3, target=target, out=small.folder)
        first = target.read_bytes()
        assert CARD_MARK.encode() in first
        cards(project, best=1, target=target, out=small.folder)
        assert target.read_bytes() != first
        target.write_bytes(b"%PDF a thesis")
        with pytest.raises(OutputError, match="holds no cards of ours"):
            cards(project, best=1, target=target, out=small.folder)
        assert target.read_bytes() == b"%PDF a thesis"


@pytest.mark.parametrize(
    ("name", "says"),
    [("cards.docx", "ends neither in"), ("gone/cards.pdf", "does not exist"), ("folder.pdf", "is a folder")],
)
def test_a_target_that_can_not_be(
    tmp_path: Path, project: Project, small: Result, name: str, says: str
) -> None:
    (tmp_path / "folder.pdf").mkdir()
    with pytest.raises(OutputError, match=says):
        cards(project, best=1, target=tmp_path / name, out=small.folder)


def test_a_write_that_fails_leaves_the_earlier_cards(
    tmp_path: Path, project: Project, small: Result, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "all.html"
    cards(project, best=3, target=target, out=small.folder)
    before = target.read_bytes()

    def full(self: Path, data: bytes) -> int:
        with self.open("wb") as file:
            file.write(data[:10])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="No space left"):
        cards(project, best=1, target=target, out=small.folder)
    assert target.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["all.html"]


def test_from_the_command_line(tmp_path: Path, small: Result) -> None:
    target, out = str(tmp_path / "all.pdf"), str(small.folder)
    told = CliRunner().invoke(main, ["cards", str(SAMPLE), "H1", "H2", "--to", target, "--out", out])
    assert (told.exit_code, told.output[:22]) == (0, "2 cards in street orde")
    assert len(pages(Path(target))) == 2
    wrong = CliRunner().invoke(main, ["cards", str(SAMPLE), "H9", "--to", target, "--out", out])
    assert wrong.exit_code == 2 and "No parcel 'H9'" in wrong.output


# Walking order


def test_walking_order_whatever_the_order_of_rows() -> None:
    """By street however it is written, then by number, letter and unit; a name without a number comes first."""
    ordered = [
        "Alder Way",
        "2 Alder Way",
        "10 Alder Wy",
        "10-12 Alder Way",
        "10B Alder Way",
        "70 ALDER WAY Unit 2",
        "70 Alder Way, Apt. 10, Pellwick",
        "101 alder way",
        "1 Birch Way",
        "Eichenweg 12",
        "Eichenweg 12a",
        None,
        "",
    ]
    frame = pd.DataFrame({"address": ordered, "parcel_id": [f"p{at}" for at in range(len(ordered))]})
    for seed in range(5):
        mixed = frame.sample(frac=1, random_state=seed)
        assert mixed.loc[street_order(mixed), "parcel_id"].tolist() == frame["parcel_id"].tolist()


# The sample town


def test_cards_of_the_sample_town(tmp_path: Path, project: Project, sample_result: Result) -> None:
    told = cards(project, best=20, target=tmp_path / "best.pdf", out=sample_result.folder)
    homes = sample_result.table("parcels").query("list == @HOMES and rank <= 20")
    found = pages(tmp_path / "best.pdf")
    assert len(found) == 20 and told[0].startswith("20 cards in street order")
    for home in homes.itertuples():
        page = next(page for page in found if f"Parcel{home.parcel_id}" in page)
        for litres in (
            home.runoff_l_yr,
            home.capturable_l_yr,
            home.storm_l,
            home.storm_downspout_l,
            home.yield_l_yr,
        ):
            assert squeezed(shown(litres, "L", "us", 2)) in page
    assert HOMES == "homes"
