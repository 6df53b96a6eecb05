"""What the programme has done by district and month, and which street sides rose or fell since, and why."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.fields.achieved import CHANGES, PROGRESS
from harvest.fields.barrels import MOST_BARRELS, yield_name
from harvest.plan.learning import JOINS
from harvest.plan.visit_status import installations

Floats = NDArray[np.float64]

NO_DISTRICT = "no district"
SAME = 1e-6
"""A worth that differs by less than this part of itself is the same."""

TOLD_FROM = 0.01
"""A cause that moves a worth by less than this part is not told."""


def progress(visits: pd.DataFrame, parcels: pd.DataFrame, barrel_l: float) -> pd.DataFrame:
    """One row for each district and month in which something happened, with the columns of the progress table.

    ``visits`` have ``line``, ``parcel_id``, ``day``, ``outcome``, ``barrels`` and ``volume_l``; ``parcels`` have
    ``parcel_id``, ``district`` (NA where none) and what 1 to 6 barrels yield there. A second installation adds what the
    further barrels yield. ``barrel_l`` [L] stands for a volume that the log leaves out.
    """
    ordered = in_districts(visits, parcels).assign(month=lambda rows: rows["day"].dt.strftime("%Y-%m"))
    at = ["district", "month"]
    done = installations(ordered, barrel_l)
    added = added_l_yr(done, parcels)
    done = done.assign(added_l_yr=added, unknown=added.isna())
    table = pd.DataFrame(
        {
            "visit_count": ordered.groupby(at).size(),
            "visited_count": ordered.drop_duplicates("parcel_id").groupby(at).size(),
            "joined_count": ordered[ordered["outcome"].isin(JOINS)]
            .drop_duplicates("parcel_id")
            .groupby(at)
            .size(),
            "installed_count": done.drop_duplicates("parcel_id").groupby(at).size(),
            "barrels": done.groupby(at)["barrels"].sum(),
            "volume_l": done.groupby(at)["volume_l"].sum(),
            "added_l_yr": done.groupby(at)["added_l_yr"].sum(),
            "unknown_count": done.groupby(at)["unknown"].sum(),
        }
    )
    table = table.fillna(0).sort_index().rename_axis(index=at).reset_index()
    whole = {one.name: "int64" for one in PROGRESS.fields if one.dtype == "integer"}
    return table.astype(
        {**whole, "volume_l": "float64", "added_l_yr": "float64", "district": "str", "month": "str"}
    )


def in_districts(visits: pd.DataFrame, parcels: pd.DataFrame) -> pd.DataFrame:
    """``visits`` in the order in which they happened, with the ``district`` of their parcel."""
    district = parcels.set_index("parcel_id")["district"].astype("str").fillna(NO_DISTRICT)
    ordered = visits.sort_values(["day", "line"], kind="stable")
    return ordered.assign(district=ordered["parcel_id"].map(district).fillna(NO_DISTRICT).astype("str"))


def added_l_yr(done: pd.DataFrame, parcels: pd.DataFrame) -> pd.Series:
    """Litres a year [n; L/yr] that each installation adds, NaN where its barrels or their yield is not known."""
    total = done.groupby("parcel_id")["barrels"].cumsum().astype("float64")
    here = done["barrels"].astype("float64")
    names = [yield_name(number) for number in range(1, MOST_BARRELS + 1)]
    yields = (
        parcels.set_index("parcel_id")[names]
        .reindex(done["parcel_id"])
        .to_numpy(dtype=float, na_value=np.nan)
    )
    steps = np.column_stack([np.where(np.isnan(yields[:, 0]), np.nan, 0.0), yields])
    rows = np.arange(len(done))

    def delivered(barrels: pd.Series) -> Floats:
        known = np.clip(np.nan_to_num(barrels.to_numpy(), nan=0), 0, MOST_BARRELS).astype(int)
        return np.asarray(np.where(barrels.isna(), np.nan, steps[rows, known]))

    return pd.Series(delivered(total) - delivered(total - here), index=done.index)


def changes(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """How each street side stands now beside the run before, with the columns of the table of changes.

    Both have ``side_id``, ``rank`` (1 is best, NA where none), ``worth_l_yr`` [L/yr], ``door_count``, ``yield_l_yr``
    [L/yr], ``chance`` (of an answer times of joining, over the side), ``visited_count`` and ``corrected_count``. A
    worth is doors × litres a door × chance × what else counts, so the causes of its change add up in logarithms, and
    the greatest in the direction of the change is the one named. Rows are in order of the new rank, then id.
    """
    names = ["rank", "worth_l_yr", "door_count", "yield_l_yr", "chance", "visited_count", "corrected_count"]
    ids = pd.Index(sorted({*before["side_id"], *after["side_id"]}), name="side_id")
    old = before.set_index("side_id")[names].reindex(ids).astype("Float64")
    new = after.set_index("side_id")[names].reindex(ids).astype("Float64")
    causes = _causes(old, new)
    worth_old, worth_new = _plain(old["worth_l_yr"]), _plain(new["worth_l_yr"])
    moved = np.abs(worth_new - worth_old) > SAME * np.maximum(np.abs(worth_old), np.abs(worth_new))
    rose = _plain(old["rank"]) - _plain(new["rank"])
    toward = causes.mul(np.nan_to_num(np.sign(worth_new - worth_old)), axis=0)
    shifted = np.nan_to_num(rose) != 0
    why = toward.idxmax(axis=1).where(moved, np.where(shifted, "others moved", "unchanged"))
    why = why.mask(~ids.isin(before["side_id"]), "new").mask(~ids.isin(after["side_id"]), "gone")
    table = pd.DataFrame(
        {
            "rank_before": old["rank"].astype("Int64"),
            "rank": new["rank"].astype("Int64"),
            "rose": (old["rank"] - new["rank"]).astype("Int64"),
            "worth_before_l_yr": worth_old,
            "worth_l_yr": worth_new,
            "why": why.astype("str"),
        }
    ).reset_index()
    told = [
        _told(why, causes.loc[one], old.loc[one], new.loc[one])
        for one, why in zip(ids, table["why"], strict=True)
    ]
    table["told"] = pd.array(told, dtype="str")
    ordered = table.sort_values(["rank", "side_id"], na_position="last", kind="stable", ignore_index=True)
    return ordered[list(CHANGES.names)]


def _plain(column: pd.Series) -> Floats:
    return np.asarray(column.to_numpy(dtype="float64", na_value=np.nan))


def _causes(old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """By how much each cause moved each worth [sides, causes; natural logarithm of a factor]."""

    def parts(sides: pd.DataFrame) -> tuple[Floats, ...]:
        worth, doors, litres, chance = (
            _plain(sides[name]) for name in ("worth_l_yr", "door_count", "yield_l_yr", "chance")
        )
        each = np.divide(litres, doors, out=np.zeros_like(litres), where=doors > 0)
        known = litres * chance
        rest = np.divide(worth, known, out=np.zeros_like(worth), where=known > 0)
        return tuple(np.log(np.maximum(part, 1e-12)) for part in (doors, each, chance, rest))

    with np.errstate(invalid="ignore"):
        doors, each, chance, rest = (
            np.nan_to_num(b - a) for a, b in zip(parts(old), parts(new), strict=True)
        )
    emptied = (_plain(new["door_count"]) == 0) | (_plain(old["door_count"]) == 0)
    each, chance, rest = (np.where(emptied, 0.0, part) for part in (each, chance, rest))
    visited = np.nan_to_num(_plain(new["visited_count"]) - _plain(old["visited_count"])) > 0
    corrected = np.nan_to_num(_plain(new["corrected_count"]) - _plain(old["corrected_count"])) > 0
    of_doors = np.select([visited, corrected], ["visited", "corrected"], "data changed")
    of_litres = np.select([corrected, visited], ["corrected", "visited"], "data changed")
    return pd.DataFrame(
        {
            "visited": np.where(of_doors == "visited", doors, 0) + np.where(of_litres == "visited", each, 0),
            "corrected": np.where(of_doors == "corrected", doors, 0)
            + np.where(of_litres == "corrected", each, 0),
            "learned chance": chance,
            "data changed": np.where(of_doors == "data changed", doors, 0)
            + np.where(of_litres == "data changed", each, 0)
            + rest,
        },
        index=old.index,
    )


def _told(why: str, causes: pd.Series, old: pd.Series, new: pd.Series) -> str:
    """The causes in words, the greatest first."""
    if why in ("new", "gone"):
        return "Not in the run before." if why == "new" else "Not in this run."
    if why in ("others moved", "unchanged"):
        return "Its own figures are as before."
    doors = f"{old['door_count']:,.0f} homes to visit before, {new['door_count']:,.0f} now"
    words = {
        "visited": f"visited since: {doors}",
        "corrected": f"corrected since: {doors}",
        "learned chance": f"the log moved the chance that a door joins from {old['chance']:.3f} to {new['chance']:.3f}",
        "data changed": f"data or settings changed: {doors}",
    }
    greatest = sorted(causes.index, key=lambda name: (name != why, -abs(causes[name])))
    parts = [words[name] for name in greatest if name == why or abs(causes[name]) >= TOLD_FROM]
    told = "; ".join(parts)
    return f"{told[0].upper()}{told[1:]}."
