"""Which readings are mistaken, and which lie in shade, if one story is true.

A mistaken reading stands alone: its variance grows until the rest becomes more probable. Shade has
neighbours: it begins at one reading that is low and is let grow to the readings next to it. Both
are tried, and both are kept with their weights.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from server.surveys import shade
from server.surveys.posterior import Case, Odd, Posterior, gain, update
from server.surveys.priors import Priors

Floats = NDArray[np.float64]

MOST_WRONG = 24
TWIN_CM = 3.0  # readings this close are readings of one place
SLIPS = 0.4  # of all mistakes, a digit slipped
COVERED = 0.2  # of all mistakes, a sensor covered, a lamp off, a figure left out
NOTHING_PPFD = 1.0  # what a covered sensor shows at most
WORTH_A_TRY = -2.0
"""ln odds, reckoned one reading at a time, below which no shade is tried."""


def explained(case: Case, priors: Priors) -> tuple[Case, ...]:
    """The case with its mistaken readings, and the same with shade where that is worth a try."""
    mistaken = _mistaken(case, priors)
    shaded = _shaded(mistaken, priors)
    found = (mistaken,) if shaded is None else (mistaken, shaded)
    return tuple(_recognised(one) for one in (*found, *_the_other_way(mistaken)))


def _the_other_way(case: Case) -> Iterator[Case]:
    """Of two readings of one place that disagree, the other held mistaken."""
    for index in np.flatnonzero(case.odd.wrong):
        gap = case.evidence.gap_cm[index].copy()
        gap[index] = np.inf
        twin = int(np.argmin(gap)) if gap.size > 1 else int(index)
        if gap[twin] < TWIN_CM and not case.odd.wrong[twin]:
            yield case.with_odd(case.odd.with_wrong(int(index), False).with_wrong(twin))


def worth(case: Case, priors: Priors) -> float:
    """ln of how probable readings and oddities are together."""
    return case.log_evidence + case.odd.log_chance(priors.wrong_share)


def _mistaken(case: Case, priors: Priors) -> Case:
    """Readings held mistaken one after another as long as that makes the rest more probable."""
    odds = np.log(priors.wrong_share / (1 - priors.wrong_share))
    most = min(max(1, case.evidence.count // 3), MOST_WRONG) if case.evidence.count else 0
    while int(case.odd.wrong.sum()) < most:
        gains = gain(update(case), case.evidence.if_wrong) + odds
        gains[case.odd.wrong] = -np.inf
        worst = int(np.argmax(gains))
        if gains[worst] < 0:
            break
        case = case.with_odd(case.odd.with_wrong(worst))
    return case


def _recognised(case: Case) -> Case:
    """The case with its mistakes weighed as what they look like.

    A slipped digit is off by a factor of ten, either way, and by nothing else; a covered sensor or
    a lamp that was off shows nothing. Against any mistake at all these are narrow, and so likelier
    where they fit (the density of the narrow over that of the wide one; shares: our judgement).
    """
    wrong = np.flatnonzero(case.odd.wrong)
    if not wrong.size:
        return case
    away, variance = _freed(case, wrong)
    wide = variance + case.evidence.if_wrong[wrong]
    any_way = -0.5 * (np.log(wide) + away**2 / wide)
    known = [np.log(1 - SLIPS - COVERED) + any_way]
    for slip in (np.log(10.0), -np.log(10.0)):
        near = variance + 0.03**2
        known.append(np.log(SLIPS / 2) - 0.5 * (np.log(near) + (away - slip) ** 2 / near))
    nothing = case.evidence.log_read[wrong] <= np.log(NOTHING_PPFD) + 1e-9
    known.append(np.where(nothing, np.log(COVERED), -np.inf))
    better = np.log(np.exp(np.array(known)).sum(axis=0)) - any_way
    return case.with_odd(replace(case.odd, recognised=float(better.sum())))


def _freed(case: Case, which: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Distance of some mistaken readings from what all others foretell, and its variance."""
    found = update(case)
    precision = np.einsum("cnn->cn", found.inverse)[:, which]
    away = found.weight @ (found.pull[:, which] / precision)
    variance = found.weight @ (1.0 / precision) - case.evidence.if_wrong[which]
    return np.asarray(away), np.maximum(variance, 1e-4)


def _shaded(case: Case, priors: Priors) -> Case | None:
    """The most probable shade found by letting it grow, None where none is worth a try."""
    if not case.evidence.count:
        return None
    first = _first_shaded(case)
    if first is None:
        return None
    best = case.with_odd(_in_shade(case.odd, first))
    while grown := _grown(best, priors):
        best = grown
    return best


def _first_shaded(case: Case) -> int | None:
    """The reading at which shade would begin: of the low ones, mistaken or not, the likeliest."""
    found = update(case)
    chance = shade.CHANCE / (1 - shade.CHANCE) / case.evidence.count
    gains = gain(found, np.full(case.evidence.count, shade.SPREAD**2), shade.MEAN) + np.log(chance)
    low = case.odd.wrong & (_away(found) < 0)
    gains[low] += 3.0  # held mistaken already, for which the chance was paid
    first = int(np.argmax(gains))
    return first if gains[first] > WORTH_A_TRY else None


def _away(found: Posterior) -> Floats:
    """Each reading's distance from what the others foretell, over the mixture (n,)."""
    precision = np.einsum("cnn->cn", found.inverse)
    return np.asarray(found.weight @ (found.pull / precision))


def _grown(case: Case, priors: Priors) -> Case | None:
    """The case with one more reading in the shade, or one out of it, if that is more probable."""
    now = worth(case, priors)
    tried = [case.with_odd(odd) for odd in _steps(case)]
    if not tried:
        return None
    values = [worth(one, priors) for one in tried]
    best = int(np.argmax(values))
    return tried[best] if values[best] > now + 1e-6 else None


def _steps(case: Case) -> Iterator[Odd]:
    """Neighbours of the shade, and readings held mistaken: where one rock is there are others."""
    beside = shade.neighbours(case.evidence.places, case.odd.shaded)
    for index in np.union1d(beside, np.flatnonzero(case.odd.wrong)):
        yield _in_shade(case.odd, int(index))
    if case.odd.shaded.sum() > 1:
        for index in np.flatnonzero(case.odd.shaded):
            yield case.odd.with_shaded(int(index), False)


def _in_shade(odd: Odd, index: int) -> Odd:
    return odd.with_wrong(index, False).with_shaded(index)
