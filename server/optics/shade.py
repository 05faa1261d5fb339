"""Rocks in the way of direct light: rays against boxes.

Under water a ray is straight, from where it crossed the surface to where it lands. A box with
upright sides takes up a stretch of its depth, so a stretch of the ray; seen from above, the ray
meets the box where that stretch, a short line, meets the box's rectangle. A line and a rectangle
meet when they overlap along x, along y, and across the line (separating axes).

A target may stand for a cell and a source for a piece of a lamp. Then a family of rays runs side
by side. Families that pass a box whole or are stopped whole are told from their width; of the
others, at the edges of shadows, 32 rays are tested one by one. Each ray has its bit, so that a ray
that several boxes stop counts once.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.rocks import boxes
from server.optics.tank import Tank

Singles = NDArray[np.float32]
Places = NDArray[np.intp]
Bits = NDArray[np.uint32]
Pair = tuple[Singles, Singles]

RAYS, FEWER_RAYS = 32, 8
"""Rays of a family that are tested; fewer where the light is averaged again."""


_AT_ONCE = 60_000
_NOTHING = np.float32(1e-6)
_HALF = np.float32(0.5)


@dataclass(frozen=True, kw_only=True, eq=False)
class Rays:
    """Families of rays from targets up to the surface, in the unfolded tank; shapes (m,) or ().

    target, crossing: x and y of the middle ray [cm]. depth_cm: of the targets. cell_cm, piece_cm:
    over which targets and sources spread along x and y. follows: how far the crossing moves along
    x and y per step of the target; it moves the rest of the way per step of the source.
    turn: 0–1, different from family to family, so that their rays lie differently. count: rays of
    each family that are tested, 8 to RAYS by eights.
    """

    target: Pair
    crossing: Pair
    depth_cm: Singles
    cell_cm: Pair
    piece_cm: Pair
    follows: Pair
    turn: Singles
    count: int = RAYS

    def some(self, which: Places) -> "Rays":
        """The families of those numbers."""

        def one(values: Singles) -> Singles:
            return values if values.ndim == 0 else values.take(which)

        def part(pair: Pair) -> Pair:
            return one(pair[0]), one(pair[1])

        return Rays(
            target=part(self.target), crossing=part(self.crossing), depth_cm=one(self.depth_cm),
            cell_cm=part(self.cell_cm), piece_cm=part(self.piece_cm),
            follows=part(self.follows), turn=one(self.turn), count=self.count,
        )  # fmt: skip


def visible_share(tank: Tank, rays: Rays) -> Singles:
    """Share of each family that no rock stops, 0–1, shape (m,)."""
    bits = np.zeros(rays.target[0].size, dtype=np.uint32)
    size = max(1, _AT_ONCE // max(1, len(tank.rocks)))
    for which, local in _by_tank(tank, rays):
        for block in range(0, which.size, size):
            numbers = np.arange(block, min(which.size, block + size))
            bits[which[numbers]] |= _stopped(tank, local.some(numbers))
    return share_left(bits, rays.count)


def share_left(bits: Bits, count: int = RAYS) -> Singles:
    """Share of the count rays of each family whose bit is not set."""
    return np.asarray(1.0 - np.bitwise_count(bits) / count, dtype=np.float32)


def _by_tank(tank: Tank, rays: Rays) -> Iterator[tuple[Places, Rays]]:
    """The rays that pass each imagined tank, in that tank's own coordinates."""
    extents = (tank.length_cm, tank.width_cm)
    if rays.target[0].size == 0 or not tank.rocks:
        return
    spans = [
        (np.minimum(below, above), np.maximum(below, above))
        for below, above in zip(rays.target, rays.crossing, strict=True)
    ]
    columns, rows = (
        range(int(np.floor(low.min() / extent)), int(np.floor(high.max() / extent)) + 1)
        for (low, high), extent in zip(spans, extents, strict=True)
    )
    for i in columns:
        across = (spans[0][0] < (i + 1) * extents[0]) & (spans[0][1] > i * extents[0])
        for j in rows:
            along = (spans[1][0] < (j + 1) * extents[1]) & (spans[1][1] > j * extents[1])
            which = np.flatnonzero(across & along)
            if which.size:
                yield which, _folded(rays.some(which), (i, j), extents)


def _folded(rays: Rays, tank: tuple[int, int], extents: tuple[float, float]) -> Rays:
    def back(pair: Pair) -> Pair:
        first, second = (
            np.float32((k + 1) * e) - v if k % 2 else v - np.float32(k * e)
            for v, k, e in zip(pair, tank, extents, strict=True)
        )
        return first, second

    return Rays(
        target=back(rays.target), crossing=back(rays.crossing), depth_cm=rays.depth_cm,
        cell_cm=rays.cell_cm, piece_cm=rays.piece_cm, follows=rays.follows, turn=rays.turn,
        count=rays.count,
    )  # fmt: skip


def _stopped(tank: Tank, rays: Rays) -> Bits:
    """Which rays of each family the rocks of the tank stop, shape (m,)."""
    low, high = boxes(tank).astype(np.float32)
    depth = np.maximum(rays.depth_cm, _NOTHING)
    start = np.clip(np.float32(1.0) - high[2][:, None] / depth, 0.0, 1.0)
    end = np.clip(np.float32(1.0) - low[2][:, None] / depth, 0.0, 1.0)
    size = rays.target[0].size
    near = np.broadcast_to(end - start > _NOTHING, (low.shape[1], size)).copy()
    middle, half = (start + end) / 2, (end - start) / 2
    for axis in (0, 1):
        widest = np.maximum(rays.cell_cm[axis], rays.piece_cm[axis]).max() / 2
        centre = ((low[axis] + high[axis]) / 2)[:, None]
        reach = (high[axis] - low[axis])[:, None] / 2 + widest
        way = rays.crossing[axis] - rays.target[axis]
        apart = np.abs(rays.target[axis] - centre + middle * way)
        near &= apart < reach + half * np.abs(way)
    rock, ray = np.nonzero(near)
    bits = np.zeros(size, dtype=np.uint32)
    at = [np.broadcast_to(v, near.shape)[rock, ray] for v in (start, end)]
    stopped = stopped_rays(low[:, rock], high[:, rock], rays.some(ray), at[0], at[1])
    np.bitwise_or.at(bits, ray, stopped)
    return bits


def stopped_rays(low: Singles, high: Singles, rays: Rays, start: Singles, end: Singles) -> Bits:
    """Which rays of each family its box stops, shape (m,).

    low, high: corners (3, m). start, end: the stretch of its depth the box takes up, as a share of
    the target's depth counted from the target.
    """
    nearest, furthest = _margins(low, high, rays, start, end)
    bits = np.where(nearest >= 0.0, np.uint32((1 << rays.count) - 1), np.uint32(0))
    for block in np.array_split(edges := np.flatnonzero((nearest < 0.0) & (furthest > 0.0)),
                                1 + edges.size * rays.count // _AT_ONCE):  # fmt: skip
        if block.size:
            bits[block] = _one_by_one(
                low[:, block], high[:, block], rays.some(block), start[block], end[block]
            )
    return bits


def _margins(
    low: Singles, high: Singles, rays: Rays, start: Singles, end: Singles
) -> tuple[Singles, Singles]:
    """By how much the ray of each family that meets the box least, and the one that meets it most,
    overlap with it; below nought they miss it. Bounds, not exact; scaled by what each condition
    measures."""
    middle, half = (start + end) / 2, (end - start) / 2
    way, spread, apart, sides = [], [], [], []
    least = most = np.full(1, np.inf, dtype=np.float32)
    for axis in (0, 1):
        cell, piece, follows = rays.cell_cm[axis], rays.piece_cm[axis], rays.follows[axis]
        more = (follows * (cell - piece) + (piece - cell)) / 2
        spread.append(cell / 2 + np.maximum(start * more, end * more))
        way.append(rays.crossing[axis] - rays.target[axis])
        sides.append((high[axis] - low[axis]) / 2)
        apart.append(rays.target[axis] - (low[axis] + high[axis]) / 2)
        meets = half * np.abs(way[axis])
        meets += sides[axis]
        meets -= np.abs(apart[axis] + middle * way[axis])
        least = np.minimum(least, meets - spread[axis])
        most = np.minimum(most, meets + spread[axis])
    long, wide = np.abs(way[0]), np.abs(way[1])
    meets = sides[0] * wide + sides[1] * long + _NOTHING
    meets -= np.abs(way[0] * apart[1] - way[1] * apart[0])
    across = wide * spread[0] + long * spread[1]
    return np.minimum(least, meets - across), np.minimum(most, meets + across)


def _one_by_one(low: Singles, high: Singles, rays: Rays, start: Singles, end: Singles) -> Bits:
    """Every ray of each family against its box: bits, shape (m,)."""
    middle, half = (start + end) / 2, (end - start) / 2
    hit = np.ones((rays.count, start.size), dtype=bool)
    way, apart, sides = [], [], []
    for axis in (0, 1):
        cell, piece, follows = rays.cell_cm[axis], rays.piece_cm[axis], rays.follows[axis]
        step = _steps(rays, axis) * cell
        target = rays.target[axis] + step
        crossing = rays.crossing[axis] + step * follows
        crossing += _steps(rays, axis + 2) * (piece * (1 - follows))
        sides.append((high[axis] - low[axis]) / 2)
        way.append(crossing - target)
        apart.append(target - (low[axis] + high[axis]) / 2)
        hit &= np.abs(apart[axis] + middle * way[axis]) < sides[axis] + half * np.abs(way[axis])
    beside = np.abs(way[0] * apart[1] - way[1] * apart[0])
    hit &= beside < sides[0] * np.abs(way[1]) + sides[1] * np.abs(way[0]) + _NOTHING
    packed = np.zeros((start.size, 4), dtype=np.uint8)
    packed[:, : rays.count // 8] = np.packbits(hit, axis=0, bitorder="little").T
    return packed.view("<u4").ravel().astype(np.uint32)


_ORDER = [int(f"{k:05b}"[::-1], 2) for k in range(RAYS)]
_BASE = ((np.outer(_ORDER, [1, 13, 7, 27]) % RAYS + 0.5) / RAYS).astype(np.float32)
_SLOPES = np.array([1.0, 3.0, 5.0, 7.0], dtype=np.float32)
"""A lattice in four dimensions, each of them evenly filled by all rays and, in this order, by the
first eight too; and how far a family's turn shifts it along each: its rays lie at other places of
cell and piece than those of its neighbours."""


def _steps(rays: Rays, dimension: int) -> Singles:
    """Places of the rays within cell or piece, −½ to ½, shape (count, m)."""
    shifted = _BASE[: rays.count, dimension, None] + _SLOPES[dimension] * rays.turn
    return np.asarray(shifted - np.floor(shifted) - _HALF)
