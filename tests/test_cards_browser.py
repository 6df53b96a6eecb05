"""Door cards as a page in a browser, opened from disk with no network."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_pages import DESK, PHONE
from card_result import parcel, result_in
from playwright.sync_api import Browser, Page
from test_cards import HOSTILE

from harvest.show.card import LONGEST_ADDRESS, Deck, deck
from harvest.show.card_page import LEAST_SHARE, cards_html
from harvest.show.card_texts import one_line

TOWN = "{{ 7*7 }} <b>town</b> </title>"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Deck:
    """A card for each hostile address, and one with little to say."""
    rows = [parcel(number, f"H{number}", text) for number, text in enumerate(HOSTILE)]
    rows.append(parcel(len(rows), "last", None, suggested_barrels=0, yield_l_yr=0.0, garden_m2=0.0))
    days = "made up from monthly normals"
    result = result_in(tmp_path_factory.mktemp("page") / "town", rows, town_name=TOWN, days=days)
    return deck(result, [row["parcel_id"] for row in rows])


@pytest.fixture(scope="module")
def file(made: Deck, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "cards.html"
    path.write_text(cards_html(made), encoding="utf-8")
    return path


@pytest.fixture(params=[DESK, PHONE], ids=["desk", "phone"])
def page(browser: Browser, file: Path, request: pytest.FixtureRequest) -> Iterator[Page]:
    """The page, with nothing asked of a network and nothing said on the console."""
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height}, offline=True)
    opened, asked, said = context.new_page(), [], []
    opened.on("request", lambda one: asked.append(one.url))
    opened.on("console", lambda one: said.append(one.text))
    opened.on("pageerror", lambda one: said.append(str(one)))
    opened.goto(file.as_uri())
    yield opened
    assert (asked, said) == ([file.as_uri()], [])
    context.close()


def test_hostile_text_shows_as_text(page: Page, made: Deck) -> None:
    assert page.title() == one_line(f"Door cards for {TOWN}", 99)
    shown = page.locator("article h2").all_text_contents()
    assert shown[:-1] == [one_line(text, LONGEST_ADDRESS) for text in HOSTILE]
    assert page.evaluate("window.broken") is None
    assert page.locator("article").count() == len(made.cards)
    assert page.locator("script, img, b b").count() == 0


def test_the_page_says_what_the_facts_say(page: Page, made: Deck) -> None:
    for number, card in enumerate(made.cards, 1):
        said = page.locator(f"#card-{number}").text_content() or ""
        told = [card.address, card.parcel, *card.notes, *made.foot]
        told += [text for one in card.levels for text in (one.label, one.means, one.figure)]
        told += [text for pair in card.ranges for text in pair]
        told += [text for one in card.parts for text in (one.heading, one.figure, one.means, *one.lines)]
        told += [text for heading, items in made.lists for text in (heading, *items)]
        assert [text for text in told if text not in said] == []


def test_bars_stand_for_their_figures(page: Page, made: Deck) -> None:
    bars = page.locator("#card-1 .bar").evaluate_all(
        """all => all.map(one => one.querySelector(".part").getBoundingClientRect().width
            / one.querySelector(".whole").getBoundingClientRect().width)"""
    )
    wanted = [max(one.share, LEAST_SHARE) for one in made.cards[0].levels]
    assert bars == pytest.approx(wanted, rel=1e-2)
    assert page.locator(f"#card-{len(made.cards)} .bar .part").count() == 2


def test_nothing_is_cut_off_at_the_side(page: Page) -> None:
    wide, window = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= window


def test_axe_finds_nothing(page: Page) -> None:
    page.locator("summary").click()
    found = Axe().run(page)
    assert [(one["id"], one["nodes"][0]["html"]) for one in found.response["violations"]] == []


def test_the_list_leads_to_a_card_by_keyboard(page: Page) -> None:
    page.locator("summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("#card-2$"), timeout=20_000)
    assert page.url.endswith("#card-2")
    top = page.locator("#card-2").evaluate("one => one.getBoundingClientRect().top")
    assert abs(top) < 5


@pytest.mark.parametrize("units", ["us", "metric"])
def test_printed_one_card_a_sheet(browser: Browser, tmp_path: Path, units: str) -> None:
    rows = [parcel(number, f"H{number}", f"{number + 1} Alder Street") for number in range(3)]
    days = "made up from monthly normals"
    result = result_in(tmp_path / "town", rows, units=units, days=days)
    file = tmp_path / "cards.html"
    file.write_text(cards_html(deck(result, ["H0", "H1", "H2"])), encoding="utf-8")
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(file.as_uri())
    page.emulate_media(media="print")
    breaks = page.locator("article").evaluate_all("all => all.map(one => getComputedStyle(one).breakAfter)")
    assert breaks == ["page", "page", "auto"]
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    context.close()
    assert len(printed.pages) == 3
    width, height = (round(float(one)) for one in printed.pages[0].mediabox[2:])
    assert (width, height) == ((612, 792) if units == "us" else (595, 842))
    for number, sheet in enumerate(printed.pages, 1):
        text = re.sub(r"\s+", " ", sheet.extract_text())
        assert f"{number} Alder Street" in text and "For staff" not in text


def test_the_policy_allows_the_pages_style_and_nothing_else(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', text)
    assert policy is not None
    assert re.fullmatch(
        r"default-src 'none'; style-src 'sha256-[\w+/=]+'; base-uri 'none'; form-action 'none'", policy[1]
    )
    assert "<script" not in text and " style=" not in text
    assert not re.findall(r"(?:src|href)=\"(?!#)", text)
