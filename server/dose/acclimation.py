"""The way to another light: from what animals are used to, to the light planned, in dated steps.

No step may raise the light at any animal by more than a stated share of what it had before,
counted on the light field at the animal, not on the lamp's percentage. Both the peak and the
daily dose are held to the limit; where a plan goes by hours alone the peak cannot be, and the
plan says so.

A way may lead down too. An animal adjusts to less light as slowly as to more, and until it has it
makes less food than it lives on; so a dose that would fall by more than a stated share is taken
down in steps. Where a light is too bright or somebody is pale, down at once is the kinder way:
that is for whoever asks to say (`means.from_brighter`).

What is published and what is not:

* Published: corals take about three weeks to adjust, up and down (Acropora muricata within 21
  days, J Exp Biol 222:jeb195982, abstract; A. millepora more than 20 days, DiPerna et al. 2018,
  PLoS ONE 13:e0203882, abstract; symbiont density within two weeks and pigments about six months
  in Stylophora moved gradually, Front Mar Sci 2015, fmars.2015.00045, abstract).
* Our own derivation from those time scales: 10–20 % a week (see `weekly_rise`). No paper that
  was read gives a percentage per week.
* Our judgement: `WEEKLY_FALL`. No paper that was read gives a rate for going down.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial

import numpy as np
from numpy.typing import NDArray

from server.dose.ladder import (
    Field,
    Lit,
    Means,
    Rung,
    Setting,
    ladder_down,
    ladder_up,
    lighting,
    notch_down,
)
from server.dose.shortened import shortened
from server.dose.together import Days, Light
from server.dose.used_to import UsedTo

FloatArray = NDArray[np.float64]

WEEKLY_RISE_LIMITS = (0.02, 0.30)
DEFAULT_WEEKLY_RISE = 0.15
WEEKLY_FALL = 0.30
"""Largest fall of the dose at once, as a share: our judgement, no published source."""
STEP_DAYS_LIMITS = (7, 28)
"""A step a week at the most often, so that no seven days hold two of them."""
MOST_STEPS = 104
LOOK_AHEAD = 12
# The limit is kept to this share of itself; only the rounding of floats hides in it.
ROUNDING = 1e-9


def weekly_rise(*, time_constant_days: float, tolerated_mismatch: float) -> float:
    """Rise per week for a tolerated mismatch (both as shares): our own derivation.

    If acclimation lags light with a first-order time constant τ and the ramp is exponential,
    the steady mismatch is ln(E/E_acclimated) = ln(1 + rate · τ), a little less than rate · τ; so
    a weekly logarithmic rise of 7 · mismatch / τ stays within it. A full response within 21 days
    is 3τ, so τ is about 7 days.
    """
    return 7 * tolerated_mismatch / time_constant_days


def weeks_to_rise(factor: float, *, weekly: float) -> float:
    """Weeks of rises of `weekly` (share) that multiply the light by `factor` ≥ 1."""
    return math.log(factor) / math.log1p(weekly)


@dataclass(frozen=True, kw_only=True)
class Step:
    """One dated step; `peaks_ppfd` and `dlis_mol_m2_d` are per animal, in the plan's order.

    `largest_rise`: of dose and peak at any animal, as a share; negative where all fall.
    """

    number: int
    on: date
    setting: Setting
    peaks_ppfd: tuple[float, ...]
    dlis_mol_m2_d: tuple[float, ...]
    largest_rise: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """All steps; the last one is the planned light. `names` are the animals.

    Without steps where the planned light hangs already and nobody needs a way to it.
    `limited_by` names the animal that set the pace of each step; `peak_jump` is the largest
    rise of the peak on the first day (share), 0 where the peak is held to the limit too.
    """

    names: tuple[str, ...]
    weekly_rise: float
    steps: tuple[Step, ...]
    limited_by: tuple[str, ...]
    peak_jump: float

    @property
    def weeks(self) -> float:
        """From the first step to the planned light [weeks]."""
        return (self.steps[-1].on - self.steps[0].on).days / 7 if self.steps else 0.0


class NoWayUp(ValueError):
    """No allowed first or next step exists; the message names the animal and what would help."""


def plan(
    *,
    used_to: Sequence[UsedTo],
    field: Field,
    days: Days,
    means: Means,
    start: date,
    weekly: float = DEFAULT_WEEKLY_RISE,
    step_days: int = 7,
    able: Callable[[float], Days] | None = None,
    hangs: bool = False,
) -> Plan:
    """The quickest way that keeps the limit at every animal.

    `field(raised_cm, power)` is asked for the light at the animals at each height and power that
    comes into question; `days` is the planned day of each channel group; `able(lit_share)` gives
    the days a coarse control really runs when they are to be shortened (otherwise: exactly).
    `hangs`: the planned light is what hangs and runs already, so a way of one step is none.
    Raises `NoWayUp` when the gentlest setting is already too much, or when one notch of the
    lamp is more than a week's rise.
    """
    lit = lighting(field, able or partial(shortened, days))
    ladder = ladder_up(means, days, lit)
    before = Light(
        peak=np.array([animal.peak_ppfd for animal in used_to]),
        dli=np.array([animal.dli_mol_m2_d for animal in used_to]),
    )
    limit = _Limit(
        weekly=weekly, peak_held=not means.hours_only, names=tuple(one.name for one in used_to)
    )
    planned = ladder[-1].light
    if _largest_fall(before, planned) > WEEKLY_FALL and limit.allows(before, planned):
        rungs = ladder_down(means, lit) if means.from_brighter else ladder[-1:]
        reached = _down(rungs, before, limit)
    else:
        reached = _up(ladder, before, limit, means, lit)
    if hangs and len(reached) == 1:
        reached = []
    jump = 0.0 if limit.peak_held or not reached else _peak_rise(before, ladder[0].light)
    return _dated(reached, before, limit, start=start, step_days=step_days, peak_jump=jump)


@dataclass(frozen=True, kw_only=True)
class _Limit:
    """Largest rise a week as a share, whether the peak is held to it too, and whose it is."""

    weekly: float
    peak_held: bool
    names: tuple[str, ...]

    def rises(self, before: Light, after: Light) -> FloatArray:
        """Rise at each animal as a share of what it had: the larger of dose and peak."""
        rises = _rise(before.dli, after.dli)
        return np.maximum(rises, _rise(before.peak, after.peak)) if self.peak_held else rises

    def allows(self, before: Light, after: Light) -> bool:
        return bool(self.rises(before, after).max() <= self.weekly * (1 + ROUNDING))


def _dated(
    reached: Sequence[Rung],
    before: Light,
    limit: _Limit,
    *,
    start: date,
    step_days: int,
    peak_jump: float,
) -> Plan:
    steps, limited = [], []
    for place, rung in enumerate(reached):
        rises = limit.rises(before, rung.light)
        limited.append(limit.names[int(np.argmax(rises))])
        steps.append(
            Step(
                number=place + 1,
                on=start + timedelta(days=step_days * place),
                setting=rung.setting,
                peaks_ppfd=tuple(float(v) for v in rung.light.peak),
                dlis_mol_m2_d=tuple(float(v) for v in rung.light.dli),
                largest_rise=float(rises.max()),
            )
        )
        before = rung.light
    return Plan(
        names=limit.names,
        weekly_rise=limit.weekly,
        steps=tuple(steps),
        limited_by=tuple(limited),
        peak_jump=peak_jump,
    )


# The way up


def _up(ladder: list[Rung], before: Light, limit: _Limit, means: Means, lit: Lit) -> list[Rung]:
    """From rung to rung, each the highest one that no animal finds too much."""
    reached: list[Rung] = []
    rung = -1
    while rung < len(ladder) - 1:
        at = _highest(ladder, rung, before, limit)
        one = ladder[at] if at is not None else None
        if at is not None:
            rung = at
        elif rung >= 0 and means.least_power < 1:
            rung, one = _round_about(ladder, rung, before, limit, means, lit)
        if one is None or (reached and one.setting == reached[-1].setting):
            raise NoWayUp(_no_way(ladder, rung, before, limit))
        if len(reached) == MOST_STEPS:
            raise NoWayUp(f"This way would take more than {MOST_STEPS} steps. Allow more per week.")
        reached.append(one)
        before = one.light
    return reached


def _rise(before: FloatArray, after: FloatArray) -> FloatArray:
    was_dark = before <= 0
    safe = np.where(was_dark, 1.0, before)
    ratio: FloatArray = np.where(was_dark, np.where(after > 0, np.inf, 0.0), after / safe - 1)
    return ratio


def _peak_rise(before: Light, after: Light) -> float:
    return max(0.0, float(_rise(before.peak, after.peak).max()))


def _highest(ladder: list[Rung], rung: int, before: Light, limit: _Limit) -> int | None:
    """The highest rung above this one that no animal finds too much."""
    for at in range(len(ladder) - 1, rung, -1):
        if limit.allows(before, ladder[at].light):
            return at
    return None


def _round_about(
    ladder: list[Rung], rung: int, before: Light, limit: _Limit, means: Means, lit: Lit
) -> tuple[int, Rung | None]:
    """One of the next rungs with the power turned down as far as the limit asks.

    Under clear walls an animal's light can jump between two heights: at a sharp angle the glass
    mirrors everything. Such a jump is taken dimmer. The rung itself is still to be reached, so
    the place on the ladder given back is the one before it.
    """
    best: tuple[float, int, Rung | None] = (-math.inf, rung, None)
    for at in range(rung + 1, min(rung + 1 + LOOK_AHEAD, len(ladder))):
        one = ladder[at]
        rises = np.maximum(_rise(before.dli, one.light.dli), _rise(before.peak, one.light.peak))
        factor = (1 + limit.weekly) / (1 + float(rises.max()))
        power = notch_down(one.setting.power * factor, means.power_step)
        if power < means.least_power or not np.isfinite(rises).all():
            continue
        setting = replace(one.setting, power=power)
        light = lit(setting)
        worth = float(np.log(light.dli).mean())
        if worth > best[0] and limit.allows(before, light):
            best = (worth, at - 1, Rung(setting=setting, light=light))
    return best[1], best[2]


def _no_way(ladder: list[Rung], rung: int, before: Light, limit: _Limit) -> str:
    rises = limit.rises(before, ladder[rung + 1].light)
    worst = int(np.argmax(rises))
    name, rise = limit.names[worst], float(rises[worst])
    much = f"{rise:.0%} more light" if math.isfinite(rise) else "light after none"
    if rung < 0:
        return (
            f"Even the gentlest setting gives {name} {much} than it is used to, and "
            f"{limit.weekly:.0%} a week is allowed. Begin dimmer, hang the lamp higher, shorten "
            "the day, lay a mesh under the lamp, or set the animal deeper or in shade for the "
            "first weeks."
        )
    return (
        f"The smallest step of this lamp gives {name} {much} at once, and {limit.weekly:.0%} a "
        "week is allowed. Add a finer way (hours or height), or allow more a week."
    )


# The way down


def _largest_fall(before: Light, after: Light) -> float:
    """Largest share of its dose that any animal loses."""
    return float(-_rise(before.dli, after.dli).min())


def _down(ladder: list[Rung], before: Light, limit: _Limit) -> list[Rung]:
    """From rung to rung, each the lowest one at which no dose falls too much.

    Where even the next rung falls too far it is taken all the same: a fall starves slowly, and
    the limit on rises is never given up for it.
    """
    reached: list[Rung] = []
    rung = -1
    while rung < len(ladder) - 1:
        allowed = [
            at for at in range(rung + 1, len(ladder)) if limit.allows(before, ladder[at].light)
        ]
        gentle = [at for at in allowed if _gentle_fall(before, ladder[at].light)]
        rung = max(gentle) if gentle else min(allowed, default=len(ladder) - 1)
        reached.append(ladder[rung])
        before = ladder[rung].light
    return reached


def _gentle_fall(before: Light, after: Light) -> bool:
    return _largest_fall(before, after) <= WEEKLY_FALL * (1 + ROUNDING)


LOOK_AT = (
    "The white of the skeleton showing through: bleached tissue is pale but still there; bare "
    "skeleton with an edge of tissue is another trouble.",
    "Polyps that stay shut or shrunken for more than a day, also after dark.",
    "Which side is pale: the top, facing the lamp, points to light; the base or one spot does not.",
    "Other causes first: temperature, salinity, something new, a neighbour that stings.",
    "Which animals: one alone can be moved deeper; several at the same height point to the lamp.",
)
"""What to look at when something is pale or shrunken: common practice, no published source."""
