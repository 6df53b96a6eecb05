"""Downspouts and eaves: counts from printed spacing rules, and the laws of the parts they serve."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from harvest.place.eaves import eave_lengths
from harvest.units import M2_PER_SQUARE_FOOT, M_PER_FOOT
from harvest.water.downspouts import (
    downspout_count,
    served_shares,
    usable_downspouts,
    usable_ranks,
    usable_shares,
)

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


def test_shares_by_hand() -> None:
    """Derived: inequality 4 over three is 4 : 2 : 1; over two 4 : 1; one takes all."""
    shares = served_shares(np.array([3, 2, 1]), inequality=4)
    assert shares == pytest.approx(np.array([[4 / 7, 2 / 7, 1 / 7], [0.8, 0.2, 0], [1, 0, 0]]))


@given(counts, st.floats(1, 20))
def test_shares_add_up_and_fall(count: np.ndarray, inequality: float) -> None:
    shares = served_shares(count, inequality=inequality)
    assert shares.shape == (len(count), count.max())
    assert shares.sum(axis=1) == pytest.approx(np.ones(len(count)))
    assert np.all(np.diff(shares, axis=1) <= 1e-15)
    assert ((shares > 0).sum(axis=1) == count).all()
    smallest = shares[np.arange(len(count)), count - 1]
    expected = np.where(count > 1, inequality, 1.0)
    assert shares[:, 0] / smallest == pytest.approx(expected)


def test_equal_shares() -> None:
    assert served_shares(np.array([4]), inequality=1) == pytest.approx(np.full((1, 4), 0.25))


def test_usable_by_hand() -> None:
    """To the nearest whole, halves down, but one at least."""
    count = np.array([1, 2, 3, 4, 5, 7])
    assert usable_downspouts(count, 0.5).tolist() == [1, 1, 1, 2, 2, 3]
    assert usable_downspouts(count, 0.1).tolist() == [1, 1, 1, 1, 1, 1]
    assert usable_downspouts(count, 1.0).tolist() == count.tolist()
    assert usable_downspouts(count, 0.0).tolist() == [0] * 6


def test_which_are_usable_by_hand() -> None:
    """The middle of each equal stretch of the ranking, the smaller of two middles."""
    ranks = usable_ranks(np.array([2, 3, 4, 5, 3]), np.array([1, 1, 2, 2, 3]))
    assert ranks.tolist() == [[1, -1, -1], [1, -1, -1], [1, 3, -1], [1, 3, -1], [0, 1, 2]]


@given(counts, st.floats(0, 1), st.floats(1, 10))
def test_the_choice_is_not_the_hopeful_one(count: np.ndarray, share: float, inequality: float) -> None:
    """The usable lie, on average, at the middle of the ranking or below it, and are different downspouts of the roof.

    A single one never has more than an equal part.
    """
    usable = usable_downspouts(count, share)
    ranks = usable_ranks(count, usable)
    assert ((ranks >= 0).sum(axis=1) == usable).all()
    assert (ranks < count[:, None]).all()
    assert all(len(set(row[row >= 0])) == number for row, number in zip(ranks, usable, strict=True))
    shares = usable_shares(count, usable, inequality=inequality)
    mean_rank = np.where(ranks >= 0, ranks, 0).sum(axis=1) / np.maximum(usable, 1)
    assert np.all((usable == 0) | (mean_rank >= (count - 1) / 2))
    assert np.all((usable != 1) | (shares.sum(axis=1) <= 1 / count + 1e-12))


@given(counts, st.floats(0, 1), st.floats(1, 10))
def test_usable_shares_are_the_served_shares_at_their_ranks(
    count: np.ndarray, share: float, inequality: float
) -> None:
    usable = usable_downspouts(count, share)
    ranks = usable_ranks(count, usable, most=6)
    every = served_shares(count, inequality=inequality)
    expected = np.where(ranks >= 0, np.take_along_axis(every, np.maximum(ranks, 0), axis=1), 0.0)
    assert usable_shares(count, usable, inequality=inequality, most=6) == pytest.approx(expected)


def test_refusals() -> None:
    rules = {"area_served_m2": 55.0, "spacing_m": 12.0, "least": 2}
    with pytest.raises(ValueError, match="the area of a roof"):
        downspout_count(np.array([np.nan]), np.ones(1), **rules)
    with pytest.raises(ValueError, match="the eave length of a roof"):
        downspout_count(np.ones(1), -np.ones(1), **rules)
    for name in rules:
        with pytest.raises(ValueError, match="serves more than 0"):
            downspout_count(np.ones(1), np.ones(1), **{**rules, name: 0})
    with pytest.raises(ValueError, match="at least as large as the smallest"):
        served_shares(np.array([2]), inequality=0.5)
    with pytest.raises(ValueError, match="at least 1 downspout"):
        served_shares(np.array([0]), inequality=2)
    with pytest.raises(ValueError, match="between 0 and 1"):
        usable_downspouts(np.array([2]), 1.5)
    with pytest.raises(ValueError, match="more usable downspouts than downspouts"):
        usable_ranks(np.array([2]), np.array([3]))


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
