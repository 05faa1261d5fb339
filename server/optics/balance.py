"""Where the photons go: what enters the water equals what is absorbed, let out and returned.

Each share is worked out by itself: light on floor and walls by integrating over them, light that
leaves through glass and surface by what passes there at every ray's own angle, light the water
takes by integrating over depth. That they add up to what entered is a check of the whole, not
something put in.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.optics.diffuse import arriving_directly, given_off
from server.optics.direct import light_on_grid
from server.optics.emitters import Emitter
from server.optics.fates import fates
from server.optics.field import planes, share_into_water
from server.optics.patches import Receivers, faces_of, transfer
from server.optics.sources import Sources, sources_for
from server.optics.tank import Tank, Wall, Walls, Water, albedo_of

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
    kind: str
    along_cm: Floats
    depth_cm: Floats
    weights: Floats

    @property
    def points(self) -> Floats:
        along, depth = np.meshgrid(self.along_cm, self.depth_cm, indexing="ij")
        at = np.full(along.size, self.at_cm)
        pair = (at, along.ravel()) if self.axis == 0 else (along.ravel(), at)
        return np.stack([*pair, depth.ravel()], axis=1)


def balance(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> Balance:
    """Photon fluxes of a lit tank. Raises what the field raises."""
    emitted = sum(emitter.ppf_umol_s for emitter in emitters)
    groups = sources_for(tank, water, emitters, depth_cm=0.25 * tank.depth_cm)
    sums = dict.fromkeys(("water", "floor", "walls", "out_of_walls", "out_of_surface"), 0.0)
    for group in groups:
        _add_direct(sums, tank, water, group)
    if tank.obstructed:
        sums["walls"] = 0.0  # what dark walls get is among the fates
        for name, flux in fates(tank, water, emitters).items():
            sums[name] = sums.get(name, 0.0) + flux
    elif tank.floor_albedo <= 0.0:
        level = planes(
            _without_scatter(tank), water, emitters, depths_cm=[tank.depth_cm], cell_cm=_cell(tank)
        )[0]
        sums["floor"] += level.mean * _area(tank)
    if not tank.obstructed:
        _add_scattered(sums, tank, water, emitters)
    return Balance(
        emitted=emitted, entered=emitted * share_into_water(tank, water, emitters), **sums
    )


def _add_direct(sums: dict[str, float], tank: Tank, water: Water, group: Sources) -> None:
    """What the water takes, what dark walls get and what clear walls let out of direct light."""
    taking = tuple((share * per_m / 100.0, per_m) for share, per_m in group.absorption)
    x, y = _middles(tank.length_cm), _middles(tank.width_cm)
    depths, steps = _gauss(tank.depth_cm, _LEVELS)
    for depth, step in zip(depths, steps, strict=True):
        per_cm = light_on_grid(
            tank, water, group.recoloured(taking), x_cm=x, y_cm=y, depth_cm=float(depth),
            cell_cm=(tank.length_cm / x.size, tank.width_cm / y.size), receiver="path",
        )  # fmt: skip
        sums["water"] += float(per_cm.mean()) * _area(tank) * float(step)
    for wall in _walls(tank):
        if wall.kind != "matt":
            name = "out_of_walls" if wall.kind == "clear" else "walls"
            sums[name] += float(np.sum(wall.weights * _direct_on(tank, water, group, wall)))


def _direct_on(tank: Tank, water: Water, group: Sources, wall: _Wall) -> Floats:
    at = np.array([wall.at_cm])
    kind = "through" if wall.kind == "clear" else "wall"
    rows = [
        light_on_grid(
            tank, water, group,
            x_cm=at if wall.axis == 0 else wall.along_cm,
            y_cm=wall.along_cm if wall.axis == 0 else at,
            depth_cm=float(depth),
            receiver=f"{kind}_{'xy'[wall.axis]}",  # type: ignore[arg-type]  # one of Receiver's
        ).ravel()
        for depth in wall.depth_cm
    ]  # fmt: skip
    return np.stack(rows, axis=1).ravel()


def _add_scattered(
    sums: dict[str, float], tank: Tank, water: Water, emitters: Sequence[Emitter]
) -> None:
    """Where the light goes that floor and matt walls give off, and what they keep."""
    faces = faces_of(tank)
    if not faces:
        return
    groups = sources_for(tank, water, emitters, depth_cm=tank.depth_cm)
    given = given_off(tank, water, arriving_directly(tank, water, groups))
    rho = np.concatenate([np.full(face.size, face.albedo) for face in faces])
    area = np.concatenate([face.areas_sq_cm for face in faces]) / SQ_CM_PER_SQ_M
    on_floor = np.concatenate([np.full(face.size, face.axis == 2) for face in faces])
    for per_m, exitance in given.items():
        kept = (1.0 / rho - 1.0) * exitance * area
        sums["floor"] += float(kept[on_floor].sum())
        sums["walls"] += float(kept[~on_floor].sum())
        for name, receivers, weights, through in _sinks(tank):
            clear, dimmed = (
                float(weights @ (seen @ exitance))
                for seen in _seen(tank, water, (0.0, per_m), receivers, through)
            )
            sums["water"] += clear - dimmed
            if name:
                sums[name] += dimmed


def _sinks(tank: Tank) -> Iterator[tuple[str, Receivers, Floats, bool]]:
    """All that ends a scattered path: name of its sum, places, weights [m²], whether it lets out.

    Faces that scatter have no name: what they keep is known from what they give off.
    """
    for face in faces_of(tank):
        receivers = Receivers(points=face.centres, axis=face.axis, looks=face.inward)
        yield "", receivers, face.areas_sq_cm / SQ_CM_PER_SQ_M, False
    for wall in _walls(tank):
        if wall.kind != "matt":
            looks = 1 if wall.at_cm == 0.0 else -1
            receivers = Receivers(points=wall.points, axis=wall.axis, looks=looks)
            name = "out_of_walls" if wall.kind == "clear" else "walls"
            yield name, receivers, wall.weights, wall.kind == "clear"
    x, along = _gauss(tank.length_cm, _NODES)
    y, across = _gauss(tank.width_cm, _NODES)
    grid = np.stack([v.ravel() for v in np.meshgrid(x, y, indexing="ij")], axis=1)
    weights = np.outer(along, across).ravel() / SQ_CM_PER_SQ_M
    for name, depth, looks in (("out_of_surface", 0.0, 1), ("floor", tank.depth_cm, -1)):
        if name == "floor" and tank.floor_albedo > 0.0:
            continue
        points = np.column_stack([grid, np.full(len(grid), depth)])
        yield name, Receivers(points=points, axis=2, looks=looks), weights, looks > 0


def _seen(
    tank: Tank, water: Water, per_m: tuple[float, float], receivers: Receivers, through: bool
) -> Floats:
    parts = [
        transfer(
            tank, water.refractive_index, per_m, receivers=receivers, face=face, through=through
        )
        for face in faces_of(tank)
    ]
    return np.concatenate(parts, axis=2)


def _walls(tank: Tank) -> Iterator[_Wall]:
    walls = tank.walls
    depth, down = _gauss(tank.depth_cm, _NODES)
    sides = (
        (walls.left, 0, 0.0, tank.width_cm), (walls.right, 0, tank.length_cm, tank.width_cm),
        (walls.front, 1, 0.0, tank.length_cm), (walls.back, 1, tank.width_cm, tank.length_cm),
    )  # fmt: skip
    for wall, axis, at, extent in sides:
        along, steps = _gauss(extent, 2 * _NODES)
        kind = "clear" if wall == "clear" else "matt" if albedo_of(wall) > 0.0 else "dark"
        weights = np.outer(steps, down).ravel() / SQ_CM_PER_SQ_M
        yield _Wall(axis, at, kind, along, depth, weights)


def _without_scatter(tank: Tank) -> Tank:
    """The same tank where matt walls give nothing back; clear ones mirror as before."""

    def kept(wall: Wall) -> Wall:
        return wall if isinstance(wall, str) else "black"

    walls = tank.walls
    dark = Walls(
        left=kept(walls.left), right=kept(walls.right),
        front=kept(walls.front), back=kept(walls.back),
    )  # fmt: skip
    return replace(tank, walls=dark, floor_albedo=0.0)


def _gauss(extent_cm: float, count: int) -> tuple[Floats, Floats]:
    """Gauss–Legendre nodes and weights over 0 … extent [cm]."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return (nodes + 1.0) / 2.0 * extent_cm, weights / 2.0 * extent_cm


def _middles(extent_cm: float) -> Floats:
    return (np.arange(40) + 0.5) / 40 * extent_cm


def _area(tank: Tank) -> float:
    return tank.length_cm * tank.width_cm / SQ_CM_PER_SQ_M


def _cell(tank: Tank) -> float:
    return max(tank.length_cm, tank.width_cm) / 60.0
