"""What the log teaches: the chance that a door is answered, and of joining given an answer, learned apart.

A street with few visits says little, so its share is drawn towards its neighbourhood's, and that towards the town's,
which starts from the project file: at each step

    chance = (s · m + k) / (s + n)

with k answers in n doors, the mean m of the larger place, and a strength s in doors: the mean of a beta distribution
after k of n (beta-binomial, empirical Bayes). How much streets differ, so how large s is, is read from the log itself.
Who was visited first is no fair sample, so a street's chance is held within a factor of the town's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import betaln
from scipy.stats import beta

from harvest.fields.outreach import COME_BACK, INSTALLED, JOINED, NOT_HOME, VERIFIED
from harvest.project.outreach import Learning

Floats = NDArray[np.float64]

NO_KNOCKS = (INSTALLED, VERIFIED)
"""Visits by appointment, which say nothing about who answers a knock."""

UNDECIDED = (NOT_HOME, COME_BACK)
JOINS = (JOINED, INSTALLED, VERIFIED)
LEVELS = ["neighbourhood", "street"]
ROUNDS = 12
"""Strengths and means are fitted in turns; they stand still long before this."""

STRENGTH_SPREAD = 1.0
"""How far a strength may be from the usual one before the log has to insist: a factor e either way."""


@dataclass(frozen=True)
class Chances:
    """One chance, learned. ``streets`` has a row for each ``neighbourhood`` and ``street``: ``doors`` and ``hits`` in
    the log, ``chance``, ``low`` and ``high`` (10th and 90th percentile) and ``capped``; ``neighbourhoods`` likewise.
    ``town`` is the town's own chance; the strengths are in doors.
    """

    streets: pd.DataFrame
    neighbourhoods: pd.DataFrame
    town: float
    doors: int
    street_strength: float
    neighbourhood_strength: float

    def of(self, places: pd.DataFrame) -> pd.Series:
        """The chance at each of ``places`` [n] (``neighbourhood`` and ``street``, NA where unknown)."""
        wanted = pd.MultiIndex.from_frame(_keys(places))
        at = pd.MultiIndex.from_frame(self.streets[LEVELS]).get_indexer(wanted)
        if (at < 0).any():
            raise ValueError(f"{int((at < 0).sum())} places were not given when the chances were learned")
        return pd.Series(self.streets["chance"].to_numpy()[at], index=places.index)


def answers(visits: pd.DataFrame) -> pd.DataFrame:
    """One row for each parcel that was knocked at: ``parcel_id``, ``day`` and ``hit``, whether the first knock was
    answered. Later knocks are at doors that did not open, so they are left out.
    """
    knocks = visits[~visits["outcome"].isin(NO_KNOCKS)].sort_values(["day", "line"], kind="stable")
    first = knocks.drop_duplicates("parcel_id")
    return first[["parcel_id", "day"]].assign(hit=first["outcome"] != NOT_HOME)


def joins(visits: pd.DataFrame) -> pd.DataFrame:
    """One row for each parcel that answered and came to a decision: ``parcel_id``, ``day`` and ``hit``, whether it
    joined. "Come back" decides nothing; an ineligible home did not join.
    """
    decided = visits[~visits["outcome"].isin(UNDECIDED)].sort_values(["day", "line"], kind="stable")
    first = decided.drop_duplicates("parcel_id")
    return first[["parcel_id", "day"]].assign(hit=first["outcome"].isin(JOINS))


def learned(trials: pd.DataFrame, places: pd.DataFrame, start: float, settings: Learning) -> Chances:
    """The chance at every street of ``places``, from ``trials`` and the chance ``start`` of the project file.

    ``trials`` [n] have ``hit`` and, as ``places`` [m], ``neighbourhood`` and ``street`` (text, NA where unknown).
    Raises ``ValueError`` where ``start`` is not between 0 and 1.
    """
    if not 0 < start < 1:
        raise ValueError(f"a chance lies between 0 and 1, not at {start:g}")
    streets = _counted(trials, places)
    n, k = streets["doors"].to_numpy(dtype=float), streets["hits"].to_numpy(dtype=float)
    inside, names = pd.factorize(streets["neighbourhood"])
    town, town_doors = start, settings.town_doors
    of_street = of_neighbourhood = settings.usual_doors
    for _ in range(ROUNDS):
        worth = _effective(n, of_street)
        many, hits = _added(worth, inside, len(names)), _added(worth * _share(k, n), inside, len(names))
        weight = _effective(many, of_neighbourhood)
        town_doors = settings.town_doors + weight.sum()
        town = (settings.town_doors * start + (weight * _share(hits, many)).sum()) / town_doors
        near = shrunk(hits, many, town, of_neighbourhood)
        of_neighbourhood = fitted_strength(hits, many, town, settings)
        of_street = fitted_strength(k, n, near[inside], settings)
    near = shrunk(hits, many, town, of_neighbourhood)
    town_spread = town * (1 - town) / (town_doors + 1)
    near_spread = _variance(near, many, of_neighbourhood, town_spread)
    chance = shrunk(k, n, near[inside], of_street)
    spread = _variance(chance, n, of_street, near_spread[inside])
    hoods = pd.DataFrame({"neighbourhood": names})
    hoods["doors"] = _added(n, inside, len(names)).astype("int64")
    hoods["hits"] = _added(k, inside, len(names)).astype("int64")
    return Chances(
        _capped(streets, chance, spread, town, settings),
        _capped(hoods, near, near_spread, town, settings),
        float(town),
        len(trials),
        of_street,
        of_neighbourhood,
    )


def shrunk(hits: Floats, doors: Floats, mean: Floats | float, strength: float) -> Floats:
    """The mean of the beta distribution [n; 1] with ``mean`` and ``strength`` [doors], after ``hits`` of ``doors``."""
    return np.asarray((strength * mean + hits) / (strength + doors))


def fitted_strength(hits: Floats, doors: Floats, mean: Floats | float, settings: Learning) -> float:
    """The strength [doors] under which ``hits`` of ``doors`` [n] are likeliest, within the bounds of ``settings``.

    The likelihood is the beta-binomial's with parameters mean · s and (1 - mean) · s, without the binomial coefficient,
    which does not hang on s; a wide bell around the usual strength, in its logarithm, stands for what is known before.
    """
    mean = np.broadcast_to(np.asarray(mean, dtype=float), doors.shape)

    def unlikely(log_strength: float) -> float:
        a, b = mean * np.exp(log_strength), (1 - mean) * np.exp(log_strength)
        likely = (betaln(a + hits, b + doors - hits) - betaln(a, b)).sum()
        off = (log_strength - np.log(settings.usual_doors)) / STRENGTH_SPREAD
        return float(off**2 / 2 - likely)

    ends = np.log([settings.least_doors, settings.most_doors])
    if ends[0] == ends[1]:
        return settings.least_doors
    found = minimize_scalar(unlikely, bounds=tuple(ends), method="bounded", options={"xatol": 1e-4})
    best = min((float(found.x), *map(float, ends)), key=unlikely)
    return float(np.exp(best))


def _effective(doors: Floats, strength: float) -> Floats:
    """Doors [n] in the worth of independent ones: those of one street are alike by 1 / (strength + 1)."""
    return np.asarray(doors * (strength + 1) / (strength + np.maximum(doors, 1)))


def _added(values: Floats, into: NDArray[np.int64], count: int) -> Floats:
    """``values`` [n] added up by the place [0 to count) that each belongs to."""
    return np.asarray(np.bincount(into, values, count), dtype=np.float64)


def _share(hits: Floats, doors: Floats) -> Floats:
    return np.divide(hits, doors, out=np.zeros_like(hits), where=doors > 0)


def _variance(chance: Floats, doors: Floats, strength: float, of_mean: Floats | float) -> Floats:
    """Variance [n] of a chance: the beta distribution's own, and the larger place's mean as far as it still counts."""
    still = strength / (strength + doors)
    return np.asarray(chance * (1 - chance) / (strength + doors + 1) + still**2 * of_mean)


def _capped(
    places: pd.DataFrame, chance: Floats, variance: Floats, town: float, settings: Learning
) -> pd.DataFrame:
    """``places`` with ``chance`` within the allowed factor of the town's, its 10th and 90th percentile, ``capped``."""
    held = np.clip(chance, town / settings.most_pull, min(1.0, town * settings.most_pull))
    strength = np.maximum(chance * (1 - chance) / variance - 1, 1e-6)
    low, high = (beta.ppf(share, chance * strength, (1 - chance) * strength) for share in (0.1, 0.9))
    return places.assign(
        chance=held, low=np.minimum(low, held), high=np.maximum(high, held), capped=~np.isclose(held, chance)
    )


def _keys(places: pd.DataFrame) -> pd.DataFrame:
    """Neighbourhood and street as texts, "" where unknown."""
    return places[LEVELS].astype("str").fillna("")


def _counted(trials: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    """Every street of ``places`` and ``trials``, in order, with its ``doors`` and ``hits``."""
    keys = _keys(trials).assign(hit=trials["hit"].to_numpy(dtype=bool))
    counts = keys.groupby(LEVELS)["hit"].agg(["size", "sum"]).rename(columns={"size": "doors", "sum": "hits"})
    every = pd.MultiIndex.from_frame(
        pd.concat([_keys(places), keys[LEVELS]]).drop_duplicates().sort_values(LEVELS)
    )
    return counts.reindex(every, fill_value=0).astype("int64").reset_index()
