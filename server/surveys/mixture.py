"""A weighted sum of normal distributions: its probabilities and quantiles, for many places."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

Z80 = 1.2815515655446004
"""Half of the 80 % interval of a normal distribution, in standard deviations."""


def normal_below(z: Floats) -> Floats:
    """Φ(z) to 1.5e-7, by Abramowitz & Stegun 1964, eq. 7.1.26."""
    size = np.abs(z) / np.sqrt(2.0)
    t = 1.0 / (1.0 + 0.3275911 * size)
    terms = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)
    poly = np.zeros_like(t)
    for term in reversed(terms):
        poly = (poly + term) * t
    tail = 0.5 * poly * np.exp(-(size**2))
    return np.asarray(np.where(z > 0, 1.0 - tail, tail), dtype=np.float64)


def chance_below(level: Floats, mean: Floats, sd: Floats, weight: Floats) -> Floats:
    """Probability below level (m,) of mixtures with mean and sd (c, m) and weight (c,)."""
    return np.asarray(weight @ normal_below((level - mean) / sd), dtype=np.float64)


def quantile(share: float, mean: Floats, sd: Floats, weight: Floats) -> Floats:
    """The level below which `share` of each mixture lies, (m,), by halving to 1e-5 of the span."""
    low, high = (mean - 5 * sd).min(axis=0), (mean + 5 * sd).max(axis=0)
    for _ in range(20):
        middle = (low + high) / 2
        below = chance_below(middle, mean, sd, weight) < share
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2, dtype=np.float64)
