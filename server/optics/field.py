"""The light field in a tank: planes of cells, single points, and the share that gets in."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.optics import among_rocks, diffuse, reach
from server.optics.diffuse import Arriving
from server.optics.direct import light_at, light_on_grid
from server.optics.emitters import Emitter
from server.optics.entering import entering_share
from server.optics.kernel import Beam, peak_width_cm, power_of
from server.optics.rocks import free_share, in_rock
from server.optics.sources import Sources, beam_of, groups_at_most, pieces_at_most, sources_for
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]

MAX_CELLS_PER_PLANE = 250_000

_CELL, _NARROW = (0.3, 0.12), 120.0
"""Largest cell that is one sample, as a share of the width of a source's light; and for lenses of
this cosine power and more (12° and less), in whose skirts light falls off within a cell."""

_SHADOW_CM = 2.5
"""Largest cell that is one sample where rocks and braces throw shadows."""

_PER_GROUP = 40_000
"""What a group of lamps costs a depth however few its pairs are, over all mirrored tanks."""

_MOST_SAMPLES = 16


@dataclass(frozen=True, kw_only=True, eq=False)
class Plane:
    """PPFD [µmol m⁻² s⁻¹] that an upward-facing flat sensor reads over one level.

    x_cm: shape (nx,) and y_cm: shape (ny,), centres of the cells. ppfd: shape (ny, nx), averages
    over the cells; NaN where a cell's middle lies in a rock, and those are left out of mean, min
    and max (0 where no cell is left). uniformity: min / mean, 0 where no light arrives.
    """

    depth_cm: float
    x_cm: Floats
    y_cm: Floats
    ppfd: Floats

    @property
    def in_water(self) -> Floats:
        """The cells whose middle lies in no rock, shape (n,); a single 0 where there are none."""
        free = self.ppfd[np.isfinite(self.ppfd)]
        return free if free.size else np.zeros(1)

    @property
    def mean(self) -> float:
        return float(self.in_water.mean())

    @property
    def min(self) -> float:
        return float(self.in_water.min())

    @property
    def max(self) -> float:
        return float(self.in_water.max())

    @property
    def uniformity(self) -> float:
        return self.min / self.mean if self.mean > 0.0 else 0.0


def cell_count(extent_cm: float, cell_cm: float) -> int:
    """Equal cells along one side: round(extent / cell), halves to even, at least one."""
    return max(1, round(extent_cm / cell_cm))


def planes(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    *,
    depths_cm: Sequence[float],
    cell_cm: float,
) -> tuple[Plane, ...]:
    """The light on level planes, one per depth [cm], cut into cells of about cell_cm.

    Everything included: direct light through the flat surface, light returned by the walls, and
    light returned by floor and surface. Raises ValueError for a depth outside the water, a cell
    that is not positive, or more than MAX_CELLS_PER_PLANE cells.
    """
    nx, ny = _cells(tank, cell_cm)
    x, y = _centres(tank.length_cm, nx), _centres(tank.width_cm, ny)
    for depth_cm in depths_cm:
        _check_depth(tank, depth_cm)
    arriving = _on_scattering_faces(tank, water, emitters)
    returned = among_rocks if among_rocks.needs_rays(tank, water) else diffuse
    found = []
    for depth_cm in depths_cm:
        ppfd = np.zeros((ny, nx))
        for sources in sources_for(tank, water, emitters, depth_cm=depth_cm):
            ppfd += _cell_means(tank, water, sources, x, y, depth_cm)
        ppfd += returned.returned_to_plane(tank, water, arriving, x_cm=x, y_cm=y, depth_cm=depth_cm)
        if tank.rocks:
            ppfd[in_rock(tank, x, y, depth_cm)] = np.nan
        found.append(Plane(depth_cm=depth_cm, x_cm=x, y_cm=y, ppfd=ppfd))
    return tuple(found)


def work(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    *,
    depths_cm: Sequence[float],
    cell_cm: float,
) -> int:
    """Pairs of lamp piece and sample that `planes` would work out: about 20 million a second.

    For those who answer strangers: refuse what would take too long before it is begun. Rocks cost
    by their number, in shadows and in rays of scattered light.
    """
    nx, ny = _cells(tank, cell_cm)
    total = 0
    for depth_cm in depths_cm:
        samples = (
            _finer(tank, nx, ny, water, one.height_cm, beam_of(one), depth_cm) for one in emitters
        )
        finest = max((across * along for across, along in samples), default=1)
        pieces = pieces_at_most(tank, water, emitters, depth_cm=depth_cm)
        total += nx * ny * finest * pieces * (8 + len(tank.rocks)) // 8
        total += groups_at_most(water, emitters) * _PER_GROUP + among_rocks.work(tank, water)
    return total


def at_points(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    *,
    x_cm: ArrayLike,
    y_cm: ArrayLike,
    depth_cm: ArrayLike,
) -> Floats:
    """PPFD at single points; x_cm, y_cm, depth_cm broadcast to shape (n,), which is returned.

    Raises ValueError for a depth outside the water. Points outside the tank's sides are refused.
    Inside a rock it is dark: 0. Whoever asks for people tells them so (`rocks.inside` knows which).
    """
    x, y, z = np.broadcast_arrays(
        np.atleast_1d(np.asarray(x_cm, dtype=np.float64)),
        np.atleast_1d(np.asarray(y_cm, dtype=np.float64)),
        np.atleast_1d(np.asarray(depth_cm, dtype=np.float64)),
    )
    _check_places(tank, x, y)
    for depth in np.unique(z):
        _check_depth(tank, float(depth))
    points = np.stack([x, y, z], axis=1)
    apart = tank.obstructed or any(emitter.tilt_deg > 0.0 for emitter in emitters)
    direct = _ray_by_ray if apart else _level_by_level
    arriving = _on_scattering_faces(tank, water, emitters)
    returned = among_rocks if among_rocks.needs_rays(tank, water) else diffuse
    scattered: Floats = returned.returned_to_points(tank, water, arriving, points_cm=points)
    return direct(tank, water, emitters, points) + scattered


def _level_by_level(
    tank: Tank, water: Water, emitters: Sequence[Emitter], points: Floats
) -> Floats:
    """Direct light at points (n, 3) from the tables of each depth."""
    x, y, z = points.T
    ppfd = np.zeros(x.shape)
    for depth in np.unique(z):
        here = z == depth
        for sources in sources_for(tank, water, emitters, depth_cm=float(depth)):
            ppfd[here] += light_at(
                tank, water, sources, x_cm=x[here], y_cm=y[here], depth_cm=float(depth)
            )
    return ppfd


def _ray_by_ray(tank: Tank, water: Water, emitters: Sequence[Emitter], points: Floats) -> Floats:
    """Direct light at points (n, 3), each ray by itself; lamps as fine as the highest needs."""
    highest = float(points[:, 2].min(initial=tank.depth_cm))
    groups = sources_for(tank, water, emitters, depth_cm=highest)
    targets = reach.level(points)
    lit = [reach.light_on(tank, water, group, targets)[0] for group in groups]
    return np.asarray(sum(lit, start=np.zeros(len(points))))


def share_into_water(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> float:
    """Part of all emitted photons that crosses the surface into the water, 0–1.

    For each direction θ: intensity, times what passes surface and pane, times the part of the
    ring of rays at that angle that meets the surface inside the rim (arcs in closed form).
    """
    emitted = sum(emitter.ppf_umol_s for emitter in emitters)
    if emitted <= 0.0:
        return 0.0
    entered = sum(emitter.ppf_umol_s * entering_share(tank, water, emitter) for emitter in emitters)
    return entered / emitted


def _cell_means(
    tank: Tank, water: Water, sources: Sources, x: Floats, y: Floats, depth_cm: float
) -> Floats:
    """Light of one group of sources as averages over the cells, shape (ny, nx).

    Cells that are large for the light's width, or for shadows of rocks, are sampled on a finer
    grid; of cells that a rock cuts the free part counts.
    """
    finer = _finer(tank, x.size, y.size, water, sources.height_cm, sources.beam, depth_cm)
    cell = (tank.length_cm / x.size, tank.width_cm / y.size)
    fine_x, fine_y = (
        _centres(extent, count * times)
        for extent, count, times in zip(
            (tank.length_cm, tank.width_cm), (x.size, y.size), finer, strict=True
        )
    )
    found = light_on_grid(
        tank, water, sources, x_cm=fine_x, y_cm=fine_y, depth_cm=depth_cm,
        cell_cm=(cell[0] / finer[0], cell[1] / finer[1]),
    )  # fmt: skip
    shape = (y.size, finer[1], x.size, finer[0])
    means = np.asarray(found.reshape(shape).mean(axis=(1, 3)))
    if tank.rocks:
        means /= free_share(tank, x.size, y.size, depth_cm)
    return np.asarray(means)


def _finer(
    tank: Tank, nx: int, ny: int, water: Water, height_cm: float, beam: Beam, depth_cm: float
) -> tuple[int, int]:
    """Samples along each side of a cell."""
    width = peak_width_cm(beam, height_cm=height_cm, depth_cm=depth_cm, water=water)
    cell = (tank.length_cm / nx, tank.width_cm / ny)
    share = _CELL[0 if power_of(beam) < _NARROW else 1]
    found = [int(np.clip(np.ceil(c / (share * width)), 1, _MOST_SAMPLES)) for c in cell]
    if tank.obstructed:
        shadows = [int(np.clip(np.ceil(c / _SHADOW_CM), 1, _MOST_SAMPLES)) for c in cell]
        found = [max(pair) for pair in zip(found, shadows, strict=True)]
    return found[0], found[1]


def _centres(extent_cm: float, count: int) -> Floats:
    return (np.arange(count) + 0.5) * extent_cm / count


def _on_scattering_faces(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> Arriving:
    if among_rocks.needs_rays(tank, water):
        return among_rocks.given_off(tank, water, emitters)
    groups = sources_for(tank, water, emitters, depth_cm=tank.depth_cm)
    return diffuse.arriving_directly(tank, water, groups)


def _cells(tank: Tank, cell_cm: float) -> tuple[int, int]:
    if not (np.isfinite(cell_cm) and cell_cm > 0.0):
        raise ValueError(f"cell_cm must be a positive number, not {cell_cm}")
    nx, ny = cell_count(tank.length_cm, cell_cm), cell_count(tank.width_cm, cell_cm)
    if nx * ny > MAX_CELLS_PER_PLANE:
        raise ValueError(f"cell_cm is too small: more than {MAX_CELLS_PER_PLANE} cells")
    return nx, ny


def _check_depth(tank: Tank, depth_cm: float) -> None:
    if not 0.0 <= depth_cm <= tank.depth_cm:
        raise ValueError(f"depth_cm must lie between 0 and {tank.depth_cm:g}, not {depth_cm}")


def _check_places(tank: Tank, x: Floats, y: Floats) -> None:
    for name, values, extent in (("x_cm", x, tank.length_cm), ("y_cm", y, tank.width_cm)):
        if not np.all((values >= 0.0) & (values <= extent)):
            raise ValueError(f"{name} must lie between 0 and {extent:g}")
