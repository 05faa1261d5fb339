"""What a member planned and what the meter said: the inputs of the measured map.

Places are x from the left wall, y from the front wall and depth down from the surface [cm].
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from server.optics import field
from server.optics.emitters import Emitter
from server.optics.tank import Tank, Wall, Walls, Water
from server.surveys import lattice

Floats = NDArray[np.float64]

# More lamps than this are corrected by one common factor and their rows only: a dozen readings
# cannot tell forty emitters apart.
MOST_LAMPS = 8

MOST_LEVELS = 16

SENSOR_CM = 2.0
"""Side of the face over which a sensor, or a coral, takes its light (from memory)."""


class Light(Protocol):
    """Anything that gives PPFD [µmol m⁻² s⁻¹] at places, as `optics.field.at_points` does."""

    def __call__(
        self,
        tank: Tank,
        water: Water,
        emitters: Sequence[Emitter],
        *,
        x_cm: Floats,
        y_cm: Floats,
        depth_cm: Floats,
    ) -> Floats: ...


@dataclass(frozen=True, kw_only=True)
class Lamp:
    """One lamp as it hangs: its emitters rise, dim and age together."""

    name: str
    emitters: tuple[Emitter, ...]


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The tank, its water and the lamps over it as the member believes them to be."""

    tank: Tank
    water: Water
    lamps: tuple[Lamp, ...]
    light: Light = field.at_points

    @property
    def emitters(self) -> tuple[Emitter, ...]:
        return tuple(emitter for lamp in self.lamps for emitter in lamp.emitters)

    @property
    def absorption_per_m(self) -> float:
        """Mean absorption over the parts of the light, by photon flux [m⁻¹]."""
        bands = [(e.ppf_umol_s, e.absorption or self.water.absorption) for e in self.emitters]
        flux = sum(ppf for ppf, _ in bands)
        if flux <= 0:
            bands, flux = [(1.0, self.water.absorption)], 1.0
        mean = sum(ppf * sum(share * per_m for share, per_m in parts) for ppf, parts in bands)
        return float(mean / flux)

    @property
    def beam_deg(self) -> float | None:
        """Stated beam [°], averaged by photon flux; None where every lamp has a measured table."""
        stated = [e for e in self.emitters if e.intensity is None and e.beam_deg is not None]
        flux = sum(e.ppf_umol_s for e in stated)
        if not stated:
            return None
        if flux <= 0:
            return float(np.mean([e.beam_deg for e in stated if e.beam_deg is not None]))
        return float(sum(e.ppf_umol_s * (e.beam_deg or 0.0) for e in stated) / flux)

    def ppfd(self, points: Floats) -> Floats:
        """The plan's own PPFD at points of shape (n, 3)."""
        return light_of(self, self.emitters, points)

    def sensed(self, points: Floats) -> Floats:
        """The same as a sensor of SENSOR_CM reads it: the mean over its face.

        Two by two points of Gauss, which see the edges of shadows that a single point misses.
        """
        if len(points) == 0:
            return np.zeros(0)
        straight = straight_light_of(self, self.emitters, self._spread(points))
        mean = straight.reshape(4, -1).mean(axis=0)
        return np.asarray(mean + scattered_at(self, self.emitters, points), dtype=np.float64)

    def _spread(self, points: Floats) -> Floats:
        reach = SENSOR_CM / np.sqrt(12.0)
        steps = np.array([(dx, dy, 0.0) for dx in (-reach, reach) for dy in (-reach, reach)])
        sides = np.array([self.tank.length_cm, self.tank.width_cm, np.inf])
        spread = np.clip(points[None] + steps[:, None, :], 0.0, sides)
        return np.asarray(spread.reshape(-1, 3), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One sounding, its sensor factors already applied (once)."""

    x_cm: float
    y_cm: float
    depth_cm: float
    ppfd: float
    name: str = ""
    set_aside: bool = False
    key: int = 0
    """The caller's own number for it (a row's id)."""
    meter: str = ""
    """Which meter took it; readings of one meter share its factor."""


@dataclass(frozen=True, kw_only=True)
class Animal:
    """Where an animal lives and the light it should get."""

    name: str
    x_cm: float
    y_cm: float
    depth_cm: float
    low_ppfd: float
    high_ppfd: float


class Placed(Protocol):
    """Anything with a place in the tank."""

    @property
    def x_cm(self) -> float: ...
    @property
    def y_cm(self) -> float: ...
    @property
    def depth_cm(self) -> float: ...


def points_of(placed: Iterable[Placed]) -> Floats:
    """Array (n, 3) of x, y, depth [cm]."""
    rows = [(p.x_cm, p.y_cm, p.depth_cm) for p in placed]
    return np.array(rows, dtype=np.float64).reshape(len(rows), 3)


def light_of(plan: Plan, emitters: Sequence[Emitter], points: Floats) -> Floats:
    """PPFD of some emitters in the plan's tank and water at points of shape (n, 3).

    Light that floor and diffuse walls scatter is smooth and costly: it is asked for on a coarse
    lattice and read off in between. The rest comes from the engine at the points themselves.
    """
    straight = straight_light_of(plan, emitters, points)
    return np.asarray(straight + scattered_at(plan, emitters, points), dtype=np.float64)


def scattered_at(plan: Plan, emitters: Sequence[Emitter], points: Floats) -> Floats:
    """What floor and diffuse walls add at points (n, 3)."""
    tank = plan.tank
    if len(points) == 0 or not emitters or tank == _bare(tank):
        return np.zeros(len(points))
    nodes = lattice.coarse_over(tank.length_cm, tank.width_cm, tank.depth_cm)
    return np.asarray(nodes.weights(points) @ _scattered(plan, tuple(emitters)), dtype=np.float64)


@lru_cache(maxsize=256)
def _scattered(plan: Plan, emitters: tuple[Emitter, ...]) -> Floats:
    """Scattered light on the nodes of the coarse lattice."""
    tank = plan.tank
    nodes = lattice.coarse_over(tank.length_cm, tank.width_cm, tank.depth_cm).points
    whole = _asked(plan, emitters, nodes)
    return np.maximum(whole - _asked(replace(plan, tank=_bare(tank)), emitters, nodes), 0.0)


def straight_light_of(plan: Plan, emitters: Sequence[Emitter], points: Floats) -> Floats:
    """PPFD at points (n, 3) without what floor and diffuse walls scatter.

    The engine makes tables for every depth. Where more than MOST_LEVELS depths are asked for, the
    light is taken on that many levels, closer near the surface, and its logarithm is a straight
    line in between (off by 0.3 % at most under a point 15 cm up).
    """
    if len(points) == 0 or not emitters:
        return np.zeros(len(points))
    bare = replace(plan, tank=_bare(plan.tank))
    if np.unique(points[:, 2]).size <= MOST_LEVELS:
        return _asked(bare, emitters, points)
    levels = _levels(plan.tank.depth_cm)
    upper = np.clip(np.searchsorted(levels, points[:, 2], side="right") - 1, 0, MOST_LEVELS - 2)
    share = (points[:, 2] - levels[upper]) / (levels[upper + 1] - levels[upper])
    both = np.concatenate([_at_depth(points, levels[k]) for k in (upper, upper + 1)])
    log = np.log(np.maximum(_asked(bare, emitters, both), 1e-9)).reshape(2, -1)
    return np.asarray(np.exp(log[0] * (1 - share) + log[1] * share), dtype=np.float64)


def _bare(tank: Tank) -> Tank:
    """The tank with everything black that scatters; clear walls stay."""
    walls: dict[str, Wall] = {
        side: "clear" if getattr(tank.walls, side) == "clear" else "black"
        for side in ("left", "right", "front", "back")
    }
    return replace(tank, walls=Walls(**walls), floor_albedo=0.0)


def _levels(depth_cm: float) -> Floats:
    """Depths of a tank at which the light is taken, even in ln(depth + 20 cm)."""
    return np.asarray(np.geomspace(20.2, depth_cm + 20.0, MOST_LEVELS) - 20.0)


def _at_depth(points: Floats, depth_cm: Floats) -> Floats:
    return np.column_stack([points[:, :2], depth_cm])


def _asked(plan: Plan, emitters: Sequence[Emitter], points: Floats) -> Floats:
    x, y, depth = (np.ascontiguousarray(column) for column in points.T)
    light = plan.light(plan.tank, plan.water, emitters, x_cm=x, y_cm=y, depth_cm=depth)
    return np.asarray(light, dtype=np.float64)


def lamps_from(emitters: Sequence[Emitter], labels: Sequence[str | None] = ()) -> tuple[Lamp, ...]:
    """Lamps of bare emitters: those with one label are one lamp, the others are guessed.

    Without labels each is its own, or where there are many, row by row: emitters alike in
    everything but x are one row (a bar). More than `MOST_LAMPS` lamps become a single one.
    """
    if any(labels):
        return _labelled(emitters, labels)
    if len(emitters) <= MOST_LAMPS:
        return tuple(Lamp(name=f"lamp {n}", emitters=(e,)) for n, e in enumerate(emitters, 1))
    rows: dict[object, list[Emitter]] = {}
    for e in emitters:
        row = (e.shape, e.y_cm, e.height_cm, e.ppf_umol_s, e.beam_deg, id(e.intensity))
        rows.setdefault(row, []).append(e)
    if len(rows) > MOST_LAMPS:
        return (Lamp(name="the lamps", emitters=tuple(emitters)),)
    return tuple(Lamp(name=f"lamp {n}", emitters=tuple(r)) for n, r in enumerate(rows.values(), 1))


def _labelled(emitters: Sequence[Emitter], labels: Sequence[str | None]) -> tuple[Lamp, ...]:
    """Emitters by their labels, in the order they come; each without one is its own lamp."""
    found: dict[str, list[Emitter]] = {}
    for number, (emitter, label) in enumerate(zip(emitters, labels, strict=True), start=1):
        found.setdefault(f"lamp {number}" if label is None else label, []).append(emitter)
    if len(found) > MOST_LAMPS:
        return (Lamp(name="the lamps", emitters=tuple(emitters)),)
    return tuple(Lamp(name=name, emitters=tuple(own)) for name, own in found.items())
