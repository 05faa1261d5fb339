"""Choosing the points still to be read from what was read so far.

Each point is the one that would settle most (server.surveys.next_reading), taken as if the points
before it had been read and shown what is expected there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.models import Animal, Tank
from server.surveys import plan as measured
from server.surveys.estimate import MeasuredMap, estimate
from server.surveys.next_reading import next_reading
from server.surveys.reading_order import Point, in_order

MOST_AT_ONCE = 6  # each costs a third of a second; more are chosen when these are read


@dataclass(frozen=True)
class Chosen:
    """Points in the order of reading, and why the first of them was chosen."""

    points: tuple[Point, ...]
    why: str


def chosen_anew(found: MeasuredMap, tank: Tank, animals: Sequence[Animal], count: int) -> Chosen:
    """Up to `count` points worth reading; none when no reading is worth wetting an arm."""
    living = [_animal(one) for one in animals if _inside(tank, one)]
    pretended = list(found.used)
    points: list[Point] = []
    why = ""
    for _ in range(min(count, MOST_AT_ONCE)):
        wanted = next_reading(found, animals=living)
        why = why or wanted.why
        if not wanted.worth_it:
            break
        place = (wanted.x_cm, wanted.y_cm, wanted.depth_cm)
        points.append(
            Point(x_cm=place[0], y_cm=place[1], depth_cm=place[2], name=_name(place, animals))
        )
        pretended.append(
            measured.Reading(
                x_cm=place[0],
                y_cm=place[1],
                depth_cm=place[2],
                ppfd=float(found.at(np.array([place])).ppfd[0]),
            )
        )
        found = estimate(found.plan, pretended)
    return Chosen(points=in_order(points), why=why)


def _animal(one: Animal) -> measured.Animal:
    return measured.Animal(
        name=one.name,
        x_cm=one.x_cm,
        y_cm=one.y_cm,
        depth_cm=one.depth_cm,
        low_ppfd=one.low_ppfd,
        high_ppfd=one.high_ppfd,
    )


def _inside(tank: Tank, one: Animal) -> bool:
    return (
        one.x_cm <= tank.length_cm and one.y_cm <= tank.width_cm and one.depth_cm <= tank.depth_cm
    )


def _name(place: tuple[float, float, float], animals: Sequence[Animal]) -> str:
    """The animal at a place, if one lives there."""
    for one in animals:
        if np.linalg.norm(np.array(place) - [one.x_cm, one.y_cm, one.depth_cm]) < 3.0:
            return one.name
    return ""
