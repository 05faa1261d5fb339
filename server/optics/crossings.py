"""Where rays cross the water's surface: inside the rim, and between the braces.

Rays from a piece of a lamp to a cell cross the surface over a short stretch; the part of it that
lies in open water is the part of the light that gets in.
"""

import numpy as np
from numpy.typing import NDArray

from server.optics.kernel import Kernel
from server.optics.openings import openings
from server.optics.scene import Scene
from server.optics.walls import Fold

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Entries = NDArray[np.intp]
Pair = tuple[Singles, Singles]

_SHARP_CM = np.float32(1e-3)


def _crossing(
    scene: Scene, tables: Kernel, index: Entries, axis: int, apart: Singles, square: Singles
) -> Pair:
    """Where each pair's rays cross the surface along one axis, and over which stretch [cm]."""
    cell, piece = np.float32(scene.cell_cm[axis]), np.float32(scene.sources.piece_cm[axis])
    entry = tables.entry.take(index)
    follows = tables.entry_bend.take(index) * square + entry
    middle = entry * apart + column(scene.places[axis], apart)
    return middle, np.maximum(follows * (cell - piece) + piece, _SHARP_CM)


def through_openings(
    scene: Scene, tables: Kernel, index: Entries, apart: Pair, squares: Pair
) -> Singles:
    """Share of each pair's rays that cross the surface between the braces."""
    total = np.zeros_like(np.broadcast_arrays(*apart)[0])
    across, along = (
        _crossing(scene, tables, index, axis, apart[axis], squares[axis]) for axis in (0, 1)
    )
    shares: dict[tuple[int, float, float], Singles] = {}
    for one in openings(scene.tank):
        edges = ((0, one.left_cm, one.right_cm), (1, one.front_cm, one.back_cm))
        for key, (middle, spread) in zip(edges, (across, along), strict=True):
            if key not in shares:
                shares[key] = _between(middle, spread, key[1], key[2])
        total += shares[edges[0]] * shares[edges[1]]
    return total


def _between(middle: Singles, spread: Singles, low: float, high: float) -> Singles:
    half = np.float32(0.5)
    from_low = np.clip((middle - np.float32(low)) / spread + half, 0.0, 1.0)
    from_low -= np.clip((middle - np.float32(high)) / spread + half, 0.0, 1.0)
    return np.asarray(from_low)


def keep_inside(
    value: Singles, scene: Scene, tables: Kernel, index: Entries, axis: int, fold: Fold,
    apart: Singles, square: Singles,
) -> None:  # fmt: skip
    """Leave of each pair the share of rays that cross the surface inside the rim of one axis.

    The crossing points of the rays from a piece of lamp to a cell spread evenly over a short
    stretch; the share is the part of it inside. With no stretch it is the sharp edge of a point's
    shadow. A side towards which no ray can cross outside is not looked at.
    """
    extent, place = scene.extents[axis], scene.places[axis]
    cell, piece = np.float32(scene.cell_cm[axis]), np.float32(scene.sources.piece_cm[axis])
    low = fold.side < 0 or float(place.min()) < piece / 2.0
    high = fold.side > 0 or float(place.max()) > extent - piece / 2.0
    if not (low or high):
        return
    entry = tables.entry.take(index)
    moved = tables.entry_bend.take(index)
    moved *= square
    moved += entry
    moved *= cell - piece
    moved += piece
    spread = np.maximum(moved, _SHARP_CM, out=moved)
    entry *= apart
    crossing = np.add(entry, column(place, apart), out=entry)
    if low:
        value *= np.clip(crossing / spread + np.float32(0.5), 0.0, 1.0)
    if high:
        value *= np.clip((np.float32(extent) - crossing) / spread + np.float32(0.5), 0.0, 1.0)


def column(place: Floats, like: Singles) -> Singles:
    """Places of the sources as the first axis of arrays with the targets behind it."""
    return place.reshape(-1, *(1,) * (like.ndim - 1)).astype(np.float32)
