"""Percent is not photons: what a lamp gives at each setting, from a few readings at one spot.

A driver's dial may be bent, and below some setting many lamps go out. Readings at one place, same
sensor, at three or more settings tell the curve: the share of the photons at 100 %. Between
readings it is the monotone cubic of Fritsch & Carlson 1980 (SIAM J. Numer. Anal. 17:238, from
memory) through values made to rise first (pool adjacent violators); any curve that rises at all
lies between its neighbours, and that bounds the doubt.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

FEWEST_SETTINGS = 3

REPEATS = 0.02
"""Relative standard uncertainty of a reading repeated at one spot: our choice, no published
source. What scales all readings alike (the sensor, the place) drops out."""

UNMEASURED = (1.5, 0.7)
"""Powers of the setting between which an unmeasured lamp's share is thought to lie four times in
five: at 50 % from 35 to 62 %, at 10 % from 3 to 20 %. A judgement, no published source."""

_SPREAD_80 = 1.2816
_DIAL = np.linspace(0.0, 100.0, 2001)


@dataclass(frozen=True, kw_only=True)
class SettingRead:
    """One reading: the percent typed, and the PPFD at the spot [µmol m⁻² s⁻¹]."""

    percent: float
    ppfd: float


@dataclass(frozen=True, kw_only=True)
class DimmingCurve:
    """Share of a lamp's photons at 100 % by the percent typed.

    percent, share: knots, rising, from (0, 0) on; none at all where nothing was measured, and the
    share is then taken as the percent. measured: least and greatest percent that was read.
    """

    percent: tuple[float, ...] = ()
    share: tuple[float, ...] = ()
    measured: tuple[float, float] | None = None

    def at(self, percent: ArrayLike) -> Floats:
        """Likeliest share 0–1 at a setting [%], any shape. Raises ValueError outside 0–100."""
        typed = _settings(percent)
        if not self.percent:
            return typed / 100.0
        return _monotone(np.array(self.percent), np.array(self.share), typed)

    def between(self, percent: ArrayLike) -> tuple[Floats, Floats]:
        """Share that is undercut, and overshot, once in ten each (an 80 % interval)."""
        typed = _settings(percent)
        if self.measured is None:
            low, high = ((typed / 100.0) ** power for power in UNMEASURED)
            return low, high
        share = self.at(typed)
        below, above = self._neighbours(typed)
        # What lies beyond the highest reading is a guess, and all shares are of that guess.
        unread = (1.0 - float(self.at(self.measured[1]))) / 2.0
        noise = share * np.hypot(_SPREAD_80 * REPEATS, unread)
        # Halfway to what any rising curve could do; at a reading nothing but its noise is left.
        low = share - np.hypot(noise, (share - below) / 2.0)
        high = share + np.hypot(noise, (above - share) / 2.0)
        faint = typed < self.measured[0]
        low = np.where(faint, share * typed / self.measured[0] * (1.0 - _SPREAD_80 * REPEATS), low)
        return np.clip(low, 0.0, None), high

    def percent_for(self, share: ArrayLike) -> Floats:
        """Lowest setting [%] whose likeliest share is at least that wanted, 0–1, any shape."""
        wanted = np.asarray(share, dtype=np.float64)
        if not np.all((wanted >= 0.0) & (wanted <= 1.0)):
            raise ValueError("a share of a lamp's photons must lie between 0 and 1")
        given = np.maximum.accumulate(self.at(_DIAL))
        first = np.clip(np.searchsorted(given, wanted - 1e-12), 1, _DIAL.size - 1)
        rise = np.maximum(given[first] - given[first - 1], 1e-15)
        part = np.clip((wanted - given[first - 1]) / rise, 0.0, 1.0)
        return np.where(wanted <= 0.0, 0.0, _DIAL[first - 1] + part * (_DIAL[1] - _DIAL[0]))

    def _neighbours(self, typed: Floats) -> tuple[Floats, Floats]:
        """Shares of the knots on both sides of each setting; of a knot itself, its own."""
        knots, share = np.array(self.percent), np.array(self.share)
        left = np.clip(np.searchsorted(knots, typed, side="right") - 1, 0, knots.size - 1)
        right = np.clip(np.searchsorted(knots, typed, side="left"), 0, knots.size - 1)
        return share[left], share[right]


def dimming_curve(readings: Sequence[SettingRead]) -> DimmingCurve:
    """The curve through readings at one spot; several at one setting are averaged.

    Without a reading at 100 % the last two settings are drawn on in a straight line. Raises
    ValueError for fewer than three settings that give light, for a reading below nought or a
    setting outside 0–100, and where more percent clearly give less light.
    """
    settings, ppfd = _averaged(readings)
    _check_rising(settings, ppfd)
    level = _rising(ppfd)
    if settings[-1] < 100.0:
        slope = (level[-1] - level[-2]) / (settings[-1] - settings[-2])
        beyond = level[-1] + slope * (100.0 - settings[-1])
        settings, level = np.append(settings, 100.0), np.append(level, beyond)
    if settings[0] > 0.0:
        settings, level = np.insert(settings, 0, 0.0), np.insert(level, 0, 0.0)
    told = [one.percent for one in readings if one.percent > 0.0]
    return DimmingCurve(
        percent=tuple(settings.tolist()),
        share=tuple((level / level[-1]).tolist()),
        measured=(min(told), max(told)),
    )


def _averaged(readings: Sequence[SettingRead]) -> tuple[Floats, Floats]:
    """Settings that were read, rising, and the mean PPFD at each."""
    for one in readings:
        _settings(one.percent)
        if not (np.isfinite(one.ppfd) and one.ppfd >= 0.0):
            raise ValueError(f"a reading must be a number of at least 0, not {one.ppfd}")
    settings = np.unique([one.percent for one in readings])
    ppfd = np.array([
        np.mean([one.ppfd for one in readings if one.percent == setting]) for setting in settings
    ])  # fmt: skip
    if np.count_nonzero((settings > 0.0) & (ppfd > 0.0)) < FEWEST_SETTINGS:
        raise ValueError(f"readings must give light at {FEWEST_SETTINGS} settings or more")
    return settings, ppfd


def _check_rising(settings: Floats, ppfd: Floats) -> None:
    """Raises ValueError where a reading lies below an earlier one by more than both may err."""
    most = np.maximum.accumulate(ppfd)
    fallen = most - ppfd > 4.0 * REPEATS * most
    if fallen.any():
        where = float(settings[int(np.argmax(fallen))])
        raise ValueError(
            f"at {where:g} % the light must not be less than at a lower setting: "
            "was something moved, or the lamp warming up?"
        )


def _rising(values: Floats) -> Floats:
    """The closest values that never fall (pool adjacent violators)."""
    pools: list[tuple[float, int]] = []
    for value in values.tolist():
        mean, count = value, 1
        while pools and pools[-1][0] > mean:
            other, more = pools.pop()
            mean, count = (mean * count + other * more) / (count + more), count + more
        pools.append((mean, count))
    return np.concatenate([np.full(count, mean) for mean, count in pools])


def _monotone(x: Floats, y: Floats, at: Floats) -> Floats:
    """Cubic through the points that rises wherever they do (Fritsch & Carlson 1980)."""
    width, slope = np.diff(x), np.diff(y) / np.diff(x)
    inner = np.zeros(x.size)
    both = slope[:-1] * slope[1:] > 0.0
    near, far = 2 * width[1:] + width[:-1], width[1:] + 2 * width[:-1]
    with np.errstate(divide="ignore"):
        mean = (near + far) / (near / slope[:-1] + far / slope[1:])
    inner[1:-1] = np.where(both, mean, 0.0)
    inner[0], inner[-1] = slope[0], slope[-1]
    k = np.clip(np.searchsorted(x, at, side="right") - 1, 0, width.size - 1)
    t = (at - x[k]) / width[k]
    rise = (3 - 2 * t) * t * t
    bend = width[k] * t * (1 - t) * ((1 - t) * inner[k] - t * inner[k + 1])
    return np.asarray(y[k] + (y[k + 1] - y[k]) * rise + bend)


def _settings(percent: ArrayLike) -> Floats:
    typed = np.asarray(percent, dtype=np.float64)
    if not np.all((typed >= 0.0) & (typed <= 100.0)):
        raise ValueError("a setting must lie between 0 and 100 percent")
    return typed
