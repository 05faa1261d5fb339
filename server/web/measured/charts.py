"""The three views of a measured map: its light, and how unsure it is, on the cuts of a tank."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.account.cuts import Cuts, DoubtViews, Views
from server.surveys import difference
from server.surveys.difference import Difference
from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Plan

Floats = NDArray[np.float64]

CELL_CM, MOST_ACROSS, MOST_BACK, LEVELS = 4.0, 32, 16, 12


def grids(plan: Plan, cuts: Cuts) -> tuple[Floats, tuple[tuple[int, int], ...]]:
    """Places of all three cuts one after another, (n, 3), and their shapes: above, front, side."""
    tank = plan.tank
    x = _centres(tank.length_cm, MOST_ACROSS)
    y = _centres(tank.width_cm, MOST_BACK)
    depth = (np.arange(LEVELS) + 0.5) / LEVELS * tank.depth_cm
    shapes = ((y.size, x.size), (LEVELS, x.size), (LEVELS, y.size))
    above = _points(x[None, :], y[:, None], cuts.depth_cm, shapes[0])
    front = _points(x[None, :], cuts.front_y_cm, depth[:, None], shapes[1])
    side = _points(cuts.side_x_cm, y[None, :], depth[:, None], shapes[2])
    return np.concatenate([above, front, side]), shapes


@lru_cache(maxsize=32)
def measured_views(found: MeasuredMap, cuts: Cuts) -> tuple[Views, DoubtViews]:
    """Light and relative half-width on the cuts; kept as long as the very same map is.

    Among rocks the engine is asked of a thousand places, which costs seconds.
    """
    points, shapes = grids(found.plan, cuts)
    light: Estimate = found.at(points)
    return Views(**_split(light.ppfd, shapes)), DoubtViews(**_split(light.half_width, shapes))


def change_views(
    found: MeasuredMap, earlier: MeasuredMap | None, cuts: Cuts
) -> tuple[Difference, Floats, Floats, tuple[int, int]]:
    """What differs on the view from above, from an earlier map or (None) from the plan.

    The difference, the change in µmol m⁻² s⁻¹, its doubt (1 where unsure), and the shape.
    """
    points, shapes = grids(found.plan, cuts)
    above = points[: shapes[0][0] * shapes[0][1]]
    if earlier is None:
        told = difference.from_plan(found.plan, found, above)
    else:
        told = difference.between_sessions(earlier, found, above)
    now = found.at(above).ppfd
    before = now / (1 + told.percent / 100)
    return told, now - before, told.unsure.astype(np.float64), shapes[0]


def _centres(extent_cm: float, most: int) -> Floats:
    count = int(np.clip(round(extent_cm / CELL_CM), 4, most))
    return np.asarray((np.arange(count) + 0.5) / count * extent_cm, dtype=np.float64)


def _points(
    x: Floats | float, y: Floats | float, depth: Floats | float, shape: tuple[int, int]
) -> Floats:
    full = [np.broadcast_to(np.asarray(one, dtype=np.float64), shape) for one in (x, y, depth)]
    return np.stack([one.ravel() for one in full], axis=1)


def _split(values: Floats, shapes: tuple[tuple[int, int], ...]) -> dict[str, Floats]:
    ends = np.cumsum([rows * columns for rows, columns in shapes])[:-1]
    parts = np.split(values, ends)
    names = ("above", "front", "side")
    return {n: part.reshape(shape) for n, part, shape in zip(names, parts, shapes, strict=True)}
