"""How the light answers to every uncertain number of a plan.

The engine is asked about the plan itself wherever it matters, and about the plan with one number
changed only on a lattice of the tank; the ratio of the two is smooth and is read off in between.
What is kept is logarithms: d ln PPFD per unit of each number. The beam angle is the one number the
logarithm does not follow in a straight line, so it keeps a curve through five angles.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.surveys import changed, lattice
from server.surveys.plan import Plan, scattered_at, straight_light_of

Floats = NDArray[np.float64]

DARK_PPFD = 1e-3
"""Below this a place counts as dark; keeps logarithms finite [µmol m⁻² s⁻¹]."""

BEAM_REACH_DEG = 26.0
NARROWEST_DEG, WIDEST_DEG = 8.0, 168.0
ABSORPTION_STEP_PER_M = 0.15
HEIGHT_STEP_CM = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Response:
    """Sensitivities of a plan on a lattice.

    names: one per linear number, shape (p,). per_unit: d ln PPFD per unit, (p, nodes).
    shifts_deg: the five beams the engine was asked about, as shifts from the plan's, (5,) [°].
    by_beam: ln PPFD at each of them less that of the plan, (5, nodes).
    """

    plan: Plan
    nodes: lattice.Lattice
    names: tuple[str, ...]
    per_unit: Floats
    shifts_deg: Floats
    by_beam: Floats
    log_plan: Floats

    def at(self, points: Floats) -> "Answers":
        """The plan's light and its sensitivities at points of shape (n, 3)."""
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

    def _answers(self, points: Floats, log_plan: Floats) -> "Answers":
        weights = self.nodes.weights(points)
        return Answers(
            response=self,
            points=points,
            log_plan=log_plan,
            per_unit=weights @ self.per_unit.T,
            by_beam=self.by_beam @ weights.T,
        )

    def _slope_down(self, points: Floats, step_cm: float) -> Floats:
        down = np.array([0.0, 0.0, step_cm / 2])
        ahead, behind = self.nodes.weights(points + down), self.nodes.weights(points - down)
        return np.asarray((ahead - behind) @ self.log_plan, dtype=np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class Answers:
    """`Response` read off at places: log_plan (n,), per_unit (n, p), by_beam (5, n)."""

    response: Response
    points: Floats
    log_plan: Floats
    per_unit: Floats
    by_beam: Floats

    def log_at(self, shifts_deg: Floats) -> Floats:
        """ln PPFD with the beam shifted, shape (shifts, n)."""
        return self.log_plan + self._beam(shifts_deg)

    def beam_slope(self, shifts_deg: Floats) -> Floats:
        """d ln PPFD per degree of beam at each shift, shape (shifts, n)."""
        return self._beam(shifts_deg + 0.5) - self._beam(shifts_deg - 0.5)

    def _beam(self, shifts_deg: Floats) -> Floats:
        known = self.response.shifts_deg
        beam_deg = self.response.plan.beam_deg or 90.0
        return _lagrange(_lens(beam_deg + known), _lens(beam_deg + shifts_deg)) @ self.by_beam

    def part(self, chosen: NDArray[np.intp]) -> "Answers":
        """The same at some of the places."""
        return Answers(
            response=self.response,
            points=self.points[chosen],
            log_plan=self.log_plan[chosen],
            per_unit=self.per_unit[chosen],
            by_beam=self.by_beam[:, chosen],
        )


@lru_cache(maxsize=64)
def of(plan: Plan) -> Response:
    """Ask the engine about the plan and its changes; remembered, as readings do not alter it."""
    tank = plan.tank
    nodes = lattice.over(tank.length_cm, tank.width_cm, tank.depth_cm)
    points = nodes.points
    by_lamp = np.array([straight_light_of(plan, lamp.emitters, points) for lamp in plan.lamps])
    scattered = scattered_at(plan, plan.emitters, points)
    log_plan = log_ppfd(by_lamp.sum(axis=0) + scattered)

    def change(other: Plan) -> Floats:
        straight = straight_light_of(other, other.emitters, points)
        return log_ppfd(straight + scattered) - log_plan

    shifts = _shifts(plan.beam_deg)
    found = _linear(plan, by_lamp, change)
    return Response(
        plan=plan,
        nodes=nodes,
        names=tuple(found),
        per_unit=np.array(list(found.values())),
        shifts_deg=shifts,
        by_beam=_by_beam(plan, shifts, change),
        log_plan=log_plan,
    )


def log_ppfd(ppfd: Floats) -> Floats:
    """Natural logarithm, darkness held at DARK_PPFD."""
    return np.asarray(np.log(np.maximum(ppfd, DARK_PPFD)), dtype=np.float64)


def _linear(plan: Plan, by_lamp: Floats, change: Callable[[Plan], Floats]) -> dict[str, Floats]:
    """d ln PPFD per unit of everything that is treated as a straight line, by name.

    Changes leave scattered light as it is, and lamps share in it as in the rest: working it out
    anew costs more than it tells.
    """
    total = np.maximum(by_lamp.sum(axis=0), DARK_PPFD)
    found: dict[str, Floats] = {"output": np.ones(by_lamp.shape[1])}
    if len(plan.lamps) > 1:
        for number, light in enumerate(by_lamp):
            found[f"lamp {number}"] = light / total
    tinted = changed.with_absorption(plan, ABSORPTION_STEP_PER_M)
    found["absorption"] = change(tinted) / ABSORPTION_STEP_PER_M
    found["height"] = change(changed.with_height(plan, HEIGHT_STEP_CM)) / HEIGHT_STEP_CM
    for side in changed.clear_sides(plan):
        # per share of the wall's light that is lost, so that 1 is a wall gone dark
        found[f"wall {side}"] = np.expm1(change(changed.with_wall(plan, side, "black")))
    return found


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


def _by_beam(plan: Plan, shifts: Floats, change: Callable[[Plan], Floats]) -> Floats:
    """ln PPFD at each shift less the plan's; all zero where the lamps have measured tables."""
    if plan.beam_deg is None:
        return np.zeros((shifts.size, change(plan).size))
    return np.array([change(changed.with_beam(plan, float(shift))) for shift in shifts])


def _lens(beam_deg: Floats) -> Floats:
    """ln m of a beam, m as in I = I₀ cosᵐ θ: what ln PPFD is smoothest in."""
    half = np.radians(np.clip(beam_deg, 2.0, 179.0) / 2)
    return np.asarray(np.log(np.log(0.5) / np.log(np.cos(half))), dtype=np.float64)


def _lagrange(nodes: Floats, at: Floats) -> Floats:
    """Weights of Lagrange's polynomial, shape (at, nodes); the end values are kept beyond."""
    at = np.clip(at, nodes.min(), nodes.max())
    same = np.eye(nodes.size, dtype=bool)
    gaps = np.where(same, 1.0, nodes[:, None] - nodes[None, :])
    away = at[:, None, None] - nodes[None, None, :]
    return np.asarray(np.where(same, 1.0, away / gaps).prod(axis=2), dtype=np.float64)
