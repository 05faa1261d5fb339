"""The settings of a way: everything a keeper can set between one end and the planned light."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from server.dose.day import added, course, lit_hours
from server.dose.together import Days, Light, light_of, shape_of

FloatArray = NDArray[np.float64]
Field = Callable[[float, float], FloatArray]
"""PPFD of each channel group at every animal [groups, animals] when its day is fully on, with the
lamps raised by so many cm and set to a share of the planned power, as near below it as each of
them can be set."""
Lit = Callable[["Setting"], Light]
"""What a setting gives the animals."""


@dataclass(frozen=True, kw_only=True)
class Setting:
    """How the light is set at one step.

    `power`: share of the planned power (above 1 only on a way down); `raised_cm`: how much
    higher than planned the lamps hang (negative: lower); `lit_share`: lit hours over the planned
    lit hours (0–1).
    """

    power: float = 1.0
    raised_cm: float = 0.0
    lit_share: float = 1.0


PLANNED = Setting()


@dataclass(frozen=True, kw_only=True)
class Means:
    """What may be changed on the way: the farthest value of each, the planned one being 1 or 0.

    Up from gentler light: `least_power` 1.0, `most_raised_cm` 0.0 or `least_lit_share` 1.0
    leaves that one alone. Down from brighter light: `most_power` above 1 (share of the planned
    power), `most_lowered_cm`. `power_step`, `height_step_cm` and `minute_step` are what the
    keeper can set.
    """

    least_power: float = 1.0
    most_raised_cm: float = 0.0
    least_lit_share: float = 1.0
    most_power: float = 1.0
    most_lowered_cm: float = 0.0
    power_step: float = 0.01
    height_step_cm: float = 1.0
    minute_step: int = 15

    @property
    def hours_only(self) -> bool:
        """Whether the peak stays as planned from the first day."""
        return self.least_power == 1.0 and self.most_raised_cm == 0.0

    @property
    def from_brighter(self) -> bool:
        """Whether a way down can begin brighter than planned."""
        return self.most_power > 1.0 or self.most_lowered_cm > 0.0


@dataclass(frozen=True, kw_only=True)
class Rung:
    """One setting and the light it gives at the animals."""

    setting: Setting
    light: Light


def lighting(field: Field, able: Callable[[float], Days]) -> Lit:
    """The light of settings on a field; each is worked out once."""
    shape = cache(lambda lit_share: shape_of(able(lit_share)))

    def lit(setting: Setting) -> Light:
        full = np.asarray(field(setting.raised_cm, setting.power), dtype=np.float64)
        return light_of(full, shape(setting.lit_share))

    return cache(lit)


def ladder_up(means: Means, days: Days, lit: Lit) -> list[Rung]:
    """Every setting between the gentlest and the planned, the planned one last."""
    lit_min = 60 * lit_hours(added(course(day, peak_ppfd=1) for day in days))
    notches = [
        (1 - means.least_power) / means.power_step,
        means.most_raised_cm / means.height_step_cm,
        (1 - means.least_lit_share) * lit_min / means.minute_step,
    ]
    return _rungs([_gentler(means, part, lit_min) for part in _parts(notches)], lit)


def ladder_down(means: Means, lit: Lit) -> list[Rung]:
    """Every setting between the brightest and the planned, the planned one last."""
    notches = [
        (means.most_power - 1) / means.power_step,
        means.most_lowered_cm / means.height_step_cm,
    ]
    return _rungs([_brighter(means, part) for part in _parts(notches)], lit)


def _parts(notches: list[float]) -> list[float]:
    """As many parts of the way as the finest of the means has notches."""
    return [float(part) for part in np.linspace(0, 1, max(2, math.ceil(sum(notches)) + 1))]


def _rungs(settings: list[Setting], lit: Lit) -> list[Rung]:
    return [Rung(setting=one, light=lit(one)) for one in dict.fromkeys(settings)]


def _gentler(means: Means, part: float, lit_min: float) -> Setting:
    """The setting a share `part` of the way up, rounded to what can be set, never to more light."""
    if part >= 1:
        return PLANNED
    power = means.least_power + part * (1 - means.least_power)
    raised = means.most_raised_cm * (1 - part)
    lit = (means.least_lit_share + part * (1 - means.least_lit_share)) * lit_min
    return Setting(
        power=min(notch_down(power, means.power_step), 1.0) if means.least_power < 1 else 1.0,
        raised_cm=_notch_up(raised, means.height_step_cm),
        lit_share=notch_down(lit, means.minute_step) / lit_min
        if means.least_lit_share < 1
        else 1.0,
    )


def _brighter(means: Means, part: float) -> Setting:
    """The setting a share `part` of the way down; never more than the brightest."""
    if part >= 1:
        return PLANNED
    power = means.most_power + part * (1 - means.most_power)
    lowered = means.most_lowered_cm * (1 - part)
    return Setting(
        power=max(notch_down(power, means.power_step), 1.0) if means.most_power > 1 else 1.0,
        raised_cm=0.0 - notch_down(lowered, means.height_step_cm),
    )


def notch_down(value: float, step: float) -> float:
    return round(math.floor(value / step + 1e-9) * step, 9)


def _notch_up(value: float, step: float) -> float:
    return round(math.ceil(value / step - 1e-9) * step, 9) + 0.0
