"""Runoff of one storm by the NRCS curve number, for comparison beside the runoff coefficient, and nowhere else.

The two answer different questions. A curve number is for one design storm: it takes a fixed depth first (for a roof,
CN 98, about 1 mm) and loses ever less of what follows, so a small rain loses most and a large one almost nothing. A
runoff coefficient is the share of *all* rain, in drizzle and downpour, and also holds what splashes over the gutter
or blows off. So a roof of CN 98 sheds 79 % of 1 inch and 98 % of 10 inches, while its coefficient stays at, say, 0.8.

TR-55 is USDA 1986, *Urban Hydrology for Small Watersheds*, Technical Release 55, chapter 2.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from harvest.units import MM_PER_INCH

Floats = NDArray[np.float64]

ROOF_CURVE_NUMBER = 98.0
"""Roofs and pavement on every soil, TR-55 Table 2-2a."""


def retention_mm(curve_number: float | Floats) -> Floats:
    """The most that the ground can hold back after runoff begins, S [mm], TR-55 eq. 2-4: 1000/CN - 10 inches.

    Raises ``ValueError`` for a curve number that is not above 0 and at most 100.
    """
    number = np.asarray(curve_number, dtype=float)
    if not np.all((number > 0) & (number <= 100)):
        raise ValueError("a curve number lies above 0 and at most at 100")
    return np.asarray((1000.0 / number - 10.0) * MM_PER_INCH)


def initial_abstraction_mm(curve_number: float | Floats) -> Floats:
    """Rain before any runs off, Ia [mm], TR-55 eq. 2-2: 0.2 S."""
    return np.asarray(0.2 * retention_mm(curve_number))


def storm_runoff_mm(rain_mm: Floats, curve_number: float | Floats = ROOF_CURVE_NUMBER) -> Floats:
    """Depth that runs off in one storm, Q [mm], from its ``rain_mm``, TR-55 eq. 2-3: (P - 0.2 S)² / (P + 0.8 S).

    0 where the rain does not exceed the initial abstraction. Raises ``ValueError`` for rain that is negative or
    missing, or as :func:`retention_mm`.
    """
    if not np.all(np.asarray(rain_mm) >= 0):
        raise ValueError("rain must be a number and not negative")
    beyond = np.maximum(rain_mm - initial_abstraction_mm(curve_number), 0.0)
    reach = beyond + retention_mm(curve_number)
    return np.asarray(np.divide(beyond**2, reach, out=np.zeros_like(reach), where=reach > 0))
