"""Rocks in a view of a tank: quiet ink shapes, and the light drawn around them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.drawing import scale
from server.drawing.room import Box

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Block:
    """A rock in a view's own lengths [cm].

    solid: the view cuts through it; otherwise it lies before, behind, above or below the cut and
    is only outlined. number: what its keeper calls it by, empty for none.
    """

    across: tuple[float, float]
    along: tuple[float, float]
    solid: bool = True
    number: str = ""


@dataclass(frozen=True, kw_only=True)
class DrawnBlock:
    """A rock's box on the page [SVG units] and the radius of its corners."""

    box: Box
    solid: bool
    number: str
    radius: float


def drawn_blocks(
    blocks: Sequence[Block], across: scale.Scale, along: scale.Scale
) -> tuple[DrawnBlock, ...]:
    """Rocks placed on the page; what is only outlined first, so that cut rock lies over it."""
    placed = [_drawn(one, across, along) for one in blocks]
    return tuple(sorted(placed, key=lambda one: one.solid))


def _drawn(one: Block, across: scale.Scale, along: scale.Scale) -> DrawnBlock:
    x = sorted(across.at(end) for end in one.across)
    y = sorted(along.at(end) for end in one.along)
    box = Box(
        left=round(x[0], 1),
        top=round(y[0], 1),
        width=round(x[1] - x[0], 1),
        height=round(y[1] - y[0], 1),
    )
    radius = round(min(7.0, box.width / 3, box.height / 3), 1)
    return DrawnBlock(box=box, solid=one.solid, number=one.number, radius=radius)


def filled(values: Array, rocks: Sequence[DrawnBlock], box: Box) -> Array:
    """Cell values [ny, nx], first row on top, with those inside cut rock taken from beside it.

    Inside rock there is no light to draw. Its cells take the value of the nearest lit cell, so
    that contours run up to the rock and end at it; the rock is painted over them. Cells that are
    not a number are treated alike.
    """
    hidden = ~np.isfinite(values)
    ny, nx = values.shape
    x = box.left + (np.arange(nx) + 0.5) / nx * box.width
    y = box.top + (np.arange(ny) + 0.5) / ny * box.height
    for rock in rocks:
        if rock.solid:
            inside_x = (x > rock.box.left) & (x < rock.box.right)
            inside_y = (y > rock.box.top) & (y < rock.box.bottom)
            hidden |= inside_y[:, None] & inside_x[None, :]
    if not hidden.any() or hidden.all():
        return np.where(np.isfinite(values), values, 0.0)
    return _from_beside(np.where(hidden, 0.0, values), ~hidden)


def _from_beside(values: Array, known: npt.NDArray[np.bool_]) -> Array:
    """Unknown cells from the mean of known neighbours, ring by ring inward."""
    values, known = values.copy(), known.copy()
    while not known.all():
        total, count = np.zeros_like(values), np.zeros_like(values)
        for axis in (0, 1):
            for step in (-1, 1):
                total += _shifted(np.where(known, values, 0.0), axis, step)
                count += _shifted(known.astype(np.float64), axis, step)
        ring = ~known & (count > 0)
        values[ring] = total[ring] / count[ring]
        known |= ring
    return values


def _shifted(values: Array, axis: int, step: int) -> Array:
    """The field moved by one cell, zeros coming in."""
    moved = np.roll(values, step, axis=axis)
    edge: list[slice | int] = [slice(None), slice(None)]
    edge[axis] = 0 if step > 0 else -1
    moved[tuple(edge)] = 0.0
    return moved
