"""Rocks on a chart: where they stand, what is cut and what lies beyond, light up to their edge."""

import numpy as np
import pytest

from server.drawing import axes, scale, tank_view
from server.drawing.rocks import Block, drawn_blocks, filled
from server.drawing.room import Box
from tests.drawing.test_drawings import SVG, render, tree


def _front(values: np.ndarray, blocks: tuple[Block, ...]) -> tank_view.TankView:
    return tank_view.section(
        values, length=60, depth=40, headroom=20, per_cm=4, unit=axes.CENTIMETRES,
        levels=tank_view.Levels(tints=(100, 200)), title="t", description="d", axis_words="cm",
        blocks=blocks,
    )  # fmt: skip


LEDGE = Block(across=(30, 50), along=(10, 16), number="2")
BEHIND = Block(across=(5, 20), along=(25, 40), solid=False)


def test_a_rock_stands_at_its_measure_in_the_view_from_the_front() -> None:
    view = _front(np.full((20, 30), 150.0), (LEDGE,))
    (rock,) = view.rocks
    assert rock.box.left == view.box.left + 30 * 4 and rock.box.right == view.box.left + 50 * 4
    assert rock.box.top == view.box.top + 10 * 4 and rock.box.bottom == view.box.top + 16 * 4


def test_seen_from_above_the_back_of_a_rock_is_up() -> None:
    view = tank_view.plan(
        np.full((15, 30), 150.0), length=60, width=30, per_cm=4, unit=axes.CENTIMETRES,
        levels=tank_view.Levels(tints=(100,)), title="", description="", axis_words="",
        blocks=(Block(across=(0, 10), along=(20, 30)),),
    )  # fmt: skip
    assert view.rocks[0].box.top == view.box.top
    assert view.rocks[0].box.bottom == view.box.top + 10 * 4


def test_cut_rock_lies_over_what_is_only_outlined() -> None:
    view = _front(np.full((20, 30), 150.0), (LEDGE, BEHIND))
    assert [one.solid for one in view.rocks] == [False, True]
    root = tree(render("tank_view", view))
    kinds = [e.get("class") for e in root.iter(f"{SVG}rect") if "rock" in (e.get("class") or "")]
    assert kinds == ["rock-beyond", "rock", "rock-body"]


def test_darkness_inside_a_rock_draws_no_contour_around_it() -> None:
    """Cells inside are 0 or not a number; the light beside them is 150 all over."""
    for inside in (0.0, np.nan):
        values = np.full((20, 30), 150.0)
        values[5:8, 15:25] = inside
        view = _front(values, (LEDGE,))
        assert view.drawn.lines == ()


def test_shade_below_a_ledge_is_drawn_and_not_filled_from_above() -> None:
    values = np.full((20, 30), 150.0)
    values[5:8, 15:25] = np.nan
    values[8:, 15:25] = 40.0
    view = _front(values, (LEDGE,))
    below = [line for line in view.drawn.lines if line.d]
    assert below, "the edge of the shade is a contour at 100"


def test_filling_takes_the_nearest_lit_cell() -> None:
    box = Box(left=0, top=0, width=60, height=30)
    across, along = (
        scale.Scale(low=0, high=6, start=0, end=60),
        scale.Scale(low=0, high=3, start=0, end=30),
    )
    rocks = drawn_blocks((Block(across=(2, 4), along=(0, 3)),), across, along)
    values = np.array([[10.0, 20, 0, 0, 50, 60]] * 3)
    assert filled(values, rocks, box)[1] == pytest.approx([10, 20, 20, 50, 50, 60])
    assert filled(np.full((2, 2), np.nan), (), box).tolist() == [[0, 0], [0, 0]]
