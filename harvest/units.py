"""Exact conversions between SI and US customary units. SI inside; customary units only at the edges.

Each factor follows from two definitions: 1 in = 25.4 mm exactly, and 1 US gallon = 231 in³ exactly.
"""

from __future__ import annotations

MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048
M2_PER_SQUARE_FOOT = M_PER_FOOT**2
L_PER_GALLON = 231 * 2.54**3 / 1000
GALLONS_PER_SQUARE_FOOT_INCH = 144 / 231
"""US gallons that one inch of water on one square foot holds; handbooks print 0.6 to 0.625."""

L_PER_M2_MM = 1.0
"""Litres that one millimetre of water on one square metre holds, by definition of both."""


def litres_to_gallons(litres: float) -> float:
    """US gallons in ``litres`` [L]."""
    return litres / L_PER_GALLON


def square_metres_to_square_feet(area_m2: float) -> float:
    """Square feet in ``area_m2`` [m²]."""
    return area_m2 / M2_PER_SQUARE_FOOT


def mm_to_inches(depth_mm: float) -> float:
    """Inches in ``depth_mm`` [mm]."""
    return depth_mm / MM_PER_INCH


def metres_to_feet(length_m: float) -> float:
    """Feet in ``length_m`` [m]."""
    return length_m / M_PER_FOOT
