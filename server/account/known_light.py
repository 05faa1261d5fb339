"""A tank's light as known best, and what it rests on: the one thing every page asks."""

from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.account.account import Basis
from server.account.carried import carried
from server.account.unmeasured import stated_light
from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Plan

Floats = NDArray[np.float64]
FEW = 60


@dataclass(frozen=True, kw_only=True, eq=False)
class KnownLight:
    """The light over one tank.

    map: of what hangs, whatever the basis; a plan that nobody measured has a map from no
    readings, whose wide interval is its doubt. readings_on: days of the readings, in order.
    """

    basis: Basis
    map: MeasuredMap
    readings_on: tuple[date, ...] = ()

    @property
    def measured(self) -> bool:
        """Whether it rests on any readings."""
        return self.basis != "planned"

    @property
    def readings(self) -> int:
        """How many readings it rests on."""
        return len(self.map.used)

    @property
    def corrected(self) -> Plan:
        """What hangs, with every number put right (what no number explains is not in it)."""
        return self.map.corrected

    def at(self, points: Floats) -> Estimate:
        """The light at points of shape (n, 3) with its 80 % interval.

        At a few places, those of animals, it is remembered: every page asks for them.
        """
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        if len(points) > FEW:
            return self.map.at(points)
        return _at(self.map, tuple(map(tuple, points.tolist())))

    def hung_as(self, plan: Plan) -> "KnownLight":
        """The light if the same lamps hung as in `plan` (its numbers as stated)."""
        basis: Basis = "carried" if self.measured else "planned"
        return replace(self, basis=basis, map=carried(self.map, plan))

    def over_plan(self, points: Floats) -> Floats:
        """The light as known over that of the plan's stated figures at points (n, 3), (n,)."""
        stated = stated_light(self.map.plan, points)
        return np.asarray(self.at(points).ppfd / np.maximum(stated, 1e-9), dtype=np.float64)


@lru_cache(maxsize=512)
def _at(found: MeasuredMap, places: tuple[tuple[float, ...], ...]) -> Estimate:
    return found.at(np.array(places, dtype=np.float64).reshape(-1, 3))
