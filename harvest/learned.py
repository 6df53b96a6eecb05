"""What the log teaches about the chances at each door, whether that is any good, and its effect in words."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

import numpy as np
import pandas as pd

from harvest.estimate import Estimate
from harvest.findings import Finding, counted
from harvest.outreach import LOG, visits_of
from harvest.place.addresses import address_parts
from harvest.place.street_names import normal_name
from harvest.plan.back_test import BackTest, back_test
from harvest.plan.learning import Chances, answers, joins, learned
from harvest.project import Settings

LEAST_CHANCE = 1e-3
"""A chance that the project file sets to 1 (or nearly 0) is learned from as this much less (or more)."""


def learned_chances(found: Estimate, settings: Settings) -> Estimate:
    """``found`` with the chance of an answer and of joining at each parcel, learned from the log; as it is without one.

    A street is told by its name in its district; where no street layer says it, by the parcel's address.
    """
    visits = visits_of(found)
    if visits is None:
        return found
    places = _places(found.parcels)
    at = places.set_axis(found.parcels["parcel_id"].to_numpy())
    values, told, findings = {}, {}, []
    for name, what, trials, start in (
        ("answer_chance", "an answer", answers(visits), settings.rounds.answer),
        ("join_chance", "joining, given an answer", joins(visits), settings.rounds.join),
    ):
        start = float(np.clip(start, LEAST_CHANCE, 1 - LEAST_CHANCE))
        placed = trials.join(at, on="parcel_id")
        chances = learned(placed, places, start, settings.learning)
        tested = back_test(placed, start, settings.learning)
        values[name] = chances.of(places)
        told[name] = _learned_told(chances, start, tested)
        findings.append(_effect(what, chances, start, tested))
    return replace(
        found,
        parcels=found.parcels.assign(**values),
        findings=(*found.findings, *findings),
        told={**found.told, "learning": told},
    )


def _places(parcels: pd.DataFrame) -> pd.DataFrame:
    """``neighbourhood`` and ``street`` of each parcel, NA where unknown."""
    nothing = pd.Series(pd.NA, index=parcels.index, dtype="str")
    by_layer = normal_name(parcels["street"]) if "street" in parcels else nothing
    by_address = normal_name(address_parts(parcels["address"])["street"])
    return pd.DataFrame(
        {
            "neighbourhood": parcels.get("district", nothing),
            "street": by_layer.fillna(by_address),
        }
    )


def _learned_told(chances: Chances, start: float, tested: BackTest | None) -> dict[str, Any]:
    """What joins ``run.json`` of one chance."""
    seen = chances.streets[chances.streets["doors"] > 0]
    return {
        "start": start,
        "town": chances.town,
        "doors": chances.doors,
        "hits": int(chances.streets["hits"].sum()),
        "streets": len(seen),
        "lowest": float(chances.streets["chance"].min()),
        "highest": float(chances.streets["chance"].max()),
        "capped": int(chances.streets["capped"].sum()),
        "street_strength": chances.street_strength,
        "neighbourhood_strength": chances.neighbourhood_strength,
        "back_test": None if tested is None else _test_told(tested),
    }


def _test_told(tested: BackTest) -> dict[str, Any]:
    values = asdict(tested) | {"gain": tested.gain}
    return values | {"bins": tested.bins.to_dict("records")}


def _effect(what: str, chances: Chances, start: float, tested: BackTest | None) -> Finding:
    """What the log taught, in words."""
    low, high = chances.streets["chance"].min(), chances.streets["chance"].max()
    held = int(chances.streets["capped"].sum())
    limit = f"; {counted(held, 'street was', 'streets were')} held at the limit" if held else ""
    trial = "There is too little of it to test what was learned. "
    if tested is not None:
        better = "better" if tested.gain > 0 else "no better"
        trial = (
            f"Learned from the days until {tested.last_day} alone, it foretells the later {tested.foretold:,} doors "
            f"{better} than the plain town mean (mean log score {tested.score:.3f} against {tested.town_score:.3f}, "
            "0 is best). "
        )
    return Finding(
        "learned from the log",
        LOG,
        "note",
        chances.doors,
        f"The chance of {what} was taken as {start:.2f}; {chances.doors:,} doors of the log move it to "
        f"{chances.town:.2f} for the town, and by street from {low:.2f} to {high:.2f}{limit}. {trial}".strip(),
        "Homes visited so far are no fair sample of the town; most_pull in [learning] bounds how far streets part.",
    )
