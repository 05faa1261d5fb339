"""Where the photons go: what enters the water equals what is absorbed, let out and returned.

Each share is worked out by itself: light on floor, walls and rocks piece by piece, direct light
that leaves through glass by what passes there at every ray's own angle, direct light the water
takes by integrating over depth, and scattered light by following it (`fates`). That they add up to
what entered is a check of the whole, not something put in.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.direct import light_on_grid
from server.optics.emitters import Emitter
from server.optics.fates import fates
from server.optics.field import share_into_water
from server.optics.sources import Sources, sources_for
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]
SQ_CM_PER_SQ_M = 1e4
_NODES = 20
_LEVELS = 12


@dataclass(frozen=True, kw_only=True)
class Balance:
    """Photon fluxes [µmol s⁻¹]. `entered` crosses the surface into the water; the rest is where
    that goes: taken by the water, the floor, dark or matt walls, rocks, out through clear walls or
    kept by growth on them, and out through the surface or kept by braces."""

    emitted: float
    entered: float
    water: float
    floor: float
    walls: float
    out_of_walls: float
    out_of_surface: float
    rocks: float = 0.0

    @property
    def found_again(self) -> float:
        """Share of what entered that the parts account for; 1 but for numerical error."""
        parts = self.water + self.floor + self.walls + self.rocks
        parts += self.out_of_walls + self.out_of_surface
        return parts / self.entered if self.entered > 0.0 else 1.0


@dataclass(frozen=True)
class _Wall:
    """One side of the tank with nodes and weights [m²] of a quadrature over it."""

    axis: int
    at_cm: float
    along_cm: Floats
    depth_cm: Floats
    weights: Floats


def balance(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> Balance:
    """Photon fluxes of a lit tank. Raises what the field raises."""
    emitted = sum(emitter.ppf_umol_s for emitter in emitters)
    sums = dict.fromkeys(("water", "out_of_walls"), 0.0)
    for group in sources_for(tank, water, emitters, depth_cm=0.25 * tank.depth_cm):
        _add_direct(sums, tank, water, group)
    for name, flux in fates(tank, water, emitters).items():
        sums[name] = sums.get(name, 0.0) + flux
    return Balance(
        emitted=emitted, entered=emitted * share_into_water(tank, water, emitters), **sums
    )


def _add_direct(sums: dict[str, float], tank: Tank, water: Water, group: Sources) -> None:
    """What the water takes and what clear walls let out of direct light."""
    taking = tuple((share * per_m / 100.0, per_m) for share, per_m in group.absorption)
    x, y = _middles(tank.length_cm), _middles(tank.width_cm)
    depths, steps = _gauss(tank.depth_cm, _LEVELS)
    for depth, step in zip(depths, steps, strict=True):
        per_cm = light_on_grid(
            tank, water, group.recoloured(taking), x_cm=x, y_cm=y, depth_cm=float(depth),
            cell_cm=(tank.length_cm / x.size, tank.width_cm / y.size), receiver="path",
        )  # fmt: skip
        sums["water"] += float(per_cm.mean()) * _area(tank) * float(step)
    for wall in _clear_walls(tank):
        through = _direct_through(tank, water, group, wall)
        sums["out_of_walls"] += float(np.sum(wall.weights * through))


def _direct_through(tank: Tank, water: Water, group: Sources, wall: _Wall) -> Floats:
    at = np.array([wall.at_cm])
    rows = [
        light_on_grid(
            tank, water, group,
            x_cm=at if wall.axis == 0 else wall.along_cm,
            y_cm=wall.along_cm if wall.axis == 0 else at,
            depth_cm=float(depth),
            receiver="through_x" if wall.axis == 0 else "through_y",
        ).ravel()
        for depth in wall.depth_cm
    ]  # fmt: skip
    return np.stack(rows, axis=1).ravel()


def _clear_walls(tank: Tank) -> Iterator[_Wall]:
    walls = tank.walls
    depth, down = _gauss(tank.depth_cm, _NODES)
    sides = (
        (walls.left, 0, 0.0, tank.width_cm), (walls.right, 0, tank.length_cm, tank.width_cm),
        (walls.front, 1, 0.0, tank.length_cm), (walls.back, 1, tank.width_cm, tank.length_cm),
    )  # fmt: skip
    for wall, axis, at, extent in sides:
        if wall == "clear":
            along, steps = _gauss(extent, 2 * _NODES)
            weights = np.outer(steps, down).ravel() / SQ_CM_PER_SQ_M
            yield _Wall(axis, at, along, depth, weights)


def _gauss(extent_cm: float, count: int) -> tuple[Floats, Floats]:
    """Gauss–Legendre nodes and weights over 0 … extent [cm]."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return (nodes + 1.0) / 2.0 * extent_cm, weights / 2.0 * extent_cm


def _middles(extent_cm: float) -> Floats:
    return (np.arange(40) + 0.5) / 40 * extent_cm


def _area(tank: Tank) -> float:
    return tank.length_cm * tank.width_cm / SQ_CM_PER_SQ_M
