"""Street lines cut into segments from junction to junction: the network that canvassers walk."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from harvest.findings import Account, Finding, Severity, counted
from harvest.place import junctions
from harvest.place.plane import Geometries
from harvest.place.street_names import normal_name

MOVED_M = 0.01
"""An end that moves by less was meant to lie there."""


@dataclass(frozen=True)
class Segments:
    """Streets between junctions [k], in the order of the lines they were cut from.

    ``geometry``: lines [plane, m]. ``line``: position of the line each was cut from. ``name``: as it is written,
    None for none. ``street``: position in ``streets`` of the name made alike, -1 for none. ``node_from``,
    ``node_to``: the junctions it runs between. ``component``: streets with one number hang together.
    """

    geometry: Geometries
    line: NDArray[np.intp]
    name: NDArray[np.object_]
    street: NDArray[np.intp]
    streets: tuple[str, ...]
    node_from: NDArray[np.intp]
    node_to: NDArray[np.intp]
    length_m: NDArray[np.float64]
    no_crossing: NDArray[np.bool_]
    component: NDArray[np.intp]
    account: Account
    findings: tuple[Finding, ...]

    def __len__(self) -> int:
        return len(self.geometry)


def segments(
    lines: Geometries,
    ids: NDArray[np.object_],
    names: pd.Series,
    no_crossing: NDArray[np.bool_],
    *,
    snap_m: float,
    longest_m: float,
    level: NDArray[np.int64] | None = None,
) -> Segments:
    """``lines`` [n; plane, m] cut where they meet; ``names`` [n; text] are NA where a street has none.

    Lines that cross are cut even where neither has a node, unless they lie on another ``level`` [n] (bridges).
    Ends within ``snap_m`` of each other, or of another line, meet there. A piece no longer than that between
    one junction and itself is dropped, and so is what is drawn twice: the named one stays. ``ids`` [n] are for
    findings. The result depends on the order of the lines only in its own order.
    """
    names = names.astype("str").reset_index(drop=True)
    parts, owner = junctions.simple(np.asarray(lines, dtype=object))
    on_level = np.zeros(len(parts), np.int64) if level is None else level[owner]
    cut, at, unsplit = junctions.crossings(parts, on_level, snap_m)
    made, part = junctions.pieces(parts, cut, at)
    line = owner[part]
    made, ends, moved = junctions.joined(made, snap_m)
    long_enough = (ends[:, 0] != ends[:, 1]) | (shapely.length(made) > 2 * snap_m)
    short = line[~long_enough]
    made, ends, line = made[long_enough], ends[long_enough], line[long_enough]
    moved = moved[long_enough]

    twin = junctions.twins(made, ends, names.isna().to_numpy()[line].astype(np.int64), snap_m)
    again = twin >= 0
    barred = no_crossing[line]
    np.logical_or.at(barred, twin[again], barred[again])
    twice, kept = line[again], ~again
    made, line, barred = made[kept], line[kept], barred[kept]
    nodes, ends = np.unique(ends[kept], return_inverse=True)
    ends = ends.reshape(-1, 2)
    component = junctions.linked(ends, len(nodes))[ends[:, 0]]

    normal = normal_name(names)
    streets = tuple(sorted(normal.dropna().unique()))
    length = shapely.length(made)
    dropped = {"shorter than snap_m": len(short), "drawn twice": len(twice)}
    added = {"cut at junctions": len(made) + sum(dropped.values()) - len(lines)}
    told = [
        *_told_cuts(ids[owner], unsplit, ids[line[(moved[kept] > MOVED_M).any(axis=1)]], snap_m),
        *_told_dropped(ids[short], ids[twice]),
        *_told_kept(ids[line], normal.isna().to_numpy()[line], length, component, longest_m),
    ]
    return Segments(
        geometry=made,
        line=line,
        name=names.to_numpy(dtype=object, na_value=None)[line],
        street=pd.Index(streets, dtype="str").get_indexer(normal)[line],
        streets=streets,
        node_from=ends[:, 0],
        node_to=ends[:, 1],
        length_m=length,
        no_crossing=barred,
        component=component,
        account=Account("streets", len(lines), len(made), added=added, dropped=dropped),
        findings=tuple(told),
    )


def _told_cuts(
    ids: NDArray[np.object_], unsplit: NDArray[np.intp], moved: NDArray[np.object_], snap_m: float
) -> list[Finding]:
    crossing = [f"{ids[one]} and {ids[other]}" for one, other in unsplit]
    return [
        *_told(
            "streets crossing without a junction",
            "note",
            crossing,
            f"Pairs of streets that cross where neither has a junction: {len(crossing)}. They were cut there.",
            "If one passes over the other, name the column that tells the level; else nothing to do.",
        ),
        *_told(
            "street ends moved",
            "note",
            moved,
            f"{counted(len(moved), 'stretch', 'stretches')} of street ended up to {snap_m:g} m short of, or "
            "beyond, the street it meets; the end was moved there.",
            "Change streets.snap_m if these do not meet.",
        ),
    ]


def _told_dropped(short: NDArray[np.object_], twice: NDArray[np.object_]) -> list[Finding]:
    return [
        *_told(
            "streets without length",
            "note",
            short,
            f"Pieces of street too short to have two ends, left out: {len(short)}.",
            "Nothing to do, unless a street is missing.",
        ),
        *_told(
            "streets drawn twice",
            "warning",
            twice,
            f"{counted(len(twice), 'stretch', 'stretches')} of street drawn twice, one over the other; the first "
            "with a name was kept.",
            "Check whether two layers were put into one.",
        ),
    ]


def _told_kept(
    ids: NDArray[np.object_],
    unnamed: NDArray[np.bool_],
    length: NDArray[np.float64],
    component: NDArray[np.intp],
    longest_m: float,
) -> list[Finding]:
    size = np.bincount(component, weights=length) if len(length) else np.zeros(1)
    island, long = component != np.argmax(size), length > longest_m
    return [
        *_told(
            "streets apart from the rest",
            "note",
            ids[island],
            f"{counted(int(island.sum()), 'stretch', 'stretches')} of street in {len(size) - 1} places "
            f"({length[island].sum() / 1000:,.1f} km) can't be reached along streets from the rest "
            f"({size.max() / 1000:,.1f} km).",
            "Look whether a connecting street is missing, or raise streets.snap_m.",
        ),
        *_told(
            "streets without a name",
            "note",
            ids[unnamed],
            f"{counted(int(unnamed.sum()), 'stretch', 'stretches')} of street without a name "
            f"({length[unnamed].sum() / 1000:,.1f} km); parcels there are placed by distance alone.",
            "Add the names if the layer has them in another column.",
        ),
        *_told(
            "long streets",
            "warning",
            ids[long],
            f"{counted(int(long.sum()), 'stretch', 'stretches')} of street longer than {longest_m / 1000:g} km from "
            f"junction to junction, the longest {length.max(initial=0) / 1000:,.0f} km.",
            "Look whether this is a street of the town, or the layer holds something else.",
        ),
    ]


def _told(
    check: str, severity: Severity, offenders: Iterable[object], message: str, remedy: str
) -> list[Finding]:
    found = Finding.of(check, "streets", severity, offenders, message, remedy)
    return [found] if found.count else []
