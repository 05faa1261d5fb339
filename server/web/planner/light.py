"""The light of a plan on its three cuts and at its animals, quick enough to follow a slider.

Light is linear in power and adds up lamp by lamp, so the field of each lamp at full power is kept
and only what moved is worked out anew. While a slider is dragged the grids are coarser.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from server.db.light import Hung, Scene, emitters_of, optics_tank, water_of
from server.db.tanks import LampPlace
from server.models import HungLamp, Tank
from server.optics import tank as glass
from server.optics.emitters import Emitter
from server.optics.field import at_points, planes

Floats = npt.NDArray[np.float64]
Places = tuple[tuple[float, float, float], ...]
"""Points (x, y, depth) [cm], as something that can be remembered by."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """How finely to look: cells at most so wide, and so many levels over the depth."""

    most_cells: int
    least_cell_cm: float
    levels: int

    def cell_cm(self, tank: glass.Tank) -> float:
        """Width of a cell for this tank [cm]."""
        return max(self.least_cell_cm, max(tank.length_cm, tank.width_cm) / self.most_cells)


FINE = Grid(most_cells=60, least_cell_cm=2.0, levels=14)
DRAFT = Grid(most_cells=30, least_cell_cm=4.0, levels=8)


@dataclass(frozen=True, kw_only=True)
class Cuts:
    """Where the three views are taken [cm]."""

    depth_cm: float
    front_y_cm: float
    side_x_cm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Views:
    """PPFD [µmol m⁻² s⁻¹]: above (ny, nx), front (levels, nx), side (levels, ny)."""

    above: Floats
    front: Floats
    side: Floats


@dataclass(frozen=True, kw_only=True)
class Lit:
    """A tank under lamps at full power, and how far each is turned up."""

    tank: glass.Tank
    water: glass.Water
    full: tuple[tuple[Emitter, ...], ...]
    powers: tuple[float, ...]


def lit(tank: Tank, hung: Sequence[Hung], places: Sequence[LampPlace]) -> Lit:
    """The stored tank under its lamps, hung at these places instead of their own."""
    full = tuple(
        emitters_of(tank, replace(one, row=_moved(one.row, place)))
        for one, place in zip(hung, places, strict=True)
    )
    return Lit(
        tank=optics_tank(tank),
        water=water_of(tank),
        full=full,
        powers=tuple(place.power for place in places),
    )


def _moved(row: HungLamp, place: LampPlace) -> HungLamp:
    """A row that is not stored: the lamp elsewhere, at full power."""
    return HungLamp(
        setup_id=row.setup_id,
        lamp_model_id=row.lamp_model_id,
        x_cm=place.x_cm,
        y_cm=place.y_cm,
        height_cm=place.height_cm,
        power=1.0,
        turned=place.turned,
        channel_levels=place.channel_levels,
    )


def views(of: Lit, cuts: Cuts, grid: Grid) -> Views:
    """The light on all three cuts."""
    shapes = _shapes(of.tank, grid)
    found = [np.zeros(shape) for shape in shapes]
    for emitters, power in zip(of.full, of.powers, strict=True):
        if power > 0 and emitters:
            for total, one in zip(found, _one_lamp(of, emitters, cuts, grid), strict=True):
                total += power * one
    return Views(above=found[0], front=found[1], side=found[2])


def at_places(of: Lit, places: Places) -> Floats:
    """The light of each lamp at its power at each place, shape (lamps, places)."""
    if not of.full or not places:
        return np.zeros((len(of.full), len(places)))
    rows = [
        power * _at(of.tank, of.water, emitters, places) if emitters else np.zeros(len(places))
        for emitters, power in zip(of.full, of.powers, strict=True)
    ]
    return np.array(rows)


def scene_of(of: Lit) -> Scene:
    """The same as the engine takes it, with every lamp at its power."""
    by_lamp = tuple(
        tuple(replace(e, ppf_umol_s=e.ppf_umol_s * power) for e in emitters) if power > 0 else ()
        for emitters, power in zip(of.full, of.powers, strict=True)
    )
    return Scene(
        tank=of.tank,
        water=of.water,
        emitters=tuple(e for group in by_lamp for e in group),
        by_lamp=by_lamp,
    )


def _shapes(tank: glass.Tank, grid: Grid) -> tuple[tuple[int, int], ...]:
    cell = grid.cell_cm(tank)
    nx, ny = max(1, round(tank.length_cm / cell)), max(1, round(tank.width_cm / cell))
    return (ny, nx), (grid.levels, nx), (grid.levels, ny)


def _one_lamp(
    of: Lit, emitters: tuple[Emitter, ...], cuts: Cuts, grid: Grid
) -> tuple[Floats, Floats, Floats]:
    """One lamp at full power on the three cuts; each is remembered by itself."""
    return (
        _above(of.tank, of.water, emitters, cuts.depth_cm, grid),
        _front(of.tank, of.water, emitters, cuts.front_y_cm, grid),
        _side(of.tank, of.water, emitters, cuts.side_x_cm, grid),
    )


@lru_cache(maxsize=256)
def _above(
    tank: glass.Tank,
    water: glass.Water,
    emitters: tuple[Emitter, ...],
    depth_cm: float,
    grid: Grid,
) -> Floats:
    (plane,) = planes(tank, water, emitters, depths_cm=(depth_cm,), cell_cm=grid.cell_cm(tank))
    return plane.ppfd


@lru_cache(maxsize=256)
def _front(
    tank: glass.Tank, water: glass.Water, emitters: tuple[Emitter, ...], y_cm: float, grid: Grid
) -> Floats:
    (_, (levels, nx), _) = _shapes(tank, grid)
    x_cm = (np.arange(nx) + 0.5) / nx * tank.length_cm
    return _upright(tank, water, emitters, x_cm, np.full(nx, y_cm), levels)


@lru_cache(maxsize=256)
def _side(
    tank: glass.Tank, water: glass.Water, emitters: tuple[Emitter, ...], x_cm: float, grid: Grid
) -> Floats:
    (_, _, (levels, ny)) = _shapes(tank, grid)
    y_cm = (np.arange(ny) + 0.5) / ny * tank.width_cm
    return _upright(tank, water, emitters, np.full(ny, x_cm), y_cm, levels)


def _upright(
    tank: glass.Tank,
    water: glass.Water,
    emitters: tuple[Emitter, ...],
    x_cm: Floats,
    y_cm: Floats,
    levels: int,
) -> Floats:
    """PPFD on an upright cut, (levels, n), smoothed sideways over neighbouring points.

    Points see razor edges that a sensor two centimetres wide would not: so they are averaged
    with their neighbours, half to a quarter each.
    """
    depth_cm = (np.arange(levels) + 0.5) / levels * tank.depth_cm
    found = at_points(
        tank,
        water,
        emitters,
        x_cm=np.tile(x_cm, levels),
        y_cm=np.tile(y_cm, levels),
        depth_cm=np.repeat(depth_cm, x_cm.size),
    ).reshape(levels, x_cm.size)
    padded = np.pad(found, ((0, 0), (1, 1)), mode="edge")
    smooth: Floats = (padded[:, :-2] + 2 * found + padded[:, 2:]) / 4
    return smooth


@lru_cache(maxsize=1024)
def _at(
    tank: glass.Tank, water: glass.Water, emitters: tuple[Emitter, ...], places: Places
) -> Floats:
    x, y, depth = np.array(places).T
    return at_points(tank, water, emitters, x_cm=x, y_cm=y, depth_cm=depth)
