"""The ground under the town: an angle-keeping map from the straight street plan to UTM coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

UTM = "EPSG:32621"
MIDDLE_LON_LAT = (-58.0, 41.0)
# Waves of the shore, fading inland, and of the hills, fading towards the shore: slope, length in m, phase.
SHORE_WAVES = ((0.15, 1900.0, 2.1), (0.09, 820.0, 0.4))
HILL_WAVES = ((0.16, 1500.0, 0.9), (0.05, 640.0, 2.6))
ROUND_THE_BAY = 0.24
TURN = 0.19
POND_PUSH_M2 = 1300.0


@dataclass(frozen=True)
class Bend:
    """An analytic function of the plane, so that lots stay rectangular while streets curve.

    The town wraps round the bay; waves in the shore fade inland, others fade towards the shore, and streets
    give way to ``ponds`` (places in the plan, complex).
    """

    half_width_m: float
    depth_m: float
    east_m: float
    north_m: float
    ponds: tuple[complex, ...] = ()

    def __call__(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points [n, 2; m] of the plan as UTM eastings and northings [n, 2; m]."""
        z = points[:, 0] + 1j * points[:, 1]
        bent = z - 0.5j * (ROUND_THE_BAY / self.half_width_m) * z * z
        for slope, length, phase in SHORE_WAVES:
            k = 2 * np.pi / length
            bent = bent + slope / k * np.exp(1j * (k * z + phase))
        for slope, length, phase in HILL_WAVES:
            k = 2 * np.pi / length
            bent = bent + slope / k * np.exp(-1j * (k * (z - 1j * self.depth_m) + phase))
        for pond in self.ponds:
            bent = bent + POND_PUSH_M2 / np.where(z == pond, np.inf, z - pond)
        bent = bent * np.exp(1j * TURN)
        return np.column_stack([bent.real + self.east_m, bent.imag + self.north_m])

    def stretch(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """How much longer lengths become at ``points`` [n, 2; m]: a factor [n; 1]."""
        step = self(points + np.array([0.5, 0.0])) - self(points - np.array([0.5, 0.0]))
        return np.hypot(step[:, 0], step[:, 1])


def bend_at_middle(half_width_m: float, depth_m: float, ponds: tuple[complex, ...]) -> Bend:
    """The map that puts the plan's middle at 41° N 58° W."""
    east, north = pyproj.Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(*MIDDLE_LON_LAT)
    return Bend(half_width_m, depth_m, east, north - 0.45 * depth_m, ponds)


def bent(geometry: object, bend: Bend, step_m: float = 12.0) -> object:
    """Geometry of the plan on the ground, its long edges following the curve."""
    return shapely.transform(shapely.segmentize(geometry, step_m), bend)
