"""Few moves of the arm, from the top down."""

import itertools
import math
import random

import pytest

from server.surveys.reading_order import Point, in_order, reading_points

TANK = {"length_cm": 120.0, "width_cm": 50.0, "depth_cm": 55.0}


def moved(path: tuple[Point, ...]) -> float:
    return sum(math.hypot(a.x_cm - b.x_cm, a.y_cm - b.y_cm) for a, b in itertools.pairwise(path))


def test_depth_never_falls_back_by_more_than_a_layer() -> None:
    draw = random.Random(5)
    points = [
        Point(
            x_cm=draw.uniform(0, 120), y_cm=draw.uniform(0, 50), depth_cm=draw.choice((5, 25, 50))
        )
        for _ in range(18)
    ]
    path = in_order(points)
    depths = [p.depth_cm for p in path]
    assert depths == sorted(depths)
    assert sorted(path, key=repr) == sorted(points, key=repr)


def test_one_layer_is_walked_by_the_shortest_path() -> None:
    draw = random.Random(7)
    for _ in range(20):
        points = [
            Point(x_cm=draw.uniform(0, 120), y_cm=draw.uniform(0, 50), depth_cm=20)
            for _ in range(6)
        ]
        start = Point(x_cm=0, y_cm=0, depth_cm=0)
        best = min(moved((start, *p)) for p in itertools.permutations(points))
        assert moved((start, *in_order(points, start=start))) <= best * 1.05


def test_every_animal_is_in_the_plan_and_the_rest_is_spread() -> None:
    animals = [
        Point(x_cm=30, y_cm=20, depth_cm=15, name="A"),
        Point(x_cm=31, y_cm=21, depth_cm=15, name="beside A"),
        Point(x_cm=90, y_cm=30, depth_cm=40, name="B"),
    ]
    points = reading_points(**TANK, animals=animals, count=12)
    assert len(points) == 12
    assert {"A", "B"} <= {p.name for p in points}
    assert "beside A" not in {p.name for p in points}
    apart = min(
        math.dist((a.x_cm, a.y_cm, a.depth_cm), (b.x_cm, b.y_cm, b.depth_cm))
        for a, b in itertools.combinations(points, 2)
    )
    assert apart > 10


@pytest.mark.parametrize("size", [(5, 5, 5), (30, 30, 30), (300, 90, 80)])
def test_points_lie_inside_any_tank(size: tuple[float, float, float]) -> None:
    length, width, depth = size
    for p in reading_points(length_cm=length, width_cm=width, depth_cm=depth):
        assert 0 < p.x_cm < length and 0 < p.y_cm < width and 0 < p.depth_cm < depth


def test_no_points_have_no_order() -> None:
    assert in_order([]) == ()
