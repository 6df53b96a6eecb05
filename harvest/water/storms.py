"""One storm at a barrel: the rain that fills it, the minutes that takes, and its part of the whole roof's first inch.

The litres of a storm are :func:`harvest.water.capture.runoff` of its depth. A barrel fills early in a storm, before
the peak, so none of these says that it reduces flooding.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from harvest.units import MM_PER_INCH
from harvest.water.capture import runoff

Floats = NDArray[np.float64]
MINUTES_PER_HOUR = 60.0


def depth_to_fill_mm(usable_l: float | Floats, area_m2: Floats, coefficient: float) -> Floats:
    """Rain [n; mm] on ``area_m2`` [n; m², what drains to the barrel] that brings ``usable_l`` [n or one; L].

    Infinite where nothing drains to the barrel. Raises ``ValueError`` for a negative volume or area, or a
    coefficient outside 0 to 1.
    """
    _check_not_negative("a volume", usable_l)
    _check_not_negative("an area", area_m2)
    litres_a_mm = runoff(area_m2, np.ones_like(area_m2, dtype=float), coefficient)
    volume, brought = np.broadcast_arrays(np.asarray(usable_l, dtype=float), litres_a_mm)
    return np.asarray(np.divide(volume, brought, out=np.full(brought.shape, np.inf), where=brought > 0))


def minutes_to_fill(
    volume_l: float | Floats, area_m2: Floats, intensity_mm_h: float, coefficient: float
) -> Floats:
    """Minutes [n] of rain at ``intensity_mm_h`` [mm/h] on ``area_m2`` [n; m²] that bring ``volume_l`` [n or one; L].

    Infinite where nothing drains to the barrel. Raises ``ValueError`` as :func:`depth_to_fill_mm`, and for an
    intensity that is not above 0.
    """
    if not intensity_mm_h > 0:
        raise ValueError(f"rain falls at more than 0 mm an hour, not at {intensity_mm_h}")
    return np.asarray(depth_to_fill_mm(volume_l, area_m2, coefficient) / intensity_mm_h * MINUTES_PER_HOUR)


def share_of_first_inch(
    usable_l: float | Floats,
    empty_share: float | Floats,
    roof_m2: Floats,
    coefficient: float,
    *,
    served_share: float | Floats = 1.0,
) -> Floats:
    """What barrels take of the first inch that the whole roof ``roof_m2`` [n; m²] sheds [n; 1].

    ``usable_l`` [n or one; L] times ``empty_share`` [n or one; 1], how empty they are when a storm comes, over
    the runoff of 25.4 mm from the whole roof; never more than ``served_share`` [n or one; 1], the part of the
    roof that drains to them. NaN where the roof sheds nothing. Raises ``ValueError`` for a negative volume or area,
    or a share or coefficient outside 0 to 1.
    """
    _check_not_negative("a volume", usable_l)
    _check_not_negative("an area", roof_m2)
    for what, share in (("how empty a barrel is", empty_share), ("the share of a roof", served_share)):
        if not np.all((np.asarray(share) >= 0) & (np.asarray(share) <= 1)):
            raise ValueError(f"{what} lies between 0 and 1")
    inch = runoff(roof_m2, np.full_like(roof_m2, MM_PER_INCH, dtype=float), coefficient)
    room, shed = np.broadcast_arrays(np.asarray(usable_l) * np.asarray(empty_share), inch)
    taken = np.divide(room, shed, out=np.full(shed.shape, np.nan), where=shed > 0)
    return np.asarray(np.minimum(taken, served_share))


def _check_not_negative(what: str, value: float | Floats) -> None:
    if not np.all(np.asarray(value) >= 0):
        raise ValueError(f"{what} must be a number and not negative")
