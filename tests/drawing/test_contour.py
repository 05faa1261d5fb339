"""Contours against fields whose contours are known, and what must hold for any field."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.drawing import contour, field, path
from server.drawing.room import Box, Room

BOX = Box(left=50, top=20, width=600, height=300)


def cone(columns: int = 60, rows: int = 30) -> np.ndarray:
    """Falls by one for each SVG unit away from the box's middle."""
    x = BOX.left + (np.arange(columns) + 0.5) / columns * BOX.width
    y = BOX.top + (np.arange(rows) + 0.5) / rows * BOX.height
    return 500 - np.hypot(x[None, :] - 350, y[:, None] - 170)


def on_curve(d: str) -> np.ndarray:
    """End points of every piece of a path made by this room."""
    at, found = np.zeros(2), []
    for word, text in re.findall(r"([MLlqtz])([^MLlqtz]*)", d):
        numbers = [float(n) for n in re.findall(r"-?\d*\.?\d+", text)]
        if word in "ML":
            at = np.array(numbers)
        elif word in "lt":
            at = at + numbers
        elif word == "q":
            at = at + numbers[2:]
        found.append(at.copy())
    return np.array(found)


def test_a_plane_is_refined_exactly_up_to_the_walls() -> None:
    rows, columns = np.mgrid[0:8, 0:12]
    plane = 3.0 * columns - 2.0 * rows + 40
    fine = field.refine(plane, columns=25, rows=17, positive=False)
    x = np.linspace(-0.5, 11.5, 25)
    y = np.linspace(-0.5, 7.5, 17)
    assert fine == pytest.approx(3.0 * x[None, :] - 2.0 * y[:, None] + 40, abs=1e-9)


def test_a_smooth_field_is_refined_to_a_thousandth() -> None:
    at = (np.arange(40) + 0.5) / 40
    fine = field.refine(
        100 + 50 * np.sin(3 * at)[None, :] * np.cos(2 * at)[:, None],
        columns=101, rows=101, positive=True,
    )  # fmt: skip
    to = np.linspace(0, 1, 101)
    assert fine == pytest.approx(
        100 + 50 * np.sin(3 * to)[None, :] * np.cos(2 * to)[:, None], rel=1e-3
    )


def test_one_cell_and_one_row_can_be_drawn() -> None:
    assert field.refine(np.array([[7.0]]), columns=5, rows=3, positive=True) == pytest.approx(7)
    assert field.refine(np.array([[1.0, 3.0]]), columns=5, rows=2, positive=False)[0] == (
        pytest.approx([0, 1, 2, 3, 4])
    )


def test_a_cones_contour_is_a_circle() -> None:
    made = contour.cut(field.field(cone(), box=BOX), 400)
    (piece,) = made.pieces
    radii = np.hypot(*(piece.points - [350, 170]).T)
    assert piece.closed
    assert radii == pytest.approx(100, abs=0.6)
    drawn = on_curve(made.d)
    assert np.hypot(*(drawn - [350, 170]).T) == pytest.approx(100, abs=0.8)


def test_a_contour_that_meets_the_walls_ends_exactly_on_them() -> None:
    made = contour.cut(field.field(cone(), box=BOX), 300)
    ends = np.array([piece.points[n] for piece in made.pieces for n in (0, -1)])
    assert len(made.pieces) == 2
    assert not any(piece.closed for piece in made.pieces)
    on_wall = (np.abs(ends[:, 1] - BOX.top) < 1e-6) | (np.abs(ends[:, 1] - BOX.bottom) < 1e-6)
    assert on_wall.all()


def test_everything_above_is_the_whole_box_and_nothing_above_is_nothing() -> None:
    of = field.field(cone(), box=BOX)
    whole = on_curve(contour.cut(of, 1.0).d)
    assert whole.min(axis=0).tolist() == [50, 20]
    assert whole.max(axis=0).tolist() == [650, 320]
    assert contour.cut(of, 1.0).pieces == ()
    assert contour.cut(of, 900.0).d == ""


def test_curves_have_no_kinks() -> None:
    """Successive pieces turn by a few degrees where the circle does."""
    made = contour.cut(field.field(cone(), box=BOX), 400)
    steps = np.diff(on_curve(made.d)[1:-1], axis=0)
    angles = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    assert np.abs(np.degrees(np.diff(angles))).max() < 9


def test_rounding_is_fed_back_and_does_not_wander() -> None:
    x = np.linspace(0, 2000, 401)
    points = np.stack([x, 30.33 + 0.037 * x], axis=1)
    drawn = on_curve(path.curve(points))
    assert np.abs(drawn[:, 1] - (30.33 + 0.037 * drawn[:, 0])).max() < 0.16


def test_a_number_is_set_into_the_gap_of_its_line() -> None:
    made = contour.contours(
        field.field(cone(), box=BOX), tint_levels=(400,), line_levels=(), room=Room(inside=BOX)
    )
    (label,) = made.labels
    assert label.words == "400"
    assert math.hypot(label.x - 350, label.y - 170) == pytest.approx(100, abs=1)
    line = np.concatenate([on_curve(one.d) for one in made.lines])
    assert np.hypot(line[:, 0] - label.x, line[:, 1] - label.y).min() > 10
    assert -90 < label.turn <= 90


def test_numbers_keep_off_what_is_taken() -> None:
    room = Room(inside=BOX)
    room.hold(Box(left=200, top=20, width=300, height=190))
    made = contour.contours(
        field.field(cone(), box=BOX), tint_levels=(400,), line_levels=(420,), room=room
    )
    assert made.labels
    assert all(label.y > 205 for label in made.labels)


def test_a_small_fine_loop_without_its_number_is_left_out_and_a_tints_edge_is_not() -> None:
    nowhere = Room(inside=Box(left=0, top=0, width=1, height=1))
    made = contour.contours(
        field.field(cone(), box=BOX), tint_levels=(485,), line_levels=(482, 400), room=nowhere
    )
    assert {line.level for line in made.lines} == {485, 400}
    assert made.labels == ()


def test_a_line_is_broken_where_the_field_is_in_doubt() -> None:
    doubt = np.zeros((30, 60))
    doubt[:, 30:] = 0.5
    made = contour.contours(
        field.field(cone(), box=BOX),
        tint_levels=(400,),
        line_levels=(),
        room=Room(inside=Box(left=0, top=0, width=1, height=1)),
        doubt=field.field(doubt, box=BOX, positive=False),
    )
    sure = np.concatenate([on_curve(one.d) for one in made.lines if one.sure])
    unsure = np.concatenate([on_curve(one.d) for one in made.lines if not one.sure])
    assert sure[:, 0].max() < 365
    assert unsure[:, 0].min() > 335


def test_what_is_not_finite_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        field.field(np.array([[1.0, math.nan]]), box=BOX)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    columns=st.integers(1, 40),
    rows=st.integers(1, 25),
    size=st.floats(0.1, 3000),
)
def test_any_field_is_drawn_inside_its_box(seed: int, columns: int, rows: int, size: float) -> None:
    values = np.random.default_rng(seed).random((rows, columns)) * size
    made = contour.contours(
        field.field(values, box=BOX),
        tint_levels=(50, 200, 500),
        line_levels=(100, 1000),
        room=Room(inside=BOX),
    )
    for d in [one.d for one in (*made.areas, *made.lines)]:
        assert "nan" not in d
        points = on_curve(d)
        assert points[:, 0].min() >= BOX.left - 0.3
        assert points[:, 0].max() <= BOX.right + 0.3
        assert points[:, 1].min() >= BOX.top - 0.3
        assert points[:, 1].max() <= BOX.bottom + 0.3
