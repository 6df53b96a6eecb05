"""Roofs counted once, given to parcels, divided, stacked, padded; and the offset between layers."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from harvest.place.offset import check_offset, offset
from harvest.place.ownership import check_shares, shares
from harvest.place.roofs import roofs
from harvest.place.sites import sites

RULES = {"sliver_share": 0.25, "sliver_width_m": 1.0, "least_share": 0.2}


def shapes(*polygons: shapely.Geometry) -> np.ndarray:
    return np.array(polygons, dtype=object)


def names(count: int) -> np.ndarray:
    return np.array([f"r{i}" for i in range(count)], dtype=object)


def lots(count: int, width: float = 10.0, depth: float = 30.0) -> np.ndarray:
    """A row of lots side by side."""
    return shapely.box(np.arange(count) * width, 0, (np.arange(count) + 1) * width, depth)


def table(found, roof: int) -> dict[int, float]:
    return {
        int(p): float(s) for r, p, s in zip(found.roof, found.parcel, found.share, strict=True) if r == roof
    }


# roof to parcel


def test_roof_inside_a_parcel_goes_to_it_whole() -> None:
    found = shares(shapes(shapely.box(2, 5, 8, 15)), lots(3), **RULES)
    assert table(found, 0) == {0: 1.0}
    assert found.held[0] == 1
    assert found.outside[0] == 0


def test_row_house_block_is_divided_in_proportion() -> None:
    """One outline over three lots: 8 m, 10 m and 6 m of its 24 m."""
    found = shares(shapes(shapely.box(2, 5, 26, 15)), lots(3), **RULES)
    assert table(found, 0) == pytest.approx({0: 8 / 24, 1: 10 / 24, 2: 6 / 24})
    assert found.divided.all()


def test_sliver_is_digitising_error() -> None:
    """0.4 m of an 8 m wide roof reaches over the line: the neighbour does not own it."""
    found = shares(shapes(shapely.box(2.4, 5, 10.4, 15)), lots(3), **RULES)
    assert table(found, 0) == {0: 1.0}
    assert found.slivers == 1
    assert found.held[0] == pytest.approx(0.95)


def test_wide_piece_is_real_even_when_small_in_share() -> None:
    """A 60 m hall reaching 3 m over the line: 5 % of the roof, but far too wide for an error."""
    found = shares(
        shapes(shapely.box(0, 0, 63, 30)),
        shapes(shapely.box(0, 0, 60, 40), shapely.box(60, 0, 99, 40)),
        **RULES,
    )
    assert table(found, 0) == pytest.approx({0: 60 / 63, 1: 3 / 63})


def test_narrow_shed_shared_by_two_is_real() -> None:
    """A shed of 1.8 m across the line: each half is narrow, but half of a roof is no sliver."""
    found = shares(shapes(shapely.box(9.1, 5, 10.9, 9)), lots(2), **RULES)
    assert table(found, 0) == pytest.approx({0: 0.5, 1: 0.5})


def test_what_lies_on_no_parcel_goes_with_the_rest() -> None:
    """A porch over the pavement still drains into the same gutter."""
    found = shares(shapes(shapely.box(2, -3, 8, 9)), lots(1), **RULES)
    assert table(found, 0) == {0: 1.0}
    assert found.outside[0] == pytest.approx(0.25)
    (note,) = check_shares(found, names(1), np.array([72.0]))
    assert note.check == "roofs reaching beyond parcels"


def test_roof_hardly_on_any_parcel_stays_unplaced() -> None:
    found = shares(shapes(shapely.box(2, -9, 8, 1), shapely.box(100, 100, 110, 110)), lots(1), **RULES)
    assert len(found.roof) == 0
    note = check_shares(found, names(2), np.array([60.0, 100.0]))[0]
    assert (note.check, note.count) == ("roofs on no parcel", 2)


def test_pad_inside_common_ground_takes_the_roof() -> None:
    """Townhouse pads lie on top of the common parcel; the pool house beside them is the common parcel's."""
    common = shapely.box(0, 0, 60, 60)
    pads = [shapely.box(5, 5, 15, 20), shapely.box(15, 5, 25, 20)]
    homes = [shapely.box(6, 6, 15, 19), shapely.box(15, 6, 24, 19), shapely.box(40, 40, 50, 50)]
    ground = shapes(common, *pads)
    lying = sites(ground, coincident_share=0.95)
    assert lying.common.tolist() == [True, False, False]
    assert not lying.stacked.any()
    found = shares(shapes(*homes), ground, **RULES)
    assert [table(found, i) for i in range(3)] == [{1: 1.0}, {2: 1.0}, {0: 1.0}]


def test_home_reaching_beyond_its_pad_is_shared_with_the_common_ground() -> None:
    found = shares(
        shapes(shapely.box(6, 6, 20, 16)),
        shapes(shapely.box(0, 0, 60, 60), shapely.box(5, 5, 15, 20)),
        **RULES,
    )
    assert table(found, 0) == pytest.approx({0: 5 / 14, 1: 9 / 14})


def test_stacked_parcels_are_one_site() -> None:
    tower = shapely.box(0, 0, 20, 20)
    nearly = shapely.box(0.05, 0, 20.05, 20)
    lying = sites(shapes(shapely.box(30, 0, 50, 20), tower, nearly, tower), coincident_share=0.95)
    assert lying.host.tolist() == [0, 1, 1, 1]
    assert lying.stacked.tolist() == [False, True, True, True]
    assert lying.hosts.tolist() == [0, 1]
    assert not lying.common.any()


def test_stacked_parcels_that_bend_around_their_centroid_are_one_site() -> None:
    bend = shapely.box(0, 0, 30, 30).difference(shapely.box(4, 4, 30, 30))
    assert not bend.contains(bend.centroid)
    assert sites(shapes(bend, bend), coincident_share=0.95).host.tolist() == [0, 0]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_shares_add_up_to_one_and_order_does_not_matter(seed: int) -> None:
    """Litres are conserved because shares are: every placed roof is given away exactly once."""
    rng = np.random.default_rng(seed)
    ground = np.concatenate([lots(12), shapely.box(rng.uniform(0, 100, 3), 0, rng.uniform(100, 120, 3), 30)])
    x, y = rng.uniform(-10, 120, 30), rng.uniform(-10, 30, 30)
    homes = shapely.box(x, y, x + rng.uniform(1, 30, 30), y + rng.uniform(1, 20, 30))
    found = shares(homes, ground, **RULES)
    total = np.bincount(found.roof, found.share, 30)
    placed = np.bincount(found.roof, minlength=30) > 0
    assert total[placed] == pytest.approx(1, abs=1e-12)
    back = rng.permutation(30)
    again = shares(homes[back], ground, **RULES)
    for new, old in enumerate(back):
        assert table(again, new) == pytest.approx(table(found, int(old)), rel=1e-12)


# roofs counted once


def test_duplicates_are_counted_once_and_the_larger_stays() -> None:
    pair = shapes(shapely.box(0.5, 0.5, 10, 10), shapely.box(0, 0, 10, 10), shapely.box(30, 0, 40, 10))
    found = roofs(pair, names(3), eaves_m=0, duplicate_share=0.8)
    assert found.kept.tolist() == [1, 2]
    assert found.account.dropped == {"duplicate of another footprint": 1}
    (note,) = found.findings
    assert note.first == ("r0",)


def test_equal_duplicates_go_by_id_whatever_their_order() -> None:
    same = shapes(shapely.box(0, 0, 10, 10), shapely.box(0, 0, 10, 10))
    assert roofs(same, names(2), eaves_m=0, duplicate_share=0.8).kept.tolist() == [0]


def test_a_dropped_duplicate_drops_no_other() -> None:
    """The second lies on the first, the third mostly on the second: with the second gone, the third stays."""
    row = shapes(shapely.box(0, 0, 10, 10), shapely.box(1.5, 0, 11.5, 10), shapely.box(3, 0, 13, 10))
    found = roofs(row, names(3), eaves_m=0, duplicate_share=0.8)
    assert found.kept.tolist() == [0, 2]
    assert shapely.area(found.outline).tolist() == pytest.approx([100, 30])


def test_partial_overlap_is_cut_from_the_smaller() -> None:
    pair = shapes(shapely.box(0, 0, 10, 10), shapely.box(8, 0, 14, 8))
    found = roofs(pair, names(2), eaves_m=0, duplicate_share=0.8)
    assert shapely.area(found.outline).tolist() == pytest.approx([100, 32])
    assert shapely.area(shapely.union_all(found.outline)) == pytest.approx(132)
    assert found.changed.tolist() == [False, True]
    assert "16.0 m²" in found.findings[0].message


def test_walls_that_touch_are_no_overlap() -> None:
    found = roofs(
        shapes(shapely.box(0, 0, 6, 10), shapely.box(6, 0, 12, 10)), names(2), eaves_m=0, duplicate_share=0.8
    )
    assert len(found.kept) == 2
    assert not found.findings


def test_eaves_widen_a_roof_and_row_houses_do_not_gain_from_each_other() -> None:
    row = shapes(shapely.box(0, 0, 6, 10), shapely.box(6, 0, 12, 10))
    found = roofs(row, names(2), eaves_m=0.5, duplicate_share=0.8)
    assert shapely.area(found.outline).sum() == pytest.approx(13 * 11)
    assert found.changed.all()


def test_slope_does_not_change_the_catchment() -> None:
    """Greywater Action FAQ: it is the footprint that counts; a 12-in-12 roof has 1.414 times the slope area.

    A footprint is the roof from above, so a flat and a steep roof over it have one and the same area here,
    and no setting multiplies by a slope.
    """
    from harvest.project import json_schema

    plan = roofs(shapes(shapely.box(0, 0, 10, 10)), names(1), eaves_m=0, duplicate_share=0.8)
    assert shapely.area(plan.outline)[0] == 100
    assert not [name for name in str(json_schema()).lower().split("'") if "slope" in name or "pitch" in name]


# the offset between layers


def row_house_town(move: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Rows of party-wall houses in two directions, their roofs moved against the lots."""
    along = [shapely.box(i * 6.0, j * 60.0, i * 6.0 + 6, j * 60.0 + 25) for j in range(4) for i in range(15)]
    up = [
        shapely.box(200 + j * 60.0, i * 6.0, 225 + j * 60.0, i * 6.0 + 6) for j in range(4) for i in range(15)
    ]
    homes = [shapely.box(*np.add(lot.bounds, (0, 3, 0, -12))) for lot in along]
    homes += [shapely.box(*np.add(lot.bounds, (3, 0, -12, 0))) for lot in up]
    moved = shapely.transform(shapes(*homes), lambda xy: xy + np.array(move))
    return moved, shapes(*along, *up)


@pytest.mark.parametrize("move", [(0.4, 0.0), (0.9, -0.7), (-1.5, 1.1)])
def test_offset_is_measured(move: tuple[float, float]) -> None:
    homes, ground = row_house_town(move)
    found = offset(homes, ground, shares(homes, ground, **RULES).held)
    assert found is not None
    assert (found.east_m, found.north_m) == pytest.approx(move, abs=0.03)


def test_no_offset_where_there_is_none() -> None:
    homes, ground = row_house_town((0.0, 0.0))
    assert offset(homes, ground, shares(homes, ground, **RULES).held) is None


def layer(crs: str | int, bounds: tuple[float, float, float, float]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=[shapely.box(*bounds)], crs=crs)


def test_offset_finding_names_feet() -> None:
    """Two kilometres of false easting in a million feet: survey against international feet is 2 ppm."""
    homes, ground = row_house_town((1.2, 0.0))
    found = offset(homes, ground, shares(homes, ground, **RULES).held)
    feet = layer(2249, (1_960_000, 100, 1_970_000, 5_000))
    (told,) = check_offset(found, offset_m=0.5, footprints=layer(26986, (0, 0, 1, 1)), parcels=feet)
    assert "feet" in told.remedy
    assert "1.2 m east" in told.message
    assert "Nothing was moved" in told.message


def test_offset_finding_names_two_datums_and_small_ones_pass() -> None:
    homes, ground = row_house_town((0.9, -0.7))
    found = offset(homes, ground, shares(homes, ground, **RULES).held)
    nad83, wgs84 = layer(26986, (0, 0, 1, 1)), layer(32619, (0, 0, 1, 1))
    (told,) = check_offset(found, offset_m=0.5, footprints=wgs84, parcels=nad83)
    assert "two datums" in told.remedy
    assert check_offset(found, offset_m=2.0, footprints=wgs84, parcels=nad83) == []
