"""Two meters at one spot: the ratio of their factors, how well it is known, and what follows.

Readings are paired, so the light of the spot drops out. The scatter of the pairs is learnt as for
repeats (`readings`): a prior worth four repeats of two readings of 5 % each, and the pairs
themselves; the interval is Student's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys.mixture import Z80
from server.surveys.readings import PRIOR_RELATIVE_ERROR, PRIOR_REPEATS

Floats = NDArray[np.float64]

LEAST_PPFD = 5.0
"""Below this the last digit of a hand-held meter is more than a tenth of the reading."""


@dataclass(frozen=True, kw_only=True)
class Ratio:
    """What one meter reads over what another does at the same spot, with its 80 % interval.

    log_sd: standard uncertainty of its logarithm. pairs: how many were compared.
    """

    value: float
    low: float
    high: float
    log_sd: float
    pairs: int


@dataclass(frozen=True, kw_only=True)
class Agreed:
    """What a comparison makes of both meters: factors their readings are to be multiplied by, the
    relative standard uncertainty left to each, and how much of it both share (correlation)."""

    first_factor: float
    second_factor: float
    first_doubt: float
    second_doubt: float
    correlation: float


def ratio(first_ppfd: Sequence[float], second_ppfd: Sequence[float]) -> Ratio:
    """Ratio of paired readings, first over second.

    Raises ValueError unless both have the same number of readings, one pair at least, and none
    below LEAST_PPFD.
    """
    first, second = np.asarray(first_ppfd, float), np.asarray(second_ppfd, float)
    if first.shape != second.shape or first.size == 0:
        raise ValueError("readings must come in pairs, one pair at least")
    if not np.all(np.minimum(first, second) >= LEAST_PPFD):
        raise ValueError(f"a pair needs light: {LEAST_PPFD:g} µmol m⁻² s⁻¹ at least on both")
    logs = np.log(first / second)
    freedom = PRIOR_REPEATS + logs.size - 1
    prior = PRIOR_REPEATS * 2 * PRIOR_RELATIVE_ERROR**2
    scatter = np.sqrt((prior + float(((logs - logs.mean()) ** 2).sum())) / freedom)
    sd = float(scatter / np.sqrt(logs.size))
    middle, reach = float(logs.mean()), student_80(freedom) * sd
    return Ratio(
        value=float(np.exp(middle)),
        low=float(np.exp(middle - reach)),
        high=float(np.exp(middle + reach)),
        log_sd=sd,
        pairs=int(logs.size),
    )


def agreed(compared: Ratio, *, first_doubt: float, second_doubt: float) -> Agreed:
    """Both meters' factors after their comparison, by least squares (JCGM 100:2008, F.1.2.3 for
    the correlation that stays).

    first_doubt, second_doubt: relative standard uncertainty of each factor before. The meter that
    is known worse moves more; two that are known without doubt are left as they are.
    """
    own, other, pair = first_doubt**2, second_doubt**2, compared.log_sd**2
    total = own + other + pair
    if own + other <= 0:
        return Agreed(
            first_factor=1.0, second_factor=1.0, first_doubt=0.0, second_doubt=0.0, correlation=0.0
        )
    away = np.log(compared.value)
    left = own - own**2 / total, other - other**2 / total
    shared = own * other / total
    spread = np.sqrt(left[0] * left[1])
    return Agreed(
        first_factor=float(np.exp(-away * own / total)),
        second_factor=float(np.exp(away * other / total)),
        first_doubt=float(np.sqrt(left[0])),
        second_doubt=float(np.sqrt(left[1])),
        correlation=float(shared / spread) if spread > 0 else 0.0,
    )


def student_80(freedom: float) -> float:
    """Half of the 80 % interval of Student's t, in standard deviations.

    Cornish and Fisher's expansion (Abramowitz & Stegun 1964, eq. 26.7.5): within 0.2 % from three
    degrees of freedom on.
    """
    z = Z80
    terms = (
        z,
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
    )
    return float(sum(term / freedom**power for power, term in enumerate(terms)))
