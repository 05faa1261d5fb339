"""Rocks as boxes of numbers: their corners, and what lies inside them."""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.optics.tank import Rock, Tank

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

_UNDER_FLOOR_CM = 1.0
"""A rock on the floor reaches this far below it, so that no light slips under."""


def bottom_of(tank: Tank, rock: Rock) -> float:
    """Depth of a rock's underside [cm]; of one that stands on the floor, the floor's."""
    return tank.depth_cm if rock.bottom_cm is None else min(rock.bottom_cm, tank.depth_cm)


def stands(tank: Tank, rock: Rock) -> bool:
    """Whether a rock reaches the floor."""
    return bottom_of(tank, rock) >= tank.depth_cm - 1e-6


_TOUCHING_CM = 1e-6
_PARTS = 8


@lru_cache(maxsize=64)
def boxes(tank: Tank) -> Floats:
    """Shape (2, 3, rocks): least and greatest x, y and depth of every rock [cm].

    Rocks on the floor end a little below it.
    """
    found = [
        (
            (rock.left_cm, rock.front_cm, rock.top_cm),
            (
                rock.right_cm,
                rock.back_cm,
                bottom_of(tank, rock) + (_UNDER_FLOOR_CM if stands(tank, rock) else 0.0),
            ),
        )
        for rock in tank.rocks
    ]
    return np.array(found, dtype=np.float64).reshape(-1, 2, 3).transpose(1, 2, 0)


def inside(tank: Tank, x_cm: ArrayLike, y_cm: ArrayLike, depth_cm: ArrayLike) -> Places:
    """Number of the first rock each place lies in, −1 where none; the shapes broadcast.

    On top of a rock, beside it and on its underside is not inside; under one that stands is.
    """
    return _within(tank, np.stack(np.broadcast_arrays(x_cm, y_cm, depth_cm)) * 1.0, 0.0)


def in_rock(tank: Tank, x_cm: Floats, y_cm: Floats, depth_cm: float) -> NDArray[np.bool_]:
    """Whether the middle of each cell (ny, nx) of a level lies in a rock, its sides included."""
    grid = np.broadcast_arrays(x_cm[None, :], y_cm[:, None], depth_cm)
    return np.asarray(_within(tank, np.stack(grid), _TOUCHING_CM) >= 0)


@lru_cache(maxsize=64)
def free_share(tank: Tank, nx: int, ny: int, depth_cm: float) -> Floats:
    """Share of each cell (ny, nx) of a level that lies in no rock; 1 where all of it does.

    Counted on 8 × 8 places within each cell.
    """
    x, y = ((np.arange(count * _PARTS) + 0.5) / (count * _PARTS) * extent
            for count, extent in ((nx, tank.length_cm), (ny, tank.width_cm)))  # fmt: skip
    free = ~in_rock(tank, x, y, depth_cm)
    share = free.reshape(ny, _PARTS, nx, _PARTS).mean(axis=(1, 3))
    return np.where(share > 0.0, share, 1.0)


def _within(tank: Tank, place: Floats, wider_cm: float) -> Places:
    low, high = (corners.reshape(3, *(1,) * (place.ndim - 1), -1) for corners in boxes(tank))
    level = np.flatnonzero((boxes(tank)[1, 2] > place[2].min(initial=np.inf))
                           & (boxes(tank)[0, 2] < place[2].max(initial=-np.inf)))  # fmt: skip
    if level.size == 0:
        return np.full(place.shape[1:], -1, dtype=np.intp)
    low, high = low[..., level], high[..., level]
    hit = (place[2, ..., None] > low[2]) & (place[2, ..., None] < high[2])
    for axis in (0, 1):
        hit &= place[axis, ..., None] > low[axis] - wider_cm
        hit &= place[axis, ..., None] < high[axis] + wider_cm
    return np.where(hit.any(axis=-1), level[hit.argmax(axis=-1)], -1)
