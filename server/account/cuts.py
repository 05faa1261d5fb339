"""The light of lamps on the three cuts of a tank and at its animals, quick enough for a slider.

Light is linear in power and adds up lamp by lamp, so the field of each lamp at full power is kept
and only what moved is worked out anew. While a slider is dragged the grids are coarser.
"""

from collections import OrderedDict
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from threading import Lock
from typing import Protocol

import numpy as np
import numpy.typing as npt

from server.optics import tank as glass
from server.optics.emitters import Emitter
from server.optics.field import at_points, planes
from server.surveys.changed import held
from server.surveys.plan import Lamp, Plan

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

    @property
    def upright(self) -> tuple[float, float]:
        """The two upright ones."""
        return self.front_y_cm, self.side_x_cm


class Hangs(Protocol):
    """How one lamp hangs [cm], and how far it is turned up (0–1)."""

    @property
    def x_cm(self) -> float: ...
    @property
    def y_cm(self) -> float: ...
    @property
    def height_cm(self) -> float: ...
    @property
    def power(self) -> float: ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Views:
    """PPFD [µmol m⁻² s⁻¹]: above (ny, nx), front (levels, nx), side (levels, ny)."""

    above: Floats
    front: Floats
    side: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class DoubtViews:
    """Relative uncertainty on the three cuts, shapes as of the light."""

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


def moved(of: Lit, hung: Sequence[Hangs], places: Sequence[Hangs]) -> Lit:
    """The same lamps elsewhere and at other powers. hung: where `of` has them."""
    pairs = zip(of.full, hung, places, strict=True)
    return replace(
        of,
        full=tuple(_shifted(emitters, before, after) for emitters, before, after in pairs),
        powers=tuple(place.power for place in places),
    )


def _shifted(emitters: tuple[Emitter, ...], before: Hangs, after: Hangs) -> tuple[Emitter, ...]:
    if (before.x_cm, before.y_cm, before.height_cm) == (after.x_cm, after.y_cm, after.height_cm):
        return emitters
    dx, dy = after.x_cm - before.x_cm, after.y_cm - before.y_cm
    up = after.height_cm - before.height_cm
    return tuple(
        replace(
            one,
            x_cm=held("x_cm", one.x_cm + dx),
            y_cm=held("y_cm", one.y_cm + dy),
            height_cm=held("height_cm", one.height_cm + up),
        )
        for one in emitters
    )


def views(of: Lit, cuts: Cuts) -> Views:
    """The light on all three cuts, as finely as a chart needs."""
    found = [np.zeros(shape) for shape in _shapes(of.tank, FINE)]
    for emitters, power in _lit_lamps(of):
        above = _plane(of.tank, of.water, emitters, cuts.depth_cm)
        front, side = _upright(of.tank, of.water, emitters, cuts.upright)
        for total, one in zip(found, (above, front, side), strict=True):
            total += power * one
    return Views(above=found[0], front=found[1], side=found[2])


def draft(of: Lit, cuts: Cuts, places: Places) -> tuple[Views, Floats]:
    """The light on the cuts and of each lamp at places, coarse, for a slider on the move.

    The engine's work goes by depth, so all is asked for in one go at few depths, and places are
    read off between them: off by a few percent where light falls off steeply. The fine drawing
    that follows when the slider rests does not read off anything.
    """
    found = [np.zeros(shape) for shape in _shapes(of.tank, DRAFT)]
    by_lamp = np.zeros((len(of.full), len(places)))
    for n, (emitters, power) in enumerate(zip(of.full, of.powers, strict=True)):
        if power <= 0 or not emitters:
            continue
        *seen, at = _coarse(of.tank, of.water, emitters, cuts, places)
        for total, one in zip(found, seen, strict=True):
            total += power * one
        by_lamp[n] = power * at
    return Views(above=found[0], front=found[1], side=found[2]), by_lamp


def _lit_lamps(of: Lit) -> Iterator[tuple[tuple[Emitter, ...], float]]:
    for emitters, power in zip(of.full, of.powers, strict=True):
        if power > 0 and emitters:
            yield emitters, power


def at_places(of: Lit, places: Places) -> Floats:
    """The light of each lamp at its power at each place, shape (lamps, places)."""
    if not of.full or not places:
        return np.zeros((len(of.full), len(places)))
    rows = [
        power * _at(of.tank, of.water, emitters, places) if emitters else np.zeros(len(places))
        for emitters, power in zip(of.full, of.powers, strict=True)
    ]
    return np.array(rows)


def plan_of(of: Lit) -> Plan:
    """The same as the map takes it, with every lamp at its power."""
    return Plan(
        tank=of.tank,
        water=of.water,
        lamps=tuple(
            Lamp(name="", emitters=_dimmed(emitters, power))
            for emitters, power in zip(of.full, of.powers, strict=True)
        ),
    )


def _dimmed(emitters: tuple[Emitter, ...], power: float) -> tuple[Emitter, ...]:
    if power <= 0:
        return ()
    return tuple(replace(one, ppf_umol_s=one.ppf_umol_s * power) for one in emitters)


def _shapes(tank: glass.Tank, grid: Grid) -> tuple[tuple[int, int], ...]:
    cell = grid.cell_cm(tank)
    nx, ny = max(1, round(tank.length_cm / cell)), max(1, round(tank.width_cm / cell))
    return (ny, nx), (grid.levels, nx), (grid.levels, ny)


@lru_cache(maxsize=256)
def _plane(
    tank: glass.Tank, water: glass.Water, emitters: tuple[Emitter, ...], depth_cm: float
) -> Floats:
    """One lamp at full power on the view from above, averages of cells (ny, nx)."""
    (plane,) = planes(tank, water, emitters, depths_cm=(depth_cm,), cell_cm=FINE.cell_cm(tank))
    return plane.ppfd


@lru_cache(maxsize=256)
def _upright(
    tank: glass.Tank,
    water: glass.Water,
    emitters: tuple[Emitter, ...],
    cuts: tuple[float, float],
) -> tuple[Floats, Floats]:
    """One lamp at full power on the cuts from front and side, (levels, n)."""
    asked = _upright_points(tank, cuts, FINE)
    x, y, depth = asked.points.T
    found = at_points(tank, water, emitters, x_cm=x, y_cm=y, depth_cm=depth)
    return asked.front(found), asked.side(found)


class _Kept:
    """Coarse fields of single lamps by what they were asked with; the longest unused go first.

    Two parts of one answer of the engine are kept apart, which a plain cache cannot do.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._found: OrderedDict[Hashable, tuple[Floats, ...]] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable) -> tuple[Floats, ...] | None:
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
            return self._found.get(key)

    def put(self, key: Hashable, found: tuple[Floats, ...]) -> tuple[Floats, ...]:
        with self._lock:
            self._found[key] = found
            while len(self._found) > self._most:
                self._found.popitem(last=False)
        return found


_kept = _Kept(512)


def _coarse(
    tank: glass.Tank,
    water: glass.Water,
    emitters: tuple[Emitter, ...],
    cuts: Cuts,
    places: Places,
) -> tuple[Floats, ...]:
    """One lamp at full power on all cuts, (ny, nx), (levels, nx), (levels, ny), and at places.

    What is missing is asked for in one go: the light that walls and floor return is the dear
    part, and is worked out once for each question.
    """
    lamp = (tank, water, emitters)
    over_key, cut_key = ("over", *lamp, cuts.depth_cm), ("cut", *lamp, cuts.upright, places)
    over, cut = _kept.get(over_key), _kept.get(cut_key)
    points = [np.zeros((0, 3))]
    if over is None:
        points.append(_over_points(tank, cuts.depth_cm))
    upright = _upright_points(tank, cuts.upright, DRAFT)
    if cut is None:
        points += [upright.points, _level_points(tank, places)]
    wanted = np.concatenate(points)
    if len(wanted):
        x, y, depth = wanted.T
        found = at_points(tank, water, emitters, x_cm=x, y_cm=y, depth_cm=depth)
        ends = np.cumsum([len(one) for one in points])[:-1]
        _, *parts = np.split(found, ends)
        if over is None:
            over = _kept.put(over_key, (parts.pop(0).reshape(_shapes(tank, DRAFT)[0]),))
        if cut is None:
            at = _at_depths(tank, parts[1], places)
            cut = _kept.put(cut_key, (upright.front(parts[0]), upright.side(parts[0]), at))
    assert over is not None and cut is not None
    return *over, *cut


def _over_points(tank: glass.Tank, depth_cm: float) -> Floats:
    (ny, nx), _, _ = _shapes(tank, DRAFT)
    x, y = np.meshgrid(_centres(tank.length_cm, nx), _centres(tank.width_cm, ny))
    return np.stack([x.ravel(), y.ravel(), np.full(x.size, depth_cm)], axis=1)


def _level_points(tank: glass.Tank, places: Places) -> Floats:
    """Above and below each place on the levels of the upright cuts, level by level."""
    level_cm = _centres(tank.depth_cm, DRAFT.levels)
    x, y, _ = np.array(places, dtype=np.float64).reshape(-1, 3).T
    levels = np.repeat(level_cm, x.size)
    return np.stack([np.tile(x, level_cm.size), np.tile(y, level_cm.size), levels], axis=1)


def _at_depths(tank: glass.Tank, found: Floats, places: Places) -> Floats:
    depth_cm = np.array([depth for _, _, depth in places])
    level_cm = _centres(tank.depth_cm, DRAFT.levels)
    return _between(level_cm, found.reshape(level_cm.size, depth_cm.size), depth_cm)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Upright:
    """Points of the two upright cuts, level by level, first those of the front."""

    levels: int
    nx: int
    points: Floats

    def front(self, found: Floats) -> Floats:
        return _smooth(found.reshape(self.levels, -1)[:, : self.nx])

    def side(self, found: Floats) -> Floats:
        return _smooth(found.reshape(self.levels, -1)[:, self.nx :])


def _upright_points(tank: glass.Tank, cuts: tuple[float, float], grid: Grid) -> _Upright:
    (_, (levels, nx), (_, ny)) = _shapes(tank, grid)
    across = np.concatenate([_centres(tank.length_cm, nx), np.full(ny, cuts[1])])
    along = np.concatenate([np.full(nx, cuts[0]), _centres(tank.width_cm, ny)])
    depth = np.repeat(_centres(tank.depth_cm, levels), across.size)
    points = np.stack([np.tile(across, levels), np.tile(along, levels), depth], axis=1)
    return _Upright(levels=levels, nx=nx, points=points)


def _centres(extent_cm: float, count: int) -> Floats:
    return (np.arange(count) + 0.5) / count * extent_cm


def _smooth(found: Floats) -> Floats:
    """Each point half itself, a quarter each neighbour along the cut.

    Points see razor edges that a sensor two centimetres wide would not.
    """
    padded = np.pad(found, ((0, 0), (1, 1)), mode="edge")
    smooth: Floats = (padded[:, :-2] + 2 * found + padded[:, 2:]) / 4
    return smooth


def _between(level_cm: Floats, found: Floats, depth_cm: Floats) -> Floats:
    """Light at depths between the levels, its logarithm a straight line, carried on outside."""
    if depth_cm.size == 0:
        return np.zeros(0)
    log = np.log(np.maximum(found, 1e-6))
    upper = np.clip(np.searchsorted(level_cm, depth_cm) - 1, 0, max(level_cm.size - 2, 0))
    column = np.arange(depth_cm.size)
    share = (depth_cm - level_cm[upper]) / (level_cm[1] - level_cm[0])
    between: Floats = np.exp(log[upper, column] * (1 - share) + log[upper + 1, column] * share)
    return between


@lru_cache(maxsize=1024)
def _at(
    tank: glass.Tank, water: glass.Water, emitters: tuple[Emitter, ...], places: Places
) -> Floats:
    x, y, depth = np.array(places).T
    return at_points(tank, water, emitters, x_cm=x, y_cm=y, depth_cm=depth)
