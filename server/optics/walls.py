"""Mirroring walls by unfolding: beyond a clear wall stands an imagined, mirrored tank.

Instead of turning a ray back at a wall the tank is mirrored and the ray goes straight on; a place
then has one image in every imagined tank, and a path pays the wall's reflectance once for every
wall it goes through. Along one axis the angle to all walls is the same. Only clear walls have a
tank behind them: black walls end a path, and diffuse walls end it and start new ones.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.interface import under_surface, wall_reflectance
from server.optics.tank import Tank

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

MAX_IMAGES = 12
"""Most imagined tanks to each side; light that met more walls than that is left out."""

_STEPS = 8192


@dataclass(frozen=True)
class Fold:
    """One imagined tank along an axis: place(x) = start + turn · x, reached by `bounces` walls.

    side: −1 or +1, on which side of the real tank it stands; 0 for the real one. film: what is
    left by the growth on the walls on the way.
    """

    start_cm: float
    turn: int
    bounces: int
    side: int = 0
    film: float = 1.0

    def place(self, along_cm: Floats) -> Floats:
        return self.start_cm + self.turn * along_cm

    def arrives(self, at_cm: float, extent_cm: float) -> bool:
        """Whether a ray straight from the real tank meets a wall's image from inside this tank.

        Of the two images of a wall one is met on the way out, the other is where the ray came in.
        """
        ahead = self.place(np.array([at_cm, extent_cm / 2.0]))
        return self.side == 0 or bool((ahead[0] - ahead[1]) * self.side > 0.0)


def folds(
    extent_cm: float,
    *,
    low_clear: bool,
    high_clear: bool,
    most: int,
    film: tuple[float, float] = (1.0, 1.0),
) -> tuple[Fold, ...]:
    """The imagined tanks along one axis: the real one first, then outwards on both sides.

    film: share of light that growth on the low and the high wall lets by.
    """
    found = [Fold(0.0, 1, 0)]
    for towards_high in (True, False):
        first, second = (high_clear, low_clear) if towards_high else (low_clear, high_clear)
        for bounces in range(1, most + 1):
            if not first or (bounces > 1 and not second):
                break
            found.append(_fold(extent_cm, bounces if towards_high else -bounces, film))
    return tuple(found)


def folds_across(tank: Tank, most: int) -> tuple[Fold, ...]:
    """Imagined tanks to the left and right."""
    walls = tank.walls
    return folds(
        tank.length_cm,
        low_clear=walls.left == "clear",
        high_clear=walls.right == "clear",
        most=min(most, MAX_IMAGES),
        film=(tank.film.left, tank.film.right),
    )


def folds_along(tank: Tank, most: int) -> tuple[Fold, ...]:
    """Imagined tanks to the front and back."""
    walls = tank.walls
    return folds(
        tank.width_cm,
        low_clear=walls.front == "clear",
        high_clear=walls.back == "clear",
        most=min(most, MAX_IMAGES),
        film=(tank.film.front, tank.film.back),
    )


def _fold(extent_cm: float, tank_number: int, film: tuple[float, float]) -> Fold:
    side = 1 if tank_number > 0 else -1
    bounces = abs(tank_number)
    first, second = film if side < 0 else film[::-1]
    left = first ** (2 * ((bounces + 1) // 2)) * second ** (2 * (bounces // 2))
    if tank_number % 2:
        return Fold((tank_number + 1) * extent_cm, -1, bounces, side, left)
    return Fold(tank_number * extent_cm, 1, bounces, side, left)


@lru_cache(maxsize=32)
def wall_table(refractive_index: float) -> Singles:
    """Reflectance of a clear wall at evenly spaced cosines 0–1 to its normal."""
    return wall_reflectance(_cosines(), n_water=refractive_index).astype(np.float32)


@lru_cache(maxsize=32)
def surface_table(refractive_index: float) -> Singles:
    """Reflectance of the water's underside at evenly spaced cosines 0–1 to the vertical."""
    return under_surface(_cosines(), n_water=refractive_index).astype(np.float32)


def looked_up(table: Singles, cosine: NDArray[np.floating]) -> Singles:
    """Nearest entry of one of the two tables above, same shape as cosine."""
    index = (cosine * (_STEPS - 1) + 0.5).astype(np.intp)
    return table.take(np.minimum(index, _STEPS - 1))


def _cosines() -> Floats:
    return np.linspace(0.0, 1.0, _STEPS)
