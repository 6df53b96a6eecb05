"""Records of daily rain for tests: made days, written the ways that gauges are kept, and real ones from packages."""

from __future__ import annotations

import shutil
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from harvest.findings import Finding
from harvest.layers import DailyRain
from harvest.project.gauge import Gauge
from harvest.project.outputs import Limits
from harvest.read.gauge import read_gauge

REAL = ("champion", "brussels", "tunis", "hyderabad", "cordoba")
"""Climate files that aquacrop carries (licence file Apache-2.0; origin of the weather not stated)."""


def made_days(first: str = "2010-01-01", last: str = "2011-12-31") -> pd.Series:
    """Rain by date [mm], whole tenths: a third of the days wet, the same ones every time."""
    days = pd.date_range(first, last, freq="D")
    rng = np.random.default_rng(5)
    wet = rng.random(len(days)) < 0.35
    return pd.Series(np.where(wet, np.maximum(0.1, rng.gamma(0.7, 9.0, len(days)).round(1)), 0.0), days)


def lines_of(rain: pd.Series, date: str = "%Y-%m-%d", head: str = "date,rain_mm") -> list[str]:
    """``rain`` as lines of a CSV, names of columns first; NaN is an empty cell."""
    cells = ["" if np.isnan(depth) else f"{depth:.1f}" for depth in rain]
    return [head, *(f"{day},{cell}" for day, cell in zip(rain.index.strftime(date), cells, strict=True))]


def read_lines(folder: Path, lines: list[str], **settings: Any) -> DailyRain:
    """What the reader makes of a file of ``lines``."""
    (folder / "gauge.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_gauge(Gauge(file="gauge.csv", **settings), folder, Limits())


def changed(lines: list[str], change: dict[str, str]) -> list[str]:
    """``lines`` with the first cells named in ``change`` (dates) followed by another depth."""
    told = [f"{line.split(',')[0]},{change.get(line.split(',')[0], line.split(',')[1])}" for line in lines]
    assert sum(old != new for old, new in zip(lines, told, strict=True)) == len(change)
    return told


def by_check(found: tuple[Finding, ...] | list[Finding]) -> dict[str, Finding]:
    """Findings by the name of their check, each of which stands once."""
    named = {one.check: one for one in found}
    assert len(named) == len(found)
    return named


def real_record(folder: Path, name: str) -> Path:
    """A copy of a climate file of aquacrop, under a name that ends in .csv."""
    source = Path(str(distribution("aquacrop").locate_file(f"aquacrop/data/{name}_climate.txt")))
    return Path(shutil.copy(source, folder / f"{name}.csv"))


def real_rain(folder: Path, name: str) -> DailyRain:
    """A climate file of aquacrop, read; one of them does not say that its rain is in mm."""
    real_record(folder, name)
    unit: Any = "mm" if name == "hyderabad" else None
    return read_gauge(Gauge(file=f"{name}.csv", unit=unit), folder, Limits())
