"""Whether the figures of a rainfall grid can be rain: what is missing, unflagged, or of another unit."""

from __future__ import annotations

from typing import get_args

import numpy as np
from numpy.typing import NDArray

from harvest.findings import Finding
from harvest.project.inputs import Rainfall, RainUnit
from harvest.read.files import InputFile
from harvest.read.rain_unit import MM_PER_UNIT

REPEATS = 3
"""A negative figure that stands in this many cells is taken for an unflagged no-data value."""
FAR_OUT = 10
"""A cell this many times above the highest yearly rain allowed, in a grid that is not, holds no rain."""
SUM_TOLERANCE = 0.01

Values = NDArray[np.float64]


def without_sum(file: InputFile, values: Values) -> tuple[Values, list[Finding]]:
    """``values`` [13, rows, columns] without the last band when it is the sum of the others; else refused."""
    months, last = values[:12], values[12]
    total = months.sum(axis=0)
    both = np.isfinite(total) & np.isfinite(last)
    if not both.any() or np.median(np.abs(total - last)[both]) > SUM_TOLERANCE * np.abs(total[both]).mean():
        raise file.refused(
            "has 13 bands and the last is not the sum of the other 12; give 12 bands, January first, or one "
            "for the year."
        )
    return months, [
        Finding(
            "sum band dropped",
            file.role,
            "note",
            1,
            f"The 13th band of {file.name} is the sum of the other 12 and was left out.",
            "Nothing to do.",
        )
    ]


def without_nonsense(
    file: InputFile, values: Values, flagged: NDArray[np.bool_]
) -> tuple[Values, list[Finding]]:
    """``values`` [bands, rows, columns; the file's unit], NaN where no rain can be meant, and what was found.

    ``flagged`` [bands, rows, columns] marks what the file itself declares as no-data.
    """
    findings: list[Finding] = []
    infinite, unnumbered = np.isinf(values), np.isnan(values) & ~flagged
    negative = (values < 0) & ~infinite
    if unnumbered.any():
        findings.append(_missing(file, "not a number", unnumbered, "are no numbers", "Flag them as no-data."))
    if infinite.any():
        findings.append(_missing(file, "infinite rain", infinite, "are infinite", "Flag them as no-data."))
    if negative.any():
        figures, counts = np.unique(values[negative], return_counts=True)
        often = int(counts.argmax())
        if counts[often] >= REPEATS:
            told = f"are negative, {counts[often]} of them {figures[often]:g}, an unflagged no-data value"
            remedy = f"Nothing to do; the file should declare {figures[often]:g} as its no-data value."
            findings.append(_missing(file, "unflagged no-data", negative, told, remedy))
        else:
            remedy = "Ask whoever made the grid why rain is negative."
            findings.append(_missing(file, "negative rain", negative, "are negative", remedy))
    return np.where(negative | infinite, np.nan, values), findings


def _missing(file: InputFile, check: str, where: NDArray[np.bool_], told: str, remedy: str) -> Finding:
    count = int(where.sum())
    return Finding(
        check,
        file.role,
        "warning",
        count,
        f"Figures around the town in {file.name} that {told}, so count as missing: {count} of {where.size}.",
        remedy,
    )


def without_far_out(
    file: InputFile, depth_mm: Values, town: NDArray[np.bool_], settings: Rainfall
) -> tuple[Values, list[Finding]]:
    """``depth_mm`` [bands, rows, columns] without cells far above all rain, where the town's others are not."""
    yearly = depth_mm.sum(axis=0)
    far = yearly > FAR_OUT * settings.most_mm_yr
    usual = yearly[town & np.isfinite(yearly)]
    if not far.any() or len(usual) == 0 or np.median(usual) > settings.most_mm_yr:
        return depth_mm, []
    highest = float(np.nanmax(np.where(far, yearly, np.nan)))
    told = f"come to up to {highest:.4g} mm a year, an unflagged no-data value"
    found = _missing(file, "unflagged no-data", far, told, "Flag them as no-data.")
    return np.where(far, np.nan, depth_mm), [found]


def whole_cells(file: InputFile, depth_mm: Values) -> tuple[Values, list[Finding]]:
    """``depth_mm`` [bands, rows, columns], a cell missing in every band where it is missing in one."""
    missing = np.isnan(depth_mm)
    partly = missing.any(axis=0) & ~missing.all(axis=0)
    if not partly.any():
        return depth_mm, []
    found = Finding(
        "months missing",
        file.role,
        "warning",
        int(partly.sum()),
        f"Cells of {file.name} that lack some months only, so count as missing altogether: {int(partly.sum())}.",
        "Fetch a grid without gaps, or fill them.",
    )
    return np.where(missing.any(axis=0), np.nan, depth_mm), [found]


def check_covered(file: InputFile, depth_mm: Values, town: NDArray[np.bool_]) -> list[Finding]:
    """Refuse a grid without any figure over the town; tell where it has gaps there."""
    missing = np.isnan(depth_mm).any(axis=0) & town
    count, cells = int(missing.sum()), int(town.sum())
    if count == cells:
        raise file.refused(
            f"has no figure over the town: all {cells} cells are no-data. Choose a grid that covers this land."
        )
    if count == 0:
        return []
    return [
        Finding(
            "cells without rain",
            file.role,
            "note",
            count,
            f"Grid cells over the town without a figure, so that roofs there get none: {count} of {cells}.",
            "Nothing to do where these cells are water.",
        )
    ]


def check_plausible(
    file: InputFile, depth_mm: Values, town: NDArray[np.bool_], unit: RainUnit, settings: Rainfall
) -> None:
    """Refuse a grid whose mean over the town can't be a year's rain, naming the unit that would explain it."""
    mean = town_mean(depth_mm, town)
    if settings.least_mm_yr <= mean <= settings.most_mm_yr:
        return
    explained = plausible_units(mean / MM_PER_UNIT[unit], settings)
    cause = (
        f"the figures would be plausible as {explained}: set unit"
        if explained
        else "no unit explains that; check that the file holds rain of a whole year"
    )
    raise file.refused(
        f"gives the town {mean:,.4g} mm a year (unit {unit}), outside {settings.least_mm_yr:g} to "
        f"{settings.most_mm_yr:g} in [rainfall] least_mm_yr and most_mm_yr; {cause}."
    )


def refuse_without_unit(
    file: InputFile, values: Values, town: NDArray[np.bool_], settings: Rainfall
) -> Exception:
    """The refusal of a grid whose unit nobody told."""
    explained = plausible_units(town_mean(values, town), settings)
    hint = f" (its figures would be plausible as {explained})" if explained else ""
    choice = ", ".join(f'"{unit}"' for unit in get_args(RainUnit))
    return file.refused(f"does not say the unit of its figures; set unit to one of {choice}{hint}.")


def town_mean(depth: Values, town: NDArray[np.bool_]) -> float:
    """Mean over the town's cells of ``depth`` [bands, rows, columns] added up over the bands."""
    return float(np.nanmean(depth.sum(axis=0)[town]))


def plausible_units(mean: float, settings: Rainfall) -> str:
    """Units in which a town mean of ``mean`` would be a year's rain, with that rain."""
    fitting = [
        f'"{unit}" ({mean * factor:,.4g} mm a year)'
        for unit, factor in MM_PER_UNIT.items()
        if settings.least_mm_yr <= mean * factor <= settings.most_mm_yr
    ]
    return " or ".join(fitting)
