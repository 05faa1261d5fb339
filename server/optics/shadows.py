"""Shadows of rocks on a grid of cells: which rays may meet which rock, and what they leave.

From a source S a ray that passes a rock at Q lands at P = S + (Q − S) / (1 − k), k = t (1 − e):
t the height of Q over P as a share of the depth, e the share of the way sideways that lies above
the water. The extremes of Q, t and e bound the rows and columns that a rock can shade, so only
those pairs are looked at (`shade` then has the exact condition).
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from server.optics.kernel import Kernel
from server.optics.rocks import boxes
from server.optics.shade import RAYS, Rays, share_left, stopped_rays
from server.optics.sources import Sources
from server.optics.tank import Tank
from server.optics.walls import Fold

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]

_AT_ONCE = 16_000
_MIRRORED_RAYS = 16
"""Rays tested for light by way of walls, of which there is less."""

_THIN = 1e-6


def leave_shaded(
    value: Singles,
    tank: Tank,
    sources: Sources,
    tables: Kernel,
    folds: tuple[Fold, Fold],
    placed_cm: tuple[Floats, Floats],
    depth_cm: float,
    cell_cm: tuple[float, float],
    count: int = RAYS,
) -> None:
    """Leave of value (sources, ny, nx) the share of rays that no rock stops.

    placed_cm: x (nx,) and y (ny,) of the cells in the unfolded tank, rising or falling. count: rays
    tested for each pair at a shadow's edge.
    """
    low, high = _unfolded(tank, folds, depth_cm)
    if low.shape[1] == 0 or depth_cm <= 0.0:
        return
    flat = value.reshape(-1)
    bits = np.zeros(flat.size, dtype=np.uint32)
    count = count if sum(fold.bounces for fold in folds) == 0 else min(count, _MIRRORED_RAYS)
    whole = np.uint32((1 << count) - 1)
    start = np.clip(1.0 - high[2] / depth_cm, 0.0, 1.0)
    end = np.clip(1.0 - low[2] / depth_cm, 0.0, 1.0)
    ranges = _ranges(sources, tables, (low, high), (start, end), placed_cm, cell_cm)
    for piece, box, column, row in _listed(*ranges):
        pair = (piece * placed_cm[1].size + row) * placed_cm[0].size + column
        lit = np.flatnonzero((flat.take(pair) > 0.0) & (bits.take(pair) != whole))
        pair, piece, box = pair[lit], piece[lit], box[lit]
        target = placed_cm[0][column[lit]], placed_cm[1][row[lit]]
        rays = _rays(sources, tables, piece, target, depth_cm, cell_cm, count)
        at = (v[box].astype(np.float32) for v in (start, end))
        corners = low[:, box].astype(np.float32), high[:, box].astype(np.float32)
        np.bitwise_or.at(bits, pair, stopped_rays(*corners, rays, *at))
    shaded = np.flatnonzero(bits)
    flat[shaded] *= share_left(bits[shaded], count)


def _unfolded(tank: Tank, folds: tuple[Fold, Fold], depth_cm: float) -> tuple[Floats, Floats]:
    """Corners (3, boxes) of the rocks above a depth, in every imagined tank on the way."""
    low, high = boxes(tank)
    above = low[2] < depth_cm
    low, high = low[:, above], high[:, above]
    found: list[tuple[Floats, Floats]] = []
    for i in _on_the_way(folds[0]):
        for j in _on_the_way(folds[1]):
            corners = [low.copy(), high.copy()]
            for axis, (k, extent) in enumerate(((i, tank.length_cm), (j, tank.width_cm))):
                if k % 2:
                    corners[0][axis] = (k + 1) * extent - high[axis]
                    corners[1][axis] = (k + 1) * extent - low[axis]
                else:
                    corners[0][axis] += k * extent
                    corners[1][axis] += k * extent
            found.append((corners[0], corners[1]))
    return (
        np.concatenate([one[0] for one in found], axis=1),
        np.concatenate([one[1] for one in found], axis=1),
    )


def _on_the_way(fold: Fold) -> range:
    """Numbers of the imagined tanks from the real one to this one."""
    last = fold.bounces * fold.side
    return range(min(0, last), max(0, last) + 1)


def _ranges(
    sources: Sources,
    tables: Kernel,
    corners: tuple[Floats, Floats],
    stretch: tuple[Floats, Floats],
    placed_cm: tuple[Floats, Floats],
    cell_cm: tuple[float, float],
) -> tuple[Places, Places, Places, Places]:
    """First and one past the last column and row each box can shade: four (sources, boxes)."""
    entries = float(tables.entry.min()), float(tables.entry.max())
    least, most = 1.0 - stretch[0] * (1.0 - entries[1]), 1.0 - stretch[1] * (1.0 - entries[0])
    thin = stretch[1] - stretch[0] <= _THIN
    found: list[Places] = []
    for axis, places in enumerate((sources.x_cm, sources.y_cm)):
        margin = max(cell_cm[axis], sources.piece_cm[axis]) / 2.0 + 1e-3
        from_low = corners[0][axis] - margin - places[:, None]
        from_high = corners[1][axis] + margin - places[:, None]
        lowest = places[:, None] + np.minimum(from_low / least, from_low / most)
        highest = places[:, None] + np.maximum(from_high / least, from_high / most)
        highest[:, thin] = -np.inf
        placed = placed_cm[axis]
        if placed.size > 1 and placed[1] < placed[0]:
            last = placed.size - np.searchsorted(placed[::-1], lowest)
            first = placed.size - np.searchsorted(placed[::-1], highest, side="right")
        else:
            first = np.searchsorted(placed, lowest)
            last = np.searchsorted(placed, highest, side="right")
        found += [first, np.maximum(last, first)]
    return found[0], found[1], found[2], found[3]


def _listed(
    first_x: Places, last_x: Places, first_y: Places, last_y: Places
) -> Iterator[tuple[Places, Places, Places, Places]]:
    """Numbers of source, box, column and row of every pair within the ranges, block by block.

    Boxes that shade much come first: what they stop whole need not be looked at again.
    """
    shaded = ((last_x - first_x) * (last_y - first_y)).sum(axis=0)
    order = np.argsort(-shaded, kind="stable")
    from_x, from_y = (first.T[order].ravel() for first in (first_x, first_y))
    wide = last_x.T[order].ravel() - from_x
    count = wide * (last_y.T[order].ravel() - from_y)
    some = np.flatnonzero(count)
    ends = np.cumsum(count[some])
    sources = first_x.shape[0]
    begin = 0
    while begin < some.size:
        done = int(ends[begin - 1]) if begin else 0
        stop = max(begin + 1, int(np.searchsorted(ends, done + _AT_ONCE, side="right")))
        part = some[begin:stop]
        begin = stop
        which = np.repeat(part, count[part])
        starts = np.repeat(np.cumsum(count[part]) - count[part], count[part])
        step = np.arange(which.size) - starts
        row, column = np.divmod(step, wide[which])
        box, piece = np.divmod(which, sources)
        yield piece, order[box], column + from_x[which], row + from_y[which]


def _rays(
    sources: Sources, tables: Kernel, piece: Places, target: tuple[Floats, Floats],
    depth_cm: float, cell_cm: tuple[float, float], count: int,
) -> Rays:  # fmt: skip
    """The families of rays from cells to pieces of lamps."""
    places = sources.x_cm[piece], sources.y_cm[piece]
    apart = [t - p for t, p in zip(target, places, strict=True)]
    distance = np.hypot(apart[0], apart[1])
    entries = np.minimum((distance * tables.steps_per_cm + 0.5).astype(np.intp), tables.last)
    entry, bend = tables.entry.take(entries), tables.entry_bend.take(entries)
    cell, lamp = (
        (np.asarray(size[0], dtype=np.float32), np.asarray(size[1], dtype=np.float32))
        for size in (cell_cm, sources.piece_cm)
    )
    crossing = [(p + entry * a).astype(np.float32) for p, a in zip(places, apart, strict=True)]
    follows = [(bend * (a * a) + entry).astype(np.float32) for a in apart]
    return Rays(
        target=(target[0].astype(np.float32), target[1].astype(np.float32)),
        crossing=(crossing[0], crossing[1]),
        depth_cm=np.asarray(depth_cm, dtype=np.float32),
        cell_cm=cell, piece_cm=lamp, follows=(follows[0], follows[1]),
        turn=turns(piece, target), count=count,
    )  # fmt: skip


def turns(piece: Places, target_cm: tuple[Floats, Floats]) -> Singles:
    """Numbers 0–1 that differ from pair to pair in no pattern."""
    mixed = piece * 0.7548776662 + target_cm[0] * 0.5698402910 + target_cm[1] * 0.3247179572
    return np.asarray(mixed * 7.0 % 1.0, dtype=np.float32)
