"""The rainfall grid from its file or files: cut to the town, in millimetres, checked."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from harvest.errors import GridError
from harvest.layers import RainGrid, crs_text
from harvest.project.inputs import Rainfall
from harvest.project.outputs import Limits
from harvest.read import depths
from harvest.read.crs import Bounds
from harvest.read.files import RASTER_FORMS, InputFile, admitted
from harvest.read.grid import Cut, read_cut
from harvest.read.rain_unit import MM_PER_UNIT, settled_unit

MONTHS = 12


def read_rain(settings: Rainfall, folder: Path, limits: Limits, bounds_wgs84: Bounds) -> RainGrid:
    """The grid cells that ``bounds_wgs84`` (west, south, east, north, in degrees) touch, and one more all round.

    ``folder`` is the project's. Raises :class:`harvest.errors.GridError` when the files can't be read, have
    another number of bands than 1 or 12, do not reach the town, or hold figures that can't be its rain.
    """
    names = [settings.file] if isinstance(settings.file, str) else settings.file
    files = [admitted("rainfall", name, folder, RASTER_FORMS, GridError) for name in names]
    cut = _stacked(files, settings, limits, bounds_wgs84)
    file, values, flagged, findings = files[0], cut.values, cut.flagged, list(cut.findings)
    if len(values) == MONTHS + 1:
        values, found = depths.without_sum(file, values)
        flagged = flagged[:MONTHS]
        findings += found
    unit, found = settled_unit(file, cut.unit, settings.unit, len(values))
    findings += found
    values, found = depths.without_nonsense(file, values, flagged)
    findings += found
    findings += depths.check_covered(file, values, cut.town)
    if unit is None:
        raise depths.refuse_without_unit(file, values, cut.town, settings)
    depth_mm = values * MM_PER_UNIT[unit]
    depth_mm, found = depths.without_far_out(file, depth_mm, cut.town, settings)
    findings += found
    depth_mm, found = depths.whole_cells(file, depth_mm)
    findings += found
    depths.check_plausible(file, depth_mm, cut.town, unit, settings)
    frame = cut.frame
    return RainGrid(
        depth_mm,
        frame.west + cut.first_column * frame.cell_x,
        frame.north - cut.first_row * frame.cell_y,
        frame.cell_x,
        frame.cell_y,
        frame.crs,
        cut.first_row,
        cut.first_column,
        tuple(findings),
        tuple(source for one in files for source in one.sources(None, crs_text(frame.crs))),
    )


def _stacked(files: Sequence[InputFile], settings: Rainfall, limits: Limits, bounds: Bounds) -> Cut:
    """The bands of all ``files`` as one cut."""
    bands = (1, MONTHS, MONTHS + 1) if len(files) == 1 else (1,)
    cuts = [read_cut(one, settings.variable, settings.crs, limits, bounds, bands) for one in files]
    first = cuts[0]
    for file, cut in zip(files[1:], cuts[1:], strict=True):
        if not cut.frame.same_as(first.frame):
            raise file.refused(f"has other cells than {files[0].name}; resample the 12 files to one grid.")
        if cut.unit != first.unit:
            raise file.refused(
                f"is in {cut.unit!r}, {files[0].name} in {first.unit!r}; convert them to one unit."
            )
    if len(cuts) == 1:
        return first
    values = np.concatenate([cut.values for cut in cuts])
    findings = list(dict.fromkeys(one for cut in cuts for one in cut.findings))
    flagged = np.concatenate([cut.flagged for cut in cuts])
    return Cut(
        values, flagged, first.town, first.frame, first.first_row, first.first_column, first.unit, findings
    )
