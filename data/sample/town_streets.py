"""Street centre lines in the straight plane, split where streets meet."""

from __future__ import annotations

import itertools
from collections.abc import Hashable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import shapely

HALF_STREET_M = 7.0
HALF_CLOSE_M = 6.0
BULB_RADIUS_M = 11.0
OLD_ROAD_HALF_M = 8.0
CAP_M = 33.0
COUNTRY_M = 300.0


@dataclass
class Streets:
    """Street keys in order of first use; a street's number is its place."""

    numbers: dict[tuple[Hashable, ...], int] = field(default_factory=dict)

    def number(self, *key: Hashable) -> int:
        """The number of the street with this key, its kind first."""
        return self.numbers.setdefault(key, len(self.numbers))

    def along(self, line: int, s: float) -> int:
        """The street on the ``line``-th centre line along the shore; inland its name changes every 3 km."""
        return self.number("shore", 0) if line == 0 else self.number("along", line, round(s / 3000))

    def has(self, *key: Hashable) -> bool:
        """Whether a street with this key is known."""
        return key in self.numbers


def centre_lines(cells: pd.DataFrame, streets: Streets) -> pd.DataFrame:
    """Centre lines (``street``, ``kind``, ``geometry``) of all streets beside a kept block, split where they
    meet."""
    found: list[tuple[int, str, float, float, float, float]] = []
    kept = cells[cells["kept"]]
    upright: dict[tuple[Hashable, ...], tuple[float, float, float]] = {}
    cuts: dict[int, set[float]] = {}
    tops: dict[int, float] = {}
    for c in kept.itertuples():
        for line, top in ((c.band, c.t0), (c.band + 1, c.t1)):
            cuts.setdefault(line, set()).update((c.s0, c.s1))
            tops[line] = top
        upright[(*c.west, c.band)] = (c.s0, c.t0, c.t1)
        upright[(*c.east, c.band)] = (c.s1, c.t0, c.t1)
        if streets.has("close", c.Index):
            middle, length = (c.s0 + c.s1) / 2, c.t1 - c.t0 - HALF_STREET_M - CAP_M - BULB_RADIUS_M - 1
            start, end = (c.t1, c.t1 - length) if c.flip else (c.t0, c.t0 + length)
            cuts[c.band + (1 if c.flip else 0)].add(middle)
            found.append((streets.number("close", c.Index), "close", middle, start, middle, end))
    for key, (s, low, high) in upright.items():
        found.append((streets.number(*key[:-1]), str(key[0]), s, low, s, high))
    for line, places in cuts.items():
        spans = kept.loc[kept["band"].isin([line - 1, line]), ["s0", "s1"]].to_numpy()
        ends = np.array(sorted(places))
        middles = (ends[:-1] + ends[1:]) / 2
        covered = ((spans[:, :1] < middles) & (spans[:, 1:] > middles)).any(axis=0)
        for left, right in zip(ends[:-1][covered], ends[1:][covered], strict=True):
            kind = "shore" if line == 0 else "along"
            found.append((streets.along(line, (left + right) / 2), kind, left, tops[line], right, tops[line]))
    frame = pd.DataFrame(found, columns=["street", "kind", "x0", "y0", "x1", "y1"])
    ends_xy = frame[["x0", "y0", "x1", "y1"]].to_numpy().reshape(-1, 2, 2)
    frame["geometry"] = list(shapely.linestrings(ends_xy))
    return frame[["street", "kind", "geometry"]].sort_values(["street"], kind="stable").reset_index(drop=True)


def old_roads(depth: float) -> dict[str, shapely.LineString]:
    """Two old roads from the shore up the hills, aslant through the blocks, by their kind."""
    return {
        "hill": shapely.LineString([(165, 0), (235, 150), (290, 420), (430, 700), (560, 3 * depth)]),
        "mill": shapely.LineString(
            [(-395, 0), (-445, 130), (-640, 420), (-840, 640), (-1400, 1250), (-1400, 3 * depth)]
        ),
    }


def with_old_roads(
    cells: pd.DataFrame, lines: pd.DataFrame, streets: Streets, roads: dict[str, shapely.LineString]
) -> tuple[pd.DataFrame, list[shapely.LineString]]:
    """Adds the old roads, every street split where they cross, and leads them and the shore road out of town.

    Also gives back the parts of the old roads within the town.
    """
    kept = cells[cells["kept"]]
    town = shapely.union_all(shapely.box(kept["s0"], kept["t0"], kept["s1"], kept["t1"]))
    within = []
    for kind, road in roads.items():
        parts = shapely.get_parts(shapely.intersection(road, town))
        end = max(shapely.line_locate_point(road, shapely.get_point(part, -1)) for part in parts)
        number = streets.number(kind, 0)
        within.append(_piece(road, 0.0, end))
        pieces = _split(lines, _piece(road, 0.0, end + 0.5))
        pieces += [(number, kind, piece) for piece in _pieces(within[-1], lines)]
        pieces.append((number, kind, _piece(road, end, end + COUNTRY_M)))
        lines = pd.DataFrame(pieces, columns=["street", "kind", "geometry"])
    west, east = kept.loc[kept["band"] == 0, "s0"].min(), kept.loc[kept["band"] == 0, "s1"].max()
    ends = [
        shapely.LineString([(near, 0), (far, 0)])
        for near, far in ((west - COUNTRY_M, west), (east, east + COUNTRY_M))
    ]
    country = pd.DataFrame({"street": streets.along(0, 0.0), "kind": "shore", "geometry": ends})
    return pd.concat([lines, country], ignore_index=True), within


def _split(lines: pd.DataFrame, road: shapely.LineString) -> list[tuple[int, str, shapely.LineString]]:
    """``lines`` cut in two where the road crosses them."""
    found: list[tuple[int, str, shapely.LineString]] = []
    meets = shapely.intersection(lines["geometry"].to_numpy(), road)
    for street, kind, line, meet in zip(
        lines["street"], lines["kind"], lines["geometry"], meets, strict=True
    ):
        along = float(shapely.line_locate_point(line, meet)) if meet.geom_type == "Point" else 0.0
        cuts = [0.0, along, line.length] if 1.0 < along < line.length - 1.0 else [0.0, line.length]
        found += [(street, kind, _piece(line, low, high)) for low, high in itertools.pairwise(cuts)]
    return found


def _pieces(road: shapely.LineString, lines: pd.DataFrame) -> list[shapely.LineString]:
    """The road cut where it crosses ``lines``."""
    meets = shapely.intersection(lines["geometry"].to_numpy(), road)
    along = shapely.line_locate_point(road, meets[shapely.get_type_id(meets) == 0])
    along = along[(along > 1.0) & (along < road.length - 1.0)]
    cuts = np.unique(np.round(np.concatenate([[0.0], along, [road.length]]), 3))
    return [_piece(road, low, high) for low, high in itertools.pairwise(cuts)]


def _piece(line: shapely.LineString, low: float, high: float) -> shapely.LineString:
    bends = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(line)))
    places = np.concatenate([[low], bends[(bends > low) & (bends < high)], [high]])
    return shapely.LineString(shapely.get_coordinates(shapely.line_interpolate_point(line, places)))
