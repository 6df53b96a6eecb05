"""The table for letters that go out before anybody knocks: one row a home, street by street in the order of the rounds.

It holds addresses and figures, never a name: letters begin with the place. Texts come rounded and with their unit, so
that a mail merge can set them as they are.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pandas as pd

from harvest.fields import PARCELS, SIDES, STOPS
from harvest.fields.barrels import MOST_BARRELS, yield_name
from harvest.fields.outreach import COME_BACK, OTHER_LANGUAGE, TO_VISIT, TRY_AGAIN
from harvest.fields.parcels import EXCLUDED, HOMES
from harvest.findings import Finding
from harvest.result import Result
from harvest.show.limits import neutral
from harvest.show.tables import BYTE_ORDER_MARK, writing
from harvest.show.walk_texts import WalkTexts
from harvest.show.words.cards import day_told
from harvest.show.words.walk import told

LETTERS = "letters.csv"
COLUMNS = (
    *("address", "street", "district", "round", "rain_of_one_storm", "one_storm", "suggested_barrels"),
    *("barrels_would_deliver", "season_first_day", "season_last_day", "town"),
)
WAITING = (TO_VISIT, TRY_AGAIN, COME_BACK, OTHER_LANGUAGE)
"""Homes where somebody is still to be met."""

NEEDED = (
    *("parcel_id", "address", "street", "district", "side_id", "door_count", "storm_l", "suggested_barrels"),
    *("allowed_barrels", "eligible", "visit_status", "list", "status"),
    *(yield_name(count) for count in range(1, MOST_BARRELS + 1)),
)
LAST = 1 << 60
"""Stands for a rank that is not there."""


def write_letters(result: Result, folder: Path) -> list[Finding]:
    """Write the table for letters of ``result`` into ``folder`` where streets are known.

    A finding counts homes that would get a letter but have no address. Raises :class:`OutputError` when the file
    can't be written.
    """
    if not result.has(SIDES.name):
        return []
    homes = _homes(result)
    nowhere = homes["address"].fillna("").str.strip() == ""
    table = letters(result, homes[~nowhere])
    safe = table.assign(**{name: neutral(table[name]) for name in COLUMNS if name != "suggested_barrels"})
    with writing(folder / LETTERS), (folder / LETTERS).open("w", encoding="utf-8", newline="") as file:
        file.write(BYTE_ORDER_MARK)
        safe.to_csv(file, index=False, lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL)
    if not nowhere.any():
        return []
    return [
        Finding.of(
            "no address for a letter",
            PARCELS.name,
            "note",
            homes.loc[nowhere, "parcel_id"],
            f"Homes that may be visited but have no address are left out of {LETTERS}.",
            "Complete the addresses in the parcel layer; canvassers find these homes by the map.",
        )
    ]


def _homes(result: Result) -> pd.DataFrame:
    """Homes that may be visited, and where somebody is still to be met."""
    parcels = pd.DataFrame(result.table(PARCELS.name, list(NEEDED)))
    barred = parcels["status"].eq(EXCLUDED) | parcels["eligible"].eq(False).fillna(False).astype(bool)
    waiting = parcels["visit_status"].isna() | parcels["visit_status"].isin(WAITING)
    kept = parcels["list"].eq(HOMES) & ~barred & waiting & parcels["door_count"].fillna(0).gt(0)
    return parcels[kept.fillna(False).astype(bool)].reset_index(drop=True)


def letters(result: Result, homes: pd.DataFrame) -> pd.DataFrame:
    """``homes`` (rows of the parcels table with an address) as rows of :data:`COLUMNS`, in the order of mailing."""
    ordered = _in_order(homes, result)
    run = result.run
    texts = WalkTexts(run, {one["setting"]: one["value"] for one in run["settings"]})
    barrels = ordered["allowed_barrels"].fillna(ordered["suggested_barrels"])
    used = pd.Series(float("nan"), index=ordered.index)
    for count in range(1, MOST_BARRELS + 1):
        used = used.mask(barrels.eq(count).fillna(False).astype(bool), ordered[yield_name(count)])
    return pd.DataFrame(
        {
            "address": ordered["address"],
            "street": ordered["street"],
            "district": ordered["district"],
            "round": ordered["round"].astype("Int64").astype("string"),
            "rain_of_one_storm": texts.depth().replace("\u00a0", " "),
            "one_storm": _figures(ordered["storm_l"], "one", texts),
            "suggested_barrels": barrels.astype("Int64"),
            "barrels_would_deliver": _figures(used, "year", texts),
            "season_first_day": day_told(texts.settings["season.first"], texts.units),
            "season_last_day": day_told(texts.settings["season.last"], texts.units),
            "town": str(run["town"]),
        },
        columns=list(COLUMNS),
        index=ordered.index,
    ).astype({name: "string" for name in COLUMNS if name != "suggested_barrels"})


def _figures(values: pd.Series, kind: str, texts: WalkTexts) -> list[str | None]:
    told_of = [None if pd.isna(one) else texts.figure(one, "L").replace("\u00a0", " ") for one in values]
    if kind == "one":
        return told_of
    return [None if one is None else told("letter_year", figure=one) for one in told_of]


def _in_order(homes: pd.DataFrame, result: Result) -> pd.DataFrame:
    """``homes`` by street: those that rounds come to in the order of the rounds, then the others by rank.

    Within a street come the doors of the rounds as they are walked, then the others by house number. A street
    without a name is told from others by its sides; homes on no street come last.
    """
    places = {}
    if result.has(STOPS.name):
        stops = pd.DataFrame(result.table(STOPS.name, ["round", "stop", "parcel_id"])).sort_values(
            ["round", "stop"]
        )
        places = dict(zip(stops["parcel_id"], zip(stops["round"], stops["stop"], strict=True), strict=True))
    sides = pd.DataFrame(result.table(SIDES.name, ["side_id", "rank"])).set_index("side_id")["rank"]
    place = [places.get(one, (LAST, LAST)) for one in homes["parcel_id"]]
    street = homes["street"].fillna(homes["side_id"]).fillna("")
    rank = homes["side_id"].map(sides).astype("Int64").fillna(LAST)
    first: dict[str, tuple[int, int]] = {}
    for name, at in zip(street, place, strict=True):
        first[name] = min(first.get(name, at), at)
    best = rank.groupby(street).min()
    keys = [
        (first[name], int(best[name]), name, at, _natural(address), parcel)
        for name, at, address, parcel in zip(street, place, homes["address"], homes["parcel_id"], strict=True)
    ]
    order = sorted(range(len(homes)), key=keys.__getitem__)
    rounds = pd.Series([None if at[0] == LAST else at[0] for at in place], index=homes.index, dtype="Int64")
    return homes.assign(round=rounds).iloc[order].reset_index(drop=True)


def _natural(address: str) -> tuple[tuple[int, str], ...]:
    """A key by which "9 Oak Street" stands before "10 Oak Street"."""
    parts = re.findall(r"\d+|\D+", address.casefold())
    return tuple((int(one), "") if one.isdecimal() else (-1, one) for one in parts)
