"""How the light of every lamp answers to every uncertain number of a plan.

The engine is asked about the plan itself wherever it matters, and about the plan with one number
changed only on a lattice of the tank; the ratio of the two is smooth and is read off in between.
Everything is kept lamp by lamp and as logarithms, so that any story about the lamps (one is out,
all hang elsewhere, another lens) can be told from the same rows (`seen`).
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.surveys import changed, lattice
from server.surveys.plan import Lamp, Plan, scattered_at, straight_light_of

Floats = NDArray[np.float64]

DARK_PPFD = 1e-3
"""Below this a place counts as dark; keeps logarithms finite [µmol m⁻² s⁻¹]."""

BEAM_REACH_DEG = 26.0
NARROWEST_DEG, WIDEST_DEG = 8.0, 168.0
ABSORPTION_STEP_PER_M = 0.15
HEIGHT_STEP_CM = 2.0
SIDE_STEP_CM = 4.0
LEAN_STEP_DEG = 8.0
WINGS_DEG = (30.0, 39.0, 48.0, 57.0, 66.0)
"""Angles at which a lens with two wings may be brightest."""
DIPS = (0.30, 0.60)
"""What such a lens sends straight down, as a share of its brightest."""
MIDDLE_DIP = sum(DIPS) / 2
UNIT_PPF = 100.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Response:
    """Rows on a lattice, one set per lamp.

    rows: "light" is ln PPFD; "absorption" d ln PPFD per m⁻¹; "height", "x", "y" per cm with
    "height²" and so on per cm²; "wall left" the share of the lamp's light that this wall returned;
    "beam 0" to "beam 4" ln PPFD at the five shifted beams less the plan's; "wing 0" to "wing 4"
    the same for WINGS_DEG; "dip" per unit of dip. table: (rows, lamps, nodes).
    """

    plan: Plan
    nodes: lattice.Lattice
    rows: dict[str, int]
    table: Floats
    shifts_deg: Floats

    @property
    def sides(self) -> tuple[str, ...]:
        """Walls that mirror light."""
        return changed.clear_sides(self.plan)

    @property
    def log_plan(self) -> Floats:
        """ln PPFD of all lamps on the nodes, (nodes,)."""
        return log_sum_over_lamps(self.table[self.rows["light"]])

    def at(self, points: Floats) -> "Answers":
        """The plan's light and its rows at points of shape (n, 3)."""
        return self._answers(points, log_ppfd(self.plan.sensed(points)))

    def with_place(self, points: Floats, place_cm: float) -> "tuple[Answers, Floats]":
        """The same, and the variance of ln PPFD from not being quite where one thinks, (n,).

        Sideways the engine itself is asked a step to each side, as narrow lenses and clear walls
        make edges; downwards the slope of the lattice does. The light is the mean over a sensor of
        two centimetres (Simpson's weights along each side).
        """
        sides = np.array([self.plan.tank.length_cm, self.plan.tank.width_cm, np.inf])
        steps = place_cm * np.array([[0, 0, 0], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
        around = np.clip(points[None] + steps[:, None, :], 0.0, sides)
        light = self.plan.ppfd(around.reshape(-1, 3)).reshape(5, -1)
        log = log_ppfd(light)
        over_sensor = log_ppfd(light[0] / 3 + light[1:].sum(axis=0) / 6)
        sideways = ((log[1:] - log[0]) ** 2).sum(axis=0) / 2
        variance = sideways + self._slope_down(points, place_cm) ** 2
        return self._answers(points, over_sensor), np.asarray(variance, dtype=np.float64)

    def roughly(self, points: Floats) -> "Answers":
        """The same from the lattice alone: for choosing among places, not for telling light."""
        log_plan = self.nodes.weights(points) @ self.log_plan
        return replace(self._answers(points, log_plan), rough=True)

    def slopes(self, points: Floats, place_cm: float) -> Floats:
        """Variance of ln PPFD from the place alone, by the lattice, (n,)."""
        steps = place_cm / 2 * np.eye(3)
        ways = [self.nodes.weights(points + s) - self.nodes.weights(points - s) for s in steps]
        return np.asarray(np.sum([(way @ self.log_plan) ** 2 for way in ways], axis=0))

    def _answers(self, points: Floats, log_plan: Floats) -> "Answers":
        weights = self.nodes.weights(points)
        return Answers(
            response=self,
            points=points,
            log_plan=log_plan,
            table=_kept_as_is(self.table @ weights.T),
        )

    def _slope_down(self, points: Floats, step_cm: float) -> Floats:
        down = np.array([0.0, 0.0, step_cm / 2])
        ahead, behind = self.nodes.weights(points + down), self.nodes.weights(points - down)
        return np.asarray((ahead - behind) @ self.log_plan, dtype=np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class Answers:
    """`Response` read off at places: log_plan (n,), table (rows, lamps, n).

    rough: whether even the plan's light was read off the lattice.
    """

    response: Response
    points: Floats
    log_plan: Floats
    table: Floats
    rough: bool = False
    asked: dict[object, Floats] = field(default_factory=dict)

    def kept(self, key: object, ask: Callable[[], Floats]) -> Floats:
        """Something the engine says of these places, asked once."""
        if key not in self.asked:
            self.asked[key] = ask()
        return self.asked[key]

    def row(self, name: str) -> Floats:
        """One row by its name, (lamps, n)."""
        return np.asarray(self.table[self.response.rows[name]], dtype=np.float64)

    def stack(self, name: str) -> Floats:
        """The five rows of "beam" or "wing", (5, lamps, n)."""
        first = self.response.rows[f"{name} 0"]
        return np.asarray(self.table[first : first + 5], dtype=np.float64)

    def part(self, chosen: NDArray[np.intp]) -> "Answers":
        """The same at some of the places."""
        return replace(
            self,
            points=self.points[chosen],
            log_plan=self.log_plan[chosen],
            table=self.table[:, :, chosen],
            asked={},
        )


@lru_cache(maxsize=64)
def of(plan: Plan) -> Response:
    """Ask the engine about the plan and its changes; remembered, as readings do not alter it."""
    tank = plan.tank
    parts = [_lamp_rows(*_unit(plan, lamp)) for lamp in plan.lamps]
    table = np.stack([np.array(list(part.values())) for part in parts], axis=1)
    table[0] += np.log([_relative(lamp) for lamp in plan.lamps])[:, None]
    table.setflags(write=False)
    return Response(
        plan=plan,
        nodes=lattice.over(tank.length_cm, tank.width_cm, tank.depth_cm),
        rows={name: number for number, name in enumerate(parts[0])},
        table=table,
        shifts_deg=_shifts(plan.beam_deg),
    )


def log_ppfd(ppfd: Floats) -> Floats:
    """Natural logarithm, darkness held at DARK_PPFD."""
    return np.asarray(np.log(np.maximum(ppfd, DARK_PPFD)), dtype=np.float64)


def _kept_as_is(values: Floats) -> Floats:
    """An array that many stories read and none may change."""
    values.setflags(write=False)
    return values


def log_sum_over_lamps(logs: Floats) -> Floats:
    """ln Σ exp over the lamps' axis, the last but one."""
    top = logs.max(axis=-2)
    return np.asarray(top + np.log(np.exp(logs - top[..., None, :]).sum(axis=-2)))


def _relative(lamp: Lamp) -> float:
    return max(sum(e.ppf_umol_s for e in lamp.emitters), 1e-6) / UNIT_PPF


def _unit(plan: Plan, lamp: Lamp) -> tuple[Plan, float | None]:
    """The plan with this lamp alone, at a flux that never changes, so that dimming asks nothing.

    Rocks are left out: their shade has edges that no lattice carries, and it is in the plan's own
    light, which the engine says at the places themselves.
    """
    flux = sum(e.ppf_umol_s for e in lamp.emitters)
    each = UNIT_PPF / len(lamp.emitters)
    emitters = tuple(
        replace(e, ppf_umol_s=UNIT_PPF * e.ppf_umol_s / flux if flux > 0 else each)
        for e in lamp.emitters
    )
    lamp_alone = (Lamp(name="", emitters=emitters),)
    alone = replace(plan, tank=replace(plan.tank, rocks=()), lamps=lamp_alone)
    return alone, plan.beam_deg


@lru_cache(maxsize=256)
def _lamp_rows(alone: Plan, beam_deg: float | None) -> dict[str, Floats]:
    """Every row of one lamp on the lattice. Changes leave scattered light as it is."""
    tank = alone.tank
    points = lattice.over(tank.length_cm, tank.width_cm, tank.depth_cm).points
    scattered = scattered_at(alone, alone.emitters, points)
    log_plan = log_ppfd(straight_light_of(alone, alone.emitters, points) + scattered)

    def change(other: Plan) -> Floats:
        straight = straight_light_of(other, other.emitters, points)
        return log_ppfd(straight + scattered) - log_plan

    rows = {"light": log_plan}
    tinted = changed.with_absorption(alone, ABSORPTION_STEP_PER_M)
    rows["absorption"] = change(tinted) / ABSORPTION_STEP_PER_M
    rows |= _curve("height", HEIGHT_STEP_CM, lambda d: change(changed.with_height(alone, d)))
    rows |= _curve("x", SIDE_STEP_CM, lambda d: change(changed.with_place(alone, d, 0.0)))
    rows |= _curve("y", SIDE_STEP_CM, lambda d: change(changed.with_place(alone, 0.0, d)))
    rows |= _curve("lean x", LEAN_STEP_DEG, lambda d: change(changed.with_lean(alone, d, 0.0)))
    rows |= _curve("lean y", LEAN_STEP_DEG, lambda d: change(changed.with_lean(alone, 0.0, d)))
    for side in changed.clear_sides(alone):
        dark = change(changed.with_wall(alone, side, "black"))
        rows[f"wall {side}"] = np.clip(-np.expm1(dark), 0.0, 1.0)
    for number, shift in enumerate(_shifts(beam_deg)):
        beam = alone.beam_deg is not None and shift != 0.0
        told = changed.with_beam(alone, float(shift)) if beam else None
        rows[f"beam {number}"] = np.zeros(len(points)) if told is None else change(told)
    return rows | _wings(alone, change)


def _curve(name: str, step: float, change: Callable[[float], Floats]) -> dict[str, Floats]:
    """A parabola through no change and a step either way: its slope and its bend."""
    ahead, behind = change(step), change(-step)
    return {name: (ahead - behind) / (2 * step), f"{name}²": (ahead + behind) / (2 * step**2)}


def _wings(alone: Plan, change: Callable[[Plan], Floats]) -> dict[str, Floats]:
    rows = {
        f"wing {number}": change(changed.with_wings(alone, peak, MIDDLE_DIP))
        for number, peak in enumerate(WINGS_DEG)
    }
    shallow, deep = (change(changed.with_wings(alone, WINGS_DEG[2], dip)) for dip in DIPS)
    rows["dip"] = (deep - shallow) / (DIPS[1] - DIPS[0])
    return rows


def _shifts(beam_deg: float | None) -> Floats:
    """Five shifts of the beam, the plan's own among them, that stay within what a lens can be."""
    beam = 90.0 if beam_deg is None else beam_deg
    low = min(max(NARROWEST_DEG - beam, -BEAM_REACH_DEG, -beam / 2), 0.0)
    high = max(min(WIDEST_DEG - beam, BEAM_REACH_DEG), 0.0)
    if high < 4.0:
        return np.linspace(low, 0.0, 5)
    if low > -4.0:
        return np.linspace(0.0, high, 5)
    return np.array([low, low / 2, 0.0, high / 2, high])
