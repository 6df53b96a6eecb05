"""What the programme has done so far, by district and month and by year, and what moved since the run before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from harvest import __version__
from harvest.errors import ResultError
from harvest.estimate import Estimate
from harvest.fields import ANNUAL, PROGRESS, SIDES
from harvest.outreach import visits_of
from harvest.plan.annual_report import annual_report
from harvest.plan.progress import changes, progress
from harvest.project import Settings
from harvest.result import Result


def reported(found: Estimate, settings: Settings) -> Estimate:
    """``found`` with the tables of progress and of the annual report, where there is a log."""
    table, annual = progress_table(found, settings), annual_table(found, settings)
    if table is None or annual is None:
        return found
    return replace(found, more={**found.more, PROGRESS.name: table, ANNUAL.name: annual})


def progress_table(found: Estimate, settings: Settings) -> pd.DataFrame | None:
    """What was done so far by district and month; None without a log."""
    visits = visits_of(found)
    if visits is None:
        return None
    return progress(visits, _with_district(found.parcels), settings.barrel.volume_l)


def annual_table(found: Estimate, settings: Settings) -> pd.DataFrame | None:
    """What a permit's annual report asks for by district and year; None without a log."""
    visits = visits_of(found)
    if visits is None:
        return None
    return annual_report(
        visits,
        _with_district(found.parcels),
        settings.barrel.volume_l,
        settings.downspouts.inequality,
    )


def _with_district(parcels: pd.DataFrame) -> pd.DataFrame:
    if "district" in parcels:
        return parcels
    return parcels.assign(district=pd.Series(pd.NA, index=parcels.index, dtype="str"))


def last_result(folder: Path) -> Result | None:
    """The result that stands in ``folder`` before a run replaces it; None where there is none."""
    try:
        return Result.at(folder)
    except ResultError:
        return None


def changed(previous: Result | None, sides: pd.DataFrame | None) -> pd.DataFrame | None:
    """Which street sides rose or fell since ``previous``, and why; None where the two can't be compared.

    Another version of the program counts otherwise, so its figures are not compared.
    """
    if previous is None or sides is None or not previous.has(SIDES.name):
        return None
    if previous.run["version"] != __version__:
        return None
    before = previous.table(SIDES.name)
    columns = _of_sides(before.columns)
    if columns is None:
        return None
    return changes(
        *(one[columns].rename(columns={"to_visit_count": "door_count"}) for one in (before, sides))
    )


def _of_sides(there: Sequence[str]) -> list[str] | None:
    """The columns that sides are compared by; None where an older table lacks one."""
    wanted = ["side_id", "rank", "worth_l_yr", "to_visit_count", "yield_l_yr", "chance"]
    wanted += ["visited_count", "corrected_count"]
    return wanted if set(wanted) <= set(there) else None
