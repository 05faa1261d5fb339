"""Lamps and their day joined: what each control can run, and the light of each channel group.

Load rows inside a transaction, join them outside it:

    with club.read() as db:
        hung, days = light.hung_over(db, setup_id), days_of(db, schedule_id)
    lamps = lamp_days(hung, days, control="")
    groups = lit_groups(tank, hung, lamps)
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from server.db.carried_readings import Surveyed, factors_at, places_of
from server.db.days import GroupDay
from server.db.light import Hung, emitters_of, optics_tank, water_of
from server.dose.control import CONTROLS, ChannelDay, Fit, Kind, best_day
from server.dose.cost import Load, RunningCost, running_cost
from server.dose.day import Course, Day, added, course
from server.dose.shortened import shortened
from server.dose.together import Days, light_of, shape_of
from server.models import Animal, Tank
from server.optics.emitters import Emitter
from server.optics.field import at_points, planes, share_into_water

FloatArray = NDArray[np.float64]

WHOLE = "All channels"


@dataclass(frozen=True, kw_only=True)
class LampDay:
    """One lamp model over the tank and its day.

    `wanted`: the day asked for, per channel group; `fit`: the best its control can run;
    `places`: which of the hung lamps are of this model.
    """

    lamp_model_id: int
    name: str
    control: Kind
    wanted: tuple[ChannelDay, ...]
    fit: Fit
    places: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class LitGroup:
    """Everything that shares one day: its emitters at the power set, watts and photons."""

    day: Day
    emitters: tuple[Emitter, ...]
    watts: float
    ppf_umol_s: float


def lamp_days(
    hung: Sequence[Hung], days: Sequence[GroupDay], *, control: str
) -> tuple[LampDay, ...]:
    """The day of each lamp model over the tank; `control` overrides what the models say."""
    places: dict[int, list[int]] = {}
    for place, one in enumerate(hung):
        places.setdefault(one.stated.row.id, []).append(place)
    return tuple(
        _lamp_day(hung[found[0]], model_id, tuple(found), days, control)
        for model_id, found in places.items()
    )


def _lamp_day(
    one: Hung, model_id: int, places: tuple[int, ...], days: Sequence[GroupDay], control: str
) -> LampDay:
    kind = cast(Kind, control or one.stated.row.control)
    wanted = _wanted(one, model_id, days)
    return LampDay(
        lamp_model_id=model_id,
        name=one.stated.row.name,
        control=kind,
        wanted=wanted,
        fit=best_day(wanted, CONTROLS[kind]),
        places=places,
    )


def _wanted(one: Hung, model_id: int, days: Sequence[GroupDay]) -> tuple[ChannelDay, ...]:
    channels = one.stated.lamp.channels
    apart = {group.channel for group in days if group.channel and group.lamp_model_id == model_id}
    if not channels or not apart:
        return (ChannelDay(name=WHOLE, share=1.0, day=_day_for(days, model_id, "")),)
    total = sum(channel.share for channel in channels)
    return tuple(
        ChannelDay(
            name=channel.name,
            share=channel.share / total,
            day=_day_for(days, model_id, channel.name),
        )
        for channel in channels
    )


def _day_for(days: Sequence[GroupDay], model_id: int, channel: str) -> Day:
    """The day written for the channel, else for its lamp, else for all lamps."""
    for wanted in ((model_id, channel), (model_id, ""), (None, "")):
        for group in days:
            if (group.lamp_model_id, group.channel) == wanted:
                return group.day
    return days[0].day if days else Day(hours=(0.0,), levels=(0.0,))


def lit_groups(
    tank: Tank,
    hung: Sequence[Hung],
    lamps: Sequence[LampDay],
    *,
    raised_cm: float = 0.0,
) -> tuple[LitGroup, ...]:
    """Emitters gathered by the day they run, as their controls can run it.

    `raised_cm` hangs every lamp so much higher than its row says.
    """
    gathered: dict[Day, list[LitGroup]] = {}
    for part in lit_parts(tank, hung, lamps, raised_cm=raised_cm):
        gathered.setdefault(part.day, []).append(part)
    return tuple(_joined(day, parts) for day, parts in gathered.items())


def lit_parts(
    tank: Tank,
    hung: Sequence[Hung],
    lamps: Sequence[LampDay],
    *,
    raised_cm: float = 0.0,
) -> tuple[LitGroup, ...]:
    """The same, channel group by channel group in a fixed order, whatever their days are."""
    return tuple(
        _joined(group.day, [_lit(tank, hung[place], group, raised_cm) for place in lamp.places])
        for lamp in lamps
        for group in lamp.fit.groups
    )


def part_days(lamps: Sequence[LampDay]) -> Days:
    """The days of `lit_parts`, in its order."""
    return tuple(group.day for lamp in lamps for group in lamp.fit.groups)


def _joined(day: Day, parts: Sequence[LitGroup]) -> LitGroup:
    return LitGroup(
        day=day,
        emitters=tuple(emitter for one in parts for emitter in one.emitters),
        watts=sum(one.watts for one in parts),
        ppf_umol_s=sum(one.ppf_umol_s for one in parts),
    )


def _lit(tank: Tank, one: Hung, group: ChannelDay, raised_cm: float) -> LitGroup:
    if group.name != WHOLE:
        others = {c.name: 0.0 for c in one.stated.lamp.channels if c.name != group.name}
        one = replace(one, levels={**one.levels, **others})
    row = one.row.model_copy(update={"height_cm": one.row.height_cm + raised_cm})
    one = replace(one, row=row)
    emitters = emitters_of(tank, one)
    ppf = sum(emitter.ppf_umol_s for emitter in emitters)
    full = one.stated.lamp.ppf_umol_s
    watts = one.stated.row.watts * (ppf / full if full else 0.0)
    return LitGroup(day=group.day, emitters=emitters, watts=watts, ppf_umol_s=ppf)


def light_at(tank: Tank, groups: Sequence[LitGroup], animals: Sequence[Animal]) -> FloatArray:
    """PPFD fully on of each group at each animal [groups, animals].

    An animal left outside by a tank made smaller is taken at the nearest place inside.
    """
    glass, water = optics_tank(tank), water_of(tank)
    places = places_of(tank, animals)
    rows = [
        at_points(
            glass,
            water,
            group.emitters,
            x_cm=places[:, 0],
            y_cm=places[:, 1],
            depth_cm=places[:, 2],
        )
        if group.emitters and animals
        else np.zeros(len(animals))
        for group in groups
    ]
    return np.array(rows, dtype=np.float64).reshape(len(groups), len(animals))


def course_at(groups: Sequence[LitGroup], full_ppfd: FloatArray) -> Course:
    """The day's light where each group gives `full_ppfd` [groups] when fully on."""
    return added(
        course(group.day, peak_ppfd=float(full))
        for group, full in zip(groups, full_ppfd, strict=True)
    )


def lamp_course(groups: Sequence[LitGroup]) -> Course:
    """The day of all lamps together [% of all their photons]."""
    total = sum(group.ppf_umol_s for group in groups) or 1.0
    return added(course(group.day, peak_ppfd=100 * group.ppf_umol_s / total) for group in groups)


@dataclass(frozen=True, kw_only=True)
class DoseMap:
    """The day's dose over one depth [mol m⁻² d⁻¹], and its brightest light [µmol m⁻² s⁻¹].

    Both arrays are [ny, nx].
    """

    dli: FloatArray
    ppfd: FloatArray


def dose_map(
    tank: Tank,
    groups: Sequence[LitGroup],
    *,
    depth_cm: float,
    cell_cm: float,
    found: Surveyed | None = None,
) -> DoseMap:
    """Dose and brightest light over a depth, map and schedule together.

    With readings, both are put right by what they made of the plan at each cell.
    """
    glass, water = optics_tank(tank), water_of(tank)
    drawn = [
        planes(glass, water, group.emitters, depths_cm=(depth_cm,), cell_cm=cell_cm)[0]
        for group in groups
    ]
    full = np.array([plane.ppfd for plane in drawn])
    x, y = np.meshgrid(drawn[0].x_cm, drawn[0].y_cm)
    points = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, depth_cm)])
    factors = factors_at(found, tank, points)
    flat = full.reshape(len(groups), -1) * (1.0 if factors is None else factors)
    light = light_of(flat, shape_of(tuple(group.day for group in groups)))
    return DoseMap(dli=light.dli.reshape(full.shape[1:]), ppfd=light.peak.reshape(full.shape[1:]))


def cost_of(tank: Tank, groups: Sequence[LitGroup], *, price_per_kwh: float) -> RunningCost:
    """What a day's light costs and how much of it reaches the water."""
    glass, water = optics_tank(tank), water_of(tank)
    loads = tuple(
        Load(
            levels=course(group.day, peak_ppfd=100),
            watts=group.watts,
            ppf_umol_s=group.ppf_umol_s,
            share_into_water=share_into_water(glass, water, group.emitters),
        )
        for group in groups
        if group.emitters
    )
    return running_cost(loads, price_per_kwh=price_per_kwh)


def pressed_together(days: Sequence[GroupDay], share: float) -> tuple[GroupDay, ...]:
    """Every channel group's day shortened to a share of its lit time, about one middle."""
    short = shortened(tuple(group.day for group in days), share)
    return tuple(replace(group, day=day) for group, day in zip(days, short, strict=True))
