"""Parcels that lie on one another: stacked parcels on one site, and pads inside common ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from harvest.place.plane import Geometries


@dataclass(frozen=True)
class Sites:
    """How parcels lie on one another.

    ``host`` [n]: for each parcel the position of the parcel that stands for its site, itself when it lies
    alone. ``common`` [n]: whether pads lie inside the parcel.
    """

    host: NDArray[np.intp]
    common: NDArray[np.bool_]

    @property
    def stacked(self) -> NDArray[np.bool_]:
        """Whether a parcel shares its site with others [n]."""
        sizes = np.bincount(self.host, minlength=len(self.host))
        return np.asarray(sizes[self.host] > 1)

    @property
    def hosts(self) -> NDArray[np.intp]:
        """Positions of the parcels that stand for a site."""
        return np.flatnonzero(self.host == np.arange(len(self.host)))


def sites(parcels: Geometries, *, coincident_share: float) -> Sites:
    """How ``parcels`` [n; plane, m], sorted by id, lie on one another.

    Two parcels are stacked when they share at least ``coincident_share`` of their joint area; the first by id
    stands for the site. A parcel with at least that share inside a larger one is a pad, and the larger one is
    common ground.
    """
    count = len(parcels)
    area = shapely.area(parcels)
    points = _inner_points(parcels)
    inner, outer = shapely.STRtree(parcels).query(points)
    others = inner != outer
    inner, outer = inner[others], outer[others]
    there = shapely.intersects(parcels[outer], points[inner])
    inner, outer = inner[there], outer[there]
    shared = shapely.area(shapely.intersection(parcels[inner], parcels[outer]))

    stacked = shared >= coincident_share * (area[inner] + area[outer] - shared)
    links = coo_array(
        (np.ones(int(stacked.sum()), dtype=bool), (inner[stacked], outer[stacked])), shape=(count, count)
    )
    _, group = connected_components(links, directed=False)
    first = np.full(group.max() + 1 if count else 0, count, dtype=np.intp)
    np.minimum.at(first, group, np.arange(count))
    host = first[group]

    pad = ~stacked & (shared >= coincident_share * area[inner]) & (area[outer] > area[inner])
    common = np.zeros(count, dtype=bool)
    common[host[outer[pad]]] = True
    return Sites(host, common)


def _inner_points(parcels: Geometries) -> Geometries:
    """A point inside each of ``parcels``: the middle of its box where that is inside, else some other."""
    west, south, east, north = shapely.bounds(parcels).T
    x, y = (west + east) / 2, (south + north) / 2
    points = np.asarray(shapely.points(x, y), dtype=object)
    outside = ~shapely.intersects_xy(parcels, x, y)
    points[outside] = shapely.point_on_surface(parcels[outside])
    return points
