"""Laws that light keeps in tanks with rocks, braces, growth, lids and leaning lamps."""

from dataclasses import replace

import numpy as np
import pytest

from server.optics import among_rocks
from server.optics.balance import balance
from server.optics.emitters import Emitter
from server.optics.field import at_points, planes, share_into_water
from server.optics.openings import openings
from server.optics.rocks import free_share, in_rock, inside
from server.optics.sources import lowest_edge_cm
from server.optics.tank import Brace, Film, Rock, Tank, Walls, Water
from tests.optics.scenes import FURNISHED_NAMES, furnished

WATER = Water(absorption=((0.6, 0.05), (0.4, 0.4)))
BLACK = Walls(left="black", right="black", front="black", back="black")
ARCH = (
    Rock(left_cm=20, right_cm=28, front_cm=15, back_cm=30, top_cm=22),
    Rock(left_cm=44, right_cm=52, front_cm=15, back_cm=30, top_cm=22),
    Rock(left_cm=18, right_cm=54, front_cm=14, back_cm=31, top_cm=17, bottom_cm=22),
)
TANK = Tank(length_cm=80, width_cm=45, depth_cm=40, floor_albedo=0.3, rocks=ARCH)
LAMPS = (
    Emitter(shape="square", x_cm=26, y_cm=20, height_cm=22, ppf_umol_s=90, beam_deg=90, side_cm=10),
    Emitter(x_cm=60, y_cm=28, height_cm=18, ppf_umol_s=60, beam_deg=70),
)
DEPTHS = (5, 16.5, 25, 39)


def light(tank: Tank, lamps: tuple[Emitter, ...] = LAMPS, water: Water = WATER) -> np.ndarray:
    found = planes(tank, water, lamps, depths_cm=DEPTHS, cell_cm=2.5)
    return np.array([plane.ppfd for plane in found])


def dark(rocks: tuple[Rock, ...]) -> tuple[Rock, ...]:
    return tuple(replace(rock, albedo=0) for rock in rocks)


@pytest.mark.parametrize("walls", [Walls(), BLACK, Walls(left=0.8, back="black")])
def test_a_black_rock_brightens_no_place(walls: Walls) -> None:
    tank = replace(TANK, walls=walls, rocks=dark(ARCH))
    with_rocks, empty = light(tank), light(replace(tank, rocks=()))
    brighter = (with_rocks - empty) / empty.max(axis=(1, 2), keepdims=True)
    assert np.nanmax(brighter) < 0.01
    assert np.nanmin(brighter) < -0.5


@pytest.mark.parametrize("albedo", [0.15, 0.6, 1.0])
def test_a_rock_brightens_no_place_by_more_than_its_faces_return(albedo: float) -> None:
    tank = replace(TANK, walls=BLACK, floor_albedo=0.0)
    lit = replace(tank, rocks=tuple(replace(rock, albedo=albedo) for rock in ARCH))
    extra = light(lit) - light(replace(tank, rocks=()))
    # A sensor sees no more than a hemisphere filled with the brightest face.
    brightest = sum(face.max() for face in among_rocks.given_off(lit, WATER, LAMPS).values())
    assert np.nanmax(extra) < brightest
    least = light(replace(tank, rocks=dark(ARCH)))
    assert np.nanmin(light(lit) - least) > -0.01 * np.nanmax(least)
    assert np.nanmax(light(lit) - least) > 0.02 * brightest


@pytest.mark.parametrize("absorption", [((1.0, 0.0),), ((0.6, 0.05), (0.4, 0.4))])
def test_a_rock_in_the_place_of_the_floor_is_the_floor(
    absorption: tuple[tuple[float, float], ...],
) -> None:
    water = Water(absorption=absorption)
    whole = Rock(left_cm=0, right_cm=80, front_cm=0, back_cm=45, top_cm=30, albedo=0.3)
    raised = replace(TANK, walls=BLACK, rocks=(whole,))
    shallow = replace(TANK, walls=BLACK, rocks=(), depth_cm=30)
    for here, there in zip(
        planes(raised, water, LAMPS, depths_cm=(3, 15, 29), cell_cm=2.5),
        planes(shallow, water, LAMPS, depths_cm=(3, 15, 29), cell_cm=2.5),
        strict=True,
    ):
        assert here.mean == pytest.approx(there.mean, rel=2e-3)
        off = np.abs(here.ppfd - there.ppfd) / there.max
        assert np.median(off) < 2e-3
        assert off.max() < 0.02


def mirrored(tank: Tank, lamps: tuple[Emitter, ...]) -> tuple[Tank, tuple[Emitter, ...]]:
    """Tank and lamps as seen in a mirror to the right."""
    length = tank.length_cm

    def sides(thing: Rock | Brace) -> dict[str, float]:
        return {"left_cm": length - thing.right_cm, "right_cm": length - thing.left_cm}

    walls, film = tank.walls, tank.film
    other = replace(
        tank,
        rocks=tuple(replace(rock, **sides(rock)) for rock in tank.rocks),
        braces=tuple(replace(brace, **sides(brace)) for brace in tank.braces),
        walls=replace(walls, left=walls.right, right=walls.left),
        film=replace(film, left=film.right, right=film.left),
    )
    turned = tuple(
        replace(one, x_cm=length - one.x_cm, toward_deg=180 - one.toward_deg) for one in lamps
    )
    return other, turned


def test_a_mirrored_furnished_tank_has_the_mirrored_light() -> None:
    tank = replace(
        TANK,
        walls=Walls(left=0.4, back="black"),
        braces=(Brace(left_cm=30, right_cm=38, front_cm=0, back_cm=45),),
        film=Film(right=0.6),
        lid=0.9,
    )
    lamps = (replace(LAMPS[0], tilt_deg=25, toward_deg=30), replace(LAMPS[1], tilt_deg=10))
    here = light(tank, lamps)
    there = light(*mirrored(tank, lamps))[:, :, ::-1]
    scale = np.nanmax(here, axis=(1, 2), keepdims=True)
    off = np.abs(here - there) / scale
    assert np.array_equal(np.isnan(here), np.isnan(there))
    assert np.nanmedian(off) < 3e-3
    assert np.nanpercentile(off, 98) < 0.03
    assert np.nanmean(here, axis=(1, 2)) == pytest.approx(np.nanmean(there, axis=(1, 2)), rel=4e-3)


@pytest.mark.parametrize("name", FURNISHED_NAMES)
def test_photons_balance_in_a_furnished_tank(name: str) -> None:
    case = furnished(name)
    found = balance(case.tank, case.water, case.emitters)
    print(f"\n{name}: {found.found_again:.4f} of what entered is found again")
    assert found.found_again == pytest.approx(1.0, abs=0.01)
    assert (found.rocks > 0) == bool(case.tank.rocks)


def test_a_film_takes_the_square_of_its_share_from_what_a_wall_returns() -> None:
    tank = Tank(length_cm=60, width_cm=40, depth_cm=40, floor_albedo=0,
                walls=replace(BLACK, left="clear"))  # fmt: skip
    by_wall = light(tank) - light(replace(tank, walls=BLACK))
    grown = light(replace(tank, film=Film(left=0.5))) - light(replace(tank, walls=BLACK))
    assert grown == pytest.approx(0.25 * by_wall, abs=1e-3 * by_wall.max())
    other = light(replace(tank, film=Film(right=0.1, front=0.1, back=0.1)))
    assert other == pytest.approx(light(tank), rel=1e-6)


def test_a_lid_takes_its_share_everywhere() -> None:
    for tank in (TANK, replace(TANK, rocks=())):
        ratio = light(replace(tank, lid=0.7)) / light(tank)
        assert np.nanmin(ratio) == pytest.approx(0.7, rel=1e-6)
        assert np.nanmax(ratio) == pytest.approx(0.7, rel=1e-6)
        assert share_into_water(replace(tank, lid=0.7), WATER, LAMPS) == pytest.approx(
            0.7 * share_into_water(tank, WATER, LAMPS), rel=1e-9
        )


def test_braces_that_cover_all_leave_no_light_and_overlaps_count_once() -> None:
    whole = Brace(left_cm=0, right_cm=80, front_cm=0, back_cm=45)
    shut = replace(TANK, braces=(whole,))
    assert openings(shut) == ()
    assert np.nanmax(light(shut)) == 0.0
    assert share_into_water(shut, WATER, LAMPS) == 0.0
    bar = Brace(left_cm=30, right_cm=40, front_cm=0, back_cm=45)
    rim = Brace(left_cm=0, right_cm=80, front_cm=0, back_cm=5)
    found = openings(replace(TANK, braces=(bar, rim, rim)))
    area = sum((o.right_cm - o.left_cm) * (o.back_cm - o.front_cm) for o in found)
    assert area == pytest.approx(80 * 45 - 10 * 45 - 80 * 5 + 10 * 5)
    assert len(found) == 2


def test_a_tank_with_a_brace_beside_the_light_is_nearly_the_empty_one() -> None:
    # Two ways of working out scattered light meet here: rays, and closed forms.
    brace = Brace(left_cm=79.9, right_cm=80, front_cm=0, back_cm=0.1)
    for walls in (Walls(), Walls(left=0.7, back="black"), BLACK):
        empty = replace(TANK, rocks=(), walls=walls, floor_albedo=0.6)
        here, there = light(replace(empty, braces=(brace,))), light(empty)
        assert here.mean(axis=(1, 2)) == pytest.approx(there.mean(axis=(1, 2)), rel=5e-3)
        assert np.median(np.abs(here / there - 1)) < 5e-3


def test_leaning_by_nothing_changes_nothing_and_a_turn_of_a_round_lamp_neither() -> None:
    tank = replace(TANK, rocks=())
    upright = light(tank)
    assert light(tank, tuple(replace(o, toward_deg=77) for o in LAMPS)) == pytest.approx(upright)
    slight = tuple(replace(one, tilt_deg=1e-4, toward_deg=200) for one in LAMPS)
    off = np.abs(light(tank, slight) / upright - 1)
    assert np.median(off) < 2e-3
    assert off.max() < 0.03


def test_a_lamp_leans_its_light_the_way_it_is_told() -> None:
    tank = Tank(length_cm=80, width_cm=80, depth_cm=30, walls=BLACK, floor_albedo=0)
    lamp = Emitter(x_cm=40, y_cm=40, height_cm=20, ppf_umol_s=50, beam_deg=40, tilt_deg=30)
    for toward, (dx, dy) in {0: (1, 0), 90: (0, 1), 180: (-1, 0), 270: (0, -1)}.items():
        plane = planes(tank, WATER, [replace(lamp, toward_deg=toward)], depths_cm=[20], cell_cm=2)
        ppfd = plane[0].ppfd
        x = (plane[0].x_cm[None, :] * ppfd).sum() / ppfd.sum() - 40
        y = (plane[0].y_cm[:, None] * ppfd).sum() / ppfd.sum() - 40
        assert x * dx + y * dy > 10
        assert abs(x * dy) + abs(y * dx) < 0.2


def test_a_leaning_face_hangs_lower_on_the_side_its_light_leaves() -> None:
    square = replace(LAMPS[0], tilt_deg=30, toward_deg=90)
    assert lowest_edge_cm(square) == pytest.approx(22 - 5 * np.sin(np.radians(30)))
    assert lowest_edge_cm(replace(square, toward_deg=0)) == pytest.approx(22 - 2.5)
    assert lowest_edge_cm(LAMPS[0]) == 22


def test_places_in_on_beside_and_below_rocks() -> None:
    block, ledge = ARCH[0], ARCH[2]
    assert inside(TANK, 24, 20, 30) == 0
    assert inside(TANK, 36, 20, 20) == 2
    assert inside(TANK, 24, 20, 40) == 0  # the floor under a block
    for x, y, z in ((block.left_cm, 20, 30), (24, 20, ledge.top_cm), (36, 20, 22), (60, 40, 40)):
        assert inside(TANK, x, y, z) == -1
    x, y = np.array([20.0, 36.0]), np.array([20.0])
    assert in_rock(TANK, x, y, 30.0).tolist() == [[True, False]]
    share = free_share(TANK, 8, 3, 30.0)
    assert share.shape == (3, 8)
    assert share[0, 0] == 1.0
    assert share.min() < 1.0


def test_light_on_a_rock_comes_from_above_and_under_it_from_around() -> None:
    found = at_points(TANK, WATER, LAMPS, x_cm=[36, 36, 36], y_cm=22, depth_cm=[17, 22.5, 39])
    assert found[0] > 5 * found[2] > 0
    assert 0 < found[1] < found[2]
    assert at_points(TANK, WATER, LAMPS, x_cm=36, y_cm=22, depth_cm=20)[0] == 0.0


def test_the_same_tank_gives_the_same_light_twice() -> None:
    first = light(TANK)
    among_rocks._plane_seen.cache_clear()
    among_rocks._given_off.cache_clear()
    assert np.array_equal(first, light(TANK), equal_nan=True)


@pytest.mark.parametrize(
    "make",
    [
        lambda: replace(TANK, rocks=(replace(ARCH[0], right_cm=81),)),
        lambda: replace(TANK, rocks=(replace(ARCH[0], bottom_cm=41),)),
        lambda: replace(TANK, rocks=ARCH[:1] * 41),
        lambda: replace(ARCH[0], right_cm=10),
        lambda: replace(ARCH[0], top_cm=float("nan")),
        lambda: replace(ARCH[0], albedo=1.1),
        lambda: Brace(left_cm=5, right_cm=5, front_cm=0, back_cm=4),
        lambda: replace(TANK, braces=(Brace(left_cm=0, right_cm=5, front_cm=0, back_cm=46),)),
        lambda: Film(left=1.5),
        lambda: replace(TANK, lid=-0.1),
        lambda: replace(LAMPS[0], tilt_deg=61),
        lambda: replace(LAMPS[0], toward_deg=float("inf")),
    ],
)
def test_what_cannot_stand_is_refused(make: object) -> None:
    with pytest.raises(ValueError, match="must"):
        make()


def test_the_emitters_of_a_leaning_lamp_may_be_taken_together() -> None:
    # Emitters of a face that leans hang at heights of their own; nearly level ones are one group.
    many = tuple(
        Emitter(
            x_cm=30 + 2.5 * i, y_cm=20 + 2.5 * j, height_cm=22 + 0.5 * i, ppf_umol_s=4,
            beam_deg=80, tilt_deg=11, toward_deg=0,
        )
        for i in range(8)
        for j in range(4)
    )  # fmt: skip
    for tank in (replace(TANK, rocks=()), TANK):
        together = light(tank, many)
        apart = sum(light(tank, (one,)) for one in many)
        off = np.abs(together / apart - 1)
        assert np.nanmedian(off) < 5e-3
        assert np.nanpercentile(off, 95) < 0.03
        places = {"x_cm": [12, 60, 70], "y_cm": [8, 36, 20], "depth_cm": [10, 25, 38]}
        each = sum(at_points(tank, WATER, [one], **places) for one in many)
        assert at_points(tank, WATER, many, **places) == pytest.approx(each, rel=0.03)
