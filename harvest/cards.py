"""``harvest cards``: cards to leave at doors, for chosen parcels in street order, as PDF or HTML."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

import pandas as pd

from harvest.chosen import near_names, row_of
from harvest.errors import InputError, OutputError, ResultError
from harvest.fields.parcels import EXCLUDED, HOMES
from harvest.place.addresses import address_parts
from harvest.place.street_names import normal_name
from harvest.project import Project
from harvest.result import Result
from harvest.show.card import Deck, deck
from harvest.show.card_page import cards_html
from harvest.show.typeset import typeset
from harvest.show.words.cards import CARD_MARK
from harvest.street_order import street_order

TEMPLATE = "card.typ"
PDF, HTML = ".pdf", ".html"
BYTES_A_PAGE = 1.5e6
"""Memory that typesetting takes for each page, measured and rounded up [B]."""

CHOOSING = ["parcel_id", "address", "street", "list", "rank", "status", "reason"]


def cards(
    project: Project,
    parcels: Sequence[str] = (),
    *,
    best: int | None = None,
    street: str | None = None,
    target: Path,
    out: Path | None = None,
) -> list[str]:
    """Write cards from the last result of ``project`` to ``target`` (.pdf or .html); lines that say so come back.

    Either ``parcels`` (ids or whole addresses), or the ``best`` homes by rank, or all ranked homes of a
    ``street``, or the best of a street. Raises :class:`InputError` for no choice or too many cards for one PDF,
    :class:`ResultError` when there is no result or no such parcel or street, and :class:`OutputError` when
    ``target`` can't be written or holds something else.
    """
    _check_choice(parcels, best, street)
    check_target(target)
    result = Result.at(project.out_folder(out))
    table = result.table("parcels", CHOOSING)
    chosen = _named(table, parcels, result) if parcels else _ranked(table, best, street, result)
    _check_memory(len(chosen), target, project)
    ordered = chosen.loc[street_order(chosen)]
    made = deck(result, ordered["parcel_id"].tolist())
    _write(target, _file(made, target))
    names = ordered["address"].fillna("parcel " + ordered["parcel_id"])
    if len(names) == 1:
        return [f"1 card, for {names.iloc[0]}, in {target}."]
    return [f"{len(names):,} cards in street order, from {names.iloc[0]} to {names.iloc[-1]}, in {target}."]


def _check_choice(parcels: Sequence[str], best: int | None, street: str | None) -> None:
    if bool(parcels) == (best is not None or street is not None):
        raise InputError("Say whose cards: name parcels, or give --best or --street, not both.")
    if best is not None and best < 1:
        raise InputError(f"--best {best} asks for no card; give 1 or more.")


def _check_memory(count: int, target: Path, project: Project) -> None:
    allowed = project.settings.limits.memory_gb
    most = int(allowed * 1e9 / BYTES_A_PAGE)
    if target.suffix.lower() == PDF and count > most:
        raise InputError(
            f"{count:,} cards in one PDF would need more memory than [limits] memory_gb = {allowed:g} allows, "
            f"which is {most:,} cards; write them by --street, or as {HTML}."
        )


def check_target(target: Path) -> None:
    """Raises :class:`OutputError` unless ``target`` is a new .pdf or .html, or a file of cards to be replaced."""
    if target.suffix.lower() not in (PDF, HTML):
        raise OutputError(f"{target} ends neither in {PDF} nor in {HTML}; the ending says what to write.")
    if target.is_dir():
        raise OutputError(f"{target} is a folder; give the name of a file.")
    if not target.parent.is_dir():
        raise OutputError(f"The folder {target.parent} does not exist; make it, or choose another with --to.")
    try:
        foreign = target.exists() and CARD_MARK.encode() not in target.read_bytes()
    except OSError as error:
        raise OutputError(
            f"{target} can't be read ({error.strerror}); choose another name with --to."
        ) from None
    if foreign:
        raise OutputError(
            f"{target} is there and holds no cards of ours, so it is not replaced; choose another name with --to."
        )


def _named(table: pd.DataFrame, wanted: Sequence[str], result: Result) -> pd.DataFrame:
    found = table.loc[list(dict.fromkeys(row_of(table, one, result) for one in wanted))]
    left_out = found[found["status"].eq(EXCLUDED)]
    if len(left_out):
        names = "; ".join(
            f"{name} ({reason})" if pd.notna(reason) else name
            for name, reason in zip(left_out["parcel_id"], left_out["reason"], strict=True)
        )
        raise ResultError(
            f"No card is made for an excluded parcel: {names}. Leave it out, or change [[exclude]] and run again."
        )
    return found


def _ranked(table: pd.DataFrame, best: int | None, street: str | None, result: Result) -> pd.DataFrame:
    homes = table[table["list"].eq(HOMES).fillna(False) & table["rank"].notna()].sort_values("rank")
    if street is not None:
        streets = address_parts(homes["address"])["street"].fillna(homes["street"])
        wanted = normal_name(pd.Series([street], dtype="str")).iloc[0]
        on_street = homes[normal_name(streets).eq(wanted).fillna(False)]
        if on_street.empty:
            near = near_names(street, sorted(set(streets.dropna())))
            hint = f"near it: {', '.join(near)}" if near else "see the address column of the parcels table"
            raise ResultError(f"No ranked home on a street {street!r} in {result.folder}; {hint}.")
        homes = on_street
    if homes.empty:
        raise ResultError(
            f"No home is ranked in {result.folder}; see the status column of the parcels table."
        )
    return homes if best is None else homes.head(best)


def _file(made: Deck, target: Path) -> bytes:
    if target.suffix.lower() == PDF:
        return typeset(TEMPLATE, asdict(made))
    return cards_html(made).encode()


def _write(target: Path, content: bytes) -> None:
    """``content`` in ``target``, whole or not at all: what stood there stays until all of it is on the disk."""
    unfinished = target.with_name(f".{target.name}.unfinished-{os.getpid()}")
    try:
        unfinished.write_bytes(content)
        unfinished.replace(target)
    except OSError as error:
        raise OutputError(
            f"{target} can't be written ({error.strerror}); choose another with --to."
        ) from None
    finally:
        unfinished.unlink(missing_ok=True)
