"""A measured map carried over to lamps that hang otherwise than when it was measured.

What readings said of output, lens, water and walls is still true of the same lamps at another
height, place or power, and so is what no number explains. The light at a place is therefore

    E = E(measured then) × E(corrected plan now) / E(corrected plan then),

a little less sure the further it goes (`surveys.scaled.times`). Nothing is estimated anew, so a
slider, a proposal and the account after the change give one number.
"""

from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Plan, light_of
from server.surveys.response import Answers
from server.surveys.scaled import times

Floats = NDArray[np.float64]

DARKEST_PPFD = 1e-3
"""Below this a place counts as dark, as in `surveys.response` [µmol m⁻² s⁻¹]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class CarriedMap(MeasuredMap):
    """The map of `plan`, from readings taken under `origin.plan`.

    Everything learnt (`fit`, `used`, `left_out`, …) is what `origin` learnt.
    """

    origin: MeasuredMap
    order: tuple[int, ...] = ()
    """For each lamp its number in the origin's plan; empty where it is the same."""

    def at(self, points: Floats) -> Estimate:
        """The light at points of shape (n, 3)."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        return times(self.origin.at(points), self.change(points))

    def corrected_as(self, plan: Plan) -> Plan:
        """Any plan of the same lamps, listed as in `plan`, with the shifts learnt then."""
        return replace(self.origin, fit=self.fit).corrected_as(plan)

    def read(self, answers: Answers) -> Estimate:
        """The light at the places the engine was asked about."""
        return self.at(answers.points)

    def change(self, points: Floats) -> Floats:
        """Light now over light then at points (n, 3), both plans put right, (n,)."""
        now, then = self.corrected, self.origin.corrected
        return np.asarray(
            np.maximum(light_of(now, now.emitters, points), DARKEST_PPFD)
            / np.maximum(light_of(then, then.emitters, points), DARKEST_PPFD),
            dtype=np.float64,
        )


def carried(found: MeasuredMap, plan: Plan, *, order: tuple[int, ...] = ()) -> MeasuredMap:
    """The map as it is once the lamps hang as in `plan`; the measured one where nothing moved.

    order: for each lamp of `plan` its number in the plan that was measured; empty where `plan`
    has them as `found` has.
    Raises ValueError where the lamps are not as many.
    """
    origin = found
    if isinstance(found, CarriedMap):
        origin, order = found.origin, order or found.order
    if len(plan.lamps) != len(origin.plan.lamps):
        raise ValueError("a map is carried over to the same lamps only")
    if _as_hung(plan) == _as_hung(origin.plan):
        return origin
    return _carried(origin, plan, order)


@lru_cache(maxsize=256)
def _carried(origin: MeasuredMap, plan: Plan, order: tuple[int, ...]) -> CarriedMap:
    learnt = {one.name: getattr(origin, one.name) for one in fields(MeasuredMap)}
    if order:
        factors = tuple(origin.fit.lamp_factors[n] for n in order)
        learnt["fit"] = replace(origin.fit, lamp_factors=factors)
    return CarriedMap(**(learnt | {"plan": plan, "origin": origin, "order": order}))


def _as_hung(plan: Plan) -> tuple[object, ...]:
    """What a plan says of the light, whatever its lamps are called."""
    return plan.tank, plan.water, tuple(lamp.emitters for lamp in plan.lamps)
