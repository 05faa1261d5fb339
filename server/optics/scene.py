"""What one call for direct light works with: the tank, one group of lamps, one level."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from server.optics.sources import Sources
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]
Ways = tuple[tuple[float, float], tuple[float, float]]
"""One number for each axis (x, y) and side (low, high)."""

Receiver = Literal["level", "path", "wall_x", "wall_y", "through_x", "through_y"]
"""What is received. "level": on a face that looks up; "wall_x", "wall_y": on a face that looks
across the tank along x or y; "through_x", "through_y": what a clear wall there lets out; "path":
the light of a level times the path per unit of depth, for what the water takes."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """What one call works with: the tank, one group of sources and the tables for one level."""

    tank: Tank
    water: Water
    sources: Sources
    depth_cm: float
    cell_cm: tuple[float, float]
    receiver: Receiver
    film_at_target: float = 1.0

    @property
    def extents(self) -> tuple[float, float]:
        return self.tank.length_cm, self.tank.width_cm

    @property
    def places(self) -> tuple[Floats, Floats]:
        return self.sources.x_cm, self.sources.y_cm

    @cached_property
    def furthest(self) -> Ways:
        """Longest way above the water along each axis to its low and high rim [cm]."""
        found = []
        for place, extent, piece in zip(
            self.places, self.extents, self.sources.piece_cm, strict=True
        ):
            ways = float(place.max()), extent - float(place.min())
            found.append((max(ways[0], 0.0) + piece / 2.0, max(ways[1], 0.0) + piece / 2.0))
        return found[0], found[1]

    @cached_property
    def sines(self) -> Ways:
        """Greatest sin θ′ |cos φ| that light can have along each axis towards each side.

        Along an axis a ray covers H tan θ |cos φ| above the water. Entering inside the rim that
        is at most the way to the rim, and sin θ′ |cos φ| is then greatest for |cos φ| = 1.
        """
        height, n = self.sources.height_cm, self.water.refractive_index
        return _each(self.furthest, lambda way: way / math.hypot(way, height) / n)

    @cached_property
    def sideways(self) -> Ways:
        """Furthest that light goes under water along each axis towards each side [cm]."""
        return _each(
            self.sines, lambda sine: self.depth_cm * sine / math.sqrt(max(1.0 - sine**2, 1e-6))
        )


def _each(ways: Ways, change: Callable[[float], float]) -> Ways:
    (left, right), (front, back) = ways
    return (change(left), change(right)), (change(front), change(back))
