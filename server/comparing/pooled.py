"""What several tanks say of one lamp: measured factors put together, disagreement kept in sight.

Each measurement gives a factor with its 80 % interval. They are combined as logarithms with a
random-effects mean: the spread between tanks that the intervals do not explain widens the
answer instead of being averaged away.

Source: DerSimonian & Laird 1986, Controlled Clinical Trials 7:177-188 (from memory); Cochran's
Q against its chi-square distribution by Wilson & Hilferty 1931 (from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

_Z80 = 1.2815515655446004  # half an 80 % interval in standard deviations
_LEAST_SD = 0.01  # no measurement of a lamp is surer than 1 %
DISAGREE_AT = 0.1  # chance below which a spread is called disagreement


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One measurement of a factor with its 80 % interval, and a name to tell it by."""

    value: float
    low: float
    high: float
    name: str = ""

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.value <= self.high < math.inf:
            raise ValueError("a factor needs 0 < low <= value <= high")

    @property
    def log_sd(self) -> float:
        return max(_LEAST_SD, (math.log(self.high) - math.log(self.low)) / (2 * _Z80))


@dataclass(frozen=True, kw_only=True)
class Pooled:
    """The measurements together.

    value, low, high: the factor with its 80 % interval. between: standard deviation between
    tanks beyond what the intervals explain, as a share. chance: how likely such a spread is
    when all tanks had the same lamp. farthest: index of the measurement farthest off, where
    they disagree.
    """

    value: float
    low: float
    high: float
    count: int
    between: float
    chance: float
    farthest: int | None

    @property
    def disagree(self) -> bool:
        return self.chance < DISAGREE_AT


def pooled(measured: Sequence[Measured]) -> Pooled:
    """All measurements of one factor as one. Raises ValueError when there are none."""
    if not measured:
        raise ValueError("nothing was measured")
    logs = [math.log(one.value) for one in measured]
    variances = [one.log_sd**2 for one in measured]
    fixed = _mean(logs, [1 / v for v in variances])
    q = sum((y - fixed) ** 2 / v for y, v in zip(logs, variances, strict=True))
    between = _between(q, variances)
    weights = [1 / (v + between) for v in variances]
    mean, sd = _mean(logs, weights), math.sqrt(1 / sum(weights))
    chance = chance_of_more(q, len(logs) - 1)
    return Pooled(
        value=math.exp(mean),
        low=math.exp(mean - _Z80 * sd),
        high=math.exp(mean + _Z80 * sd),
        count=len(logs),
        between=math.sqrt(between),
        chance=chance,
        farthest=_farthest(logs, variances, mean) if chance < DISAGREE_AT else None,
    )


def chance_of_more(q: float, freedom: int) -> float:
    """Chance that a chi-square of `freedom` degrees exceeds q (Wilson-Hilferty)."""
    if freedom < 1:
        return 1.0
    spread = 2 / (9 * freedom)
    z = ((q / freedom) ** (1 / 3) - (1 - spread)) / math.sqrt(spread)
    return 0.5 * math.erfc(z / math.sqrt(2))


def _between(q: float, variances: Sequence[float]) -> float:
    """Variance between tanks, DerSimonian & Laird's moment estimate, never below nothing."""
    weights = [1 / v for v in variances]
    total = sum(weights)
    scale = total - sum(w * w for w in weights) / total
    return max(0.0, (q - (len(weights) - 1)) / scale) if scale > 0 else 0.0


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def _farthest(logs: Sequence[float], variances: Sequence[float], mean: float) -> int:
    scores = [abs(y - mean) / math.sqrt(v) for y, v in zip(logs, variances, strict=True)]
    return scores.index(max(scores))
