"""Logs for tests: lines written to a file and read back, and seasons drawn with known chances."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from harvest.findings import Finding
from harvest.project.outputs import Limits
from harvest.project.outreach import Visits
from harvest.read.visits import VisitLog, read_visits

HEAD = "date,parcel,outcome,barrels,volume_gal,note"
TODAY = date(2025, 12, 1)


def read_log(folder: Path, lines: list[str], head: str = HEAD, **settings: Any) -> VisitLog:
    """What the reader makes of a log of ``lines``."""
    (folder / "log.csv").write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return read_visits(Visits(file="log.csv", **settings), folder, Limits(), TODAY)


def by_check(findings: tuple[Finding, ...] | list[Finding]) -> dict[str, Finding]:
    return {one.check: one for one in findings}


def visits_of(*rows: tuple[str, str, str] | tuple[str, str, str, int | None, float | None]) -> pd.DataFrame:
    """Visits (parcel, day, outcome, barrels, volume in litres), one line each, already matched."""
    full = [(*row, None, None)[:5] for row in rows]
    frame = pd.DataFrame(full, columns=["parcel_id", "day", "outcome", "barrels", "volume_l"])
    return frame.assign(
        line=np.arange(2, len(frame) + 2),
        day=pd.to_datetime(frame["day"]).astype("datetime64[s]"),
        barrels=frame["barrels"].astype("Int64"),
        volume_l=frame["volume_l"].astype("float64"),
    ).astype({"parcel_id": "str", "outcome": "str"})


def season(
    seed: int,
    *,
    town: float = 0.33,
    neighbourhood_doors: float = 30.0,
    street_doors: float = 15.0,
    neighbourhoods: int = 12,
    streets: int = 20,
) -> pd.DataFrame:
    """Trials with their ``truth``: every street's chance from a beta distribution around its neighbourhood's, that from
    one around the town's, of these strengths; no spread at all where a strength is infinite.
    """
    rng = np.random.default_rng(seed)

    def near(mean: float, strength: float) -> float:
        return mean if np.isinf(strength) else float(rng.beta(mean * strength, (1 - mean) * strength))

    rows = []
    for hood in range(neighbourhoods):
        of_hood = near(town, neighbourhood_doors)
        rows += [
            (f"n{hood}", f"s{hood}-{street}", near(of_hood, street_doors), int(rng.integers(5, 40)))
            for street in range(streets)
        ]
    table = pd.DataFrame(rows, columns=["neighbourhood", "street", "truth", "doors"])
    trials = table.loc[table.index.repeat(table["doors"])].drop(columns="doors").reset_index(drop=True)
    days = pd.Timestamp("2025-05-01") + pd.to_timedelta(rng.integers(0, 120, len(trials)), unit="D")
    return trials.assign(day=days, hit=rng.random(len(trials)) < trials["truth"])
