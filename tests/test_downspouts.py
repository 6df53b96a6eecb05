"""Downspouts and eaves: counts from printed spacing rules, and the laws of the parts they serve."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from harvest.place.eaves import eave_lengths
from harvest.units import M2_PER_SQUARE_FOOT, M_PER_FOOT
from harvest.water.downspouts import downspout_count, mean_served_area, unequal_weights, usable_downspouts

counts = st.lists(st.integers(1, 30), min_size=1, max_size=8).map(np.array)


def one_count(area_ft2: float, eave_ft: float, served_ft2: float, spacing_ft: float, least: int = 1) -> int:
    count = downspout_count(
        np.array([area_ft2 * M2_PER_SQUARE_FOOT]),
        np.array([eave_ft * M_PER_FOOT]),
        area_served_m2=served_ft2 * M2_PER_SQUARE_FOOT,
        spacing_m=spacing_ft * M_PER_FOOT,
        least=least,
    )
    return int(count[0])


@pytest.mark.parametrize("spacing_ft", [20, 50, 60])
def test_spacing(spacing_ft: float) -> None:
    """Univ. Missouri Extension WQ322: typically 20 to 50 ft apart, 60 ft at most; 120 ft of eave: at least 2."""
    assert one_count(500, 120, 5000, spacing_ft) == -(-120 // spacing_ft)
    assert one_count(500, 120, 5000, spacing_ft) >= 2


@pytest.mark.parametrize(("width_in", "depth_in", "most_ft2"), [(2, 3, 600), (3, 4, 1200)])
def test_area_of_a_downspout(width_in: int, depth_in: int, most_ft2: float) -> None:
    """City of Irving TX: 1 in² of downspout for 100 ft² of roof; 2 x 3 in for 600 to 700, 3 x 4 in up to 1,200 ft²."""
    served = 100.0 * width_in * depth_in
    assert served == most_ft2
    assert one_count(most_ft2 - 1, 0, served, 50) == 1
    assert one_count(most_ft2 + 1, 0, served, 50) == 2


def test_count_is_the_largest_of_three() -> None:
    area, eave = np.array([40.0, 300.0, 100.0, 0.0]), np.array([10.0, 20.0, 49.0, 0.0])
    count = downspout_count(area, eave, area_served_m2=55, spacing_m=12, least=2)
    assert count.tolist() == [2, 6, 5, 2]
    assert count.dtype == np.int64


def test_served_areas_by_hand() -> None:
    """Derived: 100 m² over two that serve 0.75 and 1.25 of the middle; over three 0.75 + 1.25 + 0.75 = 2.75 of it."""
    middle = mean_served_area(np.array([100.0, 110.0, 75.0, 0.0]), np.array([2, 3, 1, 4]), 0.25)
    assert middle == pytest.approx([50.0, 40.0, 100.0, 0.0])
    assert unequal_weights(3, 0.25).tolist() == [0.75, 1.25, 0.75]
    assert unequal_weights(4, 0.0).tolist() == [1.0] * 4


@given(counts, st.floats(0, 0.9), st.floats(0, 5000))
def test_downspouts_serve_the_whole_roof(count: np.ndarray, inequality: float, area_m2: float) -> None:
    middle = mean_served_area(np.full(len(count), area_m2), count, inequality)
    weights = unequal_weights(int(count.max()), inequality)
    served = [(one * weights[:number]).sum() for one, number in zip(middle, count, strict=True)]
    assert served == pytest.approx(np.full(len(count), area_m2))
    assert (np.diff(weights[::2]) == 0).all()
    assert (np.diff(weights[1::2]) == 0).all()
    assert (weights[1::2] >= weights[0]).all()


def test_usable_by_hand() -> None:
    """To the nearest whole, halves down, but one at least."""
    count = np.array([1, 2, 3, 4, 5, 7])
    assert usable_downspouts(count, 0.5).tolist() == [1, 1, 1, 2, 2, 3]
    assert usable_downspouts(count, 0.1).tolist() == [1, 1, 1, 1, 1, 1]
    assert usable_downspouts(count, 1.0).tolist() == count.tolist()
    assert usable_downspouts(count, 0.0).tolist() == [0] * 6


def test_refusals() -> None:
    rules = {"area_served_m2": 55.0, "spacing_m": 12.0, "least": 2}
    with pytest.raises(ValueError, match="the area of a roof"):
        downspout_count(np.array([np.nan]), np.ones(1), **rules)
    with pytest.raises(ValueError, match="the eave length of a roof"):
        downspout_count(np.ones(1), -np.ones(1), **rules)
    for name in rules:
        with pytest.raises(ValueError, match="serves more than 0"):
            downspout_count(np.ones(1), np.ones(1), **{**rules, name: 0})
    for wrong in (-0.1, 0.91, np.nan):
        with pytest.raises(ValueError, match=r"between 0 and 0\.9"):
            mean_served_area(np.ones(1), np.array([2]), wrong)
        with pytest.raises(ValueError, match=r"between 0 and 0\.9"):
            unequal_weights(2, wrong)
    for wrong in (-1.0, np.nan, np.inf):
        with pytest.raises(ValueError, match="the area of a roof"):
            mean_served_area(np.array([5.0, wrong]), np.array([2, 2]), 0.25)
    with pytest.raises(ValueError, match="at least 1 downspout"):
        mean_served_area(np.ones(1), np.array([0]), 0.25)
    with pytest.raises(ValueError, match="at least 1 downspout"):
        usable_downspouts(np.array([2, 0]), 0.5)
    for share in (-0.1, 1.5, np.nan):
        with pytest.raises(ValueError, match="between 0 and 1"):
            usable_downspouts(np.array([2]), share)


def test_eaves_are_the_two_long_sides() -> None:
    """A 20 x 8 m house has 40 m of eaves, however it is turned; a wing inside its rectangle adds none."""
    house = shapely.box(0, 0, 20, 8)
    turned = shapely.transform(house, lambda xy: xy @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + 1e5)
    angled = shapely.Polygon([(0, 0), (20, 0), (20, 4), (8, 4), (8, 8), (0, 8)])
    lengths = eave_lengths(np.array([house, turned, angled, shapely.box(0, 0, 5, 5)], dtype=object))
    assert lengths == pytest.approx([40, 40, 40, 10])


def test_eaves_of_nothing() -> None:
    lengths = eave_lengths(np.array([None, shapely.Polygon(), shapely.box(0, 0, 3, 1)], dtype=object))
    assert np.isnan(lengths[:2]).all()
    assert lengths[2] == pytest.approx(6)
    assert eave_lengths(np.array([], dtype=object)).shape == (0,)
