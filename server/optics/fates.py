"""Where photons end in a tank with rocks or braces: on which face, in the water, out of it.

What each piece of a face gets is known from what it gives off. What rays lose on their way, to
glass, surface, braces and water, is written down leg by leg as they are followed from the pieces.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from server.optics.among_rocks import given_off
from server.optics.emitters import Emitter
from server.optics.patches import Face
from server.optics.pieces import piece_starts, room_of
from server.optics.rays import LANDED, Room, follow
from server.optics.tank import Tank, Wall, Walls, Water

Floats = NDArray[np.float64]

SQ_CM_PER_SQ_M = 1e4

_DARK = 1e-6
"""Albedo of dark faces here, so that they are faces and what they get is known."""

_RAYS = 256


def fates(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> dict[str, float]:
    """Photon fluxes [µmol s⁻¹]: kept by `floor`, `walls` and `rocks` of all light, and lost of the
    scattered light to `water`, `out_of_walls` (growth included) and `out_of_surface` (braces too).
    """
    solid = _with_faces(tank)
    room = room_of(solid, water.refractive_index)
    rho = np.concatenate([np.full(face.size, face.albedo) for face in room.faces])
    area = np.concatenate([face.areas_sq_cm for face in room.faces]) / SQ_CM_PER_SQ_M
    area *= piece_starts(room, _RAYS)[2].mean(axis=1)  # what no other rock covers
    kind = np.concatenate([np.full(face.size, _kind(face)) for face in room.faces])
    sums = dict.fromkeys(
        ("floor", "walls", "rocks", "water", "out_of_walls", "out_of_surface"), 0.0
    )
    for per_m, exitance in given_off(solid, water, emitters).items():
        kept = (1.0 / rho - 1.0) * exitance * area
        for name in ("floor", "walls", "rocks"):
            sums[name] += float(kept[kind == name].sum())
        for name, lost in _on_the_way(room, per_m, exitance * area).items():
            sums[name] += lost
    return sums


def _on_the_way(room: Room, per_m: float, flux: Floats) -> dict[str, float]:
    """What the photons given off by the pieces, flux [µmol s⁻¹] each, lose before they land."""
    start, way, free = piece_starts(room, _RAYS)
    each = np.repeat(flux / np.maximum(free.sum(axis=1), 1), _RAYS) * free.ravel()
    sums = dict.fromkeys(("water", "out_of_walls", "out_of_surface"), 0.0)

    def lost(
        number: NDArray[np.intp], kind: NDArray[np.intp], taken: NDArray[np.float32],
        gone: NDArray[np.float32],
    ) -> None:  # fmt: skip
        photons = each[number] * taken
        left = photons * np.exp(-per_m / 100.0 * gone)
        sums["water"] += float((photons - left).sum())
        sums["out_of_surface"] += float(left[kind == 2].sum())
        sums["out_of_walls"] += float(left[(kind != 2) & (kind != LANDED)].sum())

    follow(room, start, way, lost)
    return sums


def _with_faces(tank: Tank) -> Tank:
    """The same tank with every dark face all but dark."""

    def lit(wall: Wall) -> Wall:
        if wall == "clear":
            return wall
        return max(_DARK, 0.0 if isinstance(wall, str) else wall)

    walls = tank.walls
    return replace(
        tank,
        floor_albedo=max(tank.floor_albedo, _DARK),
        walls=Walls(left=lit(walls.left), right=lit(walls.right),
                    front=lit(walls.front), back=lit(walls.back)),
        rocks=tuple(replace(rock, albedo=max(rock.albedo, _DARK)) for rock in tank.rocks),
    )  # fmt: skip


def _kind(face: Face) -> str:
    if face.rock is not None:
        return "rocks"
    return "floor" if face.axis == 2 else "walls"
