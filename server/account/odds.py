"""The chance that an animal is in its range when its light is multiplied by a factor."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys import mixture
from server.surveys.estimate import Estimate
from server.surveys.plan import Animal
from server.surveys.scaled import PER_CHANGE

Floats = NDArray[np.float64]

FURTHEST = 2.7
"""Largest ln of a factor told apart: fifteen times the light, or a fifteenth."""

STEPS = 361


@dataclass(frozen=True, kw_only=True, eq=False)
class Odds:
    """chance: of each animal being in range at each of STEPS even ln factors, (STEPS, n)."""

    chance: Floats

    def at(self, factor: Floats) -> Floats:
        """Chances for factors of shape (…, n), read off between the steps."""
        log = np.log(np.maximum(factor, 1e-9))
        place = np.clip((log + FURTHEST) / (2 * FURTHEST) * (STEPS - 1), 0, STEPS - 1.000001)
        low = place.astype(np.intp)
        share = place - low
        animal = np.arange(self.chance.shape[1])
        below, above = self.chance[low, animal], self.chance[low + 1, animal]
        return np.asarray(below * (1 - share) + above * share)


def odds(now: Estimate, animals: Sequence[Animal]) -> Odds:
    """Of animals whose light is known as `now`; doubt grows with the change as in `times`."""
    log = np.linspace(-FURTHEST, FURTHEST, STEPS)[:, None, None]
    sd = np.sqrt(now.log_sd**2 + (PER_CHANGE * log) ** 2)
    low, high = (
        np.log(np.maximum([getattr(animal, end) for animal in animals], 1e-9))
        for end in ("low_ppfd", "high_ppfd")
    )
    below = mixture.normal_below((high - now.log_mean - log) / sd)
    dim = mixture.normal_below((low - now.log_mean - log) / sd)
    return Odds(chance=np.einsum("c,scn->sn", now.weight, np.maximum(below - dim, 0.0)))
