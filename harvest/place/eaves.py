"""How long the eaves of a roof are, as far as its outline shows."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from harvest.parts import in_parts
from harvest.place.plane import Geometries


def eave_lengths(outlines: Geometries) -> NDArray[np.float64]:
    """Eaves of each roof [n; m]: twice the long side of the smallest rectangle that encloses its outline [n; plane, m].

    A gabled roof sheds over its two long sides and a footprint does not show the ridge, so these stand for
    the eaves; the perimeter would count gable ends and every bay. NaN for an outline that is missing or empty.
    """
    rectangles = in_parts(shapely.oriented_envelope, outlines)
    corners, owner = shapely.get_coordinates(rectangles, return_index=True)
    longest = np.full(len(outlines), np.nan)
    sides = np.hypot(*np.diff(corners, axis=0).T) if len(corners) else np.empty(0)
    within = owner[1:] == owner[:-1]
    np.fmax.at(longest, owner[1:][within], sides[within])
    return 2 * longest
