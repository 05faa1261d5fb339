"""Light that comes by clear walls pays at every bounce, at glass and at growth alike."""

import math

import numpy as np
import pytest

from server.optics.emitters import Emitter
from server.optics.field import at_points
from server.optics.interface import wall_reflectance
from server.optics.tank import Tank, Walls, Water
from server.optics.walls import folds

LONG_CM, HIGH_CM, DEPTH_CM, LAMP_X, HERE_X = 30.0, 20.0, 60.0, 11.0, 4.0
PPF, BEAM = 80.0, 150.0


def _by_mirror_images() -> float:
    """Sum over the lamp's images in two facing walls, by hand: water without refraction, so the
    ray to each is straight, E = I cos θ / r^2, and the k-th image has bounced k times."""
    exponent = math.log(0.5) / math.log(math.cos(math.radians(BEAM / 2)))
    down, total = HIGH_CM + DEPTH_CM, 0.0
    for n in range(-60, 61):
        image = n * LONG_CM + (LAMP_X if n % 2 == 0 else LONG_CM - LAMP_X)
        across = image - HERE_X
        r = math.hypot(across, down)
        intensity = PPF * (exponent + 1) / (2 * math.pi) * (down / r) ** exponent
        back = float(wall_reflectance(abs(across) / r, n_water=1.0)) ** abs(n)
        total += back * intensity * (down / r) / (r / 100) ** 2
    return total


def test_a_ray_that_bounces_twice_is_weakened_twice() -> None:
    """The image method (textbook optics, from memory) with the reflectance tested elsewhere."""
    tank = Tank(
        length_cm=LONG_CM, width_cm=40, depth_cm=DEPTH_CM, floor_albedo=0.0, cover=False,
        walls=Walls(left="clear", right="clear", front="black", back="black"),
    )  # fmt: skip
    lamp = Emitter(x_cm=LAMP_X, y_cm=20, height_cm=HIGH_CM, ppf_umol_s=PPF, beam_deg=BEAM)
    water = Water(refractive_index=1.0, absorption=((1.0, 0.0),))
    x, y, depth = np.array([HERE_X]), np.array([20.0]), np.array([DEPTH_CM])
    found = at_points(tank, water, (lamp,), x_cm=x, y_cm=y, depth_cm=depth)
    assert float(found[0]) == pytest.approx(_by_mirror_images(), rel=5e-3)


def test_growth_is_crossed_twice_at_every_bounce() -> None:
    """Walked wall by wall: high, low, high and so on, or the other way round."""
    low, high = 0.9, 0.7
    for one in folds(50, low_clear=True, high_clear=True, most=5, film=(low, high)):
        walls = (high, low) if one.side > 0 else (low, high)
        left = math.prod(walls[n % 2] ** 2 for n in range(one.bounces))
        assert one.film == pytest.approx(left)
