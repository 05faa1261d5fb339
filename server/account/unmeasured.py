"""The map of a plan that nobody measured: its own light in the middle, what is believed around it.

Doubt about lens, water and height is not even-handed, so the median of all beliefs lies a few
percent off the plan, and elsewhere for another height. A member who planned 200 is told 200, as
unsure as it is; and a plan raised in steps is dimmed by as much as its light engine says.
"""

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.surveys.estimate import Estimate, MeasuredMap, estimate
from server.surveys.plan import Plan
from server.surveys.response import DARK_PPFD, Answers

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class UnmeasuredMap(MeasuredMap):
    """A map from no readings, centred on its plan."""

    def read(self, answers: Answers) -> Estimate:
        """The light where the engine was already asked."""
        found = super().read(answers)
        middle = np.maximum(stated_light(self.plan, answers.points), DARK_PPFD)
        factor = middle / np.maximum(found.ppfd, DARK_PPFD)
        return Estimate(
            ppfd=middle,
            low=found.low * factor,
            high=found.high * factor,
            log_mean=found.log_mean + np.log(factor),
            log_sd=found.log_sd,
            weight=found.weight,
        )

    def corrected_as(self, plan: Plan) -> Plan:
        """Nothing was learnt, so nothing is put right."""
        return plan


@lru_cache(maxsize=256)
def unmeasured(plan: Plan) -> UnmeasuredMap:
    """The map of a plan; remembered, as it depends on the plan alone."""
    found = estimate(plan, ())
    return UnmeasuredMap(**{one.name: getattr(found, one.name) for one in fields(MeasuredMap)})


def stated_light(plan: Plan, points: Floats) -> Floats:
    """The plan's own light at points (n, 3), as the engine gives it, (n,)."""
    x, y, depth = np.asarray(points, dtype=np.float64).reshape(-1, 3).T
    found = plan.light(plan.tank, plan.water, plan.emitters, x_cm=x, y_cm=y, depth_cm=depth)
    return np.asarray(found, dtype=np.float64)
