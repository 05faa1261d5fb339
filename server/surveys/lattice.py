"""A smooth quantity known at a few places in the tank, and read off anywhere between them.

The nodes are Chebyshev's in each direction and the reading-off is Lagrange's polynomial through
them, in its barycentric form (Berrut & Trefethen 2004, SIAM Review 46:501). How strongly the light
answers to a beam angle or a dirty wall changes slowly through a tank, so a hundred nodes do.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Lattice:
    """Node positions along x, y and depth [cm]."""

    x_cm: Floats
    y_cm: Floats
    depth_cm: Floats

    @property
    def points(self) -> Floats:
        """All nodes, shape (nx·ny·nd, 3)."""
        grids = np.meshgrid(self.x_cm, self.y_cm, self.depth_cm, indexing="ij")
        return np.stack([grid.ravel() for grid in grids], axis=1)

    def weights(self, points: Floats) -> Floats:
        """Weight of every node at every point, shape (n, nx·ny·nd); rows sum to 1."""
        x = _lagrange(self.x_cm, points[:, 0])
        y = _lagrange(self.y_cm, points[:, 1])
        d = _lagrange(self.depth_cm, points[:, 2])
        every = np.einsum("ni,nj,nk->nijk", x, y, d)
        count = self.x_cm.size * self.y_cm.size * self.depth_cm.size
        return np.asarray(every.reshape(len(points), count), dtype=np.float64)


def over(length_cm: float, width_cm: float, depth_cm: float) -> Lattice:
    """Nodes for a tank: closer together the longer it is, and never on a wall."""
    return Lattice(
        x_cm=_chebyshev(length_cm, count(length_cm, 10.0, 5, 13)),
        y_cm=_chebyshev(width_cm, count(width_cm, 10.0, 5, 7)),
        depth_cm=_chebyshev(depth_cm, count(depth_cm, 13.0, 4, 5)),
    )


@lru_cache(maxsize=64)
def coarse_over(length_cm: float, width_cm: float, depth_cm: float) -> Lattice:
    """Fewer nodes, for light that has been scattered and has no edges left."""
    return Lattice(
        x_cm=_chebyshev(length_cm, count(length_cm, 20.0, 4, 6)),
        y_cm=_chebyshev(width_cm, 4),
        depth_cm=_chebyshev(depth_cm, 3),
    )


def count(length_cm: float, step_cm: float, least: int, most: int) -> int:
    """How many nodes a length wants at about one per step."""
    return int(np.clip(round(length_cm / step_cm), least, most))


def _chebyshev(length_cm: float, nodes: int) -> Floats:
    turn = (np.arange(nodes) + 0.5) * np.pi / nodes
    return np.asarray(length_cm * (0.5 - 0.5 * np.cos(turn)), dtype=np.float64)


def _lagrange(nodes: Floats, at: Floats) -> Floats:
    """Lagrange weights, shape (n, nodes). Beyond the outer nodes the value there is kept."""
    at = np.clip(at, nodes[0], nodes[-1])
    gaps = nodes[:, None] - nodes[None, :] + np.eye(nodes.size)
    scale = 1.0 / np.prod(gaps / np.ptp(nodes), axis=1)
    away = at[:, None] - nodes[None, :]
    hit: NDArray[np.bool_] = np.abs(away) < 1e-9
    share = scale / np.where(hit, 1.0, away)
    share = np.where(np.any(hit, axis=1, keepdims=True), hit, share)
    return np.asarray(share / share.sum(axis=1, keepdims=True), dtype=np.float64)
