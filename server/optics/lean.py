"""Lamps that lean: their light turned with them, and how low each part of their face hangs.

A lamp that faced straight down is turned about a level line through its middle, square to the
direction it leans to. A direction in the room is turned back into the lamp's own frame, where its
intensity is known.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.optics.photometry import IntensityTable, cosine_power

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Leaning:
    """A beam angle [°] or a table, leaning tilt_deg from straight down to toward_deg."""

    lens: float | IntensityTable
    tilt_deg: float
    toward_deg: float

    def per_flux(self, theta_deg: ArrayLike, phi_deg: ArrayLike) -> Floats:
        """Intensity per unit of flux [sr⁻¹] in a direction of the room, shapes broadcast [°]."""
        theta, phi = np.radians(theta_deg), np.radians(phi_deg)
        sine = np.sin(theta)
        way = (sine * np.cos(phi), sine * np.sin(phi), -np.cos(theta))
        turned = turning(self.tilt_deg, self.toward_deg)
        x, y, z = (way[0] * c[0] + way[1] * c[1] + way[2] * c[2] for c in turned.T)
        if isinstance(self.lens, IntensityTable):
            own = np.degrees(np.arccos(np.clip(-z, -1.0, 1.0)))
            return self.lens.per_flux(own, np.degrees(np.arctan2(y, x)))
        power = cosine_power(self.lens)
        return np.asarray((power + 1.0) / (2.0 * np.pi) * np.maximum(-z, 0.0) ** power)


@lru_cache(maxsize=256)
def turning(tilt_deg: float, toward_deg: float) -> Floats:
    """Matrix (3, 3) from the lamp's own axes to the room's: x right, y back, z up.

    Rodrigues' formula about the level line (−sin φ, cos φ, 0); straight down goes to
    (sin τ cos φ, sin τ sin φ, −cos τ).
    """
    tilt, toward = np.radians(-tilt_deg), np.radians(toward_deg)
    line = np.array([-np.sin(toward), np.cos(toward), 0.0])
    across = np.array(
        [[0.0, -line[2], line[1]], [line[2], 0.0, -line[0]], [-line[1], line[0], 0.0]]
    )
    return np.asarray(np.eye(3) + np.sin(tilt) * across + (1 - np.cos(tilt)) * across @ across)
