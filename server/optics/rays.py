"""Scattered light among rocks: single rays followed until something scatters or swallows them.

A ray carries a weight. Clear walls and the water's underside mirror it and leave their share at
its angle; growth on the glass takes its own; braces, dark walls and open air end it. Where it meets
floor, rock or a matt wall it lands on that face's piece, with the way it came through the water.
Rays that start evenly by cosine over a small face, and their landings, are its configuration
factors to every piece, with all mirrors and all obstacles in it (Monte Carlo form factors; Siegel &
Howell, from memory). The directions are an even lattice, turned and shifted for each place.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.patches import Face, other_axes
from server.optics.rocks import boxes
from server.optics.tank import Tank
from server.optics.walls import looked_up, surface_table, wall_table

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]

_MOST_LEGS = 40
_FAINT = np.float32(1e-3)
_AT_ONCE = 6144
_SLIGHT = np.float32(1e-7)

LANDED, ROCK = -1, 3
"""Ends of a ray besides the axes 0–2 of the boundary that took from it (2 for the surface and a
dark floor): on a piece, or on a rock that gives nothing back."""

Lost = Callable[[Places, Places, Singles, Singles], None]
"""Takes numbers of rays, the kind of end, what was taken of them, the way they had gone [cm]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """A tank as rays meet it; faces: what scatters, numbered piece by piece in their order."""

    tank: Tank
    refractive_index: float
    faces: tuple[Face, ...]

    @cached_property
    def walls(self) -> "_Walls":
        return _walls_of(self)

    @cached_property
    def pieces(self) -> "_Pieces":
        return _pieces_of(self.faces)


@dataclass(frozen=True, kw_only=True, eq=False)
class Landed:
    """Where rays ended, shape (m,): number of the piece (−1 where none), the share mirrors left of
    them, and the way through the water [cm]."""

    piece: NDArray[np.int32]
    weight: Singles
    way_cm: Singles


@lru_cache(maxsize=8)
def _lattice(count: int) -> Floats:
    """Shape (count, 4), evenly over the unit cube: a Fibonacci-like lattice (R4 sequence).

    Source: powers of the root of x⁵ = x + 1, the generalised golden ratio; the first number is
    k / count, which makes the pair with the second the most even.
    """
    root = 1.1673039782614187
    step = 1.0 / root ** np.arange(1, 5)
    lattice = (0.5 + np.arange(count)[:, None] * step) % 1.0
    lattice[:, 0] = (np.arange(count) + 0.5) / count
    lattice[:, 1] = (np.arange(count) * 0.6180339887498949) % 1.0
    return lattice


def scattered_starts(places: int, count: int) -> NDArray[np.float64]:
    """Numbers 0–1, shape (places, count, 4): two for the direction, two for the place within."""
    turned = (np.arange(places)[:, None] * np.array(
        [0.7548776662466927, 0.5698402909980532, 0.8191725133961645, 0.6710436067037893]
    )) % 1.0  # fmt: skip
    return np.asarray((_lattice(count)[None] + turned[:, None]) % 1.0)


def directions(numbers: Floats, axis: int, looks: int) -> Singles:
    """Unit vectors (3, m) spread by cosine round ±axis, from numbers (m, 2)."""
    away = np.sqrt(numbers[:, 0])
    first, second = other_axes(axis)
    found = np.empty((3, numbers.shape[0]), dtype=np.float32)
    found[axis] = looks * np.sqrt(np.maximum(1.0 - numbers[:, 0], 1e-9))
    found[first] = away * np.cos(2 * np.pi * numbers[:, 1])
    found[second] = away * np.sin(2 * np.pi * numbers[:, 1])
    return found


def follow(room: Room, start: Singles, way: Singles, lost: Lost | None = None) -> Landed:
    """Follow rays from start (3, m) along way (3, m) to where they end.

    lost: told, leg by leg, what is taken from the rays on the way.
    """
    count = start.shape[1]
    landed = Landed(
        piece=np.full(count, -1, dtype=np.int32),
        weight=np.zeros(count, dtype=np.float32),
        way_cm=np.zeros(count, dtype=np.float32),
    )
    for first in range(0, count, _AT_ONCE):
        part = slice(first, min(count, first + _AT_ONCE))
        number = np.arange(part.start, part.stop)
        _follow(room, landed, number, start[:, part].copy(), way[:, part].copy(), lost)
    return landed


@dataclass(frozen=True, kw_only=True, eq=False)
class _Walls:
    """By axis (x, y, depth) and side (low, high): what a clear boundary leaves besides its angle
    (growth's square; 0 for one that is not clear), and the number of the face on it, or −1."""

    leaves: Singles
    face: NDArray[np.int32]
    rock_face: NDArray[np.int32]
    size: Singles
    tables: tuple[Singles, Singles]


def _walls_of(room: Room) -> _Walls:
    tank = room.tank
    sides = (
        ((tank.walls.left, tank.film.left), (tank.walls.right, tank.film.right)),
        ((tank.walls.front, tank.film.front), (tank.walls.back, tank.film.back)),
    )
    leaves = [[film**2 if wall == "clear" else 0.0 for wall, film in pair] for pair in sides]
    size = (tank.length_cm, tank.width_cm, tank.depth_cm)
    face = np.full((3, 2), -1, dtype=np.int32)
    rock_face = np.full((3, 2, len(tank.rocks)), -1, dtype=np.int32)
    for number, one in enumerate(room.faces):
        if one.rock is None:
            face[one.axis, int(one.at_cm > size[one.axis] / 2)] = number
        else:
            rock_face[one.axis, int(one.inward > 0), one.rock] = number
    return _Walls(
        leaves=np.array([*leaves, [1.0, 0.0]], dtype=np.float32),
        face=face,
        rock_face=rock_face,
        size=np.array(size, dtype=np.float32),
        tables=(wall_table(room.refractive_index), surface_table(room.refractive_index)),
    )


def _follow(
    room: Room, landed: Landed, number: Places, place: Singles, way: Singles, lost: Lost | None
) -> None:
    """Leg by leg from boundary to boundary, all rays of a block at once."""
    weight = np.ones(number.size, dtype=np.float32)
    gone = np.zeros(number.size, dtype=np.float32)
    low, high = (v.astype(np.float32) for v in boxes(room.tank))
    for _ in range(_MOST_LEGS):
        if number.size == 0:
            return
        way = np.where(np.abs(way) < _SLIGHT, _SLIGHT, way)
        per = np.float32(1.0) / way
        ahead = np.where(way > 0, room.walls.size[:, None] - place, -place) * per
        axis = ahead.argmin(axis=0)
        length = np.maximum(ahead.min(axis=0), 0.0)
        rock = _first_rock(low, high, place, per, length)
        place = place + way * length
        gone = gone + length
        face = _faces_met(room, axis, rock, place, way, low, high)
        which = np.flatnonzero(face >= 0)
        _land(room, landed, number[which], face[which], place[:, which], weight[which], gone[which])
        left = weight * _mirrored(room, axis, rock, place, way)
        if lost is not None:
            kind = np.where(face >= 0, LANDED, np.where(rock >= 0, ROCK, axis))
            lost(number, kind, weight - left, gone)
        way[axis, np.arange(axis.size)] *= -1.0
        kept = np.flatnonzero(left > _FAINT)
        number, weight, gone = number[kept], left[kept], gone[kept]
        place, way = place[:, kept], way[:, kept]


def _faces_met(
    room: Room, axis: Places, rock: NDArray[np.int32], place: Singles, way: Singles,
    low: Singles, high: Singles,
) -> NDArray[np.int32]:  # fmt: skip
    """Number of the scattering face each leg ends on, −1 for mirrors and what is dark."""
    side = (way[axis, np.arange(axis.size)] > 0).astype(np.intp)
    met = room.walls.face[axis, side]
    if low.shape[1]:
        met = np.where(rock >= 0, _rock_faces(room.walls, rock, place, way, low, high), met)
    return met


def _mirrored(
    room: Room, axis: Places, rock: NDArray[np.int32], place: Singles, way: Singles
) -> Singles:
    """Share of each ray that the boundary it has come to mirrors; 0 where it ends."""
    towards = way[axis, np.arange(axis.size)]
    cosine = np.abs(towards)
    glass, surface = room.walls.tables
    on_surface = axis == 2
    share = np.where(on_surface, looked_up(surface, cosine), looked_up(glass, cosine))
    share *= room.walls.leaves[axis, (towards > 0).astype(np.intp)]
    share[rock >= 0] = 0.0
    if room.tank.braces:
        share[on_surface & _under_brace(room.tank, place)] = 0.0
    return share


def _first_rock(low: Singles, high: Singles, place: Singles, per: Singles,
                length: Singles) -> NDArray[np.int32]:  # fmt: skip
    """Number of the first rock within each leg, −1 where none; shortens `length` to it."""
    found = np.full(length.size, -1, dtype=np.int32)
    from_origin = place * per
    for k in range(low.shape[1]):
        near, far = _through(low[0, k], high[0, k], per[0], from_origin[0])
        for axis in (1, 2):
            enters, leaves = _through(low[axis, k], high[axis, k], per[axis], from_origin[axis])
            np.maximum(near, enters, out=near)
            np.minimum(far, leaves, out=far)
        hits = np.flatnonzero((near < far) & (near < length) & (far > 1e-3))
        if hits.size:
            length[hits] = np.maximum(near[hits], 0.0)
            found[hits] = k
    return found


def _through(low: Singles, high: Singles, per: Singles, origin: Singles) -> tuple[Singles, Singles]:
    """Where each ray enters and leaves the layer between two planes across one axis."""
    one, other = low * per - origin, high * per - origin
    return np.minimum(one, other), np.maximum(one, other)


def _rock_faces(
    walls: _Walls, rock: NDArray[np.int32], place: Singles, way: Singles, low: Singles,
    high: Singles,
) -> NDArray[np.int32]:  # fmt: skip
    """Number of the face each ray meets on its rock: the one whose plane it lies nearest to."""
    number = np.maximum(rock, 0)
    entered = np.where(way > 0, low[:, number], high[:, number])
    axis = np.abs(place - entered).argmin(axis=0)
    side = (way[axis, np.arange(axis.size)] < 0).astype(np.intp)
    return np.asarray(walls.rock_face[axis, side, number])


def _under_brace(tank: Tank, place: Singles) -> NDArray[np.bool_]:
    under = np.zeros(place.shape[1], dtype=bool)
    for one in tank.braces:
        under |= ((place[0] > one.left_cm) & (place[0] < one.right_cm)
                  & (place[1] > one.front_cm) & (place[1] < one.back_cm))  # fmt: skip
    return under


def _land(
    room: Room, landed: Landed, number: Places, face: NDArray[np.int32], place: Singles,
    weight: Singles, gone: Singles,
) -> None:  # fmt: skip
    """Write down rays that end on faces: where, how strong, how far they came."""
    table = room.pieces
    rows = np.arange(face.size)
    steps = []
    for k in (0, 1):
        at = place[table.axes[face, k], rows]
        step = ((at - table.start[face, k]) / table.step[face, k]).astype(np.intp)
        steps.append(np.clip(step, 0, table.count[face, k] - 1))
    landed.piece[number] = table.base[face] + steps[0] * table.count[face, 1] + steps[1]
    landed.weight[number] = weight
    landed.way_cm[number] = gone


@dataclass(frozen=True, kw_only=True, eq=False)
class _Pieces:
    """Per face: its two axes, where its pieces begin and how long they are, how many, and the
    number of the first."""

    axes: Places
    start: Singles
    step: Singles
    count: Places
    base: Places


def _pieces_of(faces: tuple[Face, ...]) -> _Pieces:
    nodes = [face.nodes for face in faces]
    sizes = [face.size for face in faces]
    return _Pieces(
        axes=np.array([other_axes(face.axis) for face in faces], dtype=np.intp).reshape(-1, 2),
        start=np.array([[u[0], v[0]] for u, v in nodes], dtype=np.float32).reshape(-1, 2),
        step=np.array([[u[1] - u[0], v[1] - v[0]] for u, v in nodes], np.float32).reshape(-1, 2),
        count=np.array([face.shape for face in faces], dtype=np.intp).reshape(-1, 2),
        base=np.concatenate([[0], np.cumsum(sizes)])[:-1].astype(np.intp),
    )
