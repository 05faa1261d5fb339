"""Light that comes from the emitters themselves or by way of mirroring walls.

A tank between mirrors is unfolded: instead of folding a ray at a wall, the tank beyond the wall
is imagined, and the ray goes straight on. A target then has one image in each imagined tank, and
the plain tables of `kernel` hold for all of them. Three conditions remain, and are exact:
  * the ray crosses the water's surface inside the rim, or it is lost;
  * every wall it goes through on the way returns its share, R(angle), and the angle to all walls
    of one direction is the same: cos = sin θ′ |cos φ| for left and right;
  * only clear walls return anything this way.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.interface import wall_reflectance
from server.optics.kernel import ENTRIES, Kernel, KernelKey, kernel
from server.optics.photometry import IntensityTable
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Receiver = Literal["level", "wall_x", "wall_y"]
"""Which way the receiving face is set: up, or across the tank along x or y."""

_CHUNK = 65536
"""Pairs of source and target worked on at once: three such blocks stay in the second cache."""

MAX_IMAGES = 12
"""Most imagined tanks to each side; light that met more walls than that is left out."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sources:
    """Points of one height, beam and colour. x, y, flux: shape (n,). piece: their own extent."""

    height_cm: float
    beam: float | IntensityTable
    absorption: tuple[tuple[float, float], ...]
    x_cm: Floats
    y_cm: Floats
    ppf_umol_s: Floats
    piece_x_cm: Floats
    piece_y_cm: Floats


def sources_of(
    emitters: Sequence[Emitter], water: Water, *, detail_cm: float
) -> tuple[Sources, ...]:
    """Cut tubes and squares into points no further apart than detail_cm; group what is alike."""
    groups: dict[tuple[object, ...], list[tuple[float, ...]]] = defaultdict(list)
    for emitter in emitters:
        beam = emitter.intensity if emitter.intensity is not None else emitter.beam_deg
        key = (emitter.height_cm, beam, emitter.absorption or water.absorption)
        groups[key].extend(_pieces(emitter, detail_cm))
    return tuple(_group(key, rows) for key, rows in groups.items())


def _pieces(emitter: Emitter, detail_cm: float) -> Iterator[tuple[float, ...]]:
    long, wide = emitter.size_cm
    count_x = max(1, int(np.ceil(long / detail_cm)))
    count_y = max(1, int(np.ceil(wide / detail_cm)))
    flux = emitter.ppf_umol_s / (count_x * count_y)
    piece_x, piece_y = long / count_x, wide / count_y
    for i in range(count_x):
        for j in range(count_y):
            x = emitter.x_cm - long / 2 + (i + 0.5) * piece_x
            y = emitter.y_cm - wide / 2 + (j + 0.5) * piece_y
            yield x, y, flux, piece_x, piece_y


def _group(key: tuple[object, ...], rows: list[tuple[float, ...]]) -> Sources:
    height, beam, absorption = key
    x, y, flux, piece_x, piece_y = np.array(sorted(rows)).T
    return Sources(
        height_cm=height,  # type: ignore[arg-type]  # the key was built two functions above
        beam=beam,  # type: ignore[arg-type]  # likewise
        absorption=absorption,  # type: ignore[arg-type]  # likewise
        x_cm=x,
        y_cm=y,
        ppf_umol_s=flux,
        piece_x_cm=piece_x,
        piece_y_cm=piece_y,
    )


@dataclass(frozen=True)
class Fold:
    """One imagined tank along an axis: place(x) = start + turn · x, after `bounces` walls."""

    start_cm: float
    turn: int
    bounces: int

    def place(self, along_cm: Floats) -> Floats:
        return self.start_cm + self.turn * along_cm


def folds(extent_cm: float, *, low_clear: bool, high_clear: bool, most: int) -> tuple[Fold, ...]:
    """The imagined tanks along one axis: the real one first, then outwards on both sides."""
    found = [Fold(0.0, 1, 0)]
    for towards_high in (True, False):
        for k in range(1, most + 1):
            first, second = (high_clear, low_clear) if towards_high else (low_clear, high_clear)
            if not first or (k > 1 and not second):
                break
            tank_number = k if towards_high else -k
            if k % 2:
                found.append(Fold((tank_number + 1) * extent_cm, -1, k))
            else:
                found.append(Fold(tank_number * extent_cm, 1, k))
    return tuple(found)


def light(
    tank: Tank,
    water: Water,
    sources: Sources,
    *,
    x_cm: Floats,
    y_cm: Floats,
    depth_cm: float,
    cell_cm: tuple[float, float] = (0.0, 0.0),
    receiver: Receiver = "level",
) -> Floats:
    """PPFD at targets from one group of sources, by the flat surface and the clear walls.

    x_cm, y_cm: targets that broadcast against each other, (1, nx) with (ny, 1) for a plane.
    cell_cm: extent of the cell each target stands for; 0 for points. Returns the broadcast shape.
    """
    x, y = np.asarray(x_cm, dtype=np.float64), np.asarray(y_cm, dtype=np.float64)
    total = np.zeros(np.broadcast_shapes(x.shape, y.shape))
    per_chunk = max(1, _CHUNK // total.size)
    for first in range(0, sources.x_cm.size, per_chunk):
        chunk = _slice(sources, first, first + per_chunk)
        total += _chunk_light(tank, water, chunk, x, y, depth_cm, cell_cm, receiver)
    return total


def _slice(sources: Sources, first: int, stop: int) -> Sources:
    part = slice(first, stop)
    return Sources(
        height_cm=sources.height_cm,
        beam=sources.beam,
        absorption=sources.absorption,
        x_cm=sources.x_cm[part],
        y_cm=sources.y_cm[part],
        ppf_umol_s=sources.ppf_umol_s[part],
        piece_x_cm=sources.piece_x_cm[part],
        piece_y_cm=sources.piece_y_cm[part],
    )


def _chunk_light(
    tank: Tank,
    water: Water,
    sources: Sources,
    x: Floats,
    y: Floats,
    depth_cm: float,
    cell_cm: tuple[float, float],
    receiver: Receiver,
) -> Floats:
    total = np.zeros(np.broadcast_shapes(x.shape, y.shape))
    reach_x = _sideways(sources, sources.x_cm, tank.length_cm, depth_cm, water) + cell_cm[0]
    reach_y = _sideways(sources, sources.y_cm, tank.width_cm, depth_cm, water) + cell_cm[1]
    most_x = min(MAX_IMAGES, int(np.ceil(reach_x / tank.length_cm)))
    most_y = min(MAX_IMAGES, int(np.ceil(reach_y / tank.width_cm)))
    walls = tank.walls
    across = folds(
        tank.length_cm,
        low_clear=walls.left == "clear",
        high_clear=walls.right == "clear",
        most=most_x,
    )
    along = folds(
        tank.width_cm,
        low_clear=walls.front == "clear",
        high_clear=walls.back == "clear",
        most=most_y,
    )
    span = (2 * most_x + 2) * tank.length_cm + (2 * most_y + 2) * tank.width_cm
    offset = max(
        np.ptp(np.append(sources.x_cm, (0.0, tank.length_cm))),
        np.ptp(np.append(sources.y_cm, (0.0, tank.width_cm))),
    )
    tables = kernel(
        KernelKey(
            height_cm=sources.height_cm,
            depth_cm=depth_cm,
            beam=sources.beam,
            refractive_index=water.refractive_index,
            absorption=sources.absorption,
            cover=tank.cover,
            reach_cm=float(np.ceil((span + offset) / 16.0) * 16.0),
            blur_cm=round(float(np.hypot(np.sqrt(cell_cm[0] * cell_cm[1]), 0.0)), 3),
        )
    )
    for fold_x in across:
        for fold_y in along:
            total += _image_light(
                tank, water, sources, tables, x, y, fold_x, fold_y, cell_cm, receiver
            )
    return total


def _sideways(
    sources: Sources, place_cm: Floats, extent_cm: float, depth_cm: float, water: Water
) -> float:
    """Furthest that light goes sideways under water, z tan θ′ of the most slanting ray [cm].

    A ray that enters inside the rim cannot slant more than from the source to the far rim.
    """
    furthest = float(np.max(np.maximum(np.abs(place_cm), np.abs(extent_cm - place_cm))))
    sine = furthest / np.hypot(furthest, sources.height_cm) / water.refractive_index
    return depth_cm * float(sine / np.sqrt(max(1.0 - sine**2, 1e-6)))


def _image_light(
    tank: Tank,
    water: Water,
    sources: Sources,
    tables: Kernel,
    x: Floats,
    y: Floats,
    fold_x: Fold,
    fold_y: Fold,
    cell_cm: tuple[float, float],
    receiver: Receiver,
) -> Floats:
    """Light on all targets as seen in one imagined tank."""
    targets = max(x.ndim, y.ndim)
    column = (slice(None),) + (None,) * targets
    dx = (fold_x.place(x)[None] - sources.x_cm[column]).astype(np.float32)
    dy = (fold_y.place(y)[None] - sources.y_cm[column]).astype(np.float32)
    r2 = dx * dx + dy * dy
    index = (np.sqrt(r2) * np.float32(tables.steps_per_cm) + np.float32(0.5)).astype(np.intp)
    np.minimum(index, ENTRIES - 1, out=index)
    value = tables.ppfd.take(index)
    if tables.turning is not None:
        phi = np.degrees(np.arctan2(dy * fold_y.turn**0, dx))
        value = value * tables.turning.per_flux(tables.theta_deg.take(index), phi)
    entry, slope = tables.entry.take(index), tables.entry_slope.take(index)
    value = value * _inside(
        dx, r2, entry, slope, sources.x_cm[column], sources.piece_x_cm[column],
        tank.length_cm, cell_cm[0],
    )  # fmt: skip
    value = value * _inside(
        dy, r2, entry, slope, sources.y_cm[column], sources.piece_y_cm[column],
        tank.width_cm, cell_cm[1],
    )  # fmt: skip
    if fold_x.bounces or fold_y.bounces:
        sine_over_r = tables.sine_over_r.take(index)
        for apart, bounces in ((dx, fold_x.bounces), (dy, fold_y.bounces)):
            if bounces:
                value = value * _returned(sine_over_r * np.abs(apart), water) ** bounces
    if receiver != "level":
        value = value * tables.tangent_over_r.take(index)
        value = value * np.abs(dx if receiver == "wall_x" else dy)
    return np.tensordot(sources.ppf_umol_s, value, axes=1)


def _inside(
    apart: Singles,
    r2: Singles,
    entry: Singles,
    slope: Singles,
    source_cm: Floats,
    piece_cm: Floats,
    extent_cm: float,
    cell_cm: float,
) -> Singles:
    """Share of the rays from a piece of lamp to a cell that cross the surface inside the rim.

    The crossing points of such rays spread evenly over a short stretch; the share is the part of
    the stretch that lies inside. A stretch of no length makes the sharp edge of a point's shadow.
    """
    place = source_cm.astype(np.float32) + apart * entry
    moved = entry + (slope - entry) * apart * apart / np.maximum(r2, np.float32(1e-6))
    spread = moved * np.float32(cell_cm) + (1.0 - moved) * piece_cm.astype(np.float32)
    spread = np.maximum(spread, np.float32(1e-4))
    low = np.clip(place / spread + np.float32(0.5), 0.0, 1.0)
    high = np.clip((np.float32(extent_cm) - place) / spread + np.float32(0.5), 0.0, 1.0)
    return np.asarray(low + high - 1.0, dtype=np.float32).clip(0.0, 1.0)


_STEPS = 4096


@lru_cache(maxsize=32)
def _wall_table(refractive_index: float) -> Singles:
    cosine = np.linspace(0.0, 1.0, _STEPS)
    return wall_reflectance(cosine, n_water=refractive_index).astype(np.float32)


def _returned(cosine: Singles, water: Water) -> Singles:
    """Reflectance of a clear wall by the cosine to its normal, from a fine table."""
    index = (cosine * np.float32(_STEPS - 1) + np.float32(0.5)).astype(np.intp)
    return _wall_table(water.refractive_index).take(np.minimum(index, _STEPS - 1))
