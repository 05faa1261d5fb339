"""The day: how bright the lamp is at each hour, as straight lines between points.

A day repeats: the line from its last point runs through midnight to its first. Two points at
one time make a step, so a clock switch is a day too. Everything here is exact: lines are
integrated in closed form, never sampled.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

HOURS = 24.0
MOST_POINTS = 96
MOL_PER_UMOL_HOURS = 3600e-6
"""mol in one hour of 1 µmol s⁻¹, exact."""

# A plateau typed as "75 % of 333.3" must count as reaching 249.975: compare with a slack far
# below anything a meter shows.
SLACK = 1e-9


class DayRefused(ValueError):
    """A day that cannot be; `point` is the index of the point at fault, or None."""

    def __init__(self, message: str, point: int | None = None) -> None:
        super().__init__(message)
        self.point = point


@dataclass(frozen=True, kw_only=True)
class Day:
    """Light through one day.

    `hours`: hour of the day of each point [h, 0 ≤ h < 24], rising, passing midnight at most
    once; at most two points share one time (a step). `levels`: percent of the peak [0–100].
    Raises `DayRefused` naming the point otherwise.
    """

    hours: tuple[float, ...]
    levels: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.hours) != len(self.levels):
            raise DayRefused("Every time needs one level.")
        if not 1 <= len(self.hours) <= MOST_POINTS:
            raise DayRefused(f"A day needs between 1 and {MOST_POINTS} points.")
        for point, (hour, level) in enumerate(zip(self.hours, self.levels, strict=True)):
            _check_point(point, hour, level)
        _check_order(self.hours)


def _check_point(point: int, hour: float, level: float) -> None:
    if not (math.isfinite(hour) and 0 <= hour < HOURS):
        raise DayRefused("A time lies between 00:00 and 23:59.", point)
    if not (math.isfinite(level) and 0 <= level <= 100):
        raise DayRefused("A level lies between 0 and 100 percent.", point)


def _check_order(hours: tuple[float, ...]) -> None:
    counted = unrolled(hours)
    for point in range(1, len(hours)):
        if counted[point] - counted[0] > HOURS:
            raise DayRefused("Times must rise through the day and pass midnight once.", point)
        if point > 1 and counted[point] == counted[point - 2]:
            raise DayRefused("At most two points share one time: before and after.", point)


def unrolled(hours: tuple[float, ...]) -> list[float]:
    """Hours counted on from the first point, past 24 once midnight is passed."""
    counted, passed = [hours[0]], 0.0
    for before, hour in pairwise(hours):
        passed += HOURS if hour < before else 0.0
        counted.append(hour + passed)
    return counted


@dataclass(frozen=True, kw_only=True)
class Course:
    """24 hours of PPFD as straight pieces in order; the arrays all have one length.

    `start_h`, `end_h` [h], `start_ppfd`, `end_ppfd` [µmol m⁻² s⁻¹]. The pieces lie within
    0–24 h and fill it.
    """

    start_h: FloatArray
    end_h: FloatArray
    start_ppfd: FloatArray
    end_ppfd: FloatArray

    @property
    def hours(self) -> FloatArray:
        """Length of each piece [h]."""
        return self.end_h - self.start_h

    @property
    def peak_ppfd(self) -> float:
        """The brightest moment [µmol m⁻² s⁻¹]."""
        return float(max(self.start_ppfd.max(), self.end_ppfd.max()))


def course(day: Day, *, peak_ppfd: float) -> Course:
    """PPFD through the day where full light gives `peak_ppfd` [µmol m⁻² s⁻¹]."""
    counted = unrolled(day.hours)
    pieces: list[tuple[float, float, float, float]] = []
    ends = [*counted[1:], counted[0] + HOURS]
    to_levels = [*day.levels[1:], day.levels[0]]
    for start, end, level, to_level in zip(counted, ends, day.levels, to_levels, strict=True):
        pieces.extend(_within_one_day(start, end, level, to_level))
    start_h, end_h, start_level, end_level = np.array(sorted(pieces), dtype=np.float64).T
    full = peak_ppfd / 100
    return Course(
        start_h=start_h, end_h=end_h, start_ppfd=start_level * full, end_ppfd=end_level * full
    )


def _within_one_day(
    start: float, end: float, level: float, to_level: float
) -> Iterable[tuple[float, float, float, float]]:
    """A piece cut at each midnight it crosses and moved into 0–24 h; nothing when empty."""
    while start < end:
        midnight = (math.floor(start / HOURS) + 1) * HOURS
        stop = min(end, midnight)
        between = level + (to_level - level) * (stop - start) / (end - start)
        # A line cannot leave its two ends, though rounding would let it: 100 is the most there is.
        stop_level = min(max(between, min(level, to_level)), max(level, to_level))
        shift = midnight - HOURS
        yield (start - shift, stop - shift, level, stop_level)
        start, level = stop, stop_level


def added(courses: Iterable[Course]) -> Course:
    """The light of several courses together, such as the channel groups of one lamp."""
    several = list(courses)
    edges = np.unique(np.concatenate([np.append(one.start_h, one.end_h) for one in several]))
    start_h, end_h = edges[:-1], edges[1:]
    starts = [along(one, start_h, end_h) for one in several]
    return Course(
        start_h=start_h,
        end_h=end_h,
        start_ppfd=np.sum([start for start, _ in starts], axis=0),
        end_ppfd=np.sum([end for _, end in starts], axis=0),
    )


def along(one: Course, start_h: FloatArray, end_h: FloatArray) -> tuple[FloatArray, FloatArray]:
    """PPFD just after each start and just before each end; steps stay steps."""
    piece = np.searchsorted(one.start_h, (start_h + end_h) / 2, side="right") - 1
    slope = (one.end_ppfd - one.start_ppfd)[piece] / one.hours[piece]
    from_start = one.start_ppfd[piece] + slope * (start_h - one.start_h[piece])
    low = np.minimum(one.start_ppfd, one.end_ppfd)[piece]
    high = np.maximum(one.start_ppfd, one.end_ppfd)[piece]
    to_end = from_start + slope * (end_h - start_h)
    return np.clip(from_start, low, high), np.clip(to_end, low, high)


def dli(one: Course) -> float:
    """Daily light integral [mol m⁻² d⁻¹]: Σ PPFD·Δt, exact."""
    return float(one.hours @ (one.start_ppfd + one.end_ppfd) / 2 * MOL_PER_UMOL_HOURS)


def hours_at_or_above(one: Course, ppfd: float) -> float:
    """Hours a day [h] with PPFD at or above `ppfd` [µmol m⁻² s⁻¹]."""
    low = np.minimum(one.start_ppfd, one.end_ppfd)
    high = np.maximum(one.start_ppfd, one.end_ppfd)
    rise = np.where(high > low, high - low, 1.0)
    flat = high >= ppfd - SLACK * max(1.0, ppfd)
    share = np.where(high > low, np.clip((high - ppfd) / rise, 0, 1), flat)
    return float(one.hours @ share)


def stretches_above(one: Course, ppfd: float) -> list[tuple[float, float]]:
    """When the light is at or above `ppfd`: (start, length) [h] in order, through midnight."""
    found: list[list[float]] = []
    pieces = zip(one.start_h, one.end_h, one.start_ppfd, one.end_ppfd, strict=True)
    for start, end, from_level, to_level in pieces:
        cut = _piece_above(float(start), float(end), float(from_level), float(to_level), ppfd)
        if cut is None:
            continue
        if found and abs(found[-1][1] - cut[0]) < 1e-9:
            found[-1][1] = cut[1]
        else:
            found.append(list(cut))
    if len(found) > 1 and found[0][0] == 0 and abs(found[-1][1] - HOURS) < 1e-9:
        first = found.pop(0)
        found[-1][1] += first[1]
    return [(start, end - start) for start, end in found]


def _piece_above(
    start: float, end: float, from_level: float, to_level: float, level: float
) -> tuple[float, float] | None:
    if max(from_level, to_level) < level:
        return None
    if min(from_level, to_level) >= level:
        return start, end
    crossing = start + (end - start) * (level - from_level) / (to_level - from_level)
    cut = (crossing, end) if to_level > from_level else (start, crossing)
    return cut if cut[1] > cut[0] else None


def lit_hours(one: Course) -> float:
    """Hours a day [h] with any light at all."""
    return float(one.hours @ (np.maximum(one.start_ppfd, one.end_ppfd) > 0))


def faint_hours(one: Course) -> float:
    """Hours a day [h] of moonlight: whole pieces at or below a twentieth of the peak."""
    top = np.maximum(one.start_ppfd, one.end_ppfd)
    faint = (top > 0) & (top <= 0.05 * one.peak_ppfd)
    return float(one.hours @ faint)


def full_hours(one: Course) -> float:
    """Hours a day [h] on the highest plateau; 0 for a dark day or a peak without width."""
    top = one.peak_ppfd
    at_top = np.minimum(one.start_ppfd, one.end_ppfd) >= top * (1 - SLACK)
    return float(one.hours @ at_top) if top > 0 else 0.0


def longest_dark_hours(one: Course) -> float:
    """Length [h] of the longest stretch without any light, through midnight."""
    dark = np.maximum(one.start_ppfd, one.end_ppfd) <= 0
    if dark.all():
        return HOURS
    longest = run = 0.0
    # Twice round, so that a night across midnight is one stretch.
    for is_dark, hours in zip([*dark, *dark], [*one.hours, *one.hours], strict=True):
        run = run + float(hours) if is_dark else 0.0
        longest = max(longest, run)
    return longest


def ppfd_at(one: Course, hour: float) -> float:
    """PPFD [µmol m⁻² s⁻¹] at `hour` [h]; just after it where there is a step."""
    moment = hour % HOURS % HOURS
    piece = int(np.searchsorted(one.start_h, moment, side="right")) - 1
    part = (moment - one.start_h[piece]) / one.hours[piece]
    return float(one.start_ppfd[piece] * (1 - part) + one.end_ppfd[piece] * part)


def until(one: Course, *, hour: float) -> Course:
    """The part of a course before `hour` [h, 0 < hour ≤ 24]."""
    kept = one.start_h < hour
    start_h, end_h = one.start_h[kept], one.end_h[kept]
    start, end = one.start_ppfd[kept], one.end_ppfd[kept]
    cut = np.minimum(end_h, hour)
    cut_ppfd = start + (end - start) * (cut - start_h) / (end_h - start_h)
    return Course(start_h=start_h, end_h=cut, start_ppfd=start, end_ppfd=cut_ppfd)


def shifted(day: Day, *, hours: float) -> Day:
    """The same day `hours` [h] later on the clock."""
    return Day(hours=tuple(_on_clock(hour + hours) for hour in day.hours), levels=day.levels)


def _on_clock(hour: float) -> float:
    # Twice: the remainder of a tiny negative number rounds to 24 itself.
    return hour % HOURS % HOURS
