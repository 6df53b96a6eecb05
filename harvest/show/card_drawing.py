"""The drawing on a door card: a parcel and its roofs from above, as paths on a small sheet, north up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from harvest.show.scale import round_length

WIDTH, HEIGHT = 192.0, 178.0
"""Size of the drawing [points]."""

MARGIN = 7.0
"""Left free on each side [points]."""

STRIP = 18.0
"""Left free at the foot for scale bar and north arrow [points]."""

WIDEST_VIEW = 4.0
"""A parcel may be this many times as long as its roofs before the drawing shows the roofs' part of it only."""

BEYOND_M = 3.0
"""Roofs are followed this far beyond the parcel [m]."""

BAR_SHARE = 0.34
"""The scale bar is at most this share of the width."""

DETAIL = 0.15
"""What is smaller than this is left out [points]."""

Ring = list[list[float]]


@dataclass(frozen=True)
class Roof:
    """One roof: its ``rings``, and whether it is the one with the ``barrel``."""

    rings: list[Ring]
    barrel: bool


@dataclass(frozen=True)
class Drawing:
    """Paths in points from the upper left corner; ``bar`` is the scale bar's length and ``bar_text`` its text.

    Rings are filled by the even-odd rule, so a court or a hole is one more ring.
    """

    width: float
    height: float
    parcel: list[Ring]
    roofs: list[Roof]
    bar: float
    bar_text: str


def drawing(parcel: Any, roofs: Sequence[Any], barrel: Sequence[bool], units: str) -> Drawing | None:
    """``parcel`` and its ``roofs`` (geometries in metres, x east) drawn to one scale; None when nothing is there.

    ``barrel`` says for each roof whether the barrels are thought to stand at it.
    """
    kept = [(roof, marked) for roof, marked in zip(roofs, barrel, strict=True) if not roof.is_empty]
    bounds = _view(parcel, [roof for roof, _ in kept])
    if bounds is None:
        return None
    west, south, east, north = bounds
    above = HEIGHT - STRIP
    scale = min((WIDTH - 2 * MARGIN) / (east - west), (above - 2 * MARGIN) / (north - south))
    left = (WIDTH - scale * (east - west)) / 2 - scale * west
    top = (above - scale * (north - south)) / 2 + scale * north

    def paths(shape: Any) -> list[Ring]:
        on_sheet = shapely.transform(
            shape, lambda xy: np.column_stack([left + scale * xy[:, 0], top - scale * xy[:, 1]])
        )
        seen = shapely.clip_by_rect(on_sheet.simplify(DETAIL), -9.0, -9.0, WIDTH + 9.0, above)
        return [ring for part in shapely.get_parts(seen) for ring in _rings(part)]

    drawn = [Roof(paths(roof), marked) for roof, marked in kept]
    metres, text = round_length(BAR_SHARE * WIDTH / scale, units)
    return Drawing(
        WIDTH, HEIGHT, paths(parcel), [one for one in drawn if one.rings], round(metres * scale, 2), text
    )


def _view(parcel: Any, roofs: Sequence[Any]) -> tuple[float, float, float, float] | None:
    """What to show (west, south, east, north): the parcel and what roofs reach a little beyond it.

    Of a parcel far larger than its roofs only their part is shown.
    """
    if not parcel.is_empty:
        reach = np.array([-BEYOND_M, -BEYOND_M, BEYOND_M, BEYOND_M]) + parcel.bounds
        roofs = [one for one in shapely.clip_by_rect(list(roofs), *reach) if not one.is_empty]
    whole = [one for one in (parcel, *roofs) if not one.is_empty]
    if not whole:
        return None
    west, south, east, north = shapely.total_bounds(whole)
    if roofs:
        ends = shapely.total_bounds(roofs)
        reach = WIDEST_VIEW * max(ends[2] - ends[0], ends[3] - ends[1])
        if max(east - west, north - south) > reach:
            centre = (ends[:2] + ends[2:]) / 2
            west, south = np.maximum(centre - reach / 2, (west, south))
            east, north = np.minimum(centre + reach / 2, (east, north))
    if not (east > west and north > south):
        return None
    return float(west), float(south), float(east), float(north)


def _rings(part: Any) -> list[Ring]:
    if part.geom_type != "Polygon" or part.is_empty:
        return []
    return [
        np.round(shapely.get_coordinates(ring)[:-1], 2).tolist() for ring in (part.exterior, *part.interiors)
    ]
