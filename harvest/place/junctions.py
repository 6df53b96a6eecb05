"""Where lines meet: found, cut there, and joined end to end."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from harvest.place.plane import Geometries

SAME_M = 1e-3
"""Cuts of one line closer than this are one cut."""

MULTILINE = 5
Positions = NDArray[np.intp]


def simple(lines: Geometries) -> tuple[Geometries, Positions]:
    """``lines`` [n], those that cross or touch themselves cut there; and whose part each is."""
    crossed = np.flatnonzero(~shapely.is_simple(lines))
    if len(crossed) == 0:
        return lines, np.arange(len(lines))
    parts, whose = shapely.get_parts(shapely.node(lines[crossed]), return_index=True)
    whole = np.setdiff1d(np.arange(len(lines)), crossed)
    owner = np.concatenate([whole, crossed[whose]])
    order = np.argsort(owner, kind="stable")
    return np.concatenate([lines[whole], parts])[order], owner[order]


def crossings(
    lines: Geometries, level: NDArray[np.int64], snap_m: float
) -> tuple[Positions, NDArray[np.float64], NDArray[np.intp]]:
    """Where ``lines`` [n] must be cut: ``line`` and place ``at`` [m from its start] of each cut, and the pairs of
    lines [k, 2] that cross without a node.

    A line is cut where another crosses it on the same ``level`` [n], and where another ends within ``snap_m`` of
    it. Nothing is cut within ``snap_m`` of its own ends.
    """
    tree, length = shapely.STRtree(lines), shapely.length(lines)
    one, other = tree.query(lines, predicate="intersects")
    both = (one < other) & (level[one] == level[other])
    one, other = one[both], other[both]
    points, pair = _meeting_points(lines[one], lines[other])
    one, other = one[pair], other[pair]
    at_one, at_other = (shapely.line_locate_point(lines[side], points) for side in (one, other))
    in_one, in_other = _inner(at_one, length[one], snap_m), _inner(at_other, length[other], snap_m)
    unsplit = np.unique(np.column_stack([one, other])[in_one & in_other], axis=0)

    ends = shapely.get_point(np.repeat(lines, 2), np.tile([0, -1], len(lines)))
    end, line = tree.query(ends, predicate="dwithin", distance=snap_m)
    foreign = end // 2 != line
    end, line = end[foreign], line[foreign]
    at = shapely.line_locate_point(lines[line], ends[end])
    touched = _inner(at, length[line], snap_m)
    cut = np.concatenate([one[in_one], other[in_other], line[touched]])
    place = np.concatenate([at_one[in_one], at_other[in_other], at[touched]])
    order = np.lexsort((place, cut))
    cut, place = cut[order], place[order]
    new = np.ones(len(cut), dtype=bool)
    new[1:] = (cut[1:] != cut[:-1]) | (place[1:] - place[:-1] > SAME_M)
    return cut[new], place[new], unsplit


def _meeting_points(one: Geometries, other: Geometries) -> tuple[Geometries, Positions]:
    """Points where each of the lines ``one`` [n] meets that of ``other`` [n], and whose they are; where the two run
    together, the ends of what they share."""
    meets = shapely.intersection(one, other)
    in_pieces = shapely.get_type_id(meets) == MULTILINE
    meets[in_pieces] = shapely.line_merge(meets[in_pieces])
    parts, pair = shapely.get_parts(meets, return_index=True)
    shared = shapely.get_type_id(parts) == 1
    ends = np.repeat(parts[shared], 2)
    ends = shapely.get_point(ends, np.tile([0, -1], int(shared.sum())))
    return np.concatenate([parts[~shared], ends]), np.concatenate([pair[~shared], np.repeat(pair[shared], 2)])


def _inner(at: NDArray[np.float64], length: NDArray[np.float64], snap_m: float) -> NDArray[np.bool_]:
    return np.asarray((at > snap_m) & (at < length - snap_m))


def pieces(lines: Geometries, cut: Positions, at: NDArray[np.float64]) -> tuple[Geometries, Positions]:
    """``lines`` [n] cut at the places ``at`` [m] of lines ``cut``; the pieces in order, and whose each is."""
    if len(cut) == 0:
        return lines, np.arange(len(lines))
    xy, line = shapely.get_coordinates(lines, return_index=True)
    first = _begins(line)
    step = np.zeros(len(xy))
    step[1:] = np.hypot(*(xy[1:] - xy[:-1]).T)
    step[first] = 0
    along = np.cumsum(step)
    along -= along[first][line]
    points = shapely.get_coordinates(shapely.line_interpolate_point(lines[cut], at))
    rows = pd.DataFrame(
        {
            "line": np.concatenate([line, cut, cut]),
            "along": np.concatenate([along, at, at]),
            "kind": np.repeat([2, 0, 1], [len(line), len(cut), len(cut)]),
        }
    )
    where = np.concatenate([xy, points, points])
    order = np.lexsort((rows["kind"], rows["along"], rows["line"]))
    line, kind = rows["line"].to_numpy()[order], rows["kind"].to_numpy()[order]
    begins = (kind == 1) | _begins(line)
    piece = np.cumsum(begins) - 1
    made = shapely.linestrings(where[order], indices=piece)
    return np.asarray(shapely.remove_repeated_points(made, SAME_M / 10)), line[begins]


def joined(lines: Geometries, snap_m: float) -> tuple[Geometries, NDArray[np.intp], NDArray[np.float64]]:
    """``lines`` [n] with ends that lie within ``snap_m`` of each other moved onto one junction.

    Also the junctions at start and end [n, 2] and how far each end moved [n, 2; m].
    """
    xy, line = shapely.get_coordinates(lines, return_index=True)
    first, last = np.flatnonzero(_begins(line)), np.flatnonzero(_begins(line[::-1])[::-1])
    ends = np.column_stack([first, last]).ravel()
    near = cKDTree(xy[ends]).query_pairs(snap_m, output_type="ndarray")
    node = linked(near, len(ends))
    count = np.bincount(node)
    middle = np.column_stack([np.bincount(node, weights=xy[ends, axis]) / count for axis in (0, 1)])
    apart = np.zeros(len(count), dtype=bool)
    np.logical_or.at(apart, node, (np.abs(xy[ends] - middle[node]) > 1e-9).any(axis=1))
    moves = apart[node]
    moved = np.where(moves, np.hypot(*(xy[ends] - middle[node]).T), 0.0)
    xy[ends[moves]] = middle[node[moves]]
    return shapely.linestrings(xy, indices=line), node.reshape(-1, 2), moved.reshape(-1, 2)


def linked(pairs: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    """The number of the group of each of ``count`` things, of which ``pairs`` [k, 2] hang together."""
    links = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.intp)


def twins(
    lines: Geometries, ends: NDArray[np.intp], rank: NDArray[np.int64], snap_m: float
) -> NDArray[np.intp]:
    """For each of ``lines`` [n] between junctions ``ends`` [n, 2] the line that it repeats within ``snap_m``, or -1.

    Of lines drawn twice the one of lowest ``rank`` [n] stays, then the first.
    """
    low, high = ends.min(axis=1), ends.max(axis=1)
    pairs = pd.DataFrame({"low": low, "high": high, "line": np.arange(len(lines))})
    pairs = pairs[pairs.duplicated(["low", "high"], keep=False)]
    pairs = pairs.merge(pairs, on=["low", "high"])
    pairs = pairs[pairs["line_x"] < pairs["line_y"]]
    one, other = pairs["line_x"].to_numpy(), pairs["line_y"].to_numpy()
    same = shapely.hausdorff_distance(lines[one], lines[other]) <= snap_m
    group = linked(np.column_stack([one[same], other[same]]), len(lines))
    order = np.lexsort((np.arange(len(lines)), rank, group))
    leads = _begins(group[order])
    lead = np.empty(len(lines), dtype=np.intp)
    lead[group[order][leads]] = order[leads]
    return np.where(lead[group] == np.arange(len(lines)), -1, lead[group])


def _begins(key: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Where in a sorted ``key`` [n] a new one begins."""
    new = np.ones(len(key), dtype=bool)
    new[1:] = key[1:] != key[:-1]
    return new
