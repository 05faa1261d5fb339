"""What the lamp's control can run: the best day it can do, and what is lost.

A wanted day is drawn freely for each channel group. The control decides what is possible:

* by hand: a switch somebody has to be there for, one stretch of light;
* clock switch: on and off at set times, no levels, no ramps, no separate channel groups;
* programs: one rise, one plateau and one fall per channel group, ramps from a short list;
* full: any points, up to a number of them, to the minute and the whole percent.

The best day keeps the dose first and then lies as close to the wanted curve as it can.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from server.dose.day import (
    HOURS,
    Course,
    Day,
    added,
    course,
    dli,
    faint_hours,
    full_hours,
    lit_hours,
    stretches_above,
    unrolled,
)

Kind = Literal["by_hand", "clock_switch", "programs", "full"]

KIND_NAMES: dict[Kind, str] = {
    "by_hand": "Plugged in by hand",
    "clock_switch": "Clock switch",
    "programs": "Built-in programs",
    "full": "Full control",
}


WHOLE = "All channels"
"""Name of the one channel group of a lamp whose channels share a day."""


@dataclass(frozen=True, kw_only=True)
class Control:
    """Limits of a control: the finest step of time [min] and level [%], and the shapes it knows.

    `ramp_minutes`: ramps it can run; `most_points` per channel group; `stretches`: how often a
    day it can switch on; `separate`: whether channel groups run days of their own; `only_full`:
    whether its lamp knows nothing between off and fully on.
    """

    kind: Kind
    minute_step: int
    level_step: float
    ramp_minutes: tuple[int, ...]
    most_points: int
    stretches: int
    separate: bool
    only_full: bool = False


# Typical limits of each kind of control: our assumption, a keeper can change them per tank.
CONTROLS: dict[Kind, Control] = {
    "by_hand": Control(
        kind="by_hand",
        minute_step=30,
        level_step=100,
        ramp_minutes=(0,),
        most_points=4,
        stretches=1,
        separate=False,
    ),
    "clock_switch": Control(
        kind="clock_switch",
        minute_step=15,
        level_step=100,
        ramp_minutes=(0,),
        most_points=8,
        stretches=2,
        separate=False,
    ),
    "programs": Control(
        kind="programs",
        minute_step=5,
        level_step=5,
        ramp_minutes=(0, 30, 60, 90, 120),
        most_points=4,
        stretches=1,
        separate=True,
    ),
    "full": Control(
        kind="full",
        minute_step=1,
        level_step=1,
        ramp_minutes=(),
        most_points=24,
        stretches=12,
        separate=True,
    ),
}


@dataclass(frozen=True, kw_only=True)
class ChannelDay:
    """The day of one channel group; `share` is its part of the lamp's light at full (0–1)."""

    name: str
    share: float
    day: Day


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The best day of a control: one `ChannelDay` per group, and the losses in plain words.

    `wanted_light` and `able_light`: hours at full power worth of light a day [h].
    """

    control: Control
    groups: tuple[ChannelDay, ...]
    wanted_light: float
    able_light: float
    lost: tuple[str, ...]

    @property
    def dose_change(self) -> float:
        """Able over wanted, less one: −0.02 is two percent less dose."""
        return self.able_light / self.wanted_light - 1 if self.wanted_light else 0.0


def light_hours(groups: tuple[ChannelDay, ...]) -> float:
    """Hours at full power that give the same light [h]."""
    return _light(together(groups))


def together(groups: tuple[ChannelDay, ...]) -> Course:
    """All channel groups as one course in percent of the lamp's full light."""
    return added(course(group.day, peak_ppfd=100 * group.share) for group in groups)


def _light(one: Course) -> float:
    return float(one.hours @ (one.start_ppfd + one.end_ppfd) / 2 / 100)


def control_of(kind: Kind, *, dims: bool) -> Control:
    """The control of a lamp: one that does not dim is only switched, whatever drives it."""
    if dims:
        return CONTROLS[kind]
    switch = kind if kind in ("by_hand", "clock_switch") else "clock_switch"
    return replace(CONTROLS[switch], only_full=True)


def best_day(wanted: tuple[ChannelDay, ...], control: Control) -> Fit:
    """The best day this control can run for the wanted one, channel group by channel group."""
    groups = wanted if control.separate else _as_one(wanted)
    able = tuple(
        ChannelDay(name=group.name, share=group.share, day=_able(group, control))
        for group in groups
    )
    return Fit(
        control=control,
        groups=able,
        wanted_light=light_hours(wanted),
        able_light=light_hours(able),
        lost=_losses(wanted, able, control),
    )


def _as_one(wanted: tuple[ChannelDay, ...]) -> tuple[ChannelDay, ...]:
    """All groups switched together: the lamp's whole light as a single group."""
    share = sum(group.share for group in wanted)
    whole = together(wanted)
    hours = [*np.column_stack([whole.start_h, whole.end_h % HOURS]).ravel()]
    levels = [*np.column_stack([whole.start_ppfd, whole.end_ppfd]).ravel() / share]
    day = _tidy(hours, levels)
    return (ChannelDay(name=WHOLE, share=share, day=day),)


def _tidy(hours: list[float], levels: list[float]) -> Day:
    """Points of consecutive pieces as a day, without the points that say nothing new."""
    points: list[tuple[float, float]] = []
    for hour, level in zip(hours, levels, strict=True):
        point = (float(hour) % HOURS, min(100.0, max(0.0, float(level))))
        if not points or point != points[-1]:
            points.append(point)
    if len(points) > 1 and points[0] == points[-1]:
        points.pop()
    return Day(hours=tuple(h for h, _ in points), levels=tuple(level for _, level in points))


def _able(group: ChannelDay, control: Control) -> Day:
    if control.kind == "full":
        return _rounded(_fewer_points(group.day, control.most_points), control)
    if control.kind == "programs":
        return _program(group.day, control)
    return _switched(group.day, control)


# --- on and off -------------------------------------------------------------------------


def _switched(day: Day, control: Control) -> Day:
    """On and off only, at the day's highest level (fully on for a lamp that does not dim), with
    the dose of the wanted day.

    The lamp is on where the wanted curve is above some level, chosen so that the light is the
    same: no other choice of the same hours lies closer to the curve.
    """
    one = course(day, peak_ppfd=100)
    if one.peak_ppfd == 0:
        return Day(hours=(0.0,), levels=(0.0,))
    top = 100.0 if control.only_full else one.peak_ppfd
    wanted = _light(one) * 100 / top
    stretches = _longest(_stretches_of(one, wanted), control.stretches, wanted)
    return _on_off(_on_grid(stretches, wanted, control.minute_step), top)


def _stretches_of(one: Course, hours: float) -> list[tuple[float, float]]:
    """The brightest `hours` [h] of the day as (start, length) in order."""
    low, high = 0.0, one.peak_ppfd
    for _ in range(60):
        middle = (low + high) / 2
        reached = sum(length for _, length in stretches_above(one, middle))
        low, high = (middle, high) if reached > hours else (low, middle)
    return stretches_above(one, high)


def _longest(
    stretches: list[tuple[float, float]], most: int, hours: float
) -> list[tuple[float, float]]:
    """The longest stretches a control can switch, stretched about their middles to `hours`."""
    kept = sorted(sorted(stretches, key=lambda stretch: -stretch[1])[:most])
    factor = hours / sum(length for _, length in kept)
    return [
        (start - length * (factor - 1) / 2, min(length * factor, HOURS)) for start, length in kept
    ]


def _on_grid(
    stretches: list[tuple[float, float]], hours: float, minute_step: int
) -> list[tuple[int, int]]:
    """Stretches in whole steps (start, length) [min], their sum as near `hours` as can be."""
    left = round(hours * 60 / minute_step)
    made = []
    for number, (start, length) in enumerate(stretches):
        last = number == len(stretches) - 1
        steps = left if last else min(left, round(length * 60 / minute_step))
        left -= steps
        middle = (start + length / 2) * 60
        begin = round((middle - steps * minute_step / 2) / minute_step) * minute_step
        made.append((begin % 1440, min(steps * minute_step, 1440)))
    return [(begin, length) for begin, length in made if length > 0]


def _on_off(stretches: list[tuple[int, int]], level: float) -> Day:
    if not stretches or any(length >= 1440 for _, length in stretches):
        return Day(hours=(0.0,), levels=(level if stretches else 0.0,))
    points = []
    for begin, length in stretches:
        on, off = begin / 60, (begin + length) % 1440 / 60
        points += [(on, 0.0), (on, level), (off, level), (off, 0.0)]
    return Day(hours=tuple(h for h, _ in points), levels=tuple(level for _, level in points))


# --- built-in programs ------------------------------------------------------------------


def _program(day: Day, control: Control) -> Day:
    """Ramp, plateau, ramp from the list of ramps, the one closest to the wanted curve."""
    one = course(day, peak_ppfd=100)
    top = _nearest(one.peak_ppfd, control.level_step)
    if one.peak_ppfd == 0:
        return Day(hours=(0.0,), levels=(0.0,))
    top = max(top, control.level_step)
    tries = [_ramped(one, ramp, top, control) for ramp in control.ramp_minutes]
    light = _light(one)
    return min(tries, key=lambda able: _badness(one, light, able))


def _badness(one: Course, light: float, able: Day) -> tuple[float, float]:
    other = course(able, peak_ppfd=100)
    # A dose within two percent counts as kept; then the shape decides.
    missing = max(abs(_light(other) / light - 1) - 0.02, 0.0)
    return round(missing, 3), apart(one, other)


def _ramped(one: Course, ramp_min: int, top: float, control: Control) -> Day:
    step = control.minute_step
    light_min = _light(one) * 60 * 100 / top
    lit = round((light_min + ramp_min) / step) * step
    ramp = min(ramp_min, lit // 2)
    lit = min(max(lit, step), 1440)
    begin = round((_middle(one) * 60 - lit / 2) / step) * step % 1440
    minutes = [begin, begin + ramp, begin + lit - ramp, begin + lit]
    levels = [0.0, top, top, 0.0]
    if lit == 1440 and ramp == 0:
        return Day(hours=(0.0,), levels=(top,))
    if lit == 2 * ramp:
        del minutes[2], levels[2]
    return Day(hours=tuple(minute % 1440 / 60 for minute in minutes), levels=tuple(levels))


def _middle(one: Course) -> float:
    """Middle of the light [h of day]: its centre of mass on the 24-hour circle."""
    middles = (one.start_h + one.end_h) / 2
    light = one.hours * (one.start_ppfd + one.end_ppfd)
    turn = np.exp(2j * np.pi * middles / HOURS) @ light
    return float(np.angle(turn) / (2 * np.pi) * HOURS) % HOURS


def apart(one: Course, other: Course) -> float:
    """How far two courses are apart: mean of the absolute difference over the day [%]."""
    minus = Course(
        start_h=other.start_h,
        end_h=other.end_h,
        start_ppfd=-other.start_ppfd,
        end_ppfd=-other.end_ppfd,
    )
    gap = added([one, minus])
    start, end = gap.start_ppfd, gap.end_ppfd
    total = np.abs(start) + np.abs(end)
    crossing = (start * end < 0) & (total > 0)
    safe = np.where(total > 0, total, 1.0)
    mean = np.where(crossing, (start**2 + end**2) / (2 * safe), total / 2)
    return float(gap.hours @ mean) / HOURS


# --- full control -----------------------------------------------------------------------


def _fewer_points(day: Day, most: int) -> Day:
    """Points taken out, each time the one whose loss changes the curve least.

    Least is the area of the triangle with its neighbours (Visvalingam & Whyatt 1993, Cartogr J
    30:46–51), through midnight.
    """
    points = list(zip(unrolled(day.hours), day.levels, strict=True))
    while len(points) > most:
        first, last = points[0], points[-1]
        around = [(last[0] - HOURS, last[1]), *points, (first[0] + HOURS, first[1])]
        areas = [
            abs((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]))
            for a, b, c in zip(around, around[1:], around[2:], strict=False)
        ]
        del points[areas.index(min(areas))]
    return Day(
        hours=tuple(hour % HOURS % HOURS for hour, _ in points),
        levels=tuple(level for _, level in points),
    )


def _rounded(day: Day, control: Control) -> Day:
    """Times and levels to what the control can hold; points that fall together are joined."""
    step = control.minute_step
    points: list[tuple[float, float]] = []
    for hour, level in zip(day.hours, day.levels, strict=True):
        minute = round(hour * 60 / step) * step % 1440
        point = (minute / 60, _nearest(level, control.level_step))
        if len(points) > 1 and points[-1][0] == points[-2][0] == point[0]:
            points[-1] = point
        else:
            points.append(point)
    return Day(hours=tuple(h for h, _ in points), levels=tuple(level for _, level in points))


def _nearest(level: float, step: float) -> float:
    return min(100.0, round(level / step) * step)


# --- what is lost -----------------------------------------------------------------------


def _losses(
    wanted: tuple[ChannelDay, ...], able: tuple[ChannelDay, ...], control: Control
) -> tuple[str, ...]:
    want, have = together(wanted), together(able)
    said = [
        _lost_dose(want, have),
        _lost_ramps(want, control),
        _lost_groups(wanted, control),
        _lost_glow(want, have),
        _lost_hours(want, have),
        _by_hand(control),
    ]
    return tuple(sentence for sentence in said if sentence)


def _lost_dose(want: Course, have: Course) -> str:
    if dli(want) == 0:
        return ""
    change = dli(have) / dli(want) - 1
    if abs(change) < 0.005:
        return ""
    word = "more" if change > 0 else "less"
    return f"The dose comes out {abs(change):.0%} {word}: this control cannot be set any finer."


def _lost_ramps(want: Course, control: Control) -> str:
    steps_only = control.ramp_minutes == (0,)
    ramps = (np.abs(want.end_ppfd - want.start_ppfd) > 1e-6).any()
    if not (steps_only and ramps):
        return ""
    return "No dawn and dusk: the light goes from nothing to full at once, and back."


def _lost_groups(wanted: tuple[ChannelDay, ...], control: Control) -> str:
    if control.separate or len({group.day for group in wanted}) < 2:
        return ""
    return "All channel groups go on and off together, so the colour no longer changes by day."


def _lost_glow(want: Course, have: Course) -> str:
    """Moonlight: light below a twentieth of full, for hours, that the control cannot run."""
    glow = faint_hours(want)
    if glow < 0.5 or faint_hours(have) >= glow / 2:
        return ""
    return f"The {glow:.1f} hours of faint light are gone. The animals do not need them."


def _lost_hours(want: Course, have: Course) -> str:
    fewer = lit_hours(want) - faint_hours(want) - lit_hours(have)
    if fewer < 0.25:
        return ""
    longer = full_hours(have) - full_hours(want)
    tail = f", of which {longer:.1f} hours more at full light" if longer > 0.25 else ""
    return f"The tank is lit {fewer:.1f} hours less{tail}: the dose is given in a shorter day."


def _by_hand(control: Control) -> str:
    if control.kind != "by_hand":
        return ""
    return (
        "Somebody has to be there twice a day. Half an hour late each day is easily a tenth of "
        "the dose; a clock switch costs little and never sleeps in."
    )
