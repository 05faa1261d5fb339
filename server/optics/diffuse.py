"""Light that the floor and diffuse walls return, to and fro until it is gone.

Radiosity: each piece of a scattering face gets direct light D and light from the others, and
returns its albedo ρ of the sum, B = ρ (D + K B), so B = (1 − ρK)⁻¹ ρ D. K holds the paths by
clear walls and by the underside of the surface, which returns 0.48 of diffuse light for n = 1.34.
Everything but D depends on the tank alone and is remembered.

Source of the method: Goral et al. 1984 (radiosity), Siegel & Howell's enclosure exchange, from
memory; results are checked against brute force.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.direct import light_on_grid
from server.optics.kernel import peak_width_cm
from server.optics.patches import Face, Receivers, faces_of, transfer
from server.optics.sources import Sources
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]

Arriving = dict[float, Floats]

LADDER_PER_M = (0.0, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4, 12.8, 25.6, 51.2, 102.4)
"""Absorptions for which scattered light is worked out; others are mixed from their neighbours."""

_SAMPLES = (2, 6)
"""Direct light on a piece is the mean of this many places squared: for wide light, for narrow."""


def arriving_directly(tank: Tank, water: Water, groups: Sequence[Sources]) -> Arriving:
    """Direct light on every piece of every scattering face [µmol m⁻² s⁻¹], by rung of the ladder.

    groups: sources fine enough for the floor. Empty where nothing scatters.
    """
    faces = faces_of(tank)
    sums: dict[float, Floats] = {}
    for group in groups:
        for per_m, parts in rungs(group.absorption, 1.5 * tank.depth_cm).items():
            got = [_direct_on(tank, water, group.recoloured(parts), face) for face in faces]
            if got:
                sums[per_m] = sums.get(per_m, 0.0) + np.concatenate(got)
    return dict(sorted(sums.items()))


def returned_to_plane(
    tank: Tank,
    water: Water,
    arriving: Arriving,
    *,
    x_cm: Floats,
    y_cm: Floats,
    depth_cm: float,
) -> Floats:
    """PPFD that floor and diffuse walls add on a level plane, shape (ny, nx).

    Worked out on a few Chebyshev nodes and carried to the cells by the polynomial through them:
    scattered light is smooth.
    """
    total = np.zeros((y_cm.size, x_cm.size))
    nodes_x, nodes_y = _node_counts(tank, depth_cm)
    to_x = _carry(tank.length_cm, nodes_x, x_cm)
    to_y = _carry(tank.width_cm, nodes_y, y_cm)
    responses = _plane_response(tank, water.refractive_index, tuple(arriving), depth_cm)
    for response, direct in zip(responses, arriving.values(), strict=True):
        at_nodes = (response @ direct).reshape(nodes_y, nodes_x)
        total += to_y @ at_nodes @ to_x.T
    return np.asarray(np.maximum(total, 0.0))


def returned_to_points(
    tank: Tank,
    water: Water,
    arriving: Arriving,
    *,
    points_cm: Floats,
) -> Floats:
    """PPFD that floor and diffuse walls add at upward-facing sensors; points_cm: (n, 3) → (n,)."""
    total = np.zeros(points_cm.shape[0])
    key = (points_cm.shape[0], points_cm.astype(np.float64).tobytes())
    responses = _points_response(tank, water.refractive_index, tuple(arriving), key)
    for response, direct in zip(responses, arriving.values(), strict=True):
        total += response @ direct
    return np.asarray(np.maximum(total, 0.0))


def rungs(
    absorption: tuple[tuple[float, float], ...], path_cm: float
) -> dict[float, tuple[tuple[float, float], ...]]:
    """Which parts of the light count to which rung: rung → ((share, per_m), …).

    A part between two rungs is split so that the mixture fades over path_cm as the part does.
    """
    found: dict[float, list[tuple[float, float]]] = {}
    for share, per_m in absorption:
        high = next(k for k, rung in enumerate(LADDER_PER_M) if rung >= per_m)
        low = max(high - 1, 0)
        fades = [np.exp(-LADDER_PER_M[k] * path_cm / 100.0) for k in (low, high)]
        exact = np.exp(-per_m * path_cm / 100.0)
        fading = fades[0] > fades[1]  # in deep, dark water nothing is left at either rung
        upper = float((fades[0] - exact) / (fades[0] - fades[1])) if fading else 1.0
        for k, part in ((low, 1.0 - upper), (high, upper)):
            if part * share > 1e-9:
                found.setdefault(LADDER_PER_M[k], []).append((part * share, per_m))
    return {rung: tuple(parts) for rung, parts in found.items()}


def _direct_on(tank: Tank, water: Water, sources: Sources, face: Face) -> Floats:
    """Direct light and light by clear walls on each piece of a face, shape (face.size,)."""
    each = _samples_needed(tank, water, sources, face)
    u, v = (_samples(edges, each) for edges in face.nodes)
    if face.axis == 2:
        cell = (tank.length_cm / u.size, tank.width_cm / v.size)
        found = light_on_grid(
            tank, water, sources, x_cm=u, y_cm=v, depth_cm=tank.depth_cm, cell_cm=cell
        ).T
    else:
        found = np.stack([_on_wall(tank, water, sources, face, u, depth) for depth in v], axis=1)
    nu, nv = face.shape
    pieces = found.reshape(nu, each, nv, each)
    return np.asarray(pieces.mean(axis=(1, 3)).ravel())


def _on_wall(
    tank: Tank, water: Water, sources: Sources, face: Face, along: Floats, depth_cm: float
) -> Floats:
    at = np.array([face.at_cm])
    return light_on_grid(
        tank, water, sources,
        x_cm=at if face.axis == 0 else along,
        y_cm=along if face.axis == 0 else at,
        depth_cm=float(depth_cm),
        receiver="wall_x" if face.axis == 0 else "wall_y",
    ).ravel()  # fmt: skip


def _samples_needed(tank: Tank, water: Water, sources: Sources, face: Face) -> int:
    """Places along each side of a piece, enough for light as narrow as this where it meets it."""
    depth_cm = tank.depth_cm if face.axis == 2 else 0.15 * tank.depth_cm
    width = peak_width_cm(sources.beam, height_cm=sources.height_cm, depth_cm=depth_cm, water=water)
    piece = max(float(np.diff(edges).max()) for edges in face.nodes)
    return int(np.clip(np.ceil(piece / (0.5 * width)), *_SAMPLES))


def _samples(edges: Floats, each: int) -> Floats:
    """Evenly placed sample points within each piece."""
    steps = (np.arange(each) + 0.5) / each
    return np.asarray((edges[:-1, None] + np.diff(edges)[:, None] * steps).ravel())


@lru_cache(maxsize=24)
def _settled(tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...]) -> Floats:
    """(1 − ρK)⁻¹ ρ: from direct light on the pieces to the light each gives off, per rung."""
    faces = faces_of(tank)
    rho = np.concatenate([np.full(face.size, face.albedo) for face in faces])
    exchange = np.concatenate(
        [
            _all_faces(
                tank, refractive_index, rungs_per_m,
                Receivers(points=into.centres, axis=into.axis, looks=into.inward),
            )
            for into in faces
        ],
        axis=1,
    )  # fmt: skip
    left = np.eye(rho.size) - rho[None, :, None] * exchange
    return np.asarray(np.linalg.solve(left, np.broadcast_to(np.diag(rho), left.shape)))


def _all_faces(
    tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...], receivers: Receivers
) -> Floats:
    parts = [
        transfer(tank, refractive_index, rungs_per_m, receivers=receivers, face=face)
        for face in faces_of(tank)
    ]
    return np.concatenate(parts, axis=2)


@lru_cache(maxsize=64)
def _plane_response(
    tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...], depth_cm: float
) -> Floats:
    """From direct light on the pieces to PPFD at a plane's nodes: (rungs, nodes, pieces)."""
    nodes_x, nodes_y = _node_counts(tank, depth_cm)
    y, x = np.meshgrid(
        _nodes(tank.width_cm, nodes_y), _nodes(tank.length_cm, nodes_x), indexing="ij"
    )
    points = np.stack([x.ravel(), y.ravel(), np.full(x.size, depth_cm)], axis=1)
    return _response(tank, refractive_index, rungs_per_m, points)


@lru_cache(maxsize=16)
def _points_response(
    tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...], key: tuple[int, bytes]
) -> Floats:
    points = np.frombuffer(key[1], dtype=np.float64).reshape(key[0], 3)
    return _response(tank, refractive_index, rungs_per_m, points)


def _response(
    tank: Tank, refractive_index: float, rungs_per_m: tuple[float, ...], points: Floats
) -> Floats:
    if not rungs_per_m:
        return np.zeros((0, points.shape[0], 0))
    receivers = Receivers(points=points, axis=2, looks=-1)
    seen = _all_faces(tank, refractive_index, rungs_per_m, receivers)
    return np.asarray(seen @ _settled(tank, refractive_index, rungs_per_m), dtype=np.float32)


def _node_counts(tank: Tank, depth_cm: float) -> tuple[int, int]:
    scale = 0.5 * tank.depth_cm
    counts = [int(np.clip(6 + np.ceil(e / scale), 8, 20)) for e in (tank.length_cm, tank.width_cm)]
    return counts[0], counts[1]


def _nodes(extent_cm: float, count: int) -> Floats:
    """Chebyshev nodes of the first kind over 0 … extent."""
    angle = (np.arange(count) + 0.5) * np.pi / count
    return np.asarray(extent_cm * (1.0 - np.cos(angle)) / 2.0)


def _carry(extent_cm: float, count: int, to_cm: Floats) -> Floats:
    """Matrix from values at the nodes to values of their polynomial at to_cm."""
    angle = np.arccos(np.clip(1.0 - 2.0 * to_cm / extent_cm, -1.0, 1.0))
    at_nodes = (np.arange(count) + 0.5) * np.pi / count
    order = np.arange(count)
    weight = np.where(order == 0, 1.0, 2.0) / count
    return np.asarray(np.cos(angle[:, None] * order) @ (weight[:, None] * np.cos(
        order[:, None] * at_nodes[None, :])))  # fmt: skip
