"""Light that comes from the emitters themselves or by way of mirroring walls.

With the walls unfolded (see `walls`) the tables of `kernel` hold for every image of a target.
Two conditions remain, and are exact: a ray must cross the water's surface inside the rim, or it
is lost; and it pays each wall's reflectance at cos = sin θ′ |cos φ| for left and right, and
sin θ′ |sin φ| for front and back.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.kernel import Absorption, Beam, Kernel, KernelKey, kernel, peak_width_cm
from server.optics.tank import Tank, Water
from server.optics.walls import MAX_IMAGES, Fold, folds_across, folds_along, looked_up, wall_table

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Receiver = Literal["level", "wall_x", "wall_y"]
"""Which way the receiving face looks: up, or across the tank along x or y."""

_CHUNK = 49152
"""Pairs of source and target worked on at once: a few such blocks stay in the second cache."""

_PIECE = {"point": 1.0, "tube": 0.2, "square": 0.35}
"""Longest piece a lamp is cut into, as a share of the width of a piece's light."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sources:
    """Pieces of lamps alike in height, beam and colour.

    x_cm, y_cm, ppf_umol_s: shape (n,), sorted by x. piece_cm: extent of each piece along x and y.
    """

    height_cm: float
    beam: Beam
    absorption: Absorption
    piece_cm: tuple[float, float]
    x_cm: Floats
    y_cm: Floats
    ppf_umol_s: Floats

    def part(self, first: int, stop: int) -> "Sources":
        some = slice(first, stop)
        return replace(
            self, x_cm=self.x_cm[some], y_cm=self.y_cm[some], ppf_umol_s=self.ppf_umol_s[some]
        )


def sources_for(
    emitters: Sequence[Emitter], water: Water, *, depth_cm: float
) -> tuple[Sources, ...]:
    """Cut tubes and squares into pieces small enough for a level, and group what is alike."""
    groups: dict[tuple[float, Beam, Absorption, tuple[float, float]], list[tuple[float, ...]]]
    groups = defaultdict(list)
    for emitter in emitters:
        if emitter.ppf_umol_s <= 0.0:
            continue
        beam = beam_of(emitter)
        width = peak_width_cm(beam, height_cm=emitter.height_cm, depth_cm=depth_cm, water=water)
        counts = _piece_counts(emitter, _PIECE[emitter.shape] * width)
        piece = (emitter.size_cm[0] / counts[0], emitter.size_cm[1] / counts[1])
        key = (emitter.height_cm, beam, emitter.absorption or water.absorption, piece)
        groups[key].extend(_pieces(emitter, counts))
    return tuple(
        _group(height, beam, absorption, piece, rows)
        for (height, beam, absorption, piece), rows in groups.items()
    )


def beam_of(emitter: Emitter) -> Beam:
    """The measured table where there is one, the beam angle otherwise."""
    if emitter.intensity is not None:
        return emitter.intensity
    if emitter.beam_deg is None:
        raise ValueError("an emitter needs beam_deg or intensity")
    return emitter.beam_deg


def recoloured(sources: Sources, absorption: Absorption) -> Sources:
    """The same sources with other parts of the light; shares may sum to less than 1."""
    return replace(sources, absorption=absorption)


def _piece_counts(emitter: Emitter, longest_cm: float) -> tuple[int, int]:
    longest = max(longest_cm, 0.25)
    counts = [min(400, max(1, int(np.ceil(size / longest)))) for size in emitter.size_cm]
    return counts[0], counts[1]


def _pieces(emitter: Emitter, counts: tuple[int, int]) -> Iterator[tuple[float, float, float]]:
    long, wide = emitter.size_cm
    flux = emitter.ppf_umol_s / (counts[0] * counts[1])
    for i in range(counts[0]):
        for j in range(counts[1]):
            x = emitter.x_cm + ((i + 0.5) / counts[0] - 0.5) * long
            y = emitter.y_cm + ((j + 0.5) / counts[1] - 0.5) * wide
            yield x, y, flux


def _group(
    height_cm: float, beam: Beam, absorption: Absorption, piece: tuple[float, float],
    rows: list[tuple[float, ...]],
) -> Sources:  # fmt: skip
    x, y, flux = np.array(sorted(rows)).T
    return Sources(
        height_cm=height_cm, beam=beam, absorption=absorption, piece_cm=piece,
        x_cm=x, y_cm=y, ppf_umol_s=flux,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class _Scene:
    """What one call works with: the tank, one group of sources and the tables for one level."""

    tank: Tank
    water: Water
    sources: Sources
    tables: Kernel
    cell_cm: tuple[float, float]
    receiver: Receiver


def light_on_grid(
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
    """PPFD on a grid of targets, x_cm (nx,) and y_cm (ny,) rising, as shape (ny, nx).

    cell_cm: extent of the cell each target stands for, over which the light is averaged.
    """
    total = np.zeros((y_cm.size, x_cm.size))
    per_chunk = max(1, _CHUNK // total.size)
    tables = _tables(tank, water, sources, depth_cm, cell_cm)
    for first in range(0, sources.x_cm.size, per_chunk):
        part = sources.part(first, first + per_chunk)
        scene = _Scene(
            tank=tank, water=water, sources=part, tables=tables, cell_cm=cell_cm,
            receiver=receiver,
        )  # fmt: skip
        _add_grid(total, scene, x_cm, y_cm, depth_cm)
    return total


def light_at(
    tank: Tank,
    water: Water,
    sources: Sources,
    *,
    x_cm: Floats,
    y_cm: Floats,
    depth_cm: float,
) -> Floats:
    """PPFD at scattered points of one depth; x_cm, y_cm: shape (n,), which is returned."""
    total = np.zeros(x_cm.size)
    per_chunk = max(1, _CHUNK // max(1, total.size))
    tables = _tables(tank, water, sources, depth_cm, (0.0, 0.0))
    for first in range(0, sources.x_cm.size, per_chunk):
        part = sources.part(first, first + per_chunk)
        scene = _Scene(
            tank=tank, water=water, sources=part, tables=tables, cell_cm=(0.0, 0.0),
            receiver="level",
        )  # fmt: skip
        across = folds_across(tank, _images(_sideways_x(part, tank, depth_cm, water), tank, 0))
        along = folds_along(tank, _images(_sideways_y(part, tank, depth_cm, water), tank, 1))
        for fold_x in across:
            for fold_y in along:
                dx = fold_x.place(x_cm)[None, :] - part.x_cm[:, None]
                dy = fold_y.place(y_cm)[None, :] - part.y_cm[:, None]
                total += part.ppf_umol_s @ _pairs(scene, dx, dy, fold_x, fold_y)
    return total


def _add_grid(total: Floats, scene: _Scene, x: Floats, y: Floats, depth_cm: float) -> None:
    """Add the light of one chunk of sources by every image, each cut to what it can reach."""
    sources, tank = scene.sources, scene.tank
    reach_x = _sideways_x(sources, tank, depth_cm, scene.water) + scene.cell_cm[0]
    reach_y = _sideways_y(sources, tank, depth_cm, scene.water) + scene.cell_cm[1]
    for fold_x in folds_across(tank, _images(reach_x, tank, 0)):
        placed_x = fold_x.place(x)
        columns = _within_reach(placed_x, tank.length_cm, reach_x)
        for fold_y in folds_along(tank, _images(reach_y, tank, 1)):
            placed_y = fold_y.place(y)
            rows = _within_reach(placed_y, tank.width_cm, reach_y)
            if columns.stop <= columns.start or rows.stop <= rows.start:
                continue
            dx = placed_x[None, None, columns] - sources.x_cm[:, None, None]
            dy = placed_y[None, rows, None] - sources.y_cm[:, None, None]
            found = _pairs(scene, dx, dy, fold_x, fold_y)
            total[rows, columns] += np.tensordot(
                sources.ppf_umol_s.astype(np.float32), found, axes=1
            )


def _within_reach(placed: Floats, extent_cm: float, reach_cm: float) -> slice:
    """The targets whose image lies no further than reach beyond the real tank: one stretch."""
    near = np.flatnonzero((placed >= -reach_cm) & (placed <= extent_cm + reach_cm))
    return slice(int(near[0]), int(near[-1]) + 1) if near.size else slice(0, 0)


def _images(reach_cm: float, tank: Tank, axis: int) -> int:
    extent = (tank.length_cm, tank.width_cm)[axis]
    return min(MAX_IMAGES, int(np.ceil(reach_cm / extent)))


def _sideways_x(sources: Sources, tank: Tank, depth_cm: float, water: Water) -> float:
    return _sideways(sources.x_cm, sources, tank.length_cm, depth_cm, water)


def _sideways_y(sources: Sources, tank: Tank, depth_cm: float, water: Water) -> float:
    return _sideways(sources.y_cm, sources, tank.width_cm, depth_cm, water)


def _sideways(
    place_cm: Floats, sources: Sources, extent_cm: float, depth_cm: float, water: Water
) -> float:
    """Furthest that light goes along one axis under water [cm].

    Along an axis a ray goes z tan θ′ |cos φ|; entering inside the rim it has H tan θ |cos φ| at
    most the distance s to the far rim, and the product is greatest for |cos φ| = 1.
    """
    furthest = float(max(place_cm.max(), extent_cm - place_cm.min())) + max(sources.piece_cm)
    sine = furthest / np.hypot(furthest, sources.height_cm) / water.refractive_index
    return depth_cm * float(sine / np.sqrt(max(1.0 - sine**2, 1e-6)))


def _tables(
    tank: Tank, water: Water, sources: Sources, depth_cm: float, cell_cm: tuple[float, float]
) -> Kernel:
    spans = []
    for place, extent, sideways in (
        (sources.x_cm, tank.length_cm, _sideways_x(sources, tank, depth_cm, water)),
        (sources.y_cm, tank.width_cm, _sideways_y(sources, tank, depth_cm, water)),
    ):
        far = max(float(place.max()), extent - float(place.min()), extent)
        spans.append(far + min(sideways, (MAX_IMAGES + 1) * extent))
    blur = np.sqrt((np.square(cell_cm).sum() + np.square(sources.piece_cm).sum()) / 2.0)
    return kernel(
        KernelKey(
            height_cm=sources.height_cm,
            depth_cm=depth_cm,
            beam=sources.beam,
            refractive_index=water.refractive_index,
            absorption=sources.absorption,
            cover=tank.cover,
            reach_cm=float(32.0 * np.ceil(np.hypot(*spans) / 32.0)),
            blur_cm=round(float(blur), 2),
        )
    )


def _pairs(scene: _Scene, dx: Floats, dy: Floats, fold_x: Fold, fold_y: Fold) -> Singles:
    """Light per unit of flux for every pair of source (first axis) and target image."""
    tables, sources = scene.tables, scene.sources
    dx, dy = dx.astype(np.float32), dy.astype(np.float32)
    dx2, dy2 = dx * dx, dy * dy
    index = _nearest(dx2, dy2, tables)
    value = tables.ppfd.take(index)
    if tables.turning is not None:
        value *= _turned(tables, index, dx, dy)
    for axis, (fold, apart, square) in enumerate(((fold_x, dx, dx2), (fold_y, dy, dy2))):
        place = (sources.x_cm, sources.y_cm)[axis]
        extent = (scene.tank.length_cm, scene.tank.width_cm)[axis]
        low = bool(fold.place(np.array([extent / 2]))[0] < 0.0) or bool(place.min() < 0.0)
        high = bool(fold.place(np.array([extent / 2]))[0] > extent) or bool(place.max() > extent)
        if low or high:
            column = place.reshape(-1, *(1,) * (dx.ndim - 1)).astype(np.float32)
            _keep_inside(
                value, tables, index, apart, square, column, extent, low, high,
                scene.cell_cm[axis], sources.piece_cm[axis],
            )  # fmt: skip
    if fold_x.bounces or fold_y.bounces:
        _pay_walls(value, tables, index, scene.water, ((fold_x, dx), (fold_y, dy)))
    if scene.receiver != "level":
        value *= tables.tangent_over_r.take(index)
        value *= np.abs(dx if scene.receiver == "wall_x" else dy)
    return value


def _nearest(dx2: Singles, dy2: Singles, tables: Kernel) -> NDArray[np.intp]:
    """Entry of the tables for each pair."""
    squared = np.float32(tables.steps_per_cm**2)
    distance = np.sqrt(dx2 * squared + dy2 * squared)
    distance += np.float32(0.5)
    index = distance.astype(np.intp)
    np.minimum(index, tables.last, out=index)
    return index


def _turned(tables: Kernel, index: NDArray[np.intp], dx: Singles, dy: Singles) -> Singles:
    """Intensity of a measured table towards each target.

    Unfolding keeps a ray's direction at the lamp, so φ is simply that of the image.
    """
    assert tables.turning is not None
    phi = np.degrees(np.arctan2(dy, dx))
    return tables.turning.per_flux(tables.theta_deg.take(index), phi).astype(np.float32)


def _keep_inside(
    value: Singles, tables: Kernel, index: NDArray[np.intp], apart: Singles, square: Singles,
    source_cm: Singles, extent_cm: float, low: bool, high: bool, cell_cm: float, piece_cm: float,
) -> None:  # fmt: skip
    """Leave of each pair the share of rays that cross the surface inside the rim.

    The crossing points of the rays from a piece of lamp to a cell spread evenly over a short
    stretch; the share is the part of it inside. With no stretch it is the sharp edge of a point's
    shadow.
    """
    entry = tables.entry.take(index)
    place = apart * entry
    place += source_cm
    if cell_cm > 0.0 or piece_cm > 0.0:
        moved = tables.entry_bend.take(index)
        moved *= square
        moved += entry
        spread = moved * np.float32(cell_cm - piece_cm) + np.float32(piece_cm)
        np.maximum(spread, np.float32(1e-3), out=spread)
    else:
        spread = np.full_like(place, 1e-3)
    if low:
        value *= np.clip(place / spread + np.float32(0.5), 0.0, 1.0)
    if high:
        value *= np.clip((np.float32(extent_cm) - place) / spread + np.float32(0.5), 0.0, 1.0)


def _pay_walls(
    value: Singles, tables: Kernel, index: NDArray[np.intp], water: Water,
    passed: tuple[tuple[Fold, Singles], ...],
) -> None:  # fmt: skip
    """Weaken each pair by the walls its ray goes through. Most meet them beyond total reflection."""
    sine_over_r = tables.sine_over_r.take(index)
    table = wall_table(water.refractive_index)
    for fold, apart in passed:
        if fold.bounces:
            value *= looked_up(table, np.abs(sine_over_r * apart)) ** fold.bounces
