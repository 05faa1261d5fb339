"""Light that comes from the emitters themselves or by way of mirroring walls.

With the walls unfolded (see `walls`) the tables of `kernel` hold for every image of a target.
Two conditions remain, and are exact: a ray must cross the water's surface inside the rim, or it
is lost; and it pays each wall's reflectance at cos = sin θ′ |cos φ| for left and right, and
sin θ′ |sin φ| for front and back.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from server.optics.crossings import Pair, keep_inside, through_openings
from server.optics.kernel import Kernel, KernelKey, kernel
from server.optics.scene import Receiver, Scene
from server.optics.shade import RAYS
from server.optics.shadows import leave_shaded
from server.optics.sources import Sources
from server.optics.tank import Tank, Water
from server.optics.walls import MAX_IMAGES, Fold, folds_across, folds_along, looked_up, wall_table

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Entries = NDArray[np.intp]
_CHUNK = 49152
"""Pairs of source and target worked on at once: a few such blocks stay in the second cache."""


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
    rays: int = RAYS,
) -> Floats:
    """PPFD on a grid of targets, x_cm (nx,) and y_cm (ny,) rising, as shape (ny, nx).

    cell_cm: extent of the cell each target stands for, over which the light is averaged.
    rays: tested from each piece to each cell where a rock's shadow ends (see `shade`).
    """
    total = np.zeros((y_cm.size, x_cm.size))
    tables = _tables(tank, water, sources, depth_cm, cell_cm)
    film = _film_there(tank, receiver, float(x_cm[0]), float(y_cm[0]))
    for part in _chunks(sources, total.size):
        scene = Scene(
            tank=tank, water=water, sources=part, depth_cm=depth_cm, cell_cm=cell_cm,
            receiver=receiver, film_at_target=film,
        )  # fmt: skip
        flux = part.ppf_umol_s.astype(np.float32)
        for fold_x, fold_y in _images(scene):
            if not _arrives(scene, fold_x, fold_y, x_cm, y_cm):
                continue
            placed_x, placed_y = fold_x.place(x_cm), fold_y.place(y_cm)
            columns = _within_reach(scene, 0, placed_x)
            rows = _within_reach(scene, 1, placed_y)
            if columns.stop > columns.start and rows.stop > rows.start:
                dx = placed_x[None, None, columns] - part.x_cm[:, None, None]
                dy = placed_y[None, rows, None] - part.y_cm[:, None, None]
                found = _pairs(scene, tables, _single(dx), _single(dy), fold_x, fold_y)
                if tank.rocks:
                    leave_shaded(
                        found, tank, part, tables, (fold_x, fold_y),
                        (placed_x[columns], placed_y[rows]), depth_cm, cell_cm, rays,
                    )  # fmt: skip
                total[rows, columns] += np.tensordot(flux, found, axes=1)
    return total


def _film_there(tank: Tank, receiver: Receiver, x_cm: float, y_cm: float) -> float:
    """What growth leaves of light that a clear wall under a "through" receiver returns."""
    film = tank.film
    if receiver == "through_x":
        return (film.left if x_cm <= 0.0 else film.right) ** 2
    return (film.front if y_cm <= 0.0 else film.back) ** 2


def light_at(
    tank: Tank,
    water: Water,
    sources: Sources,
    *,
    x_cm: Floats,
    y_cm: Floats,
    depth_cm: float,
) -> Floats:
    """PPFD at scattered points of one depth; x_cm, y_cm: shape (n,), which is returned.

    For tanks without rocks; `reach` has them.
    """
    total = np.zeros(x_cm.size)
    tables = _tables(tank, water, sources, depth_cm, (0.0, 0.0))
    for part in _chunks(sources, max(1, total.size)):
        scene = Scene(
            tank=tank, water=water, sources=part, depth_cm=depth_cm, cell_cm=(0.0, 0.0),
            receiver="level",
        )  # fmt: skip
        for fold_x, fold_y in _images(scene):
            dx = fold_x.place(x_cm)[None, :] - part.x_cm[:, None]
            dy = fold_y.place(y_cm)[None, :] - part.y_cm[:, None]
            found = _pairs(scene, tables, _single(dx), _single(dy), fold_x, fold_y)
            total += part.ppf_umol_s @ found
    return total


def _chunks(sources: Sources, targets: int) -> Iterator[Sources]:
    size = max(1, _CHUNK // targets)
    for first in range(0, sources.x_cm.size, size):
        yield sources.part(first, first + size)


def _single(values: Floats) -> Singles:
    return values.astype(np.float32)


def _images(scene: Scene) -> Iterator[tuple[Fold, Fold]]:
    """Every imagined tank that light from these sources can reach."""
    most = [
        math.ceil((max(sideways) + 1e-6) / extent)
        for sideways, extent in zip(scene.sideways, scene.extents, strict=True)
    ]
    for fold_x in folds_across(scene.tank, most[0]):
        for fold_y in folds_along(scene.tank, most[1]):
            yield fold_x, fold_y


def _within_reach(scene: Scene, axis: int, placed: Floats) -> slice:
    """The targets whose images lie near enough to the real tank for light to reach: one stretch."""
    to_low, to_high = scene.sideways[axis]
    low = -to_low - scene.cell_cm[axis]
    high = scene.extents[axis] + to_high + scene.cell_cm[axis]
    near = np.flatnonzero((placed >= low) & (placed <= high))
    return slice(int(near[0]), int(near[-1]) + 1) if near.size else slice(0, 0)


def _tables(
    tank: Tank, water: Water, sources: Sources, depth_cm: float, cell_cm: tuple[float, float]
) -> Kernel:
    scene = Scene(
        tank=tank, water=water, sources=sources, depth_cm=depth_cm, cell_cm=cell_cm,
        receiver="level",
    )  # fmt: skip
    spans = [
        max(f + min(aside, MAX_IMAGES * extent) for f, aside in zip(ways, sideways, strict=True))
        for ways, sideways, extent in zip(
            scene.furthest, scene.sideways, scene.extents, strict=True
        )
    ]
    variances = _variances(scene)
    return kernel(
        KernelKey(
            height_cm=sources.height_cm,
            depth_cm=depth_cm,
            beam=sources.beam,
            refractive_index=water.refractive_index,
            absorption=sources.absorption,
            cover=tank.cover,
            reach_cm=float(32.0 * np.ceil((np.hypot(spans[0], spans[1]) + 4.0) / 32.0)),
            blur_sq_cm=round(sum(variances) / 2.0, 3),
        )
    )


def _variances(scene: Scene) -> tuple[float, float]:
    """Variance along x and y of a place within a cell less a place within a piece [cm²]."""
    found = [
        (cell**2 + piece**2) / 12.0
        for cell, piece in zip(scene.cell_cm, scene.sources.piece_cm, strict=True)
    ]
    return found[0], found[1]


def _pairs(
    scene: Scene, tables: Kernel, dx: Singles, dy: Singles, fold_x: Fold, fold_y: Fold
) -> Singles:
    """Light per unit of flux for every pair of source (first axis) and target image."""
    squares = (dx * dx, dy * dy)
    index = _nearest(*squares, tables)
    value = tables.ppfd.take(index)
    along_x, along_y = _variances(scene)
    if abs(along_x - along_y) > 0.5:
        more = tables.stretch.take(index) * np.float32((along_x - along_y) / 4.0)
        value += more * (squares[0] - squares[1])
        np.maximum(value, 0.0, out=value)
    if tables.turning is not None:
        value *= _turned(tables, index, dx, dy)
    folds, apart = (fold_x, fold_y), (dx, dy)
    if scene.tank.braces:
        value *= through_openings(scene, tables, index, apart, squares)
    else:
        for axis in (0, 1):
            keep_inside(value, scene, tables, index, axis, folds[axis], apart[axis], squares[axis])
    for axis in (0, 1):
        _pay_walls(value, scene, tables, index, axis, folds[axis], apart[axis])
    if scene.receiver != "level":
        _receive(value, scene, tables, index, apart, folds)
    return value


def _receive(
    value: Singles, scene: Scene, tables: Kernel, index: Entries, apart: Pair,
    folds: tuple[Fold, Fold],
) -> None:  # fmt: skip
    """Turn the light on a level into what another receiver gets."""
    if scene.receiver == "path":
        value *= tables.secant.take(index)
        return
    axis = 0 if scene.receiver.endswith("x") else 1
    along = np.abs(apart[axis])
    value *= tables.tangent_over_r.take(index)
    value *= along
    if scene.receiver.startswith("through"):
        cosine = tables.sine_over_r.take(index) * along
        back = looked_up(wall_table(scene.water.refractive_index), cosine)
        value *= np.float32(1.0) - np.float32(scene.film_at_target) * back


def _arrives(scene: Scene, fold_x: Fold, fold_y: Fold, x_cm: Floats, y_cm: Floats) -> bool:
    """Whether light comes to a clear wall in this image; other receivers count every image."""
    if scene.receiver == "through_x":
        return fold_x.arrives(float(x_cm[0]), scene.extents[0])
    if scene.receiver == "through_y":
        return fold_y.arrives(float(y_cm[0]), scene.extents[1])
    return True


def _nearest(dx2: Singles, dy2: Singles, tables: Kernel) -> Entries:
    """Entry of the tables for each pair."""
    squared = np.float32(tables.steps_per_cm**2)
    distance = np.sqrt(dx2 * squared + dy2 * squared)
    distance += np.float32(0.5)
    index = distance.astype(np.intp)
    np.minimum(index, tables.last, out=index)
    return index


def _turned(tables: Kernel, index: Entries, dx: Singles, dy: Singles) -> Singles:
    """Intensity of a table or of a leaning lens towards each target.

    Unfolding keeps a ray's direction at the lamp, so φ is simply that of the image.
    """
    if tables.turning is None:
        return np.ones_like(dx)
    phi = np.degrees(np.arctan2(dy, dx))
    return tables.turning.per_flux(tables.theta_deg.take(index), phi).astype(np.float32)


def _pay_walls(
    value: Singles, scene: Scene, tables: Kernel, index: Entries, axis: int, fold: Fold,
    apart: Singles,
) -> None:  # fmt: skip
    """Weaken each pair by the walls of one axis that its ray goes through.

    Most rays meet them beyond total reflection and pay nothing; where none can meet them more
    steeply there is nothing to look up.
    """
    if fold.bounces == 0:
        return
    n = scene.water.refractive_index
    if n > 1.0 and max(scene.sines[axis]) < math.sqrt(1.0 - 1.0 / n**2) - 1e-3:
        _pay_film(value, fold)
        return
    cosine = tables.sine_over_r.take(index)
    cosine *= np.abs(apart)
    returned = looked_up(wall_table(n), cosine)
    value *= returned if fold.bounces == 1 else returned**fold.bounces
    _pay_film(value, fold)


def _pay_film(value: Singles, fold: Fold) -> None:
    if fold.film != 1.0:
        value *= np.float32(fold.film)
