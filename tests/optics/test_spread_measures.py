"""Measures of spread against a plane whose answer is known."""

import numpy as np
import pytest

from server.optics.emitters import Emitter
from server.optics.field import Plane, planes
from server.optics.spread_measures import footprint, share_within
from server.optics.tank import Tank, Walls, Water

BLACK = Walls(left="black", right="black", front="black", back="black")


def test_half_value_width_of_a_point_in_air_is_that_of_its_closed_form() -> None:
    # E = E₀ cosᵐ⁺³ θ for a generalised Lambertian point over a level (Kahn & Barry 1997).
    tank = Tank(length_cm=200, width_cm=160, depth_cm=20, walls=BLACK, floor_albedo=0.0)
    air = Water(refractive_index=1.0, absorption=((1.0, 0.0),))
    lamp = Emitter(x_cm=100, y_cm=80, height_cm=30, ppf_umol_s=100, beam_deg=90)
    plane = planes(tank, air, [lamp], depths_cm=[10], cell_cm=1.0)[0]
    found = footprint(plane)
    assert found is not None
    width = 2 * 40 * np.sqrt(0.5 ** (-2 / 5) - 1)
    assert found.width_x_cm == pytest.approx(width, rel=0.02)
    assert found.width_y_cm == pytest.approx(width, rel=0.02)
    assert not found.to_wall_x
    assert found.area_share == pytest.approx(np.pi * width**2 / 4 / (200 * 160), rel=0.05)


def plane_of(ppfd: list[list[float]]) -> Plane:
    values = np.array(ppfd)
    return Plane(
        depth_cm=1,
        x_cm=np.arange(values.shape[1]) * 2.0 + 1,
        y_cm=np.arange(values.shape[0]) * 2.0 + 1,
        ppfd=values,
    )


def test_a_width_that_meets_a_wall_ends_there_and_says_so() -> None:
    found = footprint(plane_of([[100, 80, 60, 40, 0]]))
    assert found is not None
    assert found.width_x_cm == pytest.approx(2 * (2.5 + 0.5))
    assert found.to_wall_x
    assert found.to_wall_y


def test_a_dark_level_has_no_footprint() -> None:
    assert footprint(plane_of([[0.0, 0.0]])) is None


def test_share_within_counts_both_ends() -> None:
    plane = plane_of([[100, 150], [200, 250]])
    assert share_within(plane, low_ppfd=150, high_ppfd=200) == 0.5
