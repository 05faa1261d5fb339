"""Does each animal get the light it needs, and how sure are we?

A verdict is given where its probability reaches four in five, the same measure as the 80 %
intervals; otherwise the honest word is "not known".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Animal, points_of

SURE = 0.8


class Verdict(StrEnum):
    """What can be said of one animal's light."""

    TOO_DIM = "too dim"
    IN_RANGE = "in range"
    TOO_BRIGHT = "too bright"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One animal's light with its 80 % interval, and what follows.

    chance_dim, chance_in_range, chance_bright: sum to 1. doubt: 0 when certain, 1 when all three
    are equally likely.
    """

    animal: Animal
    ppfd: float
    low: float
    high: float
    chance_dim: float
    chance_in_range: float
    chance_bright: float

    @property
    def verdict(self) -> Verdict:
        chances = {
            Verdict.TOO_DIM: self.chance_dim,
            Verdict.IN_RANGE: self.chance_in_range,
            Verdict.TOO_BRIGHT: self.chance_bright,
        }
        likeliest = max(chances, key=lambda name: chances[name])
        return likeliest if chances[likeliest] >= SURE else Verdict.NOT_KNOWN

    @property
    def leaning(self) -> Verdict:
        """The likeliest of the three, however unsure."""
        if self.ppfd < self.animal.low_ppfd:
            return Verdict.TOO_DIM
        return Verdict.TOO_BRIGHT if self.ppfd > self.animal.high_ppfd else Verdict.IN_RANGE

    @property
    def doubt(self) -> float:
        chances = np.array([self.chance_dim, self.chance_in_range, self.chance_bright])
        chances = np.clip(chances, 1e-12, 1.0)
        return float(-(chances * np.log(chances)).sum() / np.log(3.0))


def verdicts(found: MeasuredMap, animals: Sequence[Animal]) -> tuple[Judged, ...]:
    """Every animal's verdict on the measured map."""
    if not animals:
        return ()
    return judged(found.at(points_of(animals)), animals)


def judged(light: Estimate, animals: Sequence[Animal]) -> tuple[Judged, ...]:
    """Verdicts for light already estimated at the animals' places."""
    dim = light.chance_below(np.array([animal.low_ppfd for animal in animals]))
    below = light.chance_below(np.array([animal.high_ppfd for animal in animals]))
    return tuple(
        Judged(
            animal=animal,
            ppfd=float(light.ppfd[i]),
            low=float(light.low[i]),
            high=float(light.high[i]),
            chance_dim=float(dim[i]),
            chance_in_range=float(np.clip(below[i] - dim[i], 0.0, 1.0)),
            chance_bright=float(1 - below[i]),
        )
        for i, animal in enumerate(animals)
    )
