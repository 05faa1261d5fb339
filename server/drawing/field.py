"""A field of numbers made fine enough to be cut into smooth contours."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from server.drawing.room import Box

Array = npt.NDArray[np.float64]

FINE = 5.0
"""The refined field's cells are about this wide [SVG units]."""


@lru_cache(maxsize=64)
def _weights(count: int, fine: int) -> Array:
    """Cubic weights [fine, count] from cell centres to `fine` places, both walls included.

    Catmull and Rom's spline with the end slopes carried on, so that a field straight up to
    the wall stays straight there.
    """
    if count == 1:
        return np.ones((fine, 1))
    at = np.linspace(-0.5, count - 0.5, fine)
    cell = np.clip(np.floor(at).astype(int), 0, count - 2)
    t = at - cell
    inside = np.clip(t, 0, 1)
    cubic = np.stack(
        [
            -0.5 * inside + inside**2 - 0.5 * inside**3,
            1 - 2.5 * inside**2 + 1.5 * inside**3,
            0.5 * inside + 2 * inside**2 - 1.5 * inside**3,
            -0.5 * inside**2 + 0.5 * inside**3,
        ]
    )
    weights = np.zeros((fine, count + 2))
    for offset in range(4):
        weights[np.arange(fine), cell + offset] += cubic[offset]
    _carry_on(weights, t, count)
    return _without_ghosts(weights)


def _carry_on(weights: Array, t: Array, count: int) -> None:
    """Beyond the outer cell centres, go on straight along the outer slope."""
    before, after = t < 0, t > 1
    weights[before] = 0
    weights[before, 1], weights[before, 2] = 1 - t[before], t[before]
    weights[after] = 0
    weights[after, count], weights[after, count - 1] = t[after], 1 - t[after]


def _without_ghosts(weights: Array) -> Array:
    """Replace the two values outside the field by the straight line through the outer two."""
    weights[:, 1] += 2 * weights[:, 0]
    weights[:, 2] -= weights[:, 0]
    weights[:, -2] += 2 * weights[:, -1]
    weights[:, -3] -= weights[:, -1]
    return weights[:, 1:-1]


def refine(values: Array, *, columns: int, rows: int, positive: bool) -> Array:
    """A field of cell values [ny, nx] at rows × columns places from wall to wall.

    positive: interpolate the logarithm, which keeps a positive field positive.
    """
    if not np.all(np.isfinite(values)):
        raise ValueError("a field must be finite everywhere to be drawn")
    positive = positive and bool(np.all(values > 0))
    down, across = _weights(values.shape[0], rows), _weights(values.shape[1], columns)
    fine: Array = down @ (np.log(values) if positive else values) @ across.T
    return np.exp(fine) if positive else fine


@dataclass(frozen=True, kw_only=True)
class Field:
    """A refined field over a box of the drawing. values [rows, columns], top row first."""

    box: Box
    values: Array

    @property
    def x(self) -> Array:
        """Places of the columns [SVG units]."""
        return np.linspace(self.box.left, self.box.right, self.values.shape[1])

    @property
    def y(self) -> Array:
        """Places of the rows [SVG units]."""
        return np.linspace(self.box.top, self.box.bottom, self.values.shape[0])

    def at(self, points: Array) -> Array:
        """Nearest refined values [n] at points [n, 2]."""
        rows, columns = self.values.shape
        column = np.rint((points[:, 0] - self.box.left) / self.box.width * (columns - 1))
        row = np.rint((points[:, 1] - self.box.top) / self.box.height * (rows - 1))
        held = np.clip(row, 0, rows - 1).astype(int), np.clip(column, 0, columns - 1).astype(int)
        nearest: Array = self.values[held]
        return nearest


def field(values: Array, *, box: Box, positive: bool = True) -> Field:
    """Cell values [ny, nx], first row at the top of the box, refined to be drawn."""
    columns = max(2, round(box.width / FINE) + 1)
    rows = max(2, round(box.height / FINE) + 1)
    return Field(box=box, values=refine(values, columns=columns, rows=rows, positive=positive))
