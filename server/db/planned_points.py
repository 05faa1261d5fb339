"""The points a session by the tank reads, and the value to expect at each."""

from collections.abc import Sequence

from server.db.measured import Measured
from server.models import Animal, Tank
from server.surveys.plan import points_of
from server.surveys.reading_order import USUAL_POINTS, Point, reading_points

_BESIDE_ANIMALS = 4  # points that tell of the lamps, not of one animal
_MOST_POINTS = 30  # nobody keeps an arm in the water for longer


def points(tank: Tank, animals: Sequence[Animal]) -> tuple[Point, ...]:
    """Every animal and the emptiest places of the tank, in the order of reading."""
    living = [
        Point(
            x_cm=min(one.x_cm, tank.length_cm),
            y_cm=min(one.y_cm, tank.width_cm),
            depth_cm=min(one.depth_cm, tank.depth_cm),
            name=one.name,
        )
        for one in animals
    ]
    return reading_points(
        length_cm=tank.length_cm,
        width_cm=tank.width_cm,
        depth_cm=tank.depth_cm,
        animals=living,
        count=min(max(USUAL_POINTS, len(living) + _BESIDE_ANIMALS), _MOST_POINTS),
    )


def expected(found: Measured | None, places: Sequence[Point], factor: float) -> list[float] | None:
    """What the sensor should show at each place: the light as known best over the sensor's
    factors. None without a lamp."""
    if found is None or not places:
        return None
    return [float(value) / factor for value in found.map.at(points_of(places)).ppfd]
