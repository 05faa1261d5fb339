"""Faces that scatter light: floor and diffuse walls cut into rectangles, and what they exchange.

The light a rectangle sends to a small face elsewhere is its radiant exitance times a
configuration factor. Between faces that lie along the tank's axes only two cases exist, both
closed forms that are sums over the rectangle's corners:

    parallel       (1/2π) [ a/√(c²+a²) atan(b/√(c²+a²)) + b/√(c²+b²) atan(a/√(c²+b²)) ]
    perpendicular  −(1/2π) c/√(c²+h²) atan(w/√(c²+h²))

with c the distance to the rectangle's plane. Source: Howell's catalogue of configuration factors,
B-3 and B-4 (parallel: checked against published values in the tests; perpendicular: integrated
here from cos cos / π d²).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.optics.tank import Tank, albedo_of
from server.optics.walls import (
    Fold,
    folds_across,
    folds_along,
    looked_up,
    surface_table,
    wall_table,
)

Floats = NDArray[np.float64]

MAX_IMAGES = 7
"""Most imagined tanks to each side for scattered light, which walls weaken soon."""

MOST_PIECES = 480
"""Bound on the pieces of all faces together, and half of it for the floor alone."""

_MOST_ALONG, _MOST_DOWN = 48, 14
"""Most pieces along one side of a face, and down a wall: very long tanks are cut more coarsely."""

_FAINT = 1e-4
_AT_ONCE = 60_000


@dataclass(frozen=True, kw_only=True, eq=False)
class Face:
    """A scattering rectangle across `axis` (0 x, 1 y, 2 depth) at `at_cm`.

    nodes: edges of its pieces along the other two axes, in the order of the axes.
    inward: +1 where the tank lies towards larger coordinates. rock: number of the rock it is on.
    """

    axis: int
    at_cm: float
    inward: int
    albedo: float
    nodes: tuple[Floats, Floats]
    rock: int | None = None

    @property
    def shape(self) -> tuple[int, int]:
        return self.nodes[0].size - 1, self.nodes[1].size - 1

    @property
    def size(self) -> int:
        return self.shape[0] * self.shape[1]

    @property
    def centres(self) -> Floats:
        """Middles of the pieces, shape (size, 3)."""
        u, v = ((edges[1:] + edges[:-1]) / 2 for edges in self.nodes)
        grid = np.meshgrid(u, v, indexing="ij")
        return self.points(grid[0].ravel(), grid[1].ravel())

    @property
    def areas_sq_cm(self) -> Floats:
        u, v = (np.diff(edges) for edges in self.nodes)
        return np.outer(u, v).ravel()

    def split(self, parts: int) -> "Face":
        """The same face with every piece cut into parts × parts."""
        finer = [
            np.interp(np.arange((edges.size - 1) * parts + 1) / parts, np.arange(edges.size), edges)
            for edges in self.nodes
        ]
        return replace(self, nodes=(finer[0], finer[1]))

    def coarse(self) -> "Face":
        """The same face in three by three pieces at most."""
        ends = [edges[[0, edges.size // 3, (2 * edges.size) // 3, -1]] for edges in self.nodes]
        return replace(self, nodes=(np.unique(ends[0]), np.unique(ends[1])))

    def points(self, u: Floats, v: Floats) -> Floats:
        """Places on the face from coordinates along its two axes, shape (n, 3)."""
        found = np.full((u.size, 3), self.at_cm, dtype=np.float64)
        first, second = other_axes(self.axis)
        found[:, first], found[:, second] = u, v
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Receivers:
    """Small flat faces at `points` (n, 3) that all look along +axis or −axis (`looks` ±1)."""

    points: Floats
    axis: int
    looks: int

    def some(self) -> "Receivers":
        """A few of them, spread over all."""
        return replace(self, points=self.points[:: max(1, self.points.shape[0] // 12)])


def other_axes(axis: int) -> tuple[int, int]:
    first, second = (a for a in (0, 1, 2) if a != axis)
    return first, second


def faces_of(tank: Tank) -> tuple[Face, ...]:
    """Floor and diffuse walls that return anything, cut finely enough for their distances."""
    size = (tank.length_cm, tank.width_cm, tank.depth_cm)
    found = []
    sides = ((tank.walls.left, 0, 0.0), (tank.walls.right, 0, size[0]),
             (tank.walls.front, 1, 0.0), (tank.walls.back, 1, size[1]))  # fmt: skip
    scattering = sum(albedo_of(wall) > 0.0 for wall, _, _ in sides)
    most_pieces = MOST_PIECES // max(2, scattering + 1)
    for wall, axis, at in sides:
        if albedo_of(wall) > 0.0:
            inward = 1 if at == 0.0 else -1
            found.append(
                _face(size, axis, at, inward, albedo_of(wall), scattering > 0, most_pieces)
            )
    if tank.floor_albedo > 0.0:
        found.append(_face(size, 2, size[2], -1, tank.floor_albedo, scattering > 0, most_pieces))
    return tuple(found)


def _face(
    size: tuple[float, float, float], axis: int, at: float, inward: int, albedo: float,
    corners: bool, most: int,
) -> Face:  # fmt: skip
    extents = [size[a] for a in other_axes(axis)]
    piece = size[2] / 4 if axis == 2 else min(size) / 4
    piece = max(piece, float(np.sqrt(extents[0] * extents[1] / most)))
    counts = [int(np.clip(np.ceil(e / piece), 3, _MOST_ALONG)) for e in extents]
    if axis != 2:
        counts[1] = min(counts[1], _MOST_DOWN)
    nodes = [np.linspace(0.0, e, count + 1) for e, count in zip(extents, counts, strict=True)]
    if corners:
        nodes = [_closer_at_ends(n) for n in nodes]
    return Face(axis=axis, at_cm=at, inward=inward, albedo=albedo, nodes=(nodes[0], nodes[1]))


def _closer_at_ends(nodes: Floats) -> Floats:
    """Edges moved towards the ends, where scattering faces meet and light changes quickly."""
    t = nodes / nodes[-1]
    return np.asarray(nodes[-1] * (t - 0.5 * np.sin(2 * np.pi * t) / (2 * np.pi)))


def transfer(
    tank: Tank,
    refractive_index: float,
    absorptions_per_m: tuple[float, ...],
    *,
    receivers: Receivers,
    face: Face,
) -> Floats:
    """What each receiver gets from each piece of a face at unit exitance, one table per water.

    Shape (len(absorptions_per_m), n, face.size). By way of any number of clear walls and at most
    once by the underside of the surface (a second time would need a mirroring floor). Each path
    is weakened by the walls' and the surface's reflectance at its own angle and by the water
    along it, taken at the middle of the piece or, where that is coarse, of parts of it.
    """
    split = _split(tank, face) if receivers.axis == face.axis else 1
    fine = face.split(split)
    total = np.zeros((len(absorptions_per_m), receivers.points.shape[0], face.size))
    block = max(1, _AT_ONCE // ((fine.shape[0] + 1) * (fine.shape[1] + 1)))
    for start in range(0, total.shape[1], block):
        part = Receivers(
            points=receivers.points[start : start + block],
            axis=receivers.axis,
            looks=receivers.looks,
        )
        got = np.zeros((len(absorptions_per_m), part.points.shape[0], fine.size))
        some, few = part.some(), fine.coarse()
        for image in _images(tank):
            if sum(fold.bounces for fold in image) > 3 and _faint(
                some, few, image, refractive_index
            ):
                continue
            _add_image(got, part, fine, image, refractive_index, absorptions_per_m)
        nu, nv = face.shape
        parts = got.reshape(*got.shape[:2], nu, split, nv, split)
        total[:, start : start + block] = parts.sum(axis=(3, 5)).reshape(*got.shape[:2], -1)
    return total


def _split(tank: Tank, face: Face) -> int:
    """Parts along each side of a piece, so that mirrors are met at nearly one angle."""
    piece = max(float(np.diff(edges).max()) for edges in face.nodes)
    near = min(tank.length_cm, tank.width_cm, tank.depth_cm)
    return int(np.clip(np.ceil(piece / (0.4 * near)), 1, 2))


def _images(tank: Tank) -> Iterator[tuple[Fold, Fold, Fold]]:
    sideways = 4.0 * tank.depth_cm
    across = folds_across(tank, min(MAX_IMAGES, int(np.ceil(sideways / tank.length_cm))))
    along = folds_along(tank, min(MAX_IMAGES, int(np.ceil(sideways / tank.width_cm))))
    for fold_x in across:
        for fold_y in along:
            for fold_z in (Fold(0.0, 1, 0), Fold(0.0, -1, 1)):
                yield fold_x, fold_y, fold_z


def _add_image(
    total: Floats,
    receivers: Receivers,
    face: Face,
    image: tuple[Fold, Fold, Fold],
    refractive_index: float,
    absorptions_per_m: tuple[float, ...],
) -> None:
    if receivers.axis == face.axis and not np.any(_ahead(receivers, face, image) > 1e-9):
        return
    distance, weight = _mirrored(receivers, face, image, refractive_index)
    if weight is not None:
        weight = weight * _factor(receivers, face, image)
        for k, per_m in enumerate(absorptions_per_m):
            total[k] += weight * np.exp(-per_m / 100.0 * distance) if per_m > 0.0 else weight


def _faint(
    receivers: Receivers, face: Face, image: tuple[Fold, Fold, Fold], refractive_index: float
) -> bool:
    """Whether walls leave nothing of an image, judged by a few pairs far apart."""
    return _mirrored(receivers, face, image, refractive_index)[1] is None


def _ahead(receivers: Receivers, face: Face, image: tuple[Fold, Fold, Fold]) -> Floats:
    """How far the face's plane lies before each receiver, the way it looks [cm]."""
    at = image[face.axis].place(np.array([face.at_cm]))[0]
    return np.asarray((at - receivers.points[:, face.axis]) * receivers.looks)


def _mirrored(
    receivers: Receivers, face: Face, image: tuple[Fold, Fold, Fold], refractive_index: float
) -> tuple[Floats, Floats | float | None]:
    """Distance to each piece's middle and the share mirrors leave on the way; None where faint."""
    centres = face.centres
    apart = [
        fold.place(centres[None, :, a]) - receivers.points[:, a, None]
        for a, fold in enumerate(image)
    ]
    distance = np.sqrt(apart[0] ** 2 + apart[1] ** 2 + apart[2] ** 2)
    if sum(fold.bounces for fold in image) == 0:
        return distance, 1.0
    weight = np.ones_like(distance)
    for axis, fold in enumerate(image):
        if fold.bounces:
            table = (surface_table if axis == 2 else wall_table)(refractive_index)
            cosine = np.abs(apart[axis]) / np.maximum(distance, 1e-9)
            weight *= looked_up(table, cosine) ** fold.bounces * fold.film
    return distance, weight if weight.max() > _FAINT else None


def _factor(receivers: Receivers, face: Face, image: tuple[Fold, Fold, Fold]) -> Floats:
    """Configuration factors from each receiver to each piece, never negative."""
    u_axis, v_axis = other_axes(face.axis)
    u = image[u_axis].place(face.nodes[0])[None, :] - receivers.points[:, u_axis, None]
    v = image[v_axis].place(face.nodes[1])[None, :] - receivers.points[:, v_axis, None]
    at = image[face.axis].place(np.array([face.at_cm]))[0]
    distance = np.abs(at - receivers.points[:, face.axis])[:, None, None]
    u, v = u[:, :, None], v[:, None, :]
    if receivers.axis == face.axis:
        visible = _ahead(receivers, face, image) > 1e-9
        corners = _parallel(np.maximum(distance, 1e-9), u, v) * visible[:, None, None]
    elif receivers.axis == u_axis:
        corners = _perpendicular(distance, np.maximum(u * receivers.looks, 0.0), v)
    else:
        corners = _perpendicular(distance, np.maximum(v * receivers.looks, 0.0), u)
    pieces = np.diff(np.diff(corners, axis=1), axis=2)
    return np.asarray(np.abs(pieces.reshape(pieces.shape[0], -1)))


def _parallel(c: Floats, a: Floats, b: Floats) -> Floats:
    a_far, b_far = np.sqrt(c**2 + a**2), np.sqrt(c**2 + b**2)
    return np.asarray(
        (a / a_far * np.arctan(b / a_far) + b / b_far * np.arctan(a / b_far)) / (2 * np.pi)
    )


def _perpendicular(c: Floats, h: Floats, w: Floats) -> Floats:
    far = np.sqrt(c**2 + h**2)
    far = np.maximum(far, 1e-9)
    return np.asarray(-c / far * np.arctan(w / far) / (2 * np.pi))
