"""What one more reading is worth in verdicts, and whether a verdict may still change.

A reading turns the doubt about an animal's light into two parts: what it will tell, and what stays
unknown after it. Over all that it may tell (a normal belief; seven points of Gauss and Hermite,
Abramowitz & Stegun 1964, table 25.10) the verdict is given anew, and counted.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys import mixture, verdict
from server.surveys.verdict import Judged, Verdict

Floats = NDArray[np.float64]

SETTLED = 0.9
"""Chance at which a verdict is let be: given at four in five, it is kept in mind till nine in ten,
because a further reading could then hardly turn it."""

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)


@dataclass(frozen=True, kw_only=True)
class Worth:
    """verdicts: how many more animals are expected to have one after the reading. turned: chance
    that a verdict given now would then be taken back or another."""

    verdicts: float
    turned: float


def worth(judged: Sequence[Judged], log_mean: Floats, now: Floats, after: Floats) -> Worth:
    """What a reading is worth that leaves `after` of the variance `now` of ln PPFD, both (n,)."""
    if not judged:
        return Worth(verdicts=0.0, turned=0.0)
    given = np.array([one.verdict is not Verdict.NOT_KNOWN for one in judged])
    low, high = (
        np.log(np.maximum([getattr(one.animal, end) for one in judged], 1e-9))
        for end in ("low_ppfd", "high_ppfd")
    )
    told = np.sqrt(np.maximum(now - after, 0.0))[:, None] * _NODES
    sd = np.sqrt(np.maximum(after, 1e-10))[:, None]
    middle = log_mean[:, None] + told
    below, above = (mixture.normal_below((end[:, None] - middle) / sd) for end in (low, high))
    chances = np.stack([below, above - below, 1 - above])
    sure = chances.max(axis=0) >= verdict.SURE
    share = _WEIGHTS / _WEIGHTS.sum()
    same = sure & (chances.argmax(axis=0) == _which(judged)[:, None])
    return Worth(
        verdicts=float((sure @ share).sum() - given.sum()),
        turned=float(1 - np.prod(np.where(given, same @ share, 1.0))),
    )


def settled(judged: Sequence[Judged]) -> bool:
    """Whether every animal's verdict is one that would hardly change."""
    chances = [max(j.chance_dim, j.chance_in_range, j.chance_bright) for j in judged]
    return all(chance >= SETTLED for chance in chances)


def _which(judged: Sequence[Judged]) -> NDArray[np.intp]:
    chances = [(j.chance_dim, j.chance_in_range, j.chance_bright) for j in judged]
    return np.asarray(np.argmax(chances, axis=1), dtype=np.intp)
