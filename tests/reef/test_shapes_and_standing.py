"""Ready shapes fit every tank; animals come to stand on what is under the finger."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.dose.groups import BY_KEY
from server.optics import tank as glass
from server.reef.furnishing import Furnishing, Rock, over
from server.reef.growth import EXTENSIONS, Grower, grown, plate, years_between
from server.reef.shapes import SHAPES, Room, block, cut, set_down
from server.reef.standing import inside_rock, snapped, surfaces_at

sides = st.floats(20, 250)


@given(st.sampled_from(sorted(SHAPES)), sides, sides, sides, st.floats(0, 1), st.floats(0, 1))
def test_a_shape_fits_the_tank_wherever_it_is_set(
    key: str, length: float, width: float, depth: float, along: float, across: float
) -> None:
    room = Room(length_cm=length, width_cm=width, depth_cm=depth)
    rocks = set_down(SHAPES[key], room, x_cm=along * length, y_cm=across * width, group="g1")
    bare = glass.Tank(length_cm=length, width_cm=width, depth_cm=depth)
    assert len(over(bare, Furnishing(rocks=rocks)).rocks) == len(rocks)
    assert {rock.group for rock in rocks} <= {"g1"}


def test_in_the_middle_of_a_usual_tank_every_shape_is_whole() -> None:
    room = Room(length_cm=90, width_cm=45, depth_cm=50)
    counts = {
        key: len(set_down(shape, room, x_cm=45, y_cm=22, group="g"))
        for key, shape in SHAPES.items()
    }
    assert counts == {"bommie": 3, "wall": 3, "arch": 3, "shelf": 1, "island": 2}
    single = block(room, x_cm=45, y_cm=20, top_cm=30)
    assert single is not None and (single.left_cm, single.right_cm) == (36, 54)


def test_what_lies_outside_is_cut_off_or_left_out() -> None:
    room = Room(length_cm=40, width_cm=30, depth_cm=35)
    over_the_edge = Rock(left_cm=-5, right_cm=12, front_cm=20, back_cm=44, top_cm=20, bottom_cm=50)
    kept = cut(over_the_edge, room)
    assert kept is not None
    assert (kept.left_cm, kept.back_cm, kept.bottom_cm) == (0, 30, None)
    assert cut(Rock(left_cm=45, right_cm=60, front_cm=2, back_cm=9, top_cm=3), room) is None


ARCH = (
    Rock(left_cm=20, right_cm=30, front_cm=10, back_cm=30, top_cm=25),
    Rock(left_cm=50, right_cm=60, front_cm=10, back_cm=30, top_cm=25),
    Rock(left_cm=20, right_cm=60, front_cm=10, back_cm=30, top_cm=19, bottom_cm=25),
)


def test_under_a_bridge_there_is_sand_and_on_it_rock() -> None:
    found = surfaces_at(ARCH, x_cm=40, y_cm=20, depth_cm=50)
    assert [(one.depth_cm, one.rock) for one in found] == [(19, 2), (50, None)]
    assert found[1].open_cm == 25 and found[1].words == "on the sand"
    on_a_foot = surfaces_at(ARCH, x_cm=25, y_cm=20, depth_cm=50)
    assert [(one.depth_cm, one.rock) for one in on_a_foot] == [(19, 2)]
    assert on_a_foot[0].words == "on rock 3"


@pytest.mark.parametrize(("near_cm", "depth_cm"), [(None, 19), (10, 19), (22, 19), (40, 50)])
def test_an_animal_snaps_to_what_is_under_the_finger(
    near_cm: float | None, depth_cm: float
) -> None:
    found = snapped(ARCH, x_cm=40, y_cm=20, near_cm=near_cm, depth_cm=50)
    assert found.depth_cm == depth_cm


def test_a_place_in_a_rock_is_named_and_its_top_is_not_inside() -> None:
    here = {"x_cm": 40.0, "y_cm": 20.0, "depth_cm": 50.0}
    assert inside_rock(ARCH, at_depth_cm=22, **here) == 2
    assert inside_rock(ARCH, at_depth_cm=19, **here) is None
    assert inside_rock(ARCH, at_depth_cm=33, **here) is None


def test_growth_moves_both_edges_of_a_plate_and_the_tip_of_a_branch() -> None:
    years = years_between(date(2026, 3, 1), date(2027, 9, 1))
    assert years == pytest.approx(1.5, abs=0.01)
    table = Grower(x_cm=30, y_cm=20, depth_cm=18, width_cm=12, rate_cm_year=3)
    assert grown(table, years=1.5).width_cm == pytest.approx(21)
    stag = Grower(x_cm=30, y_cm=20, depth_cm=18, width_cm=0, rate_cm_year=6, up=True)
    assert grown(stag, years=1.5).depth_cm == pytest.approx(9)
    assert years_between(date(2027, 1, 1), date(2026, 1, 1)) == 0


def test_a_plate_is_cut_to_the_tank_and_needs_water_below() -> None:
    tank = {"length_cm": 40.0, "width_cm": 30.0, "depth_cm": 35.0}
    wide = Grower(x_cm=36, y_cm=4, depth_cm=12, width_cm=16, rate_cm_year=3)
    assert plate(wide, **tank) == (28, 40, 0, 12, 12, 13)
    assert plate(Grower(**{**vars(wide), "depth_cm": 35}), **tank) is None
    assert plate(Grower(**{**vars(wide), "width_cm": 0}), **tank) is None


def test_every_rate_belongs_to_a_group_and_says_where_it_comes_from() -> None:
    assert set(EXTENSIONS) <= set(BY_KEY)
    assert all(one.low < one.middle < one.high and one.source for one in EXTENSIONS.values())
