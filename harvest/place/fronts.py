"""Streets in front of parcels: which are near, which are reached, and which one a parcel faces."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from harvest.place.plane import Geometries

CHORD_M = 1.0
"""The direction of a street at a place is that of the chord from so much before it to so much after."""
ALIKE = 0.9
"""Of two widths the smaller is not narrower when it is more than this share of the other."""

Positions = NDArray[np.intp]
Metres = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Pairs:
    """Parcels and streets near them [k]: positions, and how far ``away_m`` the street is from the parcel's edge."""

    parcel: Positions
    street: Positions
    away_m: Metres

    def where(self, chosen: Flags | Positions) -> Pairs:
        """The pairs ``chosen`` [k], by flag or by position."""
        return Pairs(self.parcel[chosen], self.street[chosen], self.away_m[chosen])

    def least(self, values: Metres, count: int) -> Metres:
        """The least of ``values`` [k] of each of ``count`` parcels, infinite for one without a pair."""
        found = np.full(count, np.inf)
        np.minimum.at(found, self.parcel, values)
        return found

    def in_front(self, within_m: float, count: int) -> Pairs:
        """Those no more than ``within_m`` farther away than the nearest of the same parcel."""
        return self.where(self.away_m <= self.least(self.away_m, count)[self.parcel] + within_m)


def together(some: Iterable[Pairs]) -> Pairs:
    """All pairs of ``some``."""
    rows = [(one.parcel, one.street, one.away_m) for one in some]
    parcel, street, away = (np.concatenate(part) for part in zip(*rows, strict=True))
    return Pairs(parcel, street, away)


def near(outlines: Geometries, which: Positions, streets: Geometries, within_m: float) -> Pairs:
    """The ``streets`` [k] within ``within_m`` of the parcels ``which`` among ``outlines`` [n]."""
    at, street = shapely.STRtree(streets).query(outlines[which], predicate="dwithin", distance=within_m)
    parcel = which[at]
    return Pairs(parcel, street, shapely.distance(outlines[parcel], streets[street]))


def middles(outlines: Geometries) -> Geometries:
    """A point inside each of ``outlines`` [n]: its centroid where that lies inside, else some other."""
    points = np.asarray(shapely.centroid(outlines), dtype=object)
    outside = ~shapely.intersects(outlines, points)
    points[outside] = shapely.point_on_surface(outlines[outside])
    return points


def blocked(
    pairs: Pairs,
    outlines: Geometries,
    middle: Geometries,
    streets: Geometries,
    tree: shapely.STRtree,
    over_m: float,
) -> Flags:
    """Whether the shortest way of each of ``pairs`` [k] runs over another parcel for more than ``over_m``.

    ``tree`` holds ``outlines`` [n] (None for a parcel without). A parcel that holds the ``middle`` of the one
    that looks out does not stand in its way (stacked parcels, common ground), nor one that holds the place where
    the way meets the street (the street's own ground).
    """
    found = np.zeros(len(pairs.parcel), dtype=bool)
    far = np.flatnonzero(pairs.away_m > over_m)
    ways = shapely.shortest_line(outlines[pairs.parcel[far]], streets[pairs.street[far]])
    way, other = tree.query(ways, predicate="intersects")
    foreign = other != pairs.parcel[far[way]]
    way, other = way[foreign], other[foreign]
    long = shapely.length(shapely.intersection(ways[way], outlines[other])) > over_m
    way, other = way[long], other[long]
    inside = shapely.intersects(outlines[other], middle[pairs.parcel[far[way]]])
    own_ground = shapely.intersects(outlines[other], shapely.get_point(ways[way], -1))
    found[far[way[~inside & ~own_ground]]] = True
    return found


def past_end(pairs: Pairs, outlines: Geometries, streets: Geometries) -> Flags:
    """Whether the parcel of each of ``pairs`` [k] lies past the end of the street rather than beside it: the
    shortest way between them meets the end, more along the street than across it."""
    street = streets[pairs.street]
    ways = shapely.get_coordinates(shapely.shortest_line(outlines[pairs.parcel], street)).reshape(-1, 2, 2)
    along = shapely.line_locate_point(street, shapely.points(ways[:, 1]))
    at_end = np.minimum(along, shapely.length(street) - along) < CHORD_M
    way = ways[:, 1] - ways[:, 0]
    ahead = np.abs((way * _chord(street, along)).sum(axis=1))
    return np.asarray(at_end & (ahead > np.hypot(*way.T) * np.sqrt(0.5)))


def placed(middle: Geometries, street: Geometries) -> tuple[NDArray[np.int8], Metres]:
    """On which side of its ``street`` [n] each ``middle`` [n] lies (1 left of its direction, -1 right), and how far
    along it [m] the foot of the perpendicular is."""
    along = shapely.line_locate_point(street, middle)
    way, foot = _chord(street, along), shapely.line_interpolate_point(street, along)
    out = shapely.get_coordinates(middle) - shapely.get_coordinates(foot)
    left = way[:, 0] * out[:, 1] - way[:, 1] * out[:, 0] >= 0
    return np.where(left, 1, -1).astype(np.int8), along


def faced(
    pairs: Pairs, name: Positions, outlines: Geometries, middle: Geometries, streets: Geometries, front: str
) -> tuple[Pairs, Flags]:
    """Of all ``pairs`` [k] in front, the one that each parcel faces, sorted by parcel; and whether it had a choice.

    Among stretches of one street (``name`` [k]) it is the one nearest to the parcel's ``middle``. Among streets,
    the one to which the parcel turns its "narrow" or "wide" side, if the sides differ, then the nearest to its
    middle; or ("near") the one nearest to its edge.
    """
    away = shapely.distance(middle[pairs.parcel], streets[pairs.street])
    order = np.lexsort((pairs.street, away, name, pairs.parcel))
    first = _changes(pairs.parcel[order], name[order])
    best = order[first]
    pairs, away = pairs.where(best), away[best]
    choice = np.bincount(pairs.parcel)[pairs.parcel] > 1 if len(best) else np.zeros(0, dtype=bool)
    rank = np.zeros(len(best))
    if front == "near":
        rank = pairs.away_m
    elif choice.any():
        width = _widths(pairs.where(choice), outlines, middle, streets)
        rank[choice] = ~_about_best(pairs.parcel[choice], width, front == "narrow")
    order = np.lexsort((pairs.street, away, rank, pairs.parcel))
    chosen = order[_changes(pairs.parcel[order])]
    return pairs.where(chosen), choice[chosen]


def _about_best(parcel: Positions, width: Metres, narrow: bool) -> Flags:
    """Which of the widths [k] are about the smallest (or widest) of their ``parcel`` [k]."""
    best = np.full(parcel.max() + 1, np.inf if narrow else 0.0)
    (np.minimum if narrow else np.maximum).at(best, parcel, width)
    return width * ALIKE <= best[parcel] if narrow else width >= best[parcel] * ALIKE


def _widths(pairs: Pairs, outlines: Geometries, middle: Geometries, streets: Geometries) -> Metres:
    """How wide the parcel of each of ``pairs`` [k] is along the direction of its street."""
    street = streets[pairs.street]
    way = _chord(street, shapely.line_locate_point(street, middle[pairs.parcel]))
    xy, pair = shapely.get_coordinates(outlines[pairs.parcel], return_index=True)
    along = (xy * way[pair]).sum(axis=1)
    starts = np.flatnonzero(_changes(pair))
    return np.maximum.reduceat(along, starts) - np.minimum.reduceat(along, starts)


def _chord(street: Geometries, along: Metres) -> NDArray[np.float64]:
    """Direction [n, 2; length 1] of each ``street`` [n] at ``along``."""
    before = shapely.get_coordinates(shapely.line_interpolate_point(street, np.maximum(along - CHORD_M, 0)))
    after = shapely.get_coordinates(shapely.line_interpolate_point(street, along + CHORD_M))
    way = after - before
    return np.asarray(way / np.maximum(np.hypot(*way.T), 1e-12)[:, None])


def _changes(*keys: NDArray[np.intp]) -> Flags:
    """Where a new combination of sorted ``keys`` [k] begins."""
    new = np.zeros(len(keys[0]), dtype=bool)
    new[:1] = True
    for key in keys:
        new[1:] |= key[1:] != key[:-1]
    return new
