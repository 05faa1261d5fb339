"""The faces of a tank with rocks in it, cut into pieces, and places on them.

Light is gathered and given off piece by piece; places on the pieces are where rays start and where
direct light is worked out. A piece that another rock covers in part counts with its free part.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.patches import Face, Receivers
from server.optics.rays import Room, directions, scattered_starts
from server.optics.reach import Targets
from server.optics.rocks import bottom_of, inside, stands
from server.optics.tank import Tank, albedo_of

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]

_MOST_PIECES = 900
_LEAST_PIECE_CM = 2.5
_COARSER_ON_ROCKS = 1.6

_TRIED, _KEPT = 16, 6
"""Places tried on each piece to see what is covered, and the most that stand for one in part."""

_PLACES = 800
"""Places that stand for all upright and level faces together, where few pieces leave room."""

LIFT_CM = 2e-3

_Edge = tuple[float, float]
_Flat = tuple[float, int, float, int, tuple[_Edge, _Edge], int | None]
"""A rectangle before it is cut: albedo, axis, where along it, inward, its edges, its rock."""


@lru_cache(maxsize=32)
def room_of(tank: Tank, refractive_index: float) -> Room:
    """The tank with its scattering faces, cut into pieces."""
    return Room(tank=tank, refractive_index=refractive_index, faces=_faces(tank))


def _faces(tank: Tank) -> tuple[Face, ...]:
    """Floor, matt walls and the sides of rocks that return anything, in pieces alike in size."""
    length, width, depth = tank.length_cm, tank.width_cm, tank.depth_cm
    flat: list[_Flat] = [
        (albedo_of(tank.walls.left), 0, 0.0, 1, ((0.0, width), (0.0, depth)), None),
        (albedo_of(tank.walls.right), 0, length, -1, ((0.0, width), (0.0, depth)), None),
        (albedo_of(tank.walls.front), 1, 0.0, 1, ((0.0, length), (0.0, depth)), None),
        (albedo_of(tank.walls.back), 1, width, -1, ((0.0, length), (0.0, depth)), None),
        (tank.floor_albedo, 2, depth, -1, ((0.0, length), (0.0, width)), None),
    ]  # fmt: skip
    for number, rock in enumerate(tank.rocks):
        x, y = (rock.left_cm, rock.right_cm), (rock.front_cm, rock.back_cm)
        z = (rock.top_cm, bottom_of(tank, rock))
        for axis, ends, across in ((0, x, (y, z)), (1, y, (x, z)), (2, z, (x, y))):
            flat.append((rock.albedo, axis, ends[0], -1, across, number))
            if axis != 2 or not stands(tank, rock):
                flat.append((rock.albedo, axis, ends[1], 1, across, number))
    flat = [one for one in flat if one[0] > 0.0]
    piece = _piece_cm(flat)
    return tuple(
        Face(
            axis=axis, at_cm=at, inward=inward, albedo=albedo, rock=rock,
            nodes=(_cut(across[0], piece, rock), _cut(across[1], piece, rock)),
        )
        for albedo, axis, at, inward, across, rock in flat
    )  # fmt: skip


def _piece_cm(flat: Sequence[_Flat]) -> float:
    """Side of a piece on walls and floor, so that all pieces together stay within bounds."""
    weighed = sum(
        (a[1] - a[0]) * (b[1] - b[0]) / (_COARSER_ON_ROCKS**2 if rock is not None else 1.0)
        for *_, (a, b), rock in flat
    )
    return max(_LEAST_PIECE_CM, float(np.sqrt(weighed / _MOST_PIECES)))


def _cut(edge: _Edge, piece_cm: float, rock: int | None) -> Floats:
    longest = piece_cm * (1.0 if rock is None else _COARSER_ON_ROCKS)
    count = max(1, round((edge[1] - edge[0]) / longest))
    return np.asarray(np.linspace(edge[0], edge[1], count + 1))


def is_floor(face: Face) -> bool:
    return face.axis == 2 and face.rock is None


@lru_cache(maxsize=32)
def samples(tank: Tank, refractive_index: float) -> tuple[Targets, Places]:
    """Places that stand for the pieces of walls and rocks, and the number of each one's piece.

    Of a free piece it is the middle, spread over its extent (at several heights where there are few
    pieces); of one covered in part some of its
    free places; of one covered whole none. The floor has none here.
    """
    room = room_of(tank, refractive_index)
    start, _, free = piece_starts(room, _TRIED)
    standing = ~np.repeat([is_floor(face) for face in room.faces], _sizes(room))
    whole = np.flatnonzero(free.all(axis=1) & standing)
    partly = np.flatnonzero(~free.all(axis=1) & standing)
    chosen = free[partly] & (free[partly].cumsum(axis=1) <= _KEPT)
    row, ray = np.nonzero(chosen)
    places = start.T.reshape(-1, _TRIED, 3)[partly[row], ray].astype(np.float64)
    times = int(np.clip(_PLACES // max(1, whole.size), 1, _KEPT))
    middles, extents = _middles(room, times)
    whole = np.repeat(whole, times)
    piece = np.concatenate([whole, partly[row]])
    axis, looks = (
        np.repeat([getattr(face, name) for face in room.faces], _sizes(room))
        for name in ("axis", "inward")
    )
    targets = Targets(
        points_cm=np.concatenate([middles[whole, np.arange(whole.size) % times], places]),
        axis=axis[piece],
        looks=looks[piece],
        spread_cm=np.concatenate([extents[whole], np.zeros((row.size, 2))]),
    )
    return targets, piece


def _sizes(room: Room) -> list[int]:
    return [face.size for face in room.faces]


def _middles(room: Room, times: int) -> tuple[Floats, Floats]:
    """Middles of all pieces, lifted off their faces, at so many heights each of upright ones
    (n, times, 3), and extents along x and y (n, 2)."""
    points, extents = [], []
    for face in room.faces:
        middle = np.repeat(face.centres[:, None], times, axis=1)
        middle[:, :, face.axis] += LIFT_CM * face.inward
        middle[:, :, 2] += ((np.arange(times) + 0.5) / times - 0.5) * _extent(face)[2]
        points.append(middle)
        extents.append(np.broadcast_to(_extent(face)[:2], (face.size, 2)))
    return np.concatenate(points), np.concatenate(extents)


def piece_starts(room: Room, rays: int) -> tuple[Singles, Singles, NDArray[np.bool_]]:
    """Rays from every piece of every face: starts and ways (3, pieces × rays), and which of them
    (pieces, rays) do not begin in a rock."""
    begun = [
        starts(room.tank, Receivers(points=face.centres, axis=face.axis, looks=face.inward),
               _extent(face), rays)
        for face in room.faces
    ]  # fmt: skip
    start, way = (np.concatenate([one[k] for one in begun], axis=1) for k in (0, 1))
    free = inside(room.tank, *start.astype(np.float64)) < 0
    return start, way, np.asarray(free.reshape(-1, rays))


def starts(
    tank: Tank, places: Receivers, extent_cm: tuple[float, float, float], rays: int
) -> tuple[Singles, Singles]:
    """Where rays start and which way they go, (3, places × rays) each."""
    numbers = scattered_starts(places.points.shape[0], rays).reshape(-1, 4)
    way = directions(numbers[:, :2], places.axis, places.looks)
    start = np.repeat(places.points, rays, axis=0).T
    start[places.axis] += LIFT_CM * places.looks
    shifts = iter(numbers[:, 2:].T)
    for axis, extent in enumerate(extent_cm):
        if extent > 0.0:
            start[axis] += (next(shifts) - 0.5) * extent
    size = np.array([[tank.length_cm], [tank.width_cm], [tank.depth_cm]])
    return np.clip(start, 0.0, size).astype(np.float32), way


def _extent(face: Face) -> tuple[float, float, float]:
    extent = [0.0, 0.0, 0.0]
    u, v = (float(np.diff(edges)[0]) for edges in face.nodes)
    first, second = (axis for axis in (0, 1, 2) if axis != face.axis)
    extent[first], extent[second] = u, v
    return extent[0], extent[1], extent[2]
