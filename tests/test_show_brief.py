"""The brief for a council: its numbers are those of the tables, it tells of no home, and fits two pages."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pypdf
import pytest
from council_result import STREETS, council_result, placed
from map_result import HOSTILE, MADE_UP, parcels_frame, without

from harvest.errors import ResultError
from harvest.result import Result
from harvest.show.brief import BRIEF_FILE, write_brief
from harvest.show.streets import best_streets
from harvest.show.words.brief import BRIEF_WORDS, CAUTIONS

L_PER_GALLON = 3.785411784
"""A US gallon is 231 cubic inches of 16.387064 mL (NIST Handbook 44, appendix C)."""

A4, LETTER = (595.3, 841.9), (612.0, 792.0)
"""Sheets in points: ISO 216, and ANSI/ASME Y14.1."""


def pages(folder: Path) -> list[str]:
    """The text of each page on one line, footnotes as they follow their figures."""
    reader = pypdf.PdfReader(io.BytesIO((folder / BRIEF_FILE).read_bytes()))
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def text_of(folder: Path) -> str:
    return " ".join(pages(folder))


def two_digits(value: float) -> str:
    """``value`` the way a person rounds it to two digits, written down apart from the program."""
    rough = float(f"{value:.1e}")
    if rough >= 1e7:
        return f"{rough / 1e6:,.0f} million"
    return f"{rough:,.0f}" if rough >= 10 else f"{rough:.1f}"


def gallons(litres: float) -> str:
    return two_digits(litres / L_PER_GALLON)


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Streets, wards and surroundings."""
    result = council_result(tmp_path_factory.mktemp("full"), context=True)
    assert write_brief(result, result.folder) == []
    return result


def test_the_levels_are_the_totals_with_their_ranges(full: Result) -> None:
    text, totals, ranges = pages(full.folder)[0], full.run["totals"], full.run["ranges"]
    for name, mark in (("runoff_l_yr", 1), ("capturable_l_yr", 2), ("yield_l_yr", 3)):
        low, high = gallons(ranges[name]["low"]), gallons(ranges[name]["high"])
        assert (
            f"{gallons(totals[name])} gal a year {mark}" in text
            or f"{gallons(totals[name])} gal a year{mark}" in text
        )
        assert re.search(rf"{low} to {high} gal a year ?4", text)
    assert "Hangs most on how often people draw" in text


def test_the_share_of_all_runoff_is_said_as_a_figure(full: Result) -> None:
    totals = full.run["totals"]
    share = f"{100 * totals['yield_l_yr'] / totals['runoff_l_yr']:.2g}%"
    text = pages(full.folder)[0]
    assert f"Gardens would use about {share} of what the roofs shed." in text
    assert f"It is a small share of all roof water: about {share}." in text


def test_rows_of_streets_are_sums_over_their_sides(full: Result) -> None:
    sides = full.table("sides")
    sums = sides.groupby(["street", "district"])[
        ["door_count", "to_visit_count", "capturable_l_yr", "yield_l_yr", "worth_l_yr", "canvass_min"]
    ].sum()
    sums = sums[sums["door_count"] >= 10].assign(minute=lambda one: one["worth_l_yr"] / one["canvass_min"])
    text = pages(full.folder)[1]
    for number, (place, row) in enumerate(sums.sort_values("minute", ascending=False).iterrows(), 1):
        figures = [
            *(gallons(row[name]) for name in ("capturable_l_yr", "yield_l_yr", "worth_l_yr")),
            gallons(row["minute"]),
        ]
        counts = f"{row['door_count']:.0f} {row['to_visit_count']:.0f}"
        assert f"{number} {place[0]} {place[1]} {counts} {' '.join(figures)}" in text
    assert not [street for street in (STREETS[0], STREETS[4]) if street in text]


def test_rows_of_districts_add_up_to_the_town(full: Result) -> None:
    parcels = full.table("parcels")
    text = pages(full.folder)[1]
    names = ["runoff_l_yr", "capturable_l_yr", "yield_l_yr"]
    for label, rows in (
        ("Ward 2", parcels[parcels["district"].eq("Ward 2")]),
        ("Ward 10", parcels[parcels["district"].eq("Ward 10")]),
        ("The town", parcels),
    ):
        figures = " ".join(gallons(rows[name].sum()) for name in names)
        barrels = two_digits(float(rows["suggested_barrels"].sum()))
        assert f"{label} {rows['door_count'].sum()} {figures} {barrels}" in text
    assert text.index("Ward 2 ") < text.index("Ward 10 ")
    # Five doors stand in no ward: too few to tell of.
    assert "In no district – – – – –" in text


def test_every_figure_has_its_footnote(full: Result) -> None:
    text = pages(full.folder)[1]
    method = text[text.index("How it was worked out") : text.index("What is doubtful")]
    assert re.findall(r"(?:^| )([1-5]) (?=Sheds|Capturable|Used|Ranges|Streets)", method) == list("12345")
    for heading in ("Capturable 2", "Used 3", "Worth 5", "Worth a minute 5", "Sheds 1"):
        assert re.search(heading.replace(" ", " ?"), text)


def test_what_it_does_not_mean_and_cautions_are_there(full: Result) -> None:
    text = text_of(full.folder)
    for name in ("not_use", "not_rank", "not_promise"):
        assert BRIEF_WORDS[name] in text
    assert "It does not reduce flooding." in text and "is full after about" in text
    for name in CAUTIONS:
        assert BRIEF_WORDS[name].split("{")[0].strip() in text
    assert "1 serious, 0 warnings" in text and "roofs on no parcel (2)" in text


def test_two_pages_of_letter_or_a4(full: Result, tmp_path: Path) -> None:
    council = council_result(tmp_path, units="metric", streets=None, wards=False)
    assert write_brief(council, tmp_path) == []
    for folder, sheet in ((full.folder, LETTER), (tmp_path, A4)):
        reader = pypdf.PdfReader(folder / BRIEF_FILE)
        assert len(reader.pages) == 2
        assert [float(one) for one in reader.pages[0].mediabox[2:]] == pytest.approx(sheet, abs=0.5)
    text, totals = text_of(tmp_path), council.run["totals"]
    assert re.search(rf"{two_digits(totals['capturable_l_yr'])} L a year ?2", text)
    assert "By district" not in text and "gal" not in text


def test_without_streets_homes_by_the_street_of_their_address(tmp_path: Path) -> None:
    result = council_result(tmp_path, streets=None, wards=False)
    write_brief(result, tmp_path)
    homes = result.table("parcels")
    homes = homes[homes["list"].eq("homes")]
    text = pages(tmp_path)[1]
    for street in ("Alder Street", "Birch Street", "Cedar Street"):
        mine = homes[homes["address"].fillna("").str.endswith(street)]
        used = mine["yield_l_yr"].sum()
        figures = f"{gallons(mine['capturable_l_yr'].sum())} {gallons(used)} {gallons(used / len(mine))}"
        assert f"{street} {len(mine)} {figures}" in text


def test_without_ranges_or_barrels_or_days(tmp_path: Path) -> None:
    bare = without(parcels_frame(), "yield_", "suggested_", "saving_", "fill_min")
    result = council_result(tmp_path, parcels=bare, streets=None, ranges={}, days=MADE_UP)
    assert write_brief(result, tmp_path) == []
    text = text_of(tmp_path)
    assert text.count("no range worked out") == 2
    assert "made up from monthly means" in text
    assert "In order of what a home there could catch." in text
    assert BRIEF_WORDS["not_flood_short"] in text and BRIEF_WORDS["not_share_unknown"] in text


def test_a_town_without_named_streets_says_so(tmp_path: Path) -> None:
    nameless = placed(parcels_frame()).assign(address=None).astype({"address": "str"})
    result = council_result(tmp_path, parcels=nameless, streets=None)
    assert write_brief(result, tmp_path) == []
    assert "No street with at least 10 homes has a figure." in text_of(tmp_path)


TEXTS = [
    *HOSTILE.values(),
    "#panic()",
    "$x^2$ $ *b* _i_",
    "\\ ~ @ref <label>",
    '"); evil("',
    "$\\frac$",
    "a" * 300,
]


@pytest.mark.parametrize("first", range(0, len(TEXTS), 5))
def test_hostile_text_is_set_as_text(first: int, tmp_path: Path) -> None:
    names = (TEXTS + TEXTS)[first : first + 5]
    result = council_result(tmp_path, town=names[0], streets=names, settings={"public.least_homes": 1})
    assert write_brief(result, tmp_path) == []
    seen = re.sub(r"\s", "", text_of(tmp_path))
    for name in names:
        told = " ".join(name.replace("\u2028", " ").split())
        assert re.sub(r"\s", "", told[:30]) in seen
    reader = pypdf.PdfReader(tmp_path / BRIEF_FILE)
    assert len(reader.pages) == 2
    raw = (tmp_path / BRIEF_FILE).read_bytes()
    assert b"/JavaScript" not in raw and b"/URI" not in raw and b"/Launch" not in raw


def test_the_longest_brief_still_fits_two_pages(tmp_path: Path) -> None:
    """Forty districts, the longest names, and many kinds of findings."""
    parcels = placed(parcels_frame())
    number = pd.to_numeric(parcels["parcel_id"].str.removeprefix("P"), errors="coerce")
    parcels["district"] = (number % 40).map(lambda one: f"District of the {'W' * 30} {one:.0f}")
    streets = [f"{name} of Saint Bartholomew the Less" for name in STREETS]
    parcels = parcels.assign(district=parcels["district"].astype("str"))
    for units in ("us", "metric"):
        folder = tmp_path / units
        result = council_result(
            folder,
            units=units,
            town="W" * 80,
            streets=streets,
            settings={"public.least_homes": 1},
            context=True,
        )
        parcels.to_parquet(folder / "parcels.parquet", index=False)
        findings = result.table("findings")
        many = pd.concat([findings.assign(check=f"some long kind of doubt {n}") for n in range(20)])
        many.assign(severity=["serious", "warning"] * 20).to_parquet(folder / "findings.parquet", index=False)
        assert write_brief(result, folder) == []
        text = pages(folder)
        assert len(text) == 2
        assert "All other districts" in text[1] and "and 12 more kinds" in text[1]


def test_nothing_private_stands_in_the_brief(sample_result: Result, tmp_path: Path) -> None:
    assert write_brief(sample_result, tmp_path) == []
    text = text_of(tmp_path)
    parcels = sample_result.table("parcels", ["parcel_id", "address"])
    # A rank before its street reads like an address: "1 Fennel Way".
    streets, _ = best_streets(sample_result)
    ranked = {f"{rank} {street}" for rank, street in enumerate(streets["street"].head(10), 1)}
    assert len(ranked) == 10
    assert {
        one for one in parcels["address"].dropna() if re.search(rf"(?<!\w){re.escape(one)}(?!\w)", text)
    } <= ranked
    assert not set(re.findall(r"[\w.]+", text)) & set(parcels["parcel_id"])
    reader = pypdf.PdfReader(tmp_path / BRIEF_FILE)
    assert len(reader.pages) == 2
    # The map is a picture: no outline of a parcel can be taken from it.
    assert len(reader.pages[0].images) >= 1
    assert len(reader.pages[0].get_contents().get_data()) < 300_000


def test_the_same_result_gives_the_same_bytes_in_any_order_of_rows(full: Result, tmp_path: Path) -> None:
    for name in ("parcels", "sides"):
        full.table(name).sample(frac=1, random_state=5).to_parquet(tmp_path / f"{name}.parquet", index=False)
    for name in ("run.json", "context.parquet", "findings.parquet"):
        (tmp_path / name).write_bytes((full.folder / name).read_bytes())
    code = (
        "import sys; from pathlib import Path; from harvest.result import Result; "
        "from harvest.show.brief import write_brief; "
        "write_brief(Result.at(Path(sys.argv[1])), Path(sys.argv[1]))"
    )
    environment = os.environ | {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "SOURCE_DATE_EPOCH": "1"}
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, env=environment, timeout=120)
    assert (tmp_path / BRIEF_FILE).read_bytes() == (full.folder / BRIEF_FILE).read_bytes()


@pytest.mark.parametrize(("package", "check"), [("typst", "no brief"), ("matplotlib", "no map in the brief")])
def test_a_package_that_is_not_installed_is_a_finding(
    package: str, check: str, full: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, package, None)
    found = write_brief(full, tmp_path)
    assert [(one.check, one.severity) for one in found] == [(check, "warning")]
    assert package in found[0].message and "pip install" in found[0].remedy
    assert (tmp_path / BRIEF_FILE).exists() == (package == "matplotlib")


def test_a_result_of_an_earlier_version_is_refused(full: Result, tmp_path: Path) -> None:
    old = Result(full.folder, full.run | {"settings": full.run["settings"][:3]})
    with pytest.raises(ResultError, match="run again"):
        write_brief(old, tmp_path)


def test_a_brief_is_small_enough_to_send(full: Result) -> None:
    assert (full.folder / BRIEF_FILE).stat().st_size < 1_000_000
