"""Places in a tank: even grids, what a sensor can reach, and how a person would say it."""

import numpy as np
from numpy.typing import NDArray

from server.optics.tank import Tank

Floats = NDArray[np.float64]

SENSOR_CM = 2.0
"""From the floor to the face of what lies on it: a flat animal, a sensor set down."""

KEEP_OFF_CM = 4.0
"""From glass, floor and surface to the middle of a sensor: its head and the wand do not fit nearer
(common practice, no published source)."""


def even_grid(tank: Tank, *, along: int, across: int, levels: int, edge: float = 0.1) -> Floats:
    """Even places in the water, (n, 3), the outermost `edge` of each side away from it."""
    sides = zip(
        (tank.length_cm, tank.width_cm, tank.depth_cm), (along, across, levels), strict=True
    )
    axes = [side * np.linspace(edge, 1 - edge, count) for side, count in sides]
    grids = np.meshgrid(*axes, indexing="ij")
    return reachable(tank, np.stack([grid.ravel() for grid in grids], axis=1))


def reachable(tank: Tank, points: Floats) -> Floats:
    """Points (n, 3) moved to where a sensor fits."""
    sides = np.array([tank.length_cm, tank.width_cm, tank.depth_cm])
    margin = np.minimum(KEEP_OFF_CM, sides / 4)
    return np.asarray(np.clip(points, margin, sides - margin), dtype=np.float64)


def under_no_rock(tank: Tank, points: Floats) -> NDArray[np.bool_]:
    """Whether a sensor at each point (n, 3) is in open water, beside or over every rock."""
    free = np.ones(len(points), dtype=bool)
    x, y, depth = points.T
    for rock in tank.rocks:
        over = (rock.left_cm - SENSOR_CM < x) & (x < rock.right_cm + SENSOR_CM)
        over &= (rock.front_cm - SENSOR_CM < y) & (y < rock.back_cm + SENSOR_CM)
        free &= ~(over & (depth > rock.top_cm - SENSOR_CM))
    return free


def in_words(tank: Tank, point: Floats) -> str:
    """'at the back left, near the floor'."""
    return f"{_corner(tank, point)}, {_level(tank, point)}"


def _corner(tank: Tank, point: Floats) -> str:
    along = _third(point[0], tank.length_cm, ("left", "", "right"))
    across = _third(point[1], tank.width_cm, ("front", "", "back"))
    if along and across:
        return f"at the {across} {along}"
    if across:
        return f"in the middle of the {across}"
    return f"in the middle on the {along}" if along else "in the middle"


def _level(tank: Tank, point: Floats) -> str:
    return str(
        _third(point[2], tank.depth_cm, ("near the surface", "half-way down", "near the floor"))
    )


def _third(value: float, side: float, names: tuple[str, str, str]) -> str:
    return names[int(np.clip(3 * value / side, 0, 2))]
