"""The water's surface that braces leave open, as rectangles that do not overlap.

The edges of all braces cut the surface into a grid; runs of open cells are joined along x and then
along y. Braces that overlap at corners count once.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from server.optics.tank import Tank

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Opening:
    """A rectangle of open water [cm]."""

    left_cm: float
    right_cm: float
    front_cm: float
    back_cm: float


@lru_cache(maxsize=128)
def openings(tank: Tank) -> tuple[Opening, ...]:
    """Where light may cross the surface; one rectangle where no brace lies, none under a lid of
    braces."""
    x = _edges(tank.length_cm, [(b.left_cm, b.right_cm) for b in tank.braces])
    y = _edges(tank.width_cm, [(b.front_cm, b.back_cm) for b in tank.braces])
    found: list[Opening] = []
    for front, back in pairwise(y):
        row = [(left, right) for left, right in pairwise(x)
               if is_open(tank, (left + right) / 2, (front + back) / 2)]  # fmt: skip
        found += [Opening(left, right, front, back) for left, right in _joined(row)]
    return tuple(_stacked(found))


def is_open(tank: Tank, x_cm: float, y_cm: float) -> bool:
    """Whether no brace lies over a place of the surface."""
    return not any(
        b.left_cm < x_cm < b.right_cm and b.front_cm < y_cm < b.back_cm for b in tank.braces
    )


def _edges(extent_cm: float, pairs: list[tuple[float, float]]) -> list[float]:
    inner = {min(edge, extent_cm) for pair in pairs for edge in pair}
    return sorted({0.0, extent_cm} | inner)


def _joined(row: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Neighbouring stretches as one."""
    found: list[tuple[float, float]] = []
    for left, right in row:
        if found and found[-1][1] == left:
            found[-1] = (found[-1][0], right)
        else:
            found.append((left, right))
    return found


def _stacked(rows: list[Opening]) -> list[Opening]:
    """Rectangles of the same width that touch from front to back as one."""
    found: list[Opening] = []
    for one in rows:
        below = next((o for o in found if (o.left_cm, o.right_cm, o.back_cm)
                      == (one.left_cm, one.right_cm, one.front_cm)), None)  # fmt: skip
        if below:
            found.remove(below)
            one = Opening(one.left_cm, one.right_cm, below.front_cm, one.back_cm)
        found.append(one)
    return found
