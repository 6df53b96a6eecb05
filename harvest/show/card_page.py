"""Door cards as one HTML page that opens from disk: no script, no request, one card a sheet when printed."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from harvest.show.card import Card, Deck
from harvest.show.card_drawing import Drawing, Ring
from harvest.show.card_texts import Level, Part
from harvest.show.sources import check_inline, source_hash, source_text
from harvest.show.words.cards import told

LEAST_SHARE = 0.006
"""A bar that stands for anything at all is at least this share of its width."""

LONG_ADDRESS = 36
"""An address of more characters is set smaller."""

ARROW = "M4 0 8 12 4 9 0 12Z"


def cards_html(deck: Deck) -> str:
    """The whole page of ``deck`` as text. Everything that came from outside is escaped."""
    style = source_text("page", "card.css")
    check_inline(style, "style")
    policy = f"default-src 'none'; style-src {source_hash(style)}; base-uri 'none'; form-action 'none'"
    cards = (line for number, card in enumerate(deck.cards, 1) for line in _card(deck, card, number))
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f'<meta name="generator" content="{escape(deck.mark)}">',
            f"<title>{escape(deck.title)}</title>",
            f"<style>{style}</style>",
            "</head>",
            f'<body data-paper="{deck.paper}">',
            *_staff(deck),
            "<main>",
            *cards,
            "</main>",
            "</body>",
            "</html>",
            "",
        ]
    )


def _staff(deck: Deck) -> Iterator[str]:
    count = len(deck.cards)
    yield '<header class="staff">'
    yield f"<h1>{escape(deck.title)}</h1>"
    number = told("staff_one") if count == 1 else told("staff_many", count=f"{count:,}")
    yield f"<p>{number} {told('staff_note')}</p>"
    if count > 1:
        yield f"<details><summary>{told('staff_list')}</summary><ol>"
        for number_of, card in enumerate(deck.cards, 1):
            yield f'<li><a href="#card-{number_of}">{escape(card.address)}</a></li>'
        yield "</ol></details>"
    yield "</header>"


def _card(deck: Deck, card: Card, number: int) -> Iterator[str]:
    yield f'<article class="card" id="card-{number}" aria-labelledby="address-{number}">'
    yield f'<div class="head"><p>{escape(deck.over)}</p><p>{escape(card.parcel)}</p>'
    size = ' class="long"' if len(card.address) > LONG_ADDRESS else ""
    yield f'<h2 id="address-{number}"{size}>{escape(card.address)}</h2></div>'
    if card.notes:
        yield '<div class="note">'
        yield from (f"<p>{escape(note)}</p>" for note in card.notes)
        yield "</div>"
    yield '<div class="top">'
    yield from _figure(deck, card.drawing)
    yield f"<section><h3>{escape(deck.words['levels_heading'])}</h3>"
    for level in card.levels:
        yield from _level(level)
    if card.ranges:
        yield '<div class="ranges">'
        yield from (f"<p><b>{escape(label)}</b> {escape(says)}</p>" for label, says in card.ranges)
        yield "</div>"
    yield '</section></div><div class="three">'
    for part in card.parts:
        yield from _part(part)
    yield '</div><div class="three lists">'
    for at, (heading, items) in enumerate(deck.lists):
        kind = "ticks" if at == 0 else "dots"
        yield f'<section><h3>{escape(heading)}</h3><ul class="{kind}">'
        yield from (f"<li>{escape(item)}</li>" for item in items)
        yield "</ul></section>"
    yield '</div><div class="foot">'
    yield from (f"<p>{escape(line)}</p>" for line in deck.foot)
    yield "</div></article>"


def _figure(deck: Deck, drawn: Drawing | None) -> Iterator[str]:
    yield "<figure>"
    if drawn is None:
        yield f'<p class="no-outline">{escape(deck.words["drawing_none"])}</p></figure>'
        return
    width, height = drawn.width, drawn.height
    label = escape(deck.words["drawing"])
    yield f'<svg class="outline" role="img" aria-label="{label}" viewBox="0 0 {width:g} {height:g}">'
    yield _path("ground", drawn.parcel)
    yield from (_path("roof barrel" if roof.barrel else "roof", roof.rings) for roof in drawn.roofs)
    foot = height - 6
    yield f'<path class="measure" d="M7 {foot - 4:g}V{foot:g}H{7 + drawn.bar:g}V{foot - 4:g}"/>'
    yield f'<text x="{11 + drawn.bar:g}" y="{foot:g}">{escape(drawn.bar_text)}</text>'
    yield f'<text class="north" x="{width - 25:g}" y="{foot:g}">{escape(deck.words["north"])}</text>'
    yield f'<path class="arrow" transform="translate({width - 15:g} {foot - 11:g})" d="{ARROW}"/>'
    yield "</svg><figcaption>"
    for barrel, name in ((True, "mark_barrel"), (False, "mark_other")):
        if any(roof.barrel is barrel for roof in drawn.roofs):
            kind = "roof barrel" if barrel else "roof"
            square = f'<rect class="{kind}" x=".5" y=".5" width="9" height="9"/>'
            swatch = f'<svg class="swatch" viewBox="0 0 10 10" aria-hidden="true">{square}</svg>'
            yield f"<span>{swatch}{escape(deck.words[name])}</span>"
    yield "</figcaption></figure>"


def _path(kind: str, rings: list[Ring]) -> str:
    steps = ("M" + "L".join(f"{x:g} {y:g}" for x, y in ring) + "Z" for ring in rings)
    return f'<path class="{kind}" fill-rule="evenodd" d="{"".join(steps)}"/>'


def _level(level: Level) -> Iterator[str]:
    yield f'<div class="level"><p><b>{escape(level.label)}</b> {escape(level.means)}</p>'
    yield f'<p class="figure">{escape(level.figure)}</p>'
    yield '<svg class="bar" viewBox="0 0 1000 20" preserveAspectRatio="none" aria-hidden="true">'
    yield '<rect class="whole" width="1000" height="20"/>'
    if level.share > 0:
        yield f'<rect class="part" width="{1000 * max(level.share, LEAST_SHARE):g}" height="20"/>'
    yield "</svg></div>"


def _part(part: Part) -> Iterator[str]:
    yield f"<section><h3>{escape(part.heading)}</h3>"
    yield f'<p class="figure">{escape(part.figure)}</p>'
    if part.means:
        yield f'<p class="means">{escape(part.means)}</p>'
    yield from (f"<p>{escape(line)}</p>" for line in part.lines)
    yield "</section>"
