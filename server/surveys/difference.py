"""Two accounts of one tank's light, one taken from the other, with what is not sure about it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys import mixture
from server.surveys.estimate import MeasuredMap
from server.surveys.plan import Plan

Floats = NDArray[np.float64]

WIDE = 0.15  # ln-light of doubt beyond which a difference is not worth a line


@dataclass(frozen=True, kw_only=True, eq=False)
class Difference:
    """Signed difference at places, arrays (n,).

    percent: later over earlier, less 100. low, high: its 80 % interval. unsure: where the sign is
    not known or the interval is wide.
    """

    percent: Floats
    low: Floats
    high: Floats
    unsure: NDArray[np.bool_]


def between_sessions(
    earlier: MeasuredMap, later: MeasuredMap, points: Floats, *, same_meter: bool = False
) -> Difference:
    """How much the light at points (n, 3) changed from one session to another.

    same_meter: its factor is the same in both and does not count.
    """
    if same_meter:
        earlier, later = earlier.relative, later.relative
    old, new = _moments(earlier, points), _moments(later, points)
    return _difference(new[0] - old[0], old[1] + new[1])


def from_plan(plan: Plan, measured: MeasuredMap, points: Floats) -> Difference:
    """How much the measured light at points (n, 3) differs from what was planned."""
    planned = np.log(np.maximum(plan.ppfd(points), 1e-3))
    mean, variance = _moments(measured, points)
    return _difference(mean - planned, variance)


def _moments(found: MeasuredMap, points: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of ln PPFD."""
    light = found.at(points)
    mean = light.weight @ light.log_mean
    spread = light.weight @ (light.log_sd**2 + (light.log_mean - mean) ** 2)
    return mean, spread


def _difference(log: Floats, variance: Floats) -> Difference:
    reach = mixture.Z80 * np.sqrt(variance)
    return Difference(
        percent=100 * np.expm1(log),
        low=100 * np.expm1(log - reach),
        high=100 * np.expm1(log + reach),
        unsure=(np.abs(log) < reach) | (reach > WIDE),
    )
