"""Classes of a figure: bounds that people can read, none empty, the same for map and GeoPackage."""

from __future__ import annotations

import colorsys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harvest.show.classes import CLASS_COLOURS, class_colours, class_of, quantile_breaks


def test_a_hundred_steps_fall_into_fifths() -> None:
    # By hand: quantiles of 0..1000 at 20, 40, 60, 80 % are 200, 400, 600, 800.
    values = np.arange(1001.0)
    breaks = quantile_breaks(values)
    assert breaks == [200.0, 400.0, 600.0, 800.0]
    assert np.bincount(class_of(values, breaks)).tolist() == [200, 200, 200, 200, 201]


def test_bounds_have_two_significant_digits() -> None:
    values = np.random.default_rng(1).lognormal(11, 1, 5000)
    breaks = quantile_breaks(values)
    assert len(breaks) == 4
    for one in breaks:
        assert one == float(f"{one:.1e}")


def test_a_bound_belongs_to_the_class_above_it() -> None:
    assert class_of(np.array([9.99, 10.0, 10.01, np.nan]), [10.0]).tolist() == [0, 1, 1, -1]


@pytest.mark.parametrize(
    ("values", "breaks"),
    [
        ([], []),
        ([np.nan, np.nan], []),
        ([7.0, 7.0, 7.0], []),
        ([0.0] * 50 + list(range(1000, 1050)), [1000.0]),
        ([101.0, 102.0, 103.0, 104.0], []),
    ],
    ids=["nothing", "only missing", "all equal", "half zero", "alike to two digits"],
)
def test_fewer_classes_where_values_repeat(values: list[float], breaks: list[float]) -> None:
    assert quantile_breaks(np.array(values, dtype=float)) == breaks


def test_colours_do_not_tell_apart_what_is_alike() -> None:
    # By hand: fifths begin at 4.5, 4.6, 5.9 and 6.1; 4.6 is 2 % above 4.5, and 6.1 is 3 % above 5.9.
    assert quantile_breaks(np.repeat([4.0, 4.5, 4.6, 5.9, 6.1], [20, 20, 20, 20, 21])) == [4.5, 5.9]
    # 6.4 is more than a twentieth above 6.0, and 6.6 less than one above 6.4.
    assert quantile_breaks(np.repeat([4.0, 6.0, 6.4, 6.6, 7.0], [20, 20, 20, 20, 21])) == [6.0, 6.4, 7.0]


def test_missing_figures_move_no_bound() -> None:
    values = np.arange(1001.0)
    assert quantile_breaks(np.append(values, [np.nan, np.inf, np.nan])) == quantile_breaks(values)


@settings(deadline=None)
@given(
    st.lists(st.floats(0, 1e9) | st.just(float("nan")), max_size=60),
    st.integers(1, 5),
)
def test_classes_are_ordered_and_none_is_empty(values: list[float], classes: int) -> None:
    column = np.array(values, dtype=float)
    breaks = quantile_breaks(column, classes)
    assert breaks == sorted(set(breaks)) and len(breaks) < max(classes, 1) + 1
    found = class_of(column, breaks)
    assert ((found == -1) == np.isnan(column)).all()
    if np.isfinite(column).any():
        assert set(found[found >= 0]) == set(range(len(breaks) + 1))


def test_colours_darken_and_reach_both_ends() -> None:
    def lightness(colour: str) -> float:
        red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        return colorsys.rgb_to_hls(red, green, blue)[1]

    for classes in range(1, 6):
        colours = class_colours(classes)
        assert len(set(colours)) == classes and set(colours) <= set(CLASS_COLOURS)
        assert colours[0] == CLASS_COLOURS[0]
        assert classes == 1 or colours[-1] == CLASS_COLOURS[-1]
        lights = [lightness(one) for one in colours]
        assert lights == sorted(lights, reverse=True)
