"""Figures for people: US or metric units, rounded to what they are worth."""

from __future__ import annotations

import math
from collections.abc import Callable

from harvest.units import litres_to_gallons, metres_to_feet, mm_to_inches, square_metres_to_square_feet

US_UNITS = {
    "L": ("gal", litres_to_gallons),
    "L/yr": ("gal a year", litres_to_gallons),
    "L/min": ("gal a minute", litres_to_gallons),
    "m": ("ft", metres_to_feet),
    "m²": ("ft²", square_metres_to_square_feet),
    "mm": ("in", mm_to_inches),
    "mm/h": ("in an hour", mm_to_inches),
    "mm/yr": ("inches a year", mm_to_inches),
}
NAMES = {
    "L/yr": "L a year",
    "L/min": "L a minute",
    "mm/h": "mm an hour",
    "mm/yr": "mm a year",
    "min": "minutes",
    "USD": "",
    "USD/yr": "a year",
    "1": "",
}
"""What stands behind a figure where it is not the unit's own sign."""

MONEY = ("USD", "USD/yr")
MONEY_SIGN = "$"
CENTS_BELOW = 10
"""Dollars below which cents are told."""

WHOLE_DOLLARS_BELOW = 100
"""Dollars below which two digits are told, and from which three are."""

MILLIONS_FROM = 1e7
MISSING = "–"


def read_unit(units: str, unit: str | None) -> tuple[str, Callable[[float], float]]:
    """What people who read ``units`` ("us" or "metric") read for SI ``unit``: its name, and the way to it."""
    if units == "us" and unit in US_UNITS:
        return US_UNITS[unit]
    return NAMES.get(unit, unit) if unit is not None else "", _as_it_is


def shown(value: float | None, unit: str, units: str, digits: int = 3) -> str:
    """``value`` in SI ``unit`` as text, in "us" or "metric" ``units``, to ``digits`` significant digits.

    Money stands behind its sign, to the cent below 10 dollars. A missing value is a dash.
    """
    if value is None or math.isnan(value):
        return MISSING
    return _with_unit(unit, units, _number(value, unit, units, digits))


def shown_range(low: float | None, high: float | None, unit: str, units: str, digits: int = 3) -> str:
    """From ``low`` to ``high``, told as :func:`shown` tells one figure; a dash when either is missing."""
    if low is None or high is None or math.isnan(low) or math.isnan(high):
        return MISSING
    ends = (_number(value, unit, units, digits) for value in (low, high))
    return _with_unit(unit, units, " to ".join(ends))


def rounded(value: float, digits: int = 3) -> str:
    """``value`` to ``digits`` significant digits with thousands separated; millions in words from 10 million."""
    if value == 0:
        return "0"
    exact = float(f"{value:.{digits - 1}e}")
    if abs(exact) >= MILLIONS_FROM:
        number = _plain(exact / 1e6, digits)
        return f"{number.rstrip('0').rstrip('.') if '.' in number else number} million"
    return _plain(exact, digits)


def dollars(value: float) -> str:
    """``value`` [USD] behind its sign: to the cent below 10 dollars, to 2 digits below 100, above to 3."""
    worth = dollars_worth(value)
    if worth == 0:
        return f"{MONEY_SIGN}0"
    return (
        f"{MONEY_SIGN}{worth:.2f}"
        if worth < CENTS_BELOW
        else MONEY_SIGN + rounded(worth, _money_digits(worth))
    )


def dollars_worth(value: float) -> float:
    """``value`` [USD] rounded as :func:`dollars` tells it."""
    cents = round(value, 2)
    return cents if cents < CENTS_BELOW else float(f"{value:.{_money_digits(cents) - 1}e}")


def _money_digits(value: float) -> int:
    return 2 if value < WHOLE_DOLLARS_BELOW else 3


def _number(value: float, unit: str, units: str, digits: int) -> str:
    if unit in MONEY:
        return dollars(value)
    _, converted = read_unit(units, unit)
    return rounded(converted(value), digits)


def _with_unit(unit: str, units: str, text: str) -> str:
    return f"{text} {read_unit(units, unit)[0]}".rstrip()


def _as_it_is(value: float) -> float:
    return value


def _plain(exact: float, digits: int) -> str:
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(exact))))
    return f"{exact:,.{decimals}f}"
