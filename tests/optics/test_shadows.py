"""Shadows of plates against closed forms: a screen's edge, a slot, umbra and penumbra.

Closed forms by similar triangles without refraction (n = 1), by Snell's law with it; the light of
the visible part of a square emitter by quadrature of I cos θ / r² (scipy). Derived here.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.optimize import brentq

from server.optics.emitters import Emitter
from server.optics.field import at_points, planes
from server.optics.photometry import cosine_power
from server.optics.tank import Rock, Tank, Walls, Water

BLACK = Walls(left="black", right="black", front="black", back="black")
DARK = Tank(length_cm=100, width_cm=60, depth_cm=50, walls=BLACK, floor_albedo=0)
AIR = Water(refractive_index=1.0, absorption=((1.0, 0.0),))
WATER = Water(refractive_index=1.34, absorption=((1.0, 0.1),))
POINT = Emitter(x_cm=30, y_cm=30, height_cm=20, ppf_umol_s=100, beam_deg=100)
SQUARE = replace(POINT, shape="square", side_cm=12, x_cm=50)
THIN = 1e-3


def plate(left: float, right: float, front: float, back: float, depth: float) -> Rock:
    return Rock(
        left_cm=left, right_cm=right, front_cm=front, back_cm=back, top_cm=depth,
        bottom_cm=depth + THIN, albedo=0,
    )  # fmt: skip


SCREEN = replace(DARK, rocks=(plate(0, 40, 0, 60, 10),))


def edge_of_screen(water: Water, depth_cm: float) -> float:
    """Where the last ray past x = 40 at 10 cm lands, for the point at x = 30, 20 cm up."""
    n = water.refractive_index

    def across(sine: float, down: float) -> float:
        air, wet = sine / np.sqrt(1 - sine**2), sine / np.sqrt(n**2 - sine**2)
        return 20 * air + down * wet

    sine = brentq(lambda s: across(s, 10.0) - 10.0, 0.0, 0.99)
    return 30 + across(sine, depth_cm)


@pytest.mark.parametrize("water", [AIR, WATER])
@pytest.mark.parametrize("depth", [12.0, 25.0, 48.0])
def test_a_half_plane_screen_throws_a_straight_edge(water: Water, depth: float) -> None:
    edge = edge_of_screen(water, depth)
    if water is AIR:
        assert edge == pytest.approx(30 + 10 * (20 + depth) / 30)
    x = np.array([5.0, edge - 0.05, edge + 0.05, edge + 20])
    found = at_points(SCREEN, water, [POINT], x_cm=x, y_cm=30, depth_cm=depth)
    open_water = at_points(DARK, water, [POINT], x_cm=x, y_cm=30, depth_cm=depth)
    assert np.all(found[:2] == 0)
    assert found[2:] == pytest.approx(open_water[2:], rel=2e-3)


@pytest.mark.parametrize("water", [AIR, WATER])
def test_a_cell_that_holds_the_edge_is_an_average(water: Water) -> None:
    # Seen from the middle row the edge is straight: refraction bends it only far to the sides.
    depth, cell = 30.0, 2.0
    edge = edge_of_screen(water, depth)
    row = planes(SCREEN, water, [POINT], depths_cm=[depth], cell_cm=cell)[0].ppfd[15]
    whole = planes(DARK, water, [POINT], depths_cm=[depth], cell_cm=cell)[0].ppfd[15]
    lit = np.clip((np.arange(50) * cell + cell - edge) / cell, 0.0, 1.0)
    assert np.abs(row / whole - lit).max() < 0.07
    assert (row / whole).sum() == pytest.approx(lit.sum(), abs=0.07)


def through(low: tuple[float, float], high: tuple[float, float], at: tuple[float, float],
            depth: float) -> float:  # fmt: skip
    """Light of the part of SQUARE between two corners, at a place, without refraction."""
    m = cosine_power(100)
    down = 20 + depth

    def per_area(y: float, x: float) -> float:
        r2 = (x - at[0]) ** 2 + (y - at[1]) ** 2 + down**2
        return (down / np.sqrt(r2)) ** (m + 1) / r2

    ends = [(max(a, c - 6), min(b, c + 6)) for a, b, c in zip(low, high, (50, 30), strict=True)]
    if any(a >= b for a, b in ends):
        return 0.0
    (left, right), (front, back) = ends
    total, _ = dblquad(per_area, left, right, front, back)
    return 100 * (m + 1) / (2 * np.pi) / 144 * total * 1e4


def seen_past(edge: float, at: float, depth: float) -> float:
    """Where on the emitter's plane the line from a place past an edge 10 cm deep arrives."""
    return at + (edge - at) * (20 + depth) / (depth - 10)


@pytest.mark.parametrize("depth", [16.0, 30.0, 45.0])
def test_a_slot_lets_through_what_is_seen_through_it(depth: float) -> None:
    slot = replace(DARK, rocks=(plate(0, 48, 0, 60, 10), plate(53, 100, 0, 60, 10)))
    x = np.linspace(40, 60, 21)
    found = at_points(slot, AIR, [SQUARE], x_cm=x, y_cm=30, depth_cm=depth)
    for place, ppfd in zip(x, found, strict=True):
        low, high = seen_past(48, place, depth), seen_past(53, place, depth)
        expected = through((low, 0), (high, 60), (place, 30), depth)
        whole = through((0, 0), (100, 60), (place, 30), depth)
        assert ppfd == pytest.approx(expected, abs=0.03 * whole)


@pytest.mark.parametrize("depth", [14.0, 30.0, 45.0])
def test_behind_a_plate_lie_umbra_and_penumbra(depth: float) -> None:
    tank = replace(DARK, rocks=(plate(42, 58, 22, 38, 10),))
    stretch = (depth - 10) / 30
    umbra, outer = 8 + (8 - 6) * stretch, 8 + (8 + 6) * stretch
    y = np.array([30, 30 + umbra - 0.1, 30 + (umbra + outer) / 2, 30 + outer + 0.1])
    found = at_points(tank, AIR, [SQUARE], x_cm=50, y_cm=y, depth_cm=depth)
    whole = at_points(DARK, AIR, [SQUARE], x_cm=50, y_cm=y, depth_cm=depth)
    assert np.all(found[:2] == 0)
    assert found[3] == pytest.approx(whole[3], rel=3e-3)
    past = seen_past(38, y[2], depth)
    expected = through((0, past), (100, 60), (50, y[2]), depth)
    assert 0.3 < expected / whole[2] < 0.7
    assert found[2] == pytest.approx(expected, abs=0.03 * whole[2])


def test_plates_stacked_in_one_rays_way_count_once() -> None:
    one = replace(DARK, rocks=(plate(42, 58, 22, 38, 10),))
    twice = replace(DARK, rocks=(*one.rocks, plate(42, 58, 22, 38, 10 + THIN)))
    here = planes(one, WATER, [SQUARE], depths_cm=[30], cell_cm=2)[0].ppfd
    there = planes(twice, WATER, [SQUARE], depths_cm=[30], cell_cm=2)[0].ppfd
    assert there == pytest.approx(here, rel=1e-3, abs=1e-3 * here.max())


def test_plates_side_by_side_leave_no_gap() -> None:
    whole = replace(DARK, rocks=(plate(20, 80, 10, 50, 10),))
    halves = replace(DARK, rocks=(plate(20, 47.3, 10, 50, 10), plate(47.3, 80, 10, 50, 10)))
    here = planes(whole, WATER, [SQUARE], depths_cm=[30], cell_cm=2)[0].ppfd
    there = planes(halves, WATER, [SQUARE], depths_cm=[30], cell_cm=2)[0].ppfd
    assert there == pytest.approx(here, abs=0.002 * here.max())


def test_points_and_cells_see_the_same_shadows() -> None:
    tank = replace(DARK, rocks=(Rock(left_cm=40, right_cm=55, front_cm=20, back_cm=33, top_cm=12),))
    plane = planes(tank, WATER, [SQUARE], depths_cm=[25], cell_cm=2)[0]
    x, y = np.meshgrid(plane.x_cm, plane.y_cm)
    found = at_points(tank, WATER, [SQUARE], x_cm=x.ravel(), y_cm=y.ravel(), depth_cm=25)
    free = np.isfinite(plane.ppfd)
    off = np.abs(found.reshape(x.shape) - plane.ppfd)[free] / plane.max
    assert np.median(off) < 0.003
    assert np.percentile(off, 95) < 0.05
