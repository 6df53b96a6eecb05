"""What corrections do: parcels that became others, roofs without gutters, reasons not to go, cautions for who goes."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from harvest.fields.outreach import (
    AREA,
    BURIED_DOWNSPOUT,
    DOG,
    MERGED,
    NO_GUTTERS,
    NOTE,
    SPLIT,
    VACANT,
    WRONG_ROOF,
)
from harvest.findings import Account, Finding

REASONS = {
    WRONG_ROOF: "The mapped roof is not this home's; look at the place itself.",
    VACANT: "Nobody lives there, as seen on the street.",
}
"""Corrections that take a parcel off the lists, in the order in which their reasons are told."""

CAUTION_DOG = "Dog"
LAYER = "corrections"


def successors(
    rows: pd.DataFrame, parcel_ids: pd.Series
) -> tuple[dict[str, tuple[str, ...]], pd.DataFrame, Account]:
    """What parcels became that were split or merged; the rows that say nothing usable of it; and the account.

    ``rows`` have ``line``, ``parcel``, ``what`` and ``into``; only splits and mergers are looked at. A parcel that
    became one that became another is followed to what is in ``parcel_ids`` today. While the old parcel is still in
    the layer, nothing has become of it yet, and the row waits.
    """
    moves = rows[rows["what"].isin((SPLIT, MERGED))]
    there = set(parcel_ids)
    last = moves[~moves.duplicated("parcel", keep="last")]
    became = {str(old): tuple(new.split()) for old, new in zip(last["parcel"], last["into"], strict=True)}
    found: dict[str, tuple[str, ...]] = {}
    why: dict[str, str] = {}
    for old in became:
        if old in there:
            why[old] = "the old parcel is still in the parcel layer; this waits for a newer layer"
            continue
        ends, lacking = _followed(old, became, there)
        if lacking is None:
            found[old] = ends
        else:
            why[old] = lacking
    reason = moves["parcel"].map(why).astype("str").fillna("")
    reason = reason.mask(~moves.index.isin(last.index), "a later line says what became of the parcel")
    reason = reason.mask(moves["parcel"] == "", "a split or merger names the old parcel by its id")
    counts = reason[reason != ""].value_counts().sort_index()
    account = Account(
        "splits and mergers",
        len(moves),
        int((reason == "").sum()),
        dropped={str(k): int(v) for k, v in counts.items()},
    )
    return (
        {old: new for old, new in found.items() if old},
        moves[reason != ""].assign(reason=reason[reason != ""]),
        account,
    )


def _followed(
    old: str, became: Mapping[str, tuple[str, ...]], there: set[str]
) -> tuple[tuple[str, ...], str | None]:
    """The parcels of today that ``old`` became, or why that can't be said."""
    ends: list[str] = []
    ahead, seen = list(became[old]), {old}
    while ahead:
        one = ahead.pop(0)
        if one in there:
            ends.append(one)
        elif one in seen:
            return (), "the corrections go round in a circle"
        elif one in became:
            seen.add(one)
            ahead = [*became[one], *ahead]
        else:
            return (), f"the parcel layer has no parcel {one}"
    return tuple(dict.fromkeys(ends)), None


def effects(rows: pd.DataFrame, parcel_ids: pd.Series) -> pd.DataFrame:
    """What the corrections do to each of ``parcel_ids`` [n], on their index.

    ``rows`` have ``line``, ``day`` (NaT where none), ``parcel_id`` (matched), ``what`` and ``area_m2``. Returns
    ``correction_reason`` (text, NA unless the parcel is taken off the lists), ``no_gutters`` and ``no_downspouts``
    (boolean), ``area_m2`` (NaN unless corrected; of two, the later), ``door_caution`` (text, NA where there is none)
    and ``corrected`` (what was corrected, in the order of the register; NA where nothing was).
    """
    ordered = rows.sort_values(["day", "line"], na_position="first", kind="stable")
    said = {what: parcel_ids.isin(ordered["parcel_id"][ordered["what"] == what]) for what in (
        NO_GUTTERS, BURIED_DOWNSPOUT, WRONG_ROOF, VACANT, DOG, AREA, NOTE,
    )}  # fmt: skip
    nothing = pd.Series(pd.NA, index=parcel_ids.index, dtype="str")
    reason = nothing
    for what, text in REASONS.items():
        reason = reason.mask(reason.isna() & said[what], text)
    areas = ordered[ordered["what"] == AREA].groupby("parcel_id")["area_m2"].last()
    corrected = pd.Series("", index=parcel_ids.index, dtype="str")
    for what in (NO_GUTTERS, BURIED_DOWNSPOUT, WRONG_ROOF, VACANT, DOG, AREA):
        corrected = corrected + pd.Series("", index=parcel_ids.index, dtype="str").mask(
            said[what], f", {what}"
        )
    return pd.DataFrame(
        {
            "correction_reason": reason,
            "no_gutters": said[NO_GUTTERS],
            "no_downspouts": said[BURIED_DOWNSPOUT],
            "area_m2": parcel_ids.map(areas).astype("float64"),
            "door_caution": nothing.mask(said[DOG], CAUTION_DOG),
            "corrected": corrected.str.removeprefix(", ").mask(corrected == ""),
        }
    )


def check_corrections(unmatched: pd.DataFrame) -> list[Finding]:
    """A finding for each reason for which corrections were not applied; they stay in the file and in the table."""
    found = []
    for reason, rows in unmatched.groupby("reason", sort=True):
        found.append(
            Finding.of(
                "correction not applied",
                LAYER,
                "warning",
                [f"line {line}" for line in rows["line"]],
                f"Corrections not applied, {reason}: {len(rows)}.",
                "They are kept; correct these lines, or leave them until the parcel layer has the parcel.",
            )
        )
    return found
