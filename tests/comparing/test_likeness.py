"""Which tanks are near each other, and in what."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from server.comparing.likeness import Likened, likeness

MINE = Likened(
    length_cm=120,
    width_cm=50,
    depth_cm=50,
    clear_walls=4,
    cover=False,
    groups={"soft": 3, "small_polyp": 1},
    kinds={"led_cluster": 2},
)

tanks = st.builds(
    Likened,
    length_cm=st.floats(20, 300),
    width_cm=st.floats(20, 100),
    depth_cm=st.floats(10, 100),
    clear_walls=st.integers(0, 4),
    cover=st.booleans(),
    groups=st.dictionaries(st.sampled_from("abc"), st.integers(1, 9)),
    kinds=st.dictionaries(st.sampled_from("xyz"), st.integers(1, 4)),
)


def test_a_tank_is_nearest_to_itself() -> None:
    found = likeness(MINE, MINE)
    assert found.distance == 0
    assert "depth of water" in found.alike_in and "animals" in found.alike_in


def test_twice_the_depth_is_farther_than_a_little_more() -> None:
    near = likeness(MINE, replace(MINE, depth_cm=55)).distance
    far = likeness(MINE, replace(MINE, depth_cm=100)).distance
    assert near < 0.2 < 0.9 < far


def test_other_animals_count() -> None:
    other = likeness(MINE, replace(MINE, groups={"clam": 4}))
    assert other.animals == 1 and "animals" not in other.alike_in


@given(tanks, tanks)
def test_likeness_is_mutual_and_never_negative(one: Likened, other: Likened) -> None:
    there, back = likeness(one, other).distance, likeness(other, one).distance
    assert there >= 0 and abs(there - back) < 1e-9
