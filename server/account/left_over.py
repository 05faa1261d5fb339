"""The light on a tank's cuts as the account knows it: numbers put right, left-over part, doubt.

The left-over part and the doubt are smooth, so they are worked out once on a lattice of the tank
and read off in between: that is what lets a measured plan follow a slider.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from server.account.cuts import Cuts, DoubtViews, Lit, Views
from server.optics.tank import Tank
from server.surveys.estimate import MeasuredMap
from server.surveys.plan import Lamp, Plan, light_of

Floats = npt.NDArray[np.float64]

STEP_CM, LEAST, MOST = 10.0, 4, 12
"""Distance of the lattice's nodes, and how many there are along a side."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lattice:
    """Left-over light (as a logarithm) and relative half-width on nodes (x, y, depth)."""

    x_cm: Floats
    y_cm: Floats
    depth_cm: Floats
    left_over: Floats
    half_width: Floats


@lru_cache(maxsize=32)
def lattice(found: MeasuredMap) -> Lattice:
    """Asked of the map once; maps of the same lamps and readings are the same object."""
    tank = found.plan.tank
    sides = [_nodes(side) for side in (tank.length_cm, tank.width_cm, tank.depth_cm)]
    points = np.stack([grid.ravel() for grid in np.meshgrid(*sides, indexing="ij")], axis=1)
    shape = tuple(side.size for side in sides)
    seen, right = found.at(points), found.corrected
    plain = np.maximum(light_of(right, right.emitters, points), 1e-6)
    return Lattice(
        x_cm=sides[0],
        y_cm=sides[1],
        depth_cm=sides[2],
        left_over=np.log(np.maximum(seen.ppfd, 1e-6) / plain).reshape(shape),
        half_width=seen.half_width.reshape(shape),
    )


def _nodes(side_cm: float) -> Floats:
    count = int(np.clip(round(side_cm / STEP_CM), LEAST, MOST))
    return np.linspace(0.03 * side_cm, 0.97 * side_cm, count)


@lru_cache(maxsize=32)
def put_right(found: MeasuredMap, lit: Lit) -> Lit:
    """Lamps at full power with what the readings say of output, beam, height and water."""
    plan = Plan(
        tank=lit.tank,
        water=lit.water,
        lamps=tuple(Lamp(name="", emitters=emitters) for emitters in lit.full),
    )
    right = found.corrected_as(plan)
    return replace(lit, water=right.water, full=tuple(lamp.emitters for lamp in right.lamps))


def views(found: MeasuredMap, seen: Views, cuts: Cuts) -> tuple[Views, DoubtViews]:
    """The light of a plan put right, with the left-over part; and its doubt."""
    nodes, tank = lattice(found), found.plan.tank
    light, doubt = {}, {}
    for name, points in _points(tank, seen, cuts).items():
        values: Floats = getattr(seen, name)
        light[name] = values * np.exp(_read(nodes, nodes.left_over, points)).reshape(values.shape)
        doubt[name] = _read(nodes, nodes.half_width, points).reshape(values.shape)
    return Views(**light), DoubtViews(**doubt)


def _points(tank: Tank, seen: Views, cuts: Cuts) -> dict[str, Floats]:
    """Places of the cells of the three cuts, (n, 3) each."""
    (ny, nx), (levels, _), _ = seen.above.shape, seen.front.shape, seen.side.shape
    x, y = _centres(tank.length_cm, nx), _centres(tank.width_cm, ny)
    depth = _centres(tank.depth_cm, levels)
    return {
        "above": _grid(x[None, :], y[:, None], cuts.depth_cm),
        "front": _grid(x[None, :], cuts.front_y_cm, depth[:, None]),
        "side": _grid(cuts.side_x_cm, y[None, :], depth[:, None]),
    }


def _grid(x: Floats | float, y: Floats | float, depth: Floats | float) -> Floats:
    return np.stack([one.ravel() for one in np.broadcast_arrays(x, y, depth)], axis=1)


def _centres(extent_cm: float, count: int) -> Floats:
    return (np.arange(count) + 0.5) / count * extent_cm


def _read(nodes: Lattice, values: Floats, points: Floats) -> Floats:
    """Values between the nodes, straight along each side, held outside."""
    found = np.zeros(len(points))
    parts = [
        _share(axis, points[:, n])
        for n, axis in enumerate((nodes.x_cm, nodes.y_cm, nodes.depth_cm))
    ]
    for corner in range(8):
        up = [(corner >> n) & 1 for n in range(3)]
        index = tuple(at + step for (at, _), step in zip(parts, up, strict=True))
        weight = np.ones(len(points))
        for (_, share), step in zip(parts, up, strict=True):
            weight = weight * (share if step else 1 - share)
        found += weight * values[index]
    return found


def _share(axis: Floats, at: Floats) -> tuple[npt.NDArray[np.intp], Floats]:
    held = np.clip(at, axis[0], axis[-1])
    low = np.clip(np.searchsorted(axis, held, side="right") - 1, 0, axis.size - 2)
    return low, (held - axis[low]) / (axis[low + 1] - axis[low])
