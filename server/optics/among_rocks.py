"""Scattered light in a tank with rocks or braces in the way: what floor, rocks and walls return.

As in `diffuse`, each piece of each face returns its albedo of what it gets, B = ρ (D + K B); but K,
and what a sensor sees of the pieces, come from rays (see `rays`), since closed forms know nothing
of what stands between. Everything but D depends on the tank alone and is remembered.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.diffuse import Arriving, rungs
from server.optics.direct import light_on_grid
from server.optics.emitters import Emitter
from server.optics.kernel import Absorption, peak_width_cm
from server.optics.patches import Face, Receivers
from server.optics.pieces import is_floor, piece_starts, room_of, samples, starts
from server.optics.rays import Landed, Room, follow
from server.optics.reach import light_on
from server.optics.rocks import free_share, inside
from server.optics.shade import FEWER_RAYS
from server.optics.sources import Sources, sources_for
from server.optics.tank import Tank, Water, albedo_of

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

_RAYS_PIECE, _RAYS_POINT = 64, 192
_RAYS_PLANE, _RAYS_CELL = 110_000, (48, 256)
"""Rays of all cells of a plane together, and the least and most of one cell."""

_NODE_CM = 1.9
_MOST_NODES = 4000
"""Scattered light on a plane is worked out on cells no smaller and no more than these."""

_PIECE, _MOST_SAMPLES = 0.35, 6
"""Longest piece of the floor that is one sample, as a share of the width of a source's light."""

_SHALLOW, _DENSE, _WHITE = 0.2, 1.42, 2.6
"""Depth as a share of the shorter side, refractive index, and sum of the albedos of five faces,
beyond which closed forms do not do."""

_MOST_TURNS, _LITTLE = 400, 1e-5

_Edge = tuple[float, float]
_Flat = tuple[float, int, float, int, tuple[_Edge, _Edge], int | None]
"""A rectangle before it is cut: albedo, axis, where along it, inward, its edges, its rock."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Seen:
    """What places see: number of a piece and the share of its exitance, by rung.

    piece: shape (places, rays), the number of pieces for rays that end nowhere. weights: one
    (places, rays) table per rung; a row's sum is at most 1.
    """

    piece: NDArray[np.int32]
    weights: tuple[Singles, ...]

    def of(self, exitance: Floats, rung: int) -> Floats:
        values = np.append(exitance, 0.0).astype(np.float32).take(self.piece)
        return np.asarray(np.einsum("pr,pr->p", values, self.weights[rung]), dtype=np.float64)


def needs_rays(tank: Tank, water: Water) -> bool:
    """Whether scattered light must be followed ray by ray: where something stands in its way, and
    where the closed forms of `diffuse` would miss by over half a percent.

    Those take mirrors and water as they are towards the middle of a piece, which fails in shallow
    water, in dense water between mirrors, and where nearly all faces return nearly all light. The
    bounds were found by comparing both on some hundred tanks drawn by chance.
    """
    if tank.obstructed:
        return True
    walls = (tank.walls.left, tank.walls.right, tank.walls.front, tank.walls.back)
    returned = tank.floor_albedo + sum(albedo_of(wall) for wall in walls)
    if returned <= 0.0:
        return False
    shallow = tank.depth_cm < _SHALLOW * min(tank.length_cm, tank.width_cm)
    return shallow or water.refractive_index > _DENSE or returned > _WHITE


def work(tank: Tank, water: Water) -> int:
    """What following the rays of one new plane costs, in pairs of lamp piece and sample."""
    return _RAYS_PLANE * (16 + len(tank.rocks)) // 2 if needs_rays(tank, water) else 0


def given_off(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> Arriving:
    """What every piece of every scattering face gives off in the end [µmol m⁻² s⁻¹], by rung.

    B = ρ (D + K B) by turns: each adds what came by one more scattering, until little does.
    """
    return dict(_given_off(tank, water, tuple(emitters)))


@lru_cache(maxsize=64)
def _given_off(
    tank: Tank, water: Water, emitters: tuple[Emitter, ...]
) -> tuple[tuple[float, Floats], ...]:
    arriving = arriving_directly(tank, water, emitters)
    if not arriving:
        return ()
    faces = room_of(tank, water.refractive_index).faces
    rho = np.concatenate([np.full(face.size, face.albedo) for face in faces])
    seen = _faces_seen(tank, water.refractive_index, tuple(arriving))
    found = []
    for rung, (per_m, direct) in enumerate(arriving.items()):
        added = exitance = rho * direct
        for _ in range(_MOST_TURNS):
            added = rho * seen.of(added, rung)
            exitance = exitance + added
            if added.max() <= _LITTLE * exitance.max():
                break
        found.append((per_m, exitance))
    return tuple(found)


def arriving_directly(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> Arriving:
    """Direct light on every piece of every scattering face [µmol m⁻² s⁻¹], by rung."""
    faces = room_of(tank, water.refractive_index).faces
    sums: dict[float, Floats] = {}
    for group in sources_for(tank, water, emitters, depth_cm=tank.depth_cm) if faces else ():
        parts = rungs(group.absorption, 1.5 * tank.depth_cm)
        lit = _direct_on(tank, water, group, faces, list(parts.values()))
        for per_m, got in zip(parts, lit, strict=True):
            sums[per_m] = sums.get(per_m, 0.0) + got
    return dict(sorted(sums.items()))


def returned_to_plane(
    tank: Tank,
    water: Water,
    given: Arriving,
    *,
    x_cm: Floats,
    y_cm: Floats,
    depth_cm: float,
) -> Floats:
    """PPFD that floor, rocks and walls add on a level plane, shape (ny, nx)."""
    if not given:
        return np.zeros((y_cm.size, x_cm.size))
    nx, ny = _node_counts(tank, x_cm.size, y_cm.size)
    seen, clear = _plane_seen(tank, water.refractive_index, tuple(given), depth_cm, nx, ny)
    total = np.zeros(nx * ny)
    for rung, exitance in enumerate(given.values()):
        total += seen.of(exitance, rung)
    to_x, to_y = _carry(tank.length_cm, nx, x_cm), _carry(tank.width_cm, ny, y_cm)
    there = to_y @ clear.reshape(ny, nx) @ to_x.T
    carried = to_y @ (total * clear).reshape(ny, nx) @ to_x.T
    return np.asarray(carried / np.maximum(there, 1e-9))


def returned_to_points(tank: Tank, water: Water, given: Arriving, *, points_cm: Floats) -> Floats:
    """PPFD that floor, rocks and walls add at upward-facing sensors; points_cm: (n, 3) → (n,)."""
    total = np.zeros(points_cm.shape[0])
    if not given:
        return total
    key = (points_cm.shape[0], points_cm.astype(np.float64).tobytes())
    seen = _points_seen(tank, water.refractive_index, tuple(given), key)
    for rung, exitance in enumerate(given.values()):
        total += seen.of(exitance, rung)
    return total


def _direct_on(
    tank: Tank, water: Water, sources: Sources, faces: Sequence[Face],
    parts: Sequence[Absorption],
) -> Floats:  # fmt: skip
    """Direct light and light by clear walls on each piece of all faces, one row per part."""
    targets, piece = samples(tank, water.refractive_index)
    ends = np.cumsum([face.size for face in faces])
    times = np.maximum(np.bincount(piece, minlength=int(ends[-1])), 1)
    found = np.stack([
        np.bincount(piece, lit, times.size) / times
        for lit in light_on(tank, water, sources, targets, parts)
    ])  # fmt: skip
    for face, end in zip(faces, ends, strict=True):
        if is_floor(face):
            found[:, end - face.size : end] = _on_floor(tank, water, sources, face, parts)
    return found


def _on_floor(
    tank: Tank, water: Water, sources: Sources, face: Face, parts: Sequence[Absorption]
) -> Floats:
    """Direct light on the uncovered part of the floor's pieces, one row per part of the light.

    Shadows are worked out once, for all parts together: what each part has of a piece's light is
    hardly changed by which of its rays are stopped.
    """
    width = peak_width_cm(
        sources.beam, height_cm=sources.height_cm, depth_cm=tank.depth_cm, water=water
    )
    cell = tuple(float(edges[1] - edges[0]) for edges in face.nodes)
    each = int(np.clip(np.ceil(max(cell) / (_PIECE * width)), 1, _MOST_SAMPLES))
    nodes = face.split(each).nodes
    u, v = ((edges[1:] + edges[:-1]) / 2 for edges in nodes)

    def lit(where: Tank, group: Sources) -> Floats:
        found = light_on_grid(
            where, water, group, x_cm=u, y_cm=v, depth_cm=tank.depth_cm,
            cell_cm=(cell[0] / each, cell[1] / each), rays=FEWER_RAYS,
        )  # fmt: skip
        pieces = found.reshape(face.shape[1], each, face.shape[0], each)
        return np.asarray(pieces.mean(axis=(1, 3)).T.ravel())

    free = free_share(tank, face.shape[0], face.shape[1], tank.depth_cm)
    shaded = np.asarray(lit(tank, sources) / free.T.ravel())
    if len(parts) == 1:
        return shaded[None]
    empty = replace(tank, rocks=())
    apart = np.stack([lit(empty, sources.recoloured(part)) for part in parts])
    return np.asarray(apart * shaded / np.maximum(apart.sum(axis=0), 1e-12))


@lru_cache(maxsize=16)
def _faces_seen(tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...]) -> _Seen:
    """What every piece of every face sees of all others."""
    room = room_of(tank, refractive_index)
    start, way, _ = piece_starts(room, _RAYS_PIECE)
    return _landed(room, start, way, _RAYS_PIECE, rungs_per_m)[0]


def _landed(
    room: Room, start: Singles, way: Singles, rays: int, rungs_per_m: tuple[float, ...]
) -> tuple[_Seen, NDArray[np.bool_]]:
    """What places see by so many rays each; and which places do not lie in a rock as a whole."""
    valid = (inside(room.tank, *start.astype(np.float64)) < 0).reshape(-1, rays)
    landed = follow(room, start, way)
    weight = landed.weight.reshape(valid.shape) * valid
    weight /= np.maximum(valid.sum(axis=1, keepdims=True), 1)
    return _by_rung(room, landed, weight, rungs_per_m), np.asarray(valid.any(axis=1))


def _by_rung(room: Room, landed: Landed, weight: Singles, rungs_per_m: tuple[float, ...]) -> _Seen:
    size = sum(face.size for face in room.faces)
    piece = np.where(landed.piece < 0, size, landed.piece).reshape(weight.shape)
    way_m = landed.way_cm.reshape(weight.shape) / np.float32(100.0)
    return _Seen(
        piece=piece.astype(np.int32),
        weights=tuple(weight * np.exp(np.float32(-per_m) * way_m) for per_m in rungs_per_m),
    )


@lru_cache(maxsize=24)
def _plane_seen(
    tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...], depth_cm: float,
    nx: int, ny: int,
) -> tuple[_Seen, NDArray[np.bool_]]:  # fmt: skip
    x, y = ((np.arange(n) + 0.5) / n * e for n, e in ((nx, tank.length_cm), (ny, tank.width_cm)))
    grid = np.meshgrid(x, y)
    points = np.stack([grid[0].ravel(), grid[1].ravel(), np.full(nx * ny, depth_cm)], axis=1)
    places = Receivers(points=points, axis=2, looks=-1)
    rays = int(np.clip(_RAYS_PLANE // (nx * ny), *_RAYS_CELL))
    start, way = starts(tank, places, (tank.length_cm / nx, tank.width_cm / ny, 0.0), rays)
    return _landed(room_of(tank, refractive_index), start, way, rays, rungs_per_m)


@lru_cache(maxsize=32)
def _points_seen(
    tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...], key: tuple[int, bytes]
) -> _Seen:
    points = np.frombuffer(key[1], dtype=np.float64).reshape(key[0], 3)
    places = Receivers(points=points, axis=2, looks=-1)
    start, way = starts(tank, places, (0.0, 0.0, 0.0), _RAYS_POINT)
    return _landed(room_of(tank, refractive_index), start, way, _RAYS_POINT, rungs_per_m)[0]


def _node_counts(tank: Tank, nx: int, ny: int) -> tuple[int, int]:
    cell = max(_NODE_CM, float(np.sqrt(tank.length_cm * tank.width_cm / _MOST_NODES)))
    most = [max(1, int(e / cell)) for e in (tank.length_cm, tank.width_cm)]
    return min(nx, most[0]), min(ny, most[1])


def _carry(extent_cm: float, count: int, to_cm: Floats) -> Floats:
    """Matrix from values at the middles of even cells to straight lines between them at to_cm."""
    at = np.clip(to_cm / extent_cm * count - 0.5, 0.0, count - 1.0)
    return np.asarray(np.maximum(1.0 - np.abs(at[:, None] - np.arange(count)), 0.0))
