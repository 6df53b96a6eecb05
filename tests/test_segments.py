"""Streets cut from junction to junction: what meets, what only passes, and what was drawn twice."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from make_town import Town

from harvest.place.segments import Segments, segments

LONG = 5000.0


def cut(
    lines: list[Any], names: list[str | None] | None = None, snap_m: float = 1.0, **more: Any
) -> Segments:
    """``lines`` (lists of corners, or lines) as segments; ids are a, b, c …"""
    shapes = np.array(
        [one if isinstance(one, shapely.Geometry) else shapely.LineString(one) for one in lines]
    )
    ids = np.array([chr(ord("a") + number) for number in range(len(lines))], dtype=object)
    called = pd.Series(names or [f"{one} street" for one in ids], dtype="str")
    barred = np.array(more.pop("no_crossing", [False] * len(lines)), dtype=bool)
    return segments(shapes, ids, called, barred, snap_m=snap_m, longest_m=LONG, **more)


def told(found: Segments) -> dict[str, int]:
    return {one.check: one.count for one in found.findings}


def degrees(found: Segments) -> list[int]:
    """How many ends meet at each junction, sorted."""
    return sorted(np.bincount(np.concatenate([found.node_from, found.node_to])).tolist())


def check_joined(found: Segments) -> None:
    """All ends at one junction lie on one place, exactly."""
    ends = shapely.get_coordinates(
        shapely.get_point(np.tile(found.geometry, 2), np.repeat([0, -1], len(found)))
    )
    node = np.concatenate([found.node_from, found.node_to])
    assert len(np.unique(np.column_stack([node, ends]), axis=0)) == len(np.unique(node))


def test_a_cross_without_a_node() -> None:
    """Two streets of 100 m that cross in their middles: four pieces of 50 m, one junction of four."""
    found = cut([[(0, 0), (100, 0)], [(50, -50), (50, 50)]])
    assert found.length_m.tolist() == pytest.approx([50] * 4)
    assert found.line.tolist() == [0, 0, 1, 1]
    assert degrees(found) == [1, 1, 1, 1, 4]
    assert told(found) == {"streets crossing without a junction": 1}
    assert found.findings[0].first == ("a and b",)
    assert found.account.as_dict() == {
        "rows_in": 2,
        "added": {"cut at junctions": 2},
        "dropped": {},
        "rows_out": 4,
    }
    assert found.node_to[0] == found.node_from[1] == found.node_to[2] == found.node_from[3]


def test_a_node_on_both_lines_is_no_finding() -> None:
    found = cut([[(0, 0), (50, 0)], [(50, 0), (100, 0)], [(50, -50), (50, 0)], [(50, 0), (50, 50)]])
    assert len(found) == 4 and told(found) == {}
    assert degrees(found) == [1, 1, 1, 1, 4]


def test_bridges_do_not_meet_what_they_span() -> None:
    lines = [[(0, 0), (100, 0)], [(50, -50), (50, 50)], [(50, 50), (50, 90)]]
    found = cut(lines, level=np.array([0, 1, 0]))
    assert len(found) == 3 and "streets crossing without a junction" not in told(found)
    assert found.component[1] == found.component[2] != found.component[0]


@pytest.mark.parametrize(("end", "moves"), [(0.0, 0), (0.6, 1), (-0.6, 1)])
def test_t_junctions_within_tolerance(end: float, moves: int) -> None:
    """A street that ends at another, 0.6 m short of it, or 0.6 m beyond."""
    found = cut([[(0, 0), (100, 0)], [(50, 80), (50, end)]])
    assert len(found) == 3 and degrees(found) == [1, 1, 1, 3]
    assert told(found).get("street ends moved", 0) == 3 * moves
    check_joined(found)
    assert len(np.unique(found.component)) == 1


def test_a_gap_beyond_tolerance_stays_a_gap() -> None:
    found = cut([[(0, 0), (100, 0)], [(50, 80), (50, 1.5)]])
    assert len(found) == 2
    assert told(found) == {"streets apart from the rest": 1}
    assert found.findings[0].first == ("b",)


def test_zero_length_and_tiny_lines_go_with_account() -> None:
    found = cut([[(0, 0), (100, 0)], [(100, 0), (100.4, 0)], [(20, 0), (20, 0)]])
    assert found.line.tolist() == [0, 0]
    assert found.account.dropped == {"shorter than snap_m": 2}
    assert told(found)["streets without length"] == 2


def test_a_ring_keeps_its_length() -> None:
    """A close that runs round a green and back into itself: the stem, and one ring of 40 m."""
    ring = [(0, 0), (0, 30), (5, 35), (0, 40), (-5, 35), (0, 30)]
    found = cut([ring, [(-50, 0), (50, 0)]])
    loop = found.node_from == found.node_to
    assert loop.sum() == 1
    assert found.length_m[loop] == pytest.approx(4 * np.hypot(5, 5))
    assert found.length_m.sum() == pytest.approx(30 + 4 * np.hypot(5, 5) + 100)


def test_streets_drawn_twice_the_named_one_stays() -> None:
    line = [(0, 0), (40, 0.3), (100, 0)]
    found = cut(
        [line, line[::-1], [(0, 0.4), (100, 0.2)]], [None, "Oak Street", "Oak Street"], no_crossing=[1, 0, 0]
    )
    assert found.name.tolist() == ["Oak Street"]
    assert found.account.dropped == {"drawn twice": 2}
    assert told(found)["streets drawn twice"] == 2
    assert found.no_crossing.tolist() == [True], "what is known of one drawing counts for all"


def test_a_divided_road_is_not_drawn_twice() -> None:
    found = cut([[(0, 0), (100, 0)], [(100, 9), (0, 9)]], ["High Street", "High Street"])
    assert len(found) == 2


def test_a_street_that_runs_along_another_for_a_while() -> None:
    """They share 40 m: it stands there once, and junctions mark where they part."""
    found = cut([[(0, 0), (100, 0)], [(30, 50), (30, 0), (70, 0), (70, 50)]])
    assert found.length_m.sum() == pytest.approx(100 + 50 + 50)
    assert found.account.dropped == {"drawn twice": 1}
    assert degrees(found) == [1, 1, 1, 1, 3, 3]


def test_names_and_islands_and_long_streets_are_told() -> None:
    found = cut(
        [[(0, 0), (6000, 0)], [(0, 900), (100, 900)], [(6000, 0), (6000, 100)]],
        ["N Oak St", None, "North Oak Street"],
    )
    assert found.streets == ("north oak street",)
    assert found.street.tolist() == [0, -1, 0]
    assert told(found) == {"streets apart from the rest": 1, "streets without a name": 1, "long streets": 1}
    assert found.findings[-1].first == ("a",)


def test_nothing_at_all() -> None:
    assert len(cut([])) == 0


def test_inputs_stay_as_they_are() -> None:
    lines = np.array([shapely.LineString([(0, 0), (100, 0)]), shapely.LineString([(50, 80), (50, 0.6)])])
    before, barred = shapely.to_wkb(lines).tolist(), np.array([False, True])
    segments(
        lines, np.array(["a", "b"], dtype=object), pd.Series(["A", "B"]), barred, snap_m=1.0, longest_m=LONG
    )
    assert shapely.to_wkb(lines).tolist() == before and barred.tolist() == [False, True]


def town_lines(town: Town) -> tuple[np.ndarray, pd.Series]:
    streets = town.streets.to_crs(32621)
    return np.asarray(streets.geometry.array, dtype=object), streets["name"]


def shapes(found: Segments) -> list[str]:
    """The segments whatever their order and direction, to a centimetre."""
    lines = shapely.normalize(shapely.set_precision(found.geometry, 0.01))
    return sorted(shapely.to_wkt(lines, rounding_precision=2))


def test_the_town_cut_already_is_cut_no_further(town: Town) -> None:
    lines, names = town_lines(town)
    found = segments(lines, names.index.astype(str).to_numpy(object), names, np.zeros(len(lines), bool),
                     snap_m=1.0, longest_m=LONG)  # fmt: skip
    assert len(found) == len(lines) and found.line.tolist() == list(range(len(lines)))
    check_joined(found)
    assert told(found) == {"streets without a name": int(names.isna().sum())}


def test_the_town_joined_into_whole_streets_is_cut_as_before(town: Town) -> None:
    lines, names = town_lines(town)
    whole = [shapely.line_merge(shapely.union_all(lines[names == name])) for name in names.dropna().unique()]
    parts, of = shapely.get_parts(np.array(whole), return_index=True)
    named = pd.Series(names.dropna().unique())[of].reset_index(drop=True)
    parts, named = np.concatenate([parts, lines[names.isna()]]), pd.concat([named, names[names.isna()]])
    assert len(parts) < len(lines) / 3
    found = segments(parts, np.arange(len(parts)).astype(str).astype(object), named, np.zeros(len(parts), bool),
                     snap_m=1.0, longest_m=LONG)  # fmt: skip
    before = segments(lines, np.arange(len(lines)).astype(str).astype(object), names, np.zeros(len(lines), bool),
                      snap_m=1.0, longest_m=LONG)  # fmt: skip
    assert len(found) == len(before)
    assert np.sort(found.length_m) == pytest.approx(np.sort(before.length_m), abs=0.05)
    assert degrees(found) == degrees(before)


def test_order_of_lines_does_not_matter(town: Town) -> None:
    lines, names = town_lines(town)
    lines = np.concatenate(
        [lines, [shapely.LineString(shapely.box(*shapely.total_bounds(lines)).exterior.coords[:3])]]
    )
    names = pd.concat([names, pd.Series(["Across Street"])], ignore_index=True)
    order = np.random.default_rng(1).permutation(len(lines))
    ids, barred = np.arange(len(lines)).astype(str).astype(object), np.zeros(len(lines), bool)
    one = segments(lines, ids, names, barred, snap_m=1.0, longest_m=LONG)
    other = segments(lines[order], ids[order], names.iloc[order], barred, snap_m=1.0, longest_m=LONG)
    assert shapes(one) == shapes(other)
    assert one.account == other.account
