"""A fixed sensor's log to a measured day: the usual light at each hour and each day's dose."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

BIN_MINUTES = 10
BINS = 24 * 60 // BIN_MINUTES
LONGEST_GAP_S = 3600.0  # light is not guessed across more than an hour without a line
WHOLE_DAY = 0.95  # share of a day that must be covered for its dose to count

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class MeasuredDay:
    """One calendar day: its dose [mol m⁻² d⁻¹] and the share of the day the log covers."""

    day: date
    dli_mol_m2_d: float
    covered: float

    @property
    def whole(self) -> bool:
        """Covered well enough for the dose to stand for the day."""
        return self.covered >= WHOLE_DAY


@dataclass(frozen=True, kw_only=True)
class DayCurve:
    """The usual day. `minute` [144] are bin centres, `ppfd`, `low`, `high` [144] the median,
    lowest and highest day's mean in each bin (nan where nothing was logged).
    `dli_mol_m2_d` is the mean dose of the whole days, None when there is none."""

    minute: Array
    ppfd: Array
    low: Array
    high: Array
    days: tuple[MeasuredDay, ...]
    dli_mol_m2_d: float | None
    lit_hours: float
    lines: int
    step_s: float


def day_curve(at: Sequence[datetime], ppfd: Sequence[float]) -> DayCurve:
    """The day curve of a log. `at` [n] wall clock, any order; `ppfd` [n] corrected light.

    Doses are sums of trapezoids between neighbouring lines of one day, none longer than an
    hour. Raises ValueError without lines.
    """
    if not at:
        raise ValueError("a log needs at least one line")
    seconds, light = _in_order(at, ppfd)
    days = _days(seconds, light)
    means = _bin_means(seconds, light)
    with_light = ~np.isnan(means)
    any_day = with_light.any(axis=0)
    median, low, high = (np.full(BINS, np.nan) for _ in range(3))
    median[any_day] = np.nanmedian(means[:, any_day], axis=0)
    low[any_day] = np.nanmin(means[:, any_day], axis=0)
    high[any_day] = np.nanmax(means[:, any_day], axis=0)
    whole = [day.dli_mol_m2_d for day in days if day.whole]
    return DayCurve(
        minute=np.asarray((np.arange(BINS) + 0.5) * BIN_MINUTES, dtype=np.float64),
        ppfd=median,
        low=low,
        high=high,
        days=days,
        dli_mol_m2_d=float(np.mean(whole)) if whole else None,
        lit_hours=float(np.count_nonzero(median > 1.0)) * BIN_MINUTES / 60,
        lines=len(light),
        step_s=float(np.median(np.diff(seconds))) if len(seconds) > 1 else 0.0,
    )


_DAY_S = 86_400.0
_EPOCH = datetime(1970, 1, 1)  # wall clock, so without zone


def _in_order(at: Sequence[datetime], ppfd: Sequence[float]) -> tuple[Array, Array]:
    """Sorted by time; lines of one second (a clock put back) are averaged."""
    seconds = np.array([(one - _EPOCH).total_seconds() for one in at])
    times, where = np.unique(np.round(seconds), return_inverse=True)
    total = np.bincount(where, weights=np.asarray(ppfd, dtype=float))
    return times, total / np.bincount(where)


def _days(seconds: Array, light: Array) -> tuple[MeasuredDay, ...]:
    day = np.floor(seconds / _DAY_S).astype(int)
    step = np.diff(seconds)
    joined = step <= LONGEST_GAP_S
    area, covered = _areas(seconds, light, step, joined)
    first = day.min()
    count = day.max() - first + 1
    dose = np.bincount(area[0] - first, weights=area[1], minlength=count)
    share = np.bincount(covered[0] - first, weights=covered[1], minlength=count)
    return tuple(
        MeasuredDay(
            day=date.fromordinal(_EPOCH.toordinal() + int(first) + i),
            dli_mol_m2_d=float(dose[i]) / 1e6,
            covered=min(float(share[i]) / _DAY_S, 1.0),
        )
        for i in np.unique(day - first)
    )


def _areas(
    seconds: Array, light: Array, step: Array, joined: NDArray[np.bool_]
) -> tuple[tuple[NDArray[np.int_], Array], tuple[NDArray[np.int_], Array]]:
    """Trapezoids and their lengths, each given to its day; one over midnight is cut there."""
    start, end = seconds[:-1][joined], seconds[1:][joined]
    left, right = light[:-1][joined], light[1:][joined]
    day = np.floor(start / _DAY_S).astype(int)
    midnight = (day + 1) * _DAY_S
    over = end > midnight
    cut = np.where(over, (midnight - start) / np.where(end > start, end - start, 1.0), 1.0)
    middle = left + (right - left) * cut
    stop = np.where(over, midnight, end)
    days = np.concatenate([day, day[over] + 1])
    length = np.concatenate([stop - start, (end - midnight)[over]])
    height = np.concatenate([(left + middle) / 2, ((middle + right) / 2)[over]])
    return (days, length * height), (days, length)


def _bin_means(seconds: Array, light: Array) -> Array:
    """Mean light [days, bins], nan where a day has no line in a bin."""
    day = np.floor(seconds / _DAY_S).astype(int)
    day -= day.min()
    slot = (np.mod(seconds, _DAY_S) // (BIN_MINUTES * 60)).astype(int)
    present, row = np.unique(day, return_inverse=True)
    index = row * BINS + slot
    size = len(present) * BINS
    count = np.bincount(index, minlength=size)
    total = np.bincount(index, weights=light, minlength=size)
    means = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return means.reshape(len(present), BINS)
