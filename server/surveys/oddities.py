"""Which readings are mistaken, and which lie in shade, if one story is true.

A mistaken reading stands alone: its variance grows until the rest becomes more probable. Shade has
neighbours: it begins at a few readings that are low together and is let grow to the readings next
to them. Both are tried, and both are kept with their weights.
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
WORTH_A_TRY = -3.0
"""ln odds of the first readings in shade below which none is tried."""
MOST_TOGETHER = 5  # neighbours that are tried as the beginning of a shade


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
    best = case
    for index in first:
        best = best.with_odd(_in_shade(best.odd, int(index)))
    while grown := _grown(best, priors):
        best = grown
    return best


def _first_shaded(case: Case) -> NDArray[np.intp] | None:
    """The readings at which shade would begin: the likeliest of all small groups of neighbours.

    Groups, because neighbours that are all low vouch for each other: none of them alone seems odd.
    """
    found = update(case.with_odd(Odd.none(case.evidence.count)))
    misfit = np.asarray(found.weight @ case.misfit, dtype=np.float64)
    low = misfit < float(np.median(misfit))
    order = np.argsort(shade.apart(case.evidence.places, case.evidence.places), axis=1)
    best, chosen = WORTH_A_TRY, None
    for size in range(1, min(MOST_TOGETHER, case.evidence.count - 1) + 1):
        groups = order[low[order[:, :size]].all(axis=1), :size]
        if not len(groups):
            break
        gains = _gain_together(found, groups) + _log_chance(case.evidence.count, size)
        first = int(np.argmax(gains))
        if gains[first] > best:
            best, chosen = float(gains[first]), groups[first]
    return chosen


def _log_chance(count: int, size: int) -> float:
    """ln odds of so many readings in shade against none."""
    shaded = np.zeros(count, dtype=bool)
    none = shade.log_chance(shaded)
    shaded[:size] = True
    return shade.log_chance(shaded) - none


def _gain_together(found: Posterior, groups: NDArray[np.intp]) -> Floats:
    """ln ratio of how probable the readings are with a group in shade, (groups,).

    Of a group's readings, given all others, the inverse's block is the inverse covariance
    (Rasmussen & Williams 2006, eq. A.12).
    """
    rows, columns = groups[:, :, None], groups[:, None, :]
    own: Floats = np.asarray(np.linalg.inv(found.inverse[:, rows, columns]), dtype=np.float64)
    away: Floats = np.einsum("cgij,cgj->cgi", own, found.pull[:, groups])
    same = np.eye(groups.shape[1])
    extra = shade.SPREAD**2 * (shade.ALIKE + (1 - shade.ALIKE) * same)
    wide = own + extra
    ratio = _log_normal(away - shade.MEAN, wide) - _log_normal(away, own)
    logs = found.log_weight[:, None] + ratio
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.exp(logs - top).sum(axis=0)))


def _log_normal(away: Floats, covariance: Floats) -> Floats:
    """ln density of a normal but for its constant, over the last axes."""
    solved = np.linalg.solve(covariance, away[..., None])[..., 0]
    return np.asarray(-0.5 * (np.linalg.slogdet(covariance)[1] + (away * solved).sum(axis=-1)))


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
    """Neighbours of the shade, and readings held mistaken: where one rock is there are others.

    What seemed mistaken may also be right once the shade is known, and a shaded one may be lit.
    """
    beside = shade.neighbours(case.evidence.places, case.odd.shaded)
    for index in np.union1d(beside, np.flatnonzero(case.odd.wrong)):
        yield _in_shade(case.odd, int(index))
    for index in np.flatnonzero(case.odd.wrong):
        yield case.odd.with_wrong(int(index), False)
    if case.odd.shaded.sum() > 1:
        for index in np.flatnonzero(case.odd.shaded):
            yield case.odd.with_shaded(int(index), False)


def _in_shade(odd: Odd, index: int) -> Odd:
    return odd.with_wrong(index, False).with_shaded(index)
