"""Readings that do not fit, named in words: what they say, what was expected, and why perhaps."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from server.surveys import places
from server.surveys.estimate import MeasuredMap
from server.surveys.plan import Reading

TWIN_CM = 3.0  # readings this close are readings of one place
APART = 3.0  # standard deviations at which two readings of one place disagree


class Cause(StrEnum):
    """What may be behind a reading that does not fit."""

    DARK = "the sensor was covered, the lamp was off, or a figure was left out"
    DECIMAL = "a decimal point or a nought slipped"
    DEPTH = "the depth was misread or mistyped"
    SHADED = "something shades this place, or the value was mistyped"
    BRIGHT = "a reflection or a hot spot, or the value was mistyped"
    TWINS = "two readings of one place disagree; measure it once more"


@dataclass(frozen=True, kw_only=True)
class Misfit:
    """One reading that does not fit.

    number: its place among the used readings, from 1. expected_ppfd, low, high: what all the
    others foretell there (80 %). ratio: reading over expected. perhaps: the value of a cause that
    can be put in figures, such as the depth at which the reading would fit [cm].
    """

    number: int
    reading: Reading
    expected_ppfd: float
    low_ppfd: float
    high_ppfd: float
    ratio: float
    cause: Cause
    perhaps: float | None
    words: str


def misfits(found: MeasuredMap) -> tuple[Misfit, ...]:
    """Every reading held to be mistaken, and pairs at one place that contradict each other."""
    named = {index: _misfit(found, index) for index in found.wrong}
    for one, other in _twins(found):
        if one not in named and other not in named:
            named[other] = _misfit(found, other, cause=Cause.TWINS)
    return tuple(named[index] for index in sorted(named))


def _misfit(found: MeasuredMap, index: int, cause: Cause | None = None) -> Misfit:
    reading, told = found.used[index], found.left_out
    expected = float(told.ppfd[index])
    ratio = reading.ppfd / max(expected, 1e-9)
    guessed, perhaps = (cause, None) if cause else _cause(found, index, ratio)
    return Misfit(
        number=index + 1,
        reading=reading,
        expected_ppfd=expected,
        low_ppfd=float(told.low[index]),
        high_ppfd=float(told.high[index]),
        ratio=ratio,
        cause=guessed,
        perhaps=perhaps,
        words=_words(found, index, ratio, guessed),
    )


def _cause(found: MeasuredMap, index: int, ratio: float) -> tuple[Cause, float | None]:
    reading = found.used[index]
    if reading.ppfd <= found.beliefs.floor_ppfd and ratio < 0.3:
        return Cause.DARK, None
    twin = _twin_of(found, index)
    if twin is not None:
        return Cause.TWINS, None
    for slip in (10.0, 0.1, 100.0, 0.01):
        if abs(np.log(ratio / slip)) < 0.3:
            return Cause.DECIMAL, reading.ppfd / slip
    depth = _fitting_depth(found, reading)
    if depth is not None:
        return Cause.DEPTH, depth
    return (Cause.SHADED if ratio < 1 else Cause.BRIGHT), None


def _fitting_depth(found: MeasuredMap, reading: Reading) -> float | None:
    """The depth nearest the one given at which the map foretells this reading, if there is one."""
    depths = np.arange(1.0, found.plan.tank.depth_cm, 1.0)
    column = np.column_stack([np.full((depths.size, 2), (reading.x_cm, reading.y_cm)), depths])
    away = np.abs(np.log(found.at(column).ppfd / max(reading.ppfd, 1e-9)))
    fits = depths[(away < 0.05) & (np.abs(depths - reading.depth_cm) > 3)]
    return float(fits[np.argmin(np.abs(fits - reading.depth_cm))]) if fits.size else None


def _twins(found: MeasuredMap) -> list[tuple[int, int]]:
    """Pairs of readings of one place that differ by more than both may be wrong."""
    points, log = found.posterior.evidence.answers.points, found.posterior.evidence.log_read
    own = found.posterior.evidence.own_variance + (found.fit.reading_error_percent / 100) ** 2
    pairs = []
    for one in range(len(points)):
        for other in range(one + 1, len(points)):
            near = float(np.linalg.norm(points[one] - points[other])) < TWIN_CM
            apart = abs(log[one] - log[other]) > APART * float(np.sqrt(own[one] + own[other]))
            if near and apart:
                pairs.append((one, other))
    return pairs


def _twin_of(found: MeasuredMap, index: int) -> int | None:
    for one, other in _twins(found):
        if index in (one, other):
            return other if index == one else one
    return None


def _words(found: MeasuredMap, index: int, ratio: float, cause: Cause) -> str:
    reading = found.used[index]
    point = np.array([reading.x_cm, reading.y_cm, reading.depth_cm])
    where = places.in_words(found.plan.tank, point)
    name = reading.name or f"Reading {index + 1}"
    against = "the plan" if len(found.used) == 1 else "the other readings and the plan"
    return f"{name} ({where}) is {_times(ratio)} what {against} say: {cause}?"


def _times(ratio: float) -> str:
    if ratio < 0.02:
        return "next to nothing of"
    if ratio < 0.4:
        return f"{100 * ratio:.0f} % of"
    if ratio < 0.6:
        return "about half of"
    if ratio < 1:
        return f"{100 * (1 - ratio):.0f} % below"
    if ratio < 1.8:
        return f"{100 * (ratio - 1):.0f} % above"
    return f"{ratio:.1f} times" if ratio < 10 else f"{ratio:.0f} times"
