"""Laws any light field keeps, and the edges of what may be asked."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.optics.among_rocks import needs_rays
from server.optics.emitters import Emitter
from server.optics.field import at_points, cell_count, planes, share_into_water
from server.optics.photometry import lens_table
from server.optics.tank import Tank, Walls, Water

CUBE = Tank(length_cm=60, width_cm=40, depth_cm=40, floor_albedo=0.2)
WATER = Water()
LAMP = Emitter(x_cm=24, y_cm=13, height_cm=20, ppf_umol_s=100, beam_deg=90)

walls = st.one_of(st.sampled_from(["clear", "black"]), st.sampled_from([0.0, 0.3, 0.9, 1.0]))
tanks = st.builds(
    Tank,
    length_cm=st.sampled_from([20.0, 60.0, 150.0]),
    width_cm=st.sampled_from([25.0, 50.0]),
    depth_cm=st.sampled_from([8.0, 30.0, 60.0]),
    walls=st.builds(Walls, left=walls, right=walls, front=walls, back=walls),
    floor_albedo=st.sampled_from([0.0, 0.1, 1.0]),
    cover=st.booleans(),
)
waters = st.builds(
    Water,
    refractive_index=st.sampled_from([1.0, 1.2, 1.339, 1.6]),
    absorption=st.sampled_from(
        [((1.0, 0.0),), ((1.0, 0.1),), ((0.5, 0.02), (0.5, 2.0)), ((1.0, 60.0),)]
    ),
)


@st.composite
def emitters(draw: st.DrawFn) -> Emitter:
    shape = draw(st.sampled_from(["point", "tube", "square"]))
    return Emitter(
        shape=shape,
        x_cm=draw(st.floats(-30, 180)),
        y_cm=draw(st.floats(-30, 80)),
        height_cm=draw(st.floats(0.1, 120)),
        ppf_umol_s=draw(st.sampled_from([0.0, 1.0, 500.0])),
        beam_deg=draw(st.floats(5, 170)),
        length_cm=draw(st.floats(1, 150)) if shape == "tube" else None,
        side_cm=draw(st.floats(0.5, 40)) if shape == "square" else None,
        along=draw(st.sampled_from(["x", "y"])),
    )


def mean_of(tank: Tank, water: Water, lamps: list[Emitter], depth_cm: float) -> float:
    return planes(tank, water, lamps, depths_cm=[depth_cm], cell_cm=4.0)[0].mean


@settings(max_examples=15)
@given(tank=tanks, water=waters, lamps=st.lists(emitters(), min_size=1, max_size=3))
def test_any_valid_input_gives_finite_light_that_is_never_negative(
    tank: Tank, water: Water, lamps: list[Emitter]
) -> None:
    depths = [0.0, tank.depth_cm / 3, tank.depth_cm]
    for plane in planes(tank, water, lamps, depths_cm=depths, cell_cm=7.0):
        assert np.all(np.isfinite(plane.ppfd))
        assert plane.ppfd.min() >= 0.0
        assert 0.0 <= plane.uniformity <= 1.0 + 1e-12
    assert 0.0 <= share_into_water(tank, water, lamps) <= 1.0


@settings(max_examples=15)
@given(tank=tanks, water=waters, lamp=emitters())
def test_light_that_crosses_the_surface_arrives_just_below_it(
    tank: Tank, water: Water, lamp: Emitter
) -> None:
    # With nothing scattered back the downward light of the top level is what entered.
    dark = replace(
        tank,
        floor_albedo=0.0,
        walls=Walls(left="black", right="black", front="black", back="black"),
    )
    lamp = replace(lamp, height_cm=max(lamp.height_cm, 4.0), ppf_umol_s=100.0)
    top = planes(dark, water, [lamp], depths_cm=[0.0], cell_cm=1.0)[0]
    arrived = top.mean * dark.length_cm * dark.width_cm / 1e4
    entered = 100.0 * share_into_water(dark, water, [lamp])
    assert arrived == pytest.approx(entered, rel=0.02, abs=0.05)


@settings(max_examples=10)
@given(tank=tanks, water=waters, lamp=emitters(), power=st.floats(0.01, 20))
def test_light_is_in_proportion_to_the_lamp_and_lamps_add_up(
    tank: Tank, water: Water, lamp: Emitter, power: float
) -> None:
    other = replace(LAMP, x_cm=5.0)
    depth = tank.depth_cm / 2
    both = mean_of(tank, water, [replace(lamp, ppf_umol_s=power * lamp.ppf_umol_s), other], depth)
    apart = power * mean_of(tank, water, [lamp], depth) + mean_of(tank, water, [other], depth)
    assert both == pytest.approx(apart, rel=1e-4)


@settings(max_examples=10)
@given(tank=tanks, water=waters, lamp=emitters())
def test_a_mirrored_tank_has_the_mirrored_light(tank: Tank, water: Water, lamp: Emitter) -> None:
    mirrored_walls = replace(tank.walls, left=tank.walls.right, right=tank.walls.left)
    mirrored = replace(tank, walls=mirrored_walls)
    turned = replace(lamp, x_cm=tank.length_cm - lamp.x_cm)
    depth = [0.6 * tank.depth_cm]
    here = planes(tank, water, [lamp], depths_cm=depth, cell_cm=5.0)[0].ppfd
    there = planes(mirrored, water, [turned], depths_cm=depth, cell_cm=5.0)[0].ppfd[:, ::-1]
    scale = max(here.max(), 1e-6)
    if needs_rays(tank, water):
        # Rays find a spot of a few square centimetres by chance: cells differ by some percent.
        assert here.mean() == pytest.approx(there.mean(), rel=0.03, abs=1e-6)
        assert np.median(np.abs(here - there)) < 0.02 * scale
    else:
        assert np.allclose(here, there, rtol=0.01, atol=0.003 * scale)


def test_turning_the_tank_a_quarter_turns_the_light() -> None:
    tube = Emitter(
        shape="tube", x_cm=24, y_cm=13, height_cm=12, ppf_umol_s=80, beam_deg=120, length_cm=40
    )
    here = planes(CUBE, WATER, [tube], depths_cm=[25], cell_cm=2.0)[0].ppfd
    turned_tank = replace(CUBE, length_cm=40, width_cm=60)
    turned = replace(tube, x_cm=13, y_cm=24, along="y")
    there = planes(turned_tank, WATER, [turned], depths_cm=[25], cell_cm=2.0)[0].ppfd
    assert np.allclose(here, there.T, rtol=2e-3)


def test_a_sensor_and_a_point_may_change_places_sideways() -> None:
    # Reciprocity of the plain path: light depends on the distance between foot and sensor only.
    black = Walls(left="black", right="black", front="black", back="black")
    tank = replace(CUBE, walls=black, floor_albedo=0.0)
    there = at_points(tank, WATER, [replace(LAMP, x_cm=20, y_cm=15)], x_cm=44, y_cm=30, depth_cm=30)
    back = at_points(tank, WATER, [replace(LAMP, x_cm=44, y_cm=30)], x_cm=20, y_cm=15, depth_cm=30)
    assert there[0] == pytest.approx(back[0], rel=1e-5)


def test_more_of_anything_that_takes_light_leaves_less() -> None:
    def mean(**changes: object) -> float:
        tank = replace(CUBE, **{k: v for k, v in changes.items() if k != "per_m"})
        water = Water(absorption=((1.0, float(changes.get("per_m", 0.1))),))
        return mean_of(tank, water, [LAMP], 30)

    usual = mean()
    assert mean(cover=True) < usual
    assert mean(per_m=0.3) < usual
    assert mean(floor_albedo=0.0) < usual < mean(floor_albedo=0.6)
    black = Walls(left="black", right="black", front="black", back="black")
    assert mean(walls=replace(CUBE.walls, left="black")) < usual
    assert (
        mean(walls=black)
        < mean(walls=replace(black, left=0.5))
        < mean(walls=replace(black, left=0.9))
    )


def test_single_points_read_what_the_cells_around_them_read() -> None:
    plane = planes(CUBE, WATER, [LAMP], depths_cm=[30], cell_cm=2.0)[0]
    x, y = np.meshgrid(plane.x_cm[5:25:4], plane.y_cm[4:16:4])
    found = at_points(CUBE, WATER, [LAMP], x_cm=x.ravel(), y_cm=y.ravel(), depth_cm=30)
    off = np.abs(found.reshape(x.shape) / plane.ppfd[4:16:4, 5:25:4] - 1)
    # A cell that holds a shadow's edge reads between the two sides of it, a point on one of them.
    assert np.median(off) < 0.005
    assert off.max() < 0.05


def test_a_measured_table_of_a_lens_gives_the_light_of_that_lens() -> None:
    table = replace(LAMP, beam_deg=None, intensity=lens_table(90.0))
    here = planes(CUBE, WATER, [LAMP], depths_cm=[30], cell_cm=2.0)[0].ppfd
    there = planes(CUBE, WATER, [table], depths_cm=[30], cell_cm=2.0)[0].ppfd
    assert np.allclose(here, there, rtol=0.01)


def test_a_table_that_turns_with_direction_keeps_its_photons() -> None:
    round_table = lens_table(100.0)
    planes_round = np.repeat(round_table.intensity, 4, axis=0) * np.array(
        [[1.0], [2.0], [1.0], [0.5]]
    )
    turning = type(round_table)(
        theta_deg=round_table.theta_deg,
        phi_deg=np.array([0.0, 90.0, 180.0, 270.0]),
        intensity=planes_round,
    )
    lamp = replace(LAMP, x_cm=30, y_cm=20, beam_deg=None, intensity=turning)
    black = Walls(left="black", right="black", front="black", back="black")
    tank = replace(CUBE, walls=black, floor_albedo=0.0)
    top = planes(tank, WATER, [lamp], depths_cm=[0.0], cell_cm=1.0)[0]
    assert top.mean * 60 * 40 / 1e4 == pytest.approx(
        100 * share_into_water(tank, WATER, [lamp]), rel=0.01
    )
    # Brighter towards the back (φ = 90°) than towards the front.
    assert top.ppfd[30, 30] > 1.5 * top.ppfd[9, 30]


def test_many_close_emitters_may_be_gathered_without_changing_the_light() -> None:
    grid = [
        replace(LAMP, x_cm=20 + 2.5 * i, y_cm=14 + 2.5 * j, ppf_umol_s=3.0)
        for i in range(8)
        for j in range(5)
    ]
    together = planes(CUBE, WATER, grid, depths_cm=[35], cell_cm=2.0)[0].ppfd
    one_by_one = sum(
        planes(CUBE, WATER, [one], depths_cm=[35], cell_cm=2.0)[0].ppfd for one in grid
    )
    off = np.abs(together / one_by_one - 1)
    assert off.mean() < 0.005
    assert np.percentile(off, 95) < 0.02


def test_colours_of_a_lamps_own_fade_as_the_same_waters_do() -> None:
    own = replace(LAMP, absorption=((0.5, 0.02), (0.5, 0.6)))
    there = Water(absorption=((0.5, 0.02), (0.5, 0.6)))
    assert mean_of(CUBE, WATER, [own], 30) == pytest.approx(
        mean_of(CUBE, there, [LAMP], 30), rel=1e-6
    )


def test_no_photon_entering_leaves_a_dark_tank_with_uniformity_nought() -> None:
    far = replace(LAMP, x_cm=1500, height_cm=1, beam_deg=20)
    plane = planes(CUBE, WATER, [far], depths_cm=[10], cell_cm=4)[0]
    assert plane.mean == 0.0
    assert plane.uniformity == 0.0
    assert share_into_water(CUBE, WATER, [far]) == pytest.approx(0.0, abs=1e-12)
    assert share_into_water(CUBE, WATER, [replace(LAMP, ppf_umol_s=0.0)]) == 0.0


def test_a_plane_may_be_one_cell() -> None:
    plane = planes(CUBE, WATER, [LAMP], depths_cm=[10], cell_cm=200)[0]
    assert plane.ppfd.shape == (1, 1)
    fine = planes(CUBE, WATER, [LAMP], depths_cm=[10], cell_cm=2)[0]
    assert plane.mean == pytest.approx(fine.mean, rel=0.02)


@pytest.mark.parametrize(
    ("extent", "cell", "count"), [(50, 4, 12), (25, 10, 2), (35, 10, 4), (1, 9, 1)]
)
def test_cells_are_counted_with_halves_to_even(extent: float, cell: float, count: int) -> None:
    assert cell_count(extent, cell) == count


@pytest.mark.parametrize(
    "make",
    [
        lambda: planes(CUBE, WATER, [LAMP], depths_cm=[41], cell_cm=2),
        lambda: planes(CUBE, WATER, [LAMP], depths_cm=[float("nan")], cell_cm=2),
        lambda: planes(CUBE, WATER, [LAMP], depths_cm=[1], cell_cm=0),
        lambda: planes(CUBE, WATER, [LAMP], depths_cm=[1], cell_cm=0.01),
        lambda: at_points(CUBE, WATER, [LAMP], x_cm=61, y_cm=1, depth_cm=1),
        lambda: replace(CUBE, floor_albedo=1.2),
        lambda: replace(CUBE, length_cm=float("nan")),
        lambda: Walls(left=2.0),
        lambda: Water(absorption=((0.5, 0.1), (0.4, 0.1))),
        lambda: Water(refractive_index=0.9),
        lambda: replace(LAMP, beam_deg=None),
        lambda: replace(LAMP, shape="tube"),
        lambda: replace(LAMP, height_cm=0.0),
    ],
)
def test_what_cannot_be_is_refused(make: object) -> None:
    with pytest.raises(ValueError, match=r"must|missing|too small"):
        make()
