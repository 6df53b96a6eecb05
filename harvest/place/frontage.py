"""Which stretch of street a parcel stands on, on which side, and how far along."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from harvest.place import fronts
from harvest.place.fronts import Flags, Pairs, Positions
from harvest.place.named_streets import Named, named
from harvest.place.plane import Geometries
from harvest.place.segments import Segments
from harvest.project.streets import Streets

FIRST_LOOK_M = 20.0
"""Streets are looked for this near first, and farther only for parcels that need it. It changes no answer."""


@dataclass(frozen=True)
class Frontage:
    """Where parcels [n] stand.

    ``segment``: position of the stretch of street, -1 for none. ``side``: 1 on the left of its direction, -1 on
    the right, 0 without one. ``along_m``: from its start to the foot of the perpendicular from the parcel's
    middle (or door). ``distance_m``: from the parcel's edge to the street. Both are NaN without a street.
    ``how``: "address" (the street that its address names), "nearest" (the street in front of it), "behind
    others" (the nearest, which it reaches only over other parcels), "too far", "no street" (there is none, or
    the parcel has no outline). ``corner``: several streets were in front, and a rule chose. ``named``: what
    became of the address's street name; see :meth:`harvest.place.named_streets.Named.told`.
    """

    segment: Positions
    side: NDArray[np.int8]
    along_m: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    how: NDArray[np.str_]
    corner: Flags
    named: NDArray[np.str_]


def frontage(
    outlines: Geometries,
    streets: pd.Series,
    on: Segments,
    settings: Streets,
    *,
    doors: Geometries | None = None,
) -> Frontage:
    """Where parcels with ``outlines`` [n; plane, m] stand, whose addresses name ``streets`` [n; text, NA for none].

    A parcel goes to the street that its address names where that is within ``address_within_m``, unless another
    is in front of it and the named one only ends farther along. Else it goes to the street in front of it: the
    nearest within ``farthest_m`` that it reaches without running over another parcel for more than ``behind_m``,
    if that is no more than ``behind_times`` as far as the nearest. Of several streets in front (``corner_m``)
    one without a name has it when the address names a street that is not near, else ``corner_front`` decides.
    Along one street it goes to the stretch nearest to its middle, or to its point among ``doors`` [n; None for
    none].
    """
    count = len(outlines)
    there = ~(shapely.is_missing(outlines) | shapely.is_empty(outlines))
    middle = np.full(count, None, dtype=object)
    middle[there] = fronts.middles(outlines[there])
    if doors is not None:
        given = there & ~(shapely.is_missing(doors) | shapely.is_empty(doors))
        middle[given] = doors[given]
    said = named(streets, on.streets)
    found = _near(outlines, np.flatnonzero(there), on, said, settings)
    agree = said.agrees(found.parcel, on.street[found.street]) & (found.away_m <= settings.address_within_m)
    hidden = agree & (found.away_m > found.least(found.away_m, count)[found.parcel] + settings.corner_m)
    agree[hidden] = ~fronts.past_end(found.where(hidden), outlines, on.geometry)
    by_name = np.bincount(found.parcel[agree], minlength=count) > 0
    called = found.where(agree)
    rest = found.where(~by_name[found.parcel] & (found.away_m <= settings.farthest_m))
    reached, behind = _reached(rest, outlines, middle, on, settings)
    reached = _unnamed_first(reached, said, on)
    wanted = fronts.together([called.in_front(settings.corner_m, count), reached])
    faced, choice = fronts.faced(
        wanted, on.street[wanted.street], outlines, middle, on.geometry, settings.corner_front
    )

    segment, corner = np.full(count, -1, dtype=np.intp), np.zeros(count, dtype=bool)
    segment[faced.parcel], corner[faced.parcel] = faced.street, choice
    side, along, away = np.zeros(count, np.int8), np.full(count, np.nan), np.full(count, np.nan)
    side[faced.parcel], along[faced.parcel] = fronts.placed(middle[faced.parcel], on.geometry[faced.street])
    away[faced.parcel] = faced.away_m
    how = np.full(count, "no street", dtype="<U13")
    how[there & (len(on) > 0)] = "too far"
    how[segment >= 0] = "nearest"
    how[behind] = "behind others"
    how[by_name] = "address"
    return Frontage(segment, side, along, away, how, corner, said.told(called.parcel))


def _near(outlines: Geometries, which: Positions, on: Segments, said: Named, settings: Streets) -> Pairs:
    """All pairs that can matter of parcels ``which`` among ``outlines`` [n]."""
    count = len(outlines)
    reach = max(settings.farthest_m, settings.address_within_m)
    look = min(FIRST_LOOK_M, reach)
    found = fronts.near(outlines, which, on.geometry, look)
    agree = said.agrees(found.parcel, on.street[found.street])
    called = found.where(agree)
    enough = found.least(found.away_m, count) + settings.corner_m <= look
    enough &= ~said.in_layer | (called.least(called.away_m, count) + settings.corner_m <= look)
    if look == reach or enough[which].all():
        return found
    again = fronts.near(outlines, which[~enough[which]], on.geometry, reach)
    return fronts.together([found.where(enough[found.parcel]), again])


def _reached(
    found: Pairs, outlines: Geometries, middle: Geometries, on: Segments, settings: Streets
) -> tuple[Pairs, Flags]:
    """The pairs in front that are reached over open ground; and parcels [n] for which there are none."""
    count = len(outlines)
    ahead = found.in_front(settings.corner_m, count)
    behind = np.zeros(count, dtype=bool)
    if len(ahead.parcel) == 0:
        return ahead, behind
    tree = shapely.STRtree(outlines)

    def open_ground(pairs: Pairs) -> Pairs:
        return pairs.where(~fronts.blocked(pairs, outlines, middle, on.geometry, tree, settings.behind_m))

    clear = open_ground(ahead)
    behind[ahead.parcel] = True
    behind[clear.parcel] = False
    if not behind.any():
        return clear, behind
    nearest = ahead.least(ahead.away_m, count)
    reach = min(settings.farthest_m, settings.behind_times * nearest[behind].max())
    farther = fronts.near(outlines, np.flatnonzero(behind), on.geometry, reach)
    farther = farther.where(farther.away_m <= settings.behind_times * nearest[farther.parcel])
    farther = open_ground(farther).in_front(settings.corner_m, count)
    behind[farther.parcel] = False
    return fronts.together([clear, farther, ahead.where(behind[ahead.parcel])]), behind


def _unnamed_first(found: Pairs, said: Named, on: Segments) -> Pairs:
    """Of parcels whose address names a street that is not near, only the unnamed streets if there are any."""
    unnamed = (on.street[found.street] < 0) & (said.code[found.parcel] >= 0)
    has = np.bincount(found.parcel[unnamed], minlength=len(said.code)) > 0
    return found.where(unnamed | ~has[found.parcel])
