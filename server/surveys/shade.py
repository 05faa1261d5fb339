"""Shade of something nobody drew: a region of the tank where the light falls short.

What stands between lamp and sensor (rock, coral, a pump) takes anything from a little to nearly
all, and has an edge. Where it stands is known only from the readings it darkens, so the region is
told by them: whole at a shaded reading, gone at the nearest one that is not, and reaching down
further than up, because light comes from above.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys import matern

Floats = NDArray[np.float64]

CHANCE = 0.15
"""That some reading of a session lies in shade that is not in the plan: most reef tanks hold rock
and few plans show all of it, but a sensor is seldom put behind it (our judgement)."""
FURTHER = 0.4
"""That the next reading to a shaded one is shaded too (our judgement)."""
MEAN, SPREAD = -1.8, 1.6
"""ln of the light left in shade: a sixth, between a hundredth under a deep ledge and nearly all at
its edge (our judgement: side light and light from the floor reach most places behind a rock)."""
ALIKE = 0.2  # share of that spread which the whole region has in common: edges differ from depths
DOWN = 0.5  # a step down counts half: shadows are longer than they are wide
EDGE_CM = 15.0  # no further from a shaded reading is half of the shade believed


@dataclass(frozen=True, kw_only=True, eq=False)
class Region:
    """Shaded readings (k, 3) and how far from each half of the shade is left (k,) [cm]."""

    places: Floats
    reach_cm: Floats

    def depth_of_shade(self, points: Floats) -> Floats:
        """How much of the shade is believed at points, 0–1, (n,)."""
        if not len(self.places):
            return np.zeros(len(points))
        away = apart(points, self.places) / (2 * self.reach_cm)
        return np.asarray((0.5 + 0.5 * np.cos(np.pi * np.minimum(away, 1.0))).max(axis=1))

    def mean(self, points: Floats) -> Floats:
        """Expected change of ln PPFD, (n,)."""
        return np.asarray(MEAN * self.depth_of_shade(points))

    def covariance(self, one: Floats, other: Floats) -> Floats:
        """Covariance of the change between places (n, 3) and (m, 3), (n, m)."""
        both = np.outer(self.depth_of_shade(one), self.depth_of_shade(other))
        if not both.any():
            return both
        near = matern.correlation(matern.distances(one, other), EDGE_CM / 2)
        return np.asarray(SPREAD**2 * both * (ALIKE + (1 - ALIKE) * near))


NOWHERE = Region(places=np.zeros((0, 3)), reach_cm=np.zeros(0))


def around(places: Floats, shaded: NDArray[np.bool_]) -> Region:
    """The region that some of the readings' places (n, 3) tell of."""
    if not shaded.any():
        return NOWHERE
    inside, outside = places[shaded], places[~shaded]
    reach = np.full(len(inside), EDGE_CM)
    if len(outside):
        reach = np.minimum(reach, apart(outside, inside).min(axis=0) / 2)
    return Region(places=inside, reach_cm=np.maximum(reach, 1.0))


def log_chance(shaded: NDArray[np.bool_]) -> float:
    """ln of the chance that just these readings are shaded, before any was taken."""
    count = int(shaded.sum())
    if not count:
        return float(np.log1p(-CHANCE))
    return float(np.log(CHANCE / shaded.size) + (count - 1) * np.log(FURTHER))


def neighbours(places: Floats, shaded: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Readings not shaded that are among the five nearest of a shaded one."""
    gap = apart(places, places)
    np.fill_diagonal(gap, np.inf)
    nearest = np.argsort(gap, axis=0)[:5, shaded]
    return np.setdiff1d(nearest, np.flatnonzero(shaded))


def apart(points: Floats, places: Floats) -> Floats:
    """Distance with steps down from a shaded place counted less, (n, k)."""
    gap = points[:, None, :] - places[None, :, :]
    down = np.where(gap[..., 2] > 0, DOWN, 1.0) * gap[..., 2]
    return np.asarray(np.sqrt(gap[..., 0] ** 2 + gap[..., 1] ** 2 + down**2), dtype=np.float64)
