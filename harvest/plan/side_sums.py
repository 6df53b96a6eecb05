"""What knocking is worth: at each parcel, and added up over the sides of streets."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.fields.barrels import MOST_BARRELS, yield_name
from harvest.fields.canvass import DONE, NO_DOORS, NOTHING_TO_WIN, TO_CANVASS
from harvest.fields.outreach import COME_BACK, OTHER_LANGUAGE, TO_VISIT, TRY_AGAIN
from harvest.fields.parcels import HOMES
from harvest.plan.canvass_time import conversations, door_minutes, pace
from harvest.project.rounds import Rounds

Floats = NDArray[np.float64]

WAITING = (TO_VISIT, TRY_AGAIN, COME_BACK, OTHER_LANGUAGE)
"""Where somebody still has to knock. Who joined waits for an installer, not for a canvasser."""

DIGITS_THAT_COUNT = 6
"""Worths are compared to this many significant digits, so that rounding noise never decides a rank."""


def with_worth(parcels: pd.DataFrame, rounds: Rounds, replaces_tap: float) -> pd.DataFrame:
    """``parcels`` [n] with what knocking there is worth and takes.

    Reads ``list``, ``door_count``, the yields of 1 to 6 barrels, ``suggested_barrels``, ``allowed_barrels``,
    ``visit_status``, ``answer_chance`` and ``join_chance``; where no chance was learned that of the project file
    counts. Adds ``may_visit`` and ``to_visit`` (bool; homes on the list, and those where somebody still has to
    knock), ``offer_barrels`` (Int64) and ``offer_l_yr`` [L/yr] (the barrels to offer and what they deliver),
    ``answer`` and ``join`` [1], ``door_chance`` [1] (that one door joins), ``minutes`` [min] of all its doors, and
    ``worth_l_yr`` [L/yr].

    worth = used × share that replaces tap water × chance that somebody there joins. With one door that chance is
    chance of an answer × chance of joining given an answer; with d doors 1 − (1 − that)^d, since the garden's litres
    are won once.
    """
    may_visit = parcels["list"].eq(HOMES).to_numpy(dtype=bool, na_value=False)
    status = parcels["visit_status"].fillna(TO_VISIT)
    offer = _offer(parcels)
    answer = parcels["answer_chance"].fillna(rounds.answer).to_numpy()
    join = parcels["join_chance"].fillna(rounds.join).to_numpy()
    doors = parcels["door_count"].fillna(0).to_numpy(dtype=np.float64)
    chance = conversations(1.0, answer, rounds) * join
    used = _used(parcels, offer)
    somebody = 1 - (1 - np.minimum(chance, 1.0)) ** doors
    to_visit = may_visit & status.isin(WAITING).to_numpy() & (doors > 0)
    return parcels.assign(
        may_visit=may_visit,
        to_visit=to_visit,
        offer_barrels=offer,
        offer_l_yr=used,
        answer=answer,
        join=join,
        door_chance=chance,
        minutes=doors * door_minutes(answer, rounds),
        worth_l_yr=np.where(to_visit, used * replaces_tap * somebody, np.nan),
    )


def _offer(parcels: pd.DataFrame) -> pd.Series:
    """Barrels to offer [n; Int64]: those suggested, or fewer where a limit leaves fewer."""
    suggested = parcels["suggested_barrels"].astype("Int64")
    allowed = parcels["allowed_barrels"].astype("Int64")
    return suggested.where(allowed.isna() | (allowed >= suggested), allowed)


def _used(parcels: pd.DataFrame, offer: pd.Series) -> Floats:
    """What the barrels to offer deliver [n; L/yr]; NaN where that is not known."""
    names = [yield_name(number) for number in range(1, MOST_BARRELS + 1)]
    yields = parcels[names].to_numpy(dtype=np.float64, na_value=np.nan)
    steps = np.column_stack([np.where(offer.isna(), np.nan, 0.0), yields])
    number = np.minimum(offer.fillna(0).to_numpy(dtype=np.intp), MOST_BARRELS)
    return np.asarray(steps[np.arange(len(steps)), number])


def side_sums(parcels: pd.DataFrame, length_m: pd.Series, rounds: Rounds) -> pd.DataFrame:
    """The sides of streets [s] in the order of their ids, with their sums; ``length_m`` [s; m] is indexed by side id.

    ``parcels`` come from :func:`with_worth`, with ``side_id`` (NA where none), ``district``, ``visit_count`` and
    ``corrected``.
    """
    length_m = length_m.sort_index()
    here = parcels[parcels["side_id"].notna()]
    side = here["side_id"]
    waiting = here["to_visit"]

    def added(values: pd.Series, where: pd.Series | None = None) -> pd.Series:
        counted = values if where is None else values.where(where, 0)
        return counted.astype("float64").fillna(0).groupby(side).sum().reindex(length_m.index, fill_value=0.0)

    doors = here["door_count"].astype("float64").fillna(0)
    visited = here["visit_count"].gt(0).fillna(False)
    to_visit = added(doors, waiting)
    minutes = added(here["minutes"], waiting) + length_m / pace(rounds).metres_a_min
    worth = added(here["worth_l_yr"])
    some = to_visit > 0
    table = pd.DataFrame(
        {
            "district": _most(side, here["district"], doors).reindex(length_m.index),
            "parcel_count": side.value_counts().reindex(length_m.index, fill_value=0),
            "door_count": added(doors, here["may_visit"]),
            "to_visit_count": to_visit,
            "visited_count": added(visited),
            "corrected_count": added(here["corrected"].notna()),
            "length_m": length_m,
            "canvass_min": minutes.where(some),
            "capturable_l_yr": added(here["capturable_l_yr"]),
            "yield_l_yr": added(here["yield_l_yr"]),
            "worth_l_yr": worth.where(some),
            "worth_door_l_yr": (worth / to_visit).where(some),
            "worth_l_min": (worth / minutes).where(some),
            "chance": (added(here["door_chance"] * doors, waiting) / to_visit).where(some),
        }
    )
    counts = {name: "int64" for name in table if name.endswith("_count")}
    return _ranked(table.astype(counts)).rename_axis("side_id").reset_index()


def street_sums(sides: pd.DataFrame) -> pd.DataFrame:
    """The sides of each street in each district added up; rows by street and district, what has no name last."""
    place = ["street", "district"]
    counts = ["parcel_count", "door_count", "to_visit_count", "visited_count"]
    amounts = ["length_m", "canvass_min", "capturable_l_yr", "yield_l_yr", "worth_l_yr"]
    by_street = pd.DataFrame(sides[[*place, *counts, *amounts]]).groupby(place, dropna=False, sort=True)
    table = by_street[[*counts, *amounts]].sum(min_count=1)
    table.insert(0, "side_count", by_street.size())
    table = table.reset_index().astype({"street": "str", "district": "str"})
    some = table["to_visit_count"] > 0
    table = table.assign(
        worth_door_l_yr=(table["worth_l_yr"] / table["to_visit_count"]).where(some),
        worth_l_min=(table["worth_l_yr"] / table["canvass_min"]).where(some),
    )
    return _ranked(table)


def _ranked(places: pd.DataFrame) -> pd.DataFrame:
    """``places`` (sides or streets) with ``status`` and ``rank``."""
    nobody, done = places["door_count"] == 0, places["to_visit_count"] == 0
    poor = ~places["worth_l_yr"].gt(0)
    status = np.select([nobody, done, poor], [NO_DOORS, DONE, NOTHING_TO_WIN], TO_CANVASS)
    told = places.assign(status=pd.array(status, dtype="str"))
    return told.assign(rank=_ranks(told))


def _most(side: pd.Series, names: pd.Series, doors: pd.Series) -> pd.Series:
    """For each side the name that most doors bear; of equal ones the first by name."""
    counted = pd.DataFrame({"side": side, "name": names, "doors": doors}).dropna(subset=["name"])
    sums = counted.groupby(["side", "name"])["doors"].sum().reset_index()
    ordered = sums.sort_values(["side", "doors", "name"], ascending=[True, False, True], kind="stable")
    return ordered.drop_duplicates("side").set_index("side")["name"].astype("str")


def _ranks(places: pd.DataFrame) -> pd.Series:
    """Place by worth a minute [s; Int64], equal ones in the order of rows; NA where nobody is to be canvassed."""
    worth = places["worth_l_min"].where(places["status"] == TO_CANVASS)
    compared = worth.map(lambda value: float(f"{value:.{DIGITS_THAT_COUNT - 1}e}"))
    order = np.argsort(-compared.fillna(-1).to_numpy(), kind="stable")
    rank = np.empty(len(places), dtype=np.int64)
    rank[order] = np.arange(1, len(places) + 1)
    return pd.Series(rank, index=places.index, dtype="Int64").mask(worth.isna())
