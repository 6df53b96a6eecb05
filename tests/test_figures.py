"""Figures as people read them: units, rounding, and a dash for what is missing."""

from __future__ import annotations

import math

import pytest

from harvest.show.figures import dollars, dollars_worth, rounded, shown, shown_range


@pytest.mark.parametrize(
    ("value", "unit", "us", "metric"),
    [
        (3785.411784, "L", "1,000 gal", "3,790 L"),
        (165_160_903.0, "L/yr", "43.6 million gal a year", "165 million L a year"),
        (9.290304, "m²", "100 ft²", "9.29 m²"),
        (25.4, "mm", "1.00 in", "25.4 mm"),
        (1104.6, "mm/yr", "43.5 inches a year", "1,100 mm a year"),
        (25.4, "mm/h", "1.00 in an hour", "25.4 mm an hour"),
        (8.71, "min", "8.71 minutes", "8.71 minutes"),
        (3.0, "1", "3.00", "3.00"),
        (0.4948, "USD/yr", "$0.49 a year", "$0.49 a year"),
        (70.0, "USD", "$70", "$70"),
    ],
)
def test_units_that_people_read(value: float, unit: str, us: str, metric: str) -> None:
    assert shown(value, unit, "us") == us
    assert shown(value, unit, "metric") == metric


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (0.01234, "0.0123"),
        (999.6, "1,000"),
        (9_999_999, "10 million"),
        (2.4389e9, "2,440 million"),
        (12e6, "12 million"),
    ],
)
def test_three_significant_digits(value: float, text: str) -> None:
    assert rounded(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "$0"),
        (0.004, "$0"),
        (0.5, "$0.50"),
        (9.994, "$9.99"),
        (9.996, "$10"),
        (12.5, "$12"),
        (99.6, "$100"),
        (123.4, "$123"),
        (1203.9, "$1,200"),
        (12_345_678, "$12.3 million"),
    ],
)
def test_dollars_to_what_they_are_worth(value: float, text: str) -> None:
    assert dollars(value) == text
    assert dollars(dollars_worth(value)) == text


def test_a_range_names_its_unit_once() -> None:
    assert shown_range(3785.411784, 7570.823568, "L/yr", "us") == "1,000 to 2,000 gal a year"
    assert shown_range(615.23, 1203.9, "USD/yr", "metric") == "$615 to $1,200 a year"
    assert shown_range(1.0, None, "L", "us") == shown_range(math.nan, 1.0, "L", "us") == "–"


def test_missing_is_a_dash_and_never_zero() -> None:
    assert shown(None, "L", "us") == "–"
    assert shown(math.nan, "L/yr", "metric") == "–"
