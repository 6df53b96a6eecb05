"""Whether learning from the log is any good: fit on the first half of a season, foretell the second."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.plan.learning import learned
from harvest.project.outreach import Learning

Floats = NDArray[np.float64]

BINS = 5


@dataclass(frozen=True)
class BackTest:
    """How the second half of a season was foretold.

    Scores are mean logarithms of the chance given to what happened (natural, 0 is best). ``bins`` has, from the lowest
    chance foretold to the highest, ``doors``, the mean ``foretold`` and the share that ``happened``.
    """

    learned_from: int
    foretold: int
    last_day: str
    score: float
    town_score: float
    bins: pd.DataFrame

    @property
    def gain(self) -> float:
        """How much better than the plain town mean, in the score of one door; below 0 is worse."""
        return self.score - self.town_score

    @property
    def worst_bin(self) -> float:
        """Largest distance between foretold and happened of a bin, in standard errors."""
        away = (self.bins["happened"] - self.bins["foretold"]).abs()
        return float(
            (away / np.sqrt(self.bins["foretold"] * (1 - self.bins["foretold"]) / self.bins["doors"])).max()
        )


def back_test(trials: pd.DataFrame, start: float, settings: Learning) -> BackTest | None:
    """The test on ``trials`` [n] (``day``, ``hit``, ``neighbourhood``, ``street``), cut at the day by which half of
    them had happened; None where one side of the cut is empty.

    Beside it stands the plain town mean: the share of hits in the first half, for every door alike.
    """
    days = trials["day"].sort_values().reset_index(drop=True)
    if days.empty:
        return None
    last = days[(len(days) - 1) // 2]
    before, after = trials[trials["day"] <= last], trials[trials["day"] > last]
    if after.empty:
        return None
    chance = learned(before, trials, start, settings).of(after).to_numpy()
    hit = after["hit"].to_numpy(dtype=bool)
    n = len(before)
    plain = float(np.clip(before["hit"].mean(), 1 / (n + 2), (n + 1) / (n + 2)))
    return BackTest(
        n,
        len(after),
        str(last.date()),
        log_score(chance, hit),
        log_score(np.full(len(hit), plain), hit),
        _bins(chance, hit),
    )


def log_score(chance: Floats, hit: NDArray[np.bool_]) -> float:
    """Mean logarithm of the chance [n; 1] that was given to what happened [n]."""
    return float(np.log(np.where(hit, chance, 1 - chance)).mean())


def _bins(chance: Floats, hit: NDArray[np.bool_]) -> pd.DataFrame:
    """Foretold and happened, in bins of about as many doors each; equal chances are never parted."""
    frame = pd.DataFrame({"foretold": chance, "happened": hit.astype(float)})
    frame["bin"] = pd.qcut(frame["foretold"].round(12), BINS, labels=False, duplicates="drop")
    frame["bin"] = frame["bin"].fillna(0)
    told = frame.groupby("bin").agg(
        doors=("happened", "size"), foretold=("foretold", "mean"), happened=("happened", "mean")
    )
    return told.reset_index(drop=True)
