"""Readings that do not fit, named in words: what they say, what was expected, and why perhaps."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from server.surveys import matern, places
from server.surveys.estimate import MeasuredMap
from server.surveys.plan import Reading

Floats = NDArray[np.float64]

DARK_PPFD = 1.0  # what a covered sensor shows at most
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
    twins = _twins(found)
    paired = {index for pair in twins for index in pair}
    named = set(found.wrong)
    named |= {other for one, other in twins if one not in named and other not in named}
    order = sorted(named)
    depths = _fitting_depths(found, order)
    return tuple(
        _misfit(found, index, depth, twin=index in paired)
        for index, depth in zip(order, depths, strict=True)
    )


def _misfit(found: MeasuredMap, index: int, depth: float | None, *, twin: bool) -> Misfit:
    reading, told = found.used[index], found.left_out
    expected = float(told.ppfd[index])
    ratio = reading.ppfd / max(expected, 1e-9)
    cause, perhaps = _cause(reading.ppfd, ratio, depth, twin=twin)
    return Misfit(
        number=index + 1,
        reading=reading,
        expected_ppfd=expected,
        low_ppfd=float(told.low[index]),
        high_ppfd=float(told.high[index]),
        ratio=ratio,
        cause=cause,
        perhaps=perhaps,
        words=_words(found, index, ratio, cause),
    )


def _cause(
    ppfd: float, ratio: float, depth: float | None, *, twin: bool
) -> tuple[Cause, float | None]:
    """The likeliest cause and its figure: the value meant, or the depth that would fit."""
    if ppfd <= DARK_PPFD and ratio < 0.3:
        return Cause.DARK, None
    if twin:
        return Cause.TWINS, None
    for slip in (10.0, 0.1, 100.0, 0.01):
        if abs(np.log(max(ratio, 1e-9) / slip)) < 0.3:
            return Cause.DECIMAL, ppfd / slip
    if depth is not None:
        return Cause.DEPTH, depth
    return (Cause.SHADED if ratio < 1 else Cause.BRIGHT), None


def _fitting_depths(found: MeasuredMap, chosen: list[int]) -> list[float | None]:
    """For each reading the depth nearest the one given at which the map foretells it."""
    if not chosen:
        return []
    depths = np.arange(1.0, found.plan.tank.depth_cm, 1.0)
    places_tried = [(found.used[i].x_cm, found.used[i].y_cm) for i in chosen]
    columns = [np.column_stack([np.full((depths.size, 2), xy), depths]) for xy in places_tried]
    light = found.at(np.concatenate(columns)).ppfd.reshape(len(chosen), -1)
    return [_nearest_fit(found.used[i], depths, row) for i, row in zip(chosen, light, strict=True)]


def _nearest_fit(reading: Reading, depths: Floats, light: Floats) -> float | None:
    away = np.abs(np.log(light / max(reading.ppfd, 1e-9)))
    fits = depths[(away < 0.05) & (np.abs(depths - reading.depth_cm) > 3)]
    return float(fits[np.argmin(np.abs(fits - reading.depth_cm))]) if fits.size else None


def _twins(found: MeasuredMap) -> list[tuple[int, int]]:
    """Pairs of readings of one place that differ by more than both may be wrong."""
    evidence = found.posterior.evidence
    own = evidence.own_variance + (found.fit.reading_error_percent / 100) ** 2
    near = matern.distances(evidence.answers.points, evidence.answers.points) < TWIN_CM
    apart = np.abs(evidence.log_read[:, None] - evidence.log_read[None, :])
    disagree = near & (apart > APART * np.sqrt(own[:, None] + own[None, :]))
    ones, others = np.nonzero(np.triu(disagree, k=1))
    return [(int(one), int(other)) for one, other in zip(ones, others, strict=True)]


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
