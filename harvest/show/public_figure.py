"""The public edition's still figure: its cells by what they could capture, for print and for a slide."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pyproj import CRS

from harvest.fields import PUBLIC
from harvest.result import Result
from harvest.show.card_texts import one_line
from harvest.show.classes import class_colours, class_numbers
from harvest.show.figure import can_draw, write_scene
from harvest.show.figures import read_unit
from harvest.show.public_drawn import drawn, ground, measures
from harvest.show.public_page import setting, what_is_seen
from harvest.show.scene import LONGEST_TOWN, Scene, by_ground, class_texts, dates_told, levels_told
from harvest.show.words.figure import said
from harvest.show.words.public import told

MEASURE = "capturable_l_yr"


def write_public_figure(result: Result, place: Path) -> None:
    """Write the figure of the public cells into ``place``, at the sizes of the run's own figure.

    Nothing is written where there are no cells, or where matplotlib is not installed: the page and a finding of the
    run say so. Raises :class:`OutputError` when a file can't be written.
    """
    made = public_scene(result) if can_draw() else None
    if made is not None:
        write_scene(made, f"{result.run['program']} {result.run['version']}", place)


def public_scene(result: Result) -> Scene | None:
    """What there is to draw of the public cells of ``result``; None where there are none."""
    run, cells = result.run, result.table(PUBLIC.name)
    coloured = measures(cells, run["units"]).get(MEASURE)
    if coloured is None:
        return None
    plane = CRS.from_user_input(run["plane"])
    shapes = drawn(cells, plane)
    west, south, east, north = (float(one) for one in shapes.total_bounds)
    unit, _ = read_unit(run["units"], PUBLIC.field(MEASURE).unit)
    seen, blank = what_is_seen(run, cells)
    none = np.zeros(0, dtype=object)
    return Scene(
        streets=False,
        shapes=shapes.to_numpy(),
        classes=class_numbers(coloured.values, coloured.breaks),
        colours=class_colours(len(coloured.breaks) + 1),
        view=(west, south, east, north),
        units=run["units"],
        left=np.zeros(0, dtype=bool),
        ground=none,
        surroundings=by_ground(ground(result).to_crs(plane)),
        best=none,
        numbers=[],
        names=[],
        title=told("heading", town=one_line(str(run["town"]), LONGEST_TOWN)),
        under=told("edition_text", least=f"{setting(run, 'public.least_homes'):,}"),
        heading=said("legend_parcels", unit=unit),
        legend=class_texts(coloured.breaks),
        nil=said("legend_nil"),
        missing=said("legend_missing"),
        levels_heading=told("figure_levels"),
        levels=levels_told(run["public"]["totals"] or {}, run["units"]),
        caution=said("caution"),
        source=f"{seen} {blank} {dates_told(run)}",
    )
