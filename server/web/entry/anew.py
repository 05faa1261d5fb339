"""Choosing the points still to be read from what was read so far.

Each point is the one that would settle most (server.surveys.next_reading), taken as if the points
before it had been read and shown what is expected there.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.db.light import Hung, Scene
from server.models import Animal, Reading, Tank
from server.surveys import plan as measured
from server.surveys.estimate import estimate
from server.surveys.next_reading import next_reading
from server.surveys.reading_order import Point, in_order

MOST_AT_ONCE = 6  # each costs a third of a second; more are chosen when these are read


@dataclass(frozen=True)
class Chosen:
    """Points in the order of reading, what each should show, and why the first was chosen."""

    points: tuple[Point, ...]
    expected_ppfd: list[float]
    why: str


def chosen_anew(
    tank: Tank,
    scene: Scene,
    hung: Sequence[Hung],
    readings: Sequence[Reading],
    animals: Sequence[Animal],
    *,
    count: int,
    factor: float,
) -> Chosen:
    """Up to `count` points worth reading; none when no reading is worth wetting an arm."""
    plan = measured.Plan(
        tank=scene.tank,
        water=scene.water,
        lamps=tuple(
            measured.Lamp(name=one.stated.row.name, emitters=emitters)
            for one, emitters in zip(hung, scene.by_lamp, strict=True)
        ),
    )
    known = [_known(one) for one in readings if _inside(tank, one) and one.struck_reason is None]
    living = [_animal(one) for one in animals if _inside(tank, one)]
    start = found = estimate(plan, known)
    points: list[Point] = []
    why = ""
    for _ in range(min(count, MOST_AT_ONCE)):
        wanted = next_reading(found, animals=living)
        why = why or wanted.why
        if not wanted.worth_it:
            break
        point = Point(x_cm=wanted.x_cm, y_cm=wanted.y_cm, depth_cm=wanted.depth_cm)
        points.append(replace(point, name=_name(point, animals)))
        expected = found.at(np.array([[point.x_cm, point.y_cm, point.depth_cm]])).ppfd[0]
        known.append(
            measured.Reading(
                x_cm=point.x_cm, y_cm=point.y_cm, depth_cm=point.depth_cm, ppfd=float(expected)
            )
        )
        found = estimate(plan, known)
    ordered = in_order(points)
    light = start.at(measured.points_of(ordered)).ppfd if ordered else np.array([])
    return Chosen(points=ordered, expected_ppfd=[float(v) / factor for v in light], why=why)


def _known(one: Reading) -> measured.Reading:
    return measured.Reading(
        x_cm=one.x_cm, y_cm=one.y_cm, depth_cm=one.depth_cm, ppfd=one.ppfd, set_aside=one.shaded
    )


def _animal(one: Animal) -> measured.Animal:
    return measured.Animal(
        name=one.name,
        x_cm=one.x_cm,
        y_cm=one.y_cm,
        depth_cm=one.depth_cm,
        low_ppfd=one.low_ppfd,
        high_ppfd=one.high_ppfd,
    )


def _inside(tank: Tank, one: Reading | Animal) -> bool:
    return (
        one.x_cm <= tank.length_cm and one.y_cm <= tank.width_cm and one.depth_cm <= tank.depth_cm
    )


def _name(point: Point, animals: Sequence[Animal]) -> str:
    """The animal at a point, if one lives there."""
    place = np.array([point.x_cm, point.y_cm, point.depth_cm])
    for one in animals:
        if np.linalg.norm(place - [one.x_cm, one.y_cm, one.depth_cm]) < 3.0:
            return one.name
    return ""
