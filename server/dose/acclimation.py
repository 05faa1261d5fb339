"""The way up: from the light animals are used to, to the light planned, in dated steps.

No step may raise the light at any animal by more than a stated share of what it had before,
counted on the light field at the animal, not on the lamp's percentage. Both the peak and the
daily dose are held to the limit; where a plan goes by hours alone the peak cannot be, and the
plan says so.

What is published and what is not:

* Published: corals take about three weeks to adjust (Acropora muricata within 21 days, J Exp
  Biol 222:jeb195982, abstract; A. millepora more than 20 days, DiPerna et al. 2018, PLoS ONE
  13:e0203882, abstract; symbiont density within two weeks and pigments about six months in
  Stylophora moved gradually, Front Mar Sci 2015, fmars.2015.00045, abstract).
* Our own derivation from those time scales: 10–20 % a week (see `weekly_rise`). No paper that
  was read gives a percentage per week.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from server.dose.day import MOL_PER_UMOL_HOURS, Day, added, course, lit_hours, unrolled
from server.dose.together import Days, Light, light_of, shape_of

FloatArray = NDArray[np.float64]
Field = Callable[[float], FloatArray]
"""PPFD of each channel group at every animal [groups, animals], fully on at planned power,
with the lamps raised by so many cm."""

WEEKLY_RISE_LIMITS = (0.02, 0.30)
DEFAULT_WEEKLY_RISE = 0.15
STEP_DAYS_LIMITS = (7, 28)
"""A step a week at the most often, so that no seven days hold two of them."""
MOST_STEPS = 104
LOOK_AHEAD = 12
# The limit is kept to this share of itself; only the rounding of floats hides in it.
ROUNDING = 1e-9


def weekly_rise(*, time_constant_days: float, tolerated_mismatch: float) -> float:
    """Rise per week for a tolerated mismatch (both as shares): our own derivation.

    If acclimation lags light with a first-order time constant τ and the ramp is exponential,
    the steady mismatch is ln(E/E_acclimated) = rate · τ; so the weekly logarithmic rise is
    7 · mismatch / τ. A full response within 21 days is 3τ, so τ is about 7 days.
    """
    return 7 * tolerated_mismatch / time_constant_days


def weeks_to_rise(factor: float, *, weekly: float) -> float:
    """Weeks of rises of `weekly` (share) that multiply the light by `factor` ≥ 1."""
    return math.log(factor) / math.log1p(weekly)


@dataclass(frozen=True, kw_only=True)
class Setting:
    """How the light is set at one step.

    `power`: share of the planned power (0–1); `raised_cm`: how much higher than planned the
    lamps hang; `lit_share`: lit hours over the planned lit hours (0–1).
    """

    power: float = 1.0
    raised_cm: float = 0.0
    lit_share: float = 1.0


PLANNED = Setting()


@dataclass(frozen=True, kw_only=True)
class Means:
    """What may be changed on the way: the gentlest value of each, the planned one being 1 or 0.

    `least_power` 1.0, `most_raised_cm` 0.0 or `least_lit_share` 1.0 leaves that one alone.
    `power_step`, `height_step_cm` and `minute_step` are what the keeper can set.
    """

    least_power: float = 1.0
    most_raised_cm: float = 0.0
    least_lit_share: float = 1.0
    power_step: float = 0.01
    height_step_cm: float = 1.0
    minute_step: int = 15

    @property
    def hours_only(self) -> bool:
        """Whether the peak stays as planned from the first day."""
        return self.least_power == 1.0 and self.most_raised_cm == 0.0


@dataclass(frozen=True, kw_only=True)
class UsedTo:
    """The light one animal is used to: peak [µmol m⁻² s⁻¹] and dose [mol m⁻² d⁻¹]."""

    name: str
    peak_ppfd: float
    dli_mol_m2_d: float


UNKNOWN_SHARE = 0.5
"""Used-to light of an animal of unknown past: half the low end of what it should get. Hobby
practice ("start at half"), no published source."""


def at_the_shop(*, name: str, ppfd: float, hours: float) -> UsedTo:
    """The light of a shop's tank: `ppfd` [µmol m⁻² s⁻¹] for `hours` [h], on and off at once."""
    return UsedTo(name=name, peak_ppfd=ppfd, dli_mol_m2_d=ppfd * hours * MOL_PER_UMOL_HOURS)


def of_unknown_past(*, name: str, low_ppfd: float, hours: float) -> UsedTo:
    """What we assume of an animal whose past nobody knows; see `UNKNOWN_SHARE`."""
    return at_the_shop(name=name, ppfd=low_ppfd * UNKNOWN_SHARE, hours=hours)


@dataclass(frozen=True, kw_only=True)
class Step:
    """One dated step; `peaks_ppfd` and `dlis_mol_m2_d` are per animal, in the plan's order."""

    number: int
    on: date
    setting: Setting
    peaks_ppfd: tuple[float, ...]
    dlis_mol_m2_d: tuple[float, ...]
    largest_rise: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """All steps; the last one is the planned light. `names` are the animals.

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
        return (self.steps[-1].on - self.steps[0].on).days / 7


class NoWayUp(ValueError):
    """No allowed first or next step exists; the message names the animal and what would help."""


def shortened(days: Days, share: float) -> Days:
    """Days of channel groups pressed together about their common middle.

    Each is lit for `share` (0–1) of its time; points keep their levels. Light that runs all
    night cannot be shortened and stays.
    """
    if share >= 1:
        return days
    middle = _middle_h(days)
    return tuple(_pressed(_from_darkest(day), share, middle) for day in days)


def _middle_h(days: Days) -> float:
    """Middle of all the light [h]: its centre of mass on the circle of 24 hours."""
    one = added(course(day, peak_ppfd=1) for day in days)
    light = one.hours * (one.start_ppfd + one.end_ppfd)
    turn = np.exp(2j * np.pi * (one.start_h + one.end_h) / 48) @ light
    return float(np.angle(turn) / (2 * np.pi) * 24) % 24


def _from_darkest(day: Day) -> Day:
    """The same day listed from the end of its darkest, then longest, stretch between points."""
    ends = [*day.hours[1:], day.hours[0]]
    levels = [*day.levels[1:], day.levels[0]]
    dark = [
        (-(level + to_level), (end - hour) % 24)
        for hour, end, level, to_level in zip(day.hours, ends, day.levels, levels, strict=True)
    ]
    first = (dark.index(max(dark)) + 1) % len(dark)
    return Day(
        hours=day.hours[first:] + day.hours[:first], levels=day.levels[first:] + day.levels[:first]
    )


def _pressed(day: Day, share: float, middle_h: float) -> Day:
    counted = unrolled(day.hours)
    middle = middle_h if middle_h >= counted[0] else middle_h + 24
    return Day(
        hours=tuple((middle + share * (hour - middle)) % 24 % 24 for hour in counted),
        levels=day.levels,
    )


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
) -> Plan:
    """The quickest way up that keeps the limit at every animal.

    `field(raised_cm)` is asked for the light at the animals for each height that comes into
    question; `days` is the planned day of each channel group; `able(lit_share)` gives the days
    a coarse control really runs when they are to be shortened (otherwise: exactly).
    Raises `NoWayUp` when the gentlest setting is already too much, or when one notch of the
    lamp is more than a week's rise.
    """
    ladder = _ladder(means, field, days, able or partial(shortened, days))
    peak_held = not means.hours_only
    before = Light(
        peak=np.array([animal.peak_ppfd for animal in used_to]),
        dli=np.array([animal.dli_mol_m2_d for animal in used_to]),
    )
    names = tuple(animal.name for animal in used_to)
    steps: list[Step] = []
    limited: list[str] = []
    rung = -1
    peak_jump = 0.0 if peak_held else _largest_peak_rise(before, ladder[0].light)
    while rung < len(ladder) - 1 and len(steps) < MOST_STEPS:
        at = _highest(ladder, rung, before, weekly, peak_held)
        reached = ladder[at] if at is not None else None
        if at is not None:
            rung = at
        elif rung >= 0 and means.least_power < 1:
            rung, reached = _round_about(ladder, rung, before, weekly, means)
        if reached is None or (steps and reached.setting == steps[-1].setting):
            raise NoWayUp(_no_way(ladder, rung, before, weekly, peak_held, names))
        rises = _rises(before, reached.light, peak_held)
        limited.append(names[int(np.argmax(rises))])
        steps.append(
            Step(
                number=len(steps) + 1,
                on=start + timedelta(days=step_days * len(steps)),
                setting=reached.setting,
                peaks_ppfd=tuple(float(v) for v in reached.light.peak),
                dlis_mol_m2_d=tuple(float(v) for v in reached.light.dli),
                largest_rise=float(rises.max()),
            )
        )
        before = reached.light
    if rung < len(ladder) - 1:
        raise NoWayUp(f"This way would take more than {MOST_STEPS} steps. Allow more per week.")
    return Plan(
        names=names,
        weekly_rise=weekly,
        steps=tuple(steps),
        limited_by=tuple(limited),
        peak_jump=peak_jump,
    )


@dataclass(frozen=True, kw_only=True)
class _Rung:
    setting: Setting
    light: Light


def _ladder(means: Means, field: Field, days: Days, able: Callable[[float], Days]) -> list[_Rung]:
    """Every setting the keeper can make between the gentlest and the planned, in order."""
    lit_min = _lit_minutes(days)
    full = cache(lambda raised_cm: np.asarray(field(raised_cm), dtype=np.float64))
    shape = cache(lambda lit_share: shape_of(able(lit_share)))
    settings: list[Setting] = []
    for part in np.linspace(0, 1, _rungs(means, lit_min)):
        setting = _setting(means, float(part), lit_min)
        if not settings or setting != settings[-1]:
            settings.append(setting)
    return [
        _Rung(
            setting=setting,
            light=light_of(full(setting.raised_cm) * setting.power, shape(setting.lit_share)),
        )
        for setting in settings
    ]


def _rungs(means: Means, lit_min: float) -> int:
    """As many rungs as the finest of the means has notches."""
    notches = [
        (1 - means.least_power) / means.power_step,
        means.most_raised_cm / means.height_step_cm,
        (1 - means.least_lit_share) * lit_min / means.minute_step,
    ]
    return max(2, math.ceil(sum(notches)) + 1)


def _setting(means: Means, part: float, lit_min: float) -> Setting:
    """The setting a share `part` of the way, rounded to what can be set, never to more light."""
    if part >= 1:
        return PLANNED
    power = means.least_power + part * (1 - means.least_power)
    raised = means.most_raised_cm * (1 - part)
    lit = (means.least_lit_share + part * (1 - means.least_lit_share)) * lit_min
    return Setting(
        power=min(_down(power, means.power_step), 1.0) if means.least_power < 1 else 1.0,
        raised_cm=_up(raised, means.height_step_cm),
        lit_share=_down(lit, means.minute_step) / lit_min if means.least_lit_share < 1 else 1.0,
    )


def _down(value: float, step: float) -> float:
    return round(math.floor(value / step + 1e-9) * step, 9)


def _up(value: float, step: float) -> float:
    return round(math.ceil(value / step - 1e-9) * step, 9) + 0.0


def _lit_minutes(days: Days) -> float:
    return 60 * lit_hours(added(course(day, peak_ppfd=1) for day in days))


def _rises(before: Light, after: Light, peak_held: bool) -> FloatArray:
    """Rise at each animal as a share of what it had: the larger of dose and peak."""
    rises = _rise(before.dli, after.dli)
    return np.maximum(rises, _rise(before.peak, after.peak)) if peak_held else rises


def _rise(before: FloatArray, after: FloatArray) -> FloatArray:
    was_dark = before <= 0
    safe = np.where(was_dark, 1.0, before)
    ratio: FloatArray = np.where(was_dark, np.where(after > 0, np.inf, 0.0), after / safe - 1)
    return ratio


def _largest_peak_rise(before: Light, after: Light) -> float:
    return max(0.0, float(_rise(before.peak, after.peak).max()))


def _highest(
    ladder: list[_Rung], rung: int, before: Light, weekly: float, peak_held: bool
) -> int | None:
    """The highest rung above this one that no animal finds too much."""
    for at in range(len(ladder) - 1, rung, -1):
        if _rises(before, ladder[at].light, peak_held).max() <= weekly * (1 + ROUNDING):
            return at
    return None


def _round_about(
    ladder: list[_Rung], rung: int, before: Light, weekly: float, means: Means
) -> tuple[int, _Rung | None]:
    """One of the next rungs with the power turned down as far as the limit asks.

    Under clear walls an animal's light can jump between two heights: at a sharp angle the glass
    mirrors everything. Such a jump is taken dimmer. The rung itself is still to be reached, so
    the place on the ladder given back is the one before it.
    """
    best: tuple[float, int, _Rung | None] = (-math.inf, rung, None)
    for at in range(rung + 1, min(rung + 1 + LOOK_AHEAD, len(ladder))):
        one = ladder[at]
        rises = _rises(before, one.light, peak_held=True)
        factor = (1 + weekly) / (1 + float(rises.max()))
        power = _down(one.setting.power * factor, means.power_step)
        if power < means.least_power or not np.isfinite(rises).all():
            continue
        light = Light(
            peak=one.light.peak * (power / one.setting.power),
            dli=one.light.dli * (power / one.setting.power),
        )
        worth = float(np.log(light.dli).mean())
        if worth > best[0]:
            best = (worth, at - 1, _Rung(setting=replace(one.setting, power=power), light=light))
    return best[1], best[2]


def _no_way(
    ladder: list[_Rung],
    rung: int,
    before: Light,
    weekly: float,
    peak_held: bool,
    names: tuple[str, ...],
) -> str:
    rises = _rises(before, ladder[rung + 1].light, peak_held)
    worst = int(np.argmax(rises))
    name, rise = names[worst], float(rises[worst])
    much = f"{rise:.0%} more light" if math.isfinite(rise) else "light after none"
    if rung < 0:
        return (
            f"Even the gentlest setting gives {name} {much} than it is used to, and {weekly:.0%} "
            "a week is allowed. Begin dimmer, hang the lamp higher, shorten the day, or set the "
            "animal deeper or in shade for the first weeks."
        )
    return (
        f"The smallest step of this lamp gives {name} {much} at once, and {weekly:.0%} a week is "
        "allowed. Add a finer way (hours or height), or allow more a week."
    )


LOOK_AT = (
    "The white of the skeleton showing through: bleached tissue is pale but still there; bare "
    "skeleton with an edge of tissue is another trouble.",
    "Polyps that stay shut or shrunken for more than a day, also after dark.",
    "Which side is pale: the top, facing the lamp, points to light; the base or one spot does not.",
    "Other causes first: temperature, salinity, something new, a neighbour that stings.",
    "Which animals: one alone can be moved deeper; several at the same height point to the lamp.",
)
"""What to look at when something is pale or shrunken: common practice, no published source."""
