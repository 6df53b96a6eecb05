"""Figures as people read them: units, rounding, and a dash for what is missing."""

from __future__ import annotations

import math

import pytest

from harvest.show.figures import rounded, shown


@pytest.mark.parametrize(
    ("value", "unit", "us", "metric"),
    [
        (3785.411784, "L", "1,000 gal", "3,790 L"),
        (165_160_903.0, "L/yr", "43.6 million gal a year", "165 million L a year"),
        (9.290304, "m²", "100 ft²", "9.29 m²"),
        (25.4, "mm", "1.00 in", "25.4 mm"),
        (1104.6, "mm/yr", "43.5 inches a year", "1,100 mm a year"),
        (3.0, "1", "3.00 1", "3.00 1"),
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


def test_missing_is_a_dash_and_never_zero() -> None:
    assert shown(None, "L", "us") == "–"
    assert shown(math.nan, "L/yr", "metric") == "–"
