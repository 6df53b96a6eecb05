"""Figures for people: US or metric units, rounded to what they are worth."""

from __future__ import annotations

import math

from harvest.units import litres_to_gallons, mm_to_inches, square_metres_to_square_feet

US_UNITS = {
    "L": ("gal", litres_to_gallons),
    "L/yr": ("gal a year", litres_to_gallons),
    "m²": ("ft²", square_metres_to_square_feet),
    "mm": ("in", mm_to_inches),
    "mm/yr": ("inches a year", mm_to_inches),
}
MILLIONS_FROM = 1e7
METRIC_NAMES = {"L/yr": "L a year", "mm/yr": "mm a year"}


def shown(value: float | None, unit: str, units: str, digits: int = 3) -> str:
    """``value`` in SI ``unit`` as text, in "us" or "metric" ``units``, to ``digits`` significant digits.

    A missing value is a dash.
    """
    if value is None or math.isnan(value):
        return "–"
    name = METRIC_NAMES.get(unit, unit)
    if units == "us" and unit in US_UNITS:
        name, convert = US_UNITS[unit]
        value = convert(value)
    return f"{rounded(value, digits)} {name}"


def rounded(value: float, digits: int = 3) -> str:
    """``value`` to ``digits`` significant digits with thousands separated; millions in words from 10 million."""
    if value == 0:
        return "0"
    exact = float(f"{value:.{digits - 1}e}")
    if abs(exact) >= MILLIONS_FROM:
        number = _plain(exact / 1e6, digits)
        return f"{number.rstrip('0').rstrip('.') if '.' in number else number} million"
    return _plain(exact, digits)


def _plain(exact: float, digits: int) -> str:
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(exact))))
    return f"{exact:,.{decimals}f}"
