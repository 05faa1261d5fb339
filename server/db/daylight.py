"""Lamps and their day joined: what each control can run, and the light of each channel group.

Load rows inside a transaction, join them outside it:

    with club.read() as db:
        hung, days = light.hung_over(db, setup_id), days_of(db, schedule_id)
    lamps = lamp_days(hung, days, control="")
    groups = lit_groups(tank, hung, lamps)
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from server.account.ability import dims_of
from server.db.days import GroupDay
from server.db.light import Hung, emitters_of, lamp_labels, lamp_numbers, optics_tank, water_of
from server.dose.control import WHOLE, ChannelDay, Fit, Kind, best_day, control_of
from server.dose.cost import Load, RunningCost, running_cost
from server.dose.day import Course, Day, added, course
from server.dose.shortened import shortened
from server.dose.together import Days, light_of, shape_of
from server.models import Animal, Tank
from server.optics.emitters import Emitter
from server.optics.field import at_points, planes, share_into_water

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class LampDay:
    """The lamps of one model over the tank that share a day and a control, and that day.

    `wanted`: the day asked for, per channel group; `fit`: the best their control can run;
    `places`: which of the hung lamps they are; `dims`: whether they can be dimmed.
    """

    lamp_model_id: int
    name: str
    control: Kind
    dims: bool
    wanted: tuple[ChannelDay, ...]
    fit: Fit
    places: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class LitGroup:
    """Everything that shares one day: its emitters at the power set, watts and photons.

    `lamp`: which `LampDay` it belongs to.
    """

    day: Day
    emitters: tuple[Emitter, ...]
    watts: float
    ppf_umol_s: float
    lamp: int = 0


@dataclass(frozen=True)
class _Same:
    """What lamps must have in common to be told and lit as one."""

    model_id: int
    kind: Kind
    dims: bool
    wanted: tuple[ChannelDay, ...]


def lamp_days(
    hung: Sequence[Hung], days: Sequence[GroupDay], *, control: str
) -> tuple[LampDay, ...]:
    """The day of each lamp over the tank, those that run alike together.

    `control` overrides what the models say; what is said of a lamp alone overrides both.
    """
    alike: dict[_Same, list[int]] = {}
    for place, number in enumerate(lamp_numbers(hung)):
        one = hung[place]
        found = _Same(
            model_id=one.stated.row.id,
            kind=_kind(one, number, days, control),
            dims=dims(one),
            wanted=_wanted(one, number, days),
        )
        alike.setdefault(found, []).append(place)
    names = lamp_labels(hung)
    return tuple(
        LampDay(
            lamp_model_id=same.model_id,
            name=together_named(hung, [names[place] for place in places], places),
            control=same.kind,
            dims=same.dims,
            wanted=same.wanted,
            fit=best_day(same.wanted, control_of(same.kind, dims=same.dims)),
            places=tuple(places),
        )
        for same, places in alike.items()
    )


def together_named(hung: Sequence[Hung], names: Sequence[str], places: Sequence[int]) -> str:
    """One name for lamps told together: the model where they are all of it, else each."""
    row = hung[places[0]].stated.row
    every = sum(one.stated.row.id == row.id for one in hung)
    return row.name if len(places) == every else ", ".join(names)


def dims(one: Hung) -> bool:
    """Whether the lamp itself can be dimmed, whatever switches it over this tank."""
    row = one.stated.row
    return dims_of(row.dims, row.kind, row.control) != "no"


def _kind(one: Hung, number: int, days: Sequence[GroupDay], control: str) -> Kind:
    model_id = one.stated.row.id
    own = {
        group.lamp_number: group.control
        for group in days
        if group.control and group.lamp_model_id == model_id and not group.channel
    }
    kind = cast(Kind, own.get(number) or own.get(0) or control or one.stated.row.control)
    return control_of(kind, dims=dims(one)).kind


def _wanted(one: Hung, number: int, days: Sequence[GroupDay]) -> tuple[ChannelDay, ...]:
    channels, model_id = one.stated.lamp.channels, one.stated.row.id
    plain = _day_for(days, model_id, number, "")
    own = {channel.name: _day_for(days, model_id, number, channel.name) for channel in channels}
    if all(day is plain for day in own.values()):
        return (ChannelDay(name=WHOLE, share=1.0, day=plain),)
    total = sum(channel.share for channel in channels)
    return tuple(
        ChannelDay(name=channel.name, share=channel.share / total, day=own[channel.name])
        for channel in channels
    )


def _day_for(days: Sequence[GroupDay], model_id: int, number: int, channel: str) -> Day:
    """The day of the channel or else the lamp, then those of its model, then that of all lamps."""
    for lamp in ((model_id, number), (model_id, 0), (None, 0)):
        for name in (channel, ""):
            for group in days:
                if (group.lamp_model_id, group.lamp_number, group.channel) == (*lamp, name):
                    return group.day
    return days[0].day if days else Day(hours=(0.0,), levels=(0.0,))


def lit_groups(
    tank: Tank,
    hung: Sequence[Hung],
    lamps: Sequence[LampDay],
    *,
    raised_cm: float = 0.0,
) -> tuple[LitGroup, ...]:
    """Emitters gathered by lamp and by the day they run, as their controls can run it.

    `raised_cm` hangs every lamp so much higher than its row says.
    """
    gathered: dict[tuple[int, Day], list[LitGroup]] = {}
    for part in lit_parts(tank, hung, lamps, raised_cm=raised_cm):
        gathered.setdefault((part.lamp, part.day), []).append(part)
    return tuple(_joined(parts) for parts in gathered.values())


def lit_parts(
    tank: Tank,
    hung: Sequence[Hung],
    lamps: Sequence[LampDay],
    *,
    raised_cm: float = 0.0,
) -> tuple[LitGroup, ...]:
    """The same, channel group by channel group in a fixed order, whatever their days are."""
    return tuple(
        _joined([_lit(tank, hung[place], group, raised_cm, number) for place in lamp.places])
        for number, lamp in enumerate(lamps)
        for group in lamp.fit.groups
    )


def part_days(lamps: Sequence[LampDay]) -> Days:
    """The days of `lit_parts`, in its order."""
    return tuple(group.day for lamp in lamps for group in lamp.fit.groups)


def _joined(parts: Sequence[LitGroup]) -> LitGroup:
    return LitGroup(
        day=parts[0].day,
        lamp=parts[0].lamp,
        emitters=tuple(emitter for one in parts for emitter in one.emitters),
        watts=sum(one.watts for one in parts),
        ppf_umol_s=sum(one.ppf_umol_s for one in parts),
    )


def _lit(tank: Tank, one: Hung, group: ChannelDay, raised_cm: float, lamp: int) -> LitGroup:
    if group.name != WHOLE:
        others = {c.name: 0.0 for c in one.stated.lamp.channels if c.name != group.name}
        one = replace(one, levels={**one.levels, **others})
    row = one.row.model_copy(update={"height_cm": one.row.height_cm + raised_cm})
    one = replace(one, row=row)
    emitters = emitters_of(tank, one)
    ppf = sum(emitter.ppf_umol_s for emitter in emitters)
    full = one.stated.lamp.ppf_umol_s
    watts = one.stated.row.watts * (ppf / full if full else 0.0)
    return LitGroup(day=group.day, emitters=emitters, watts=watts, ppf_umol_s=ppf, lamp=lamp)


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


def places_of(tank: Tank, animals: Sequence[Animal]) -> FloatArray:
    """Where animals sit (n, 3) [cm]; one left outside is taken at the nearest place inside."""
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    at = [np.minimum((one.x_cm, one.y_cm, one.depth_cm), sides) for one in animals]
    return np.array(at, dtype=np.float64).reshape(-1, 3)


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
    over_plan: Callable[[FloatArray], FloatArray] | None = None,
) -> DoseMap:
    """Dose and brightest light over a depth, map and schedule together.

    `over_plan`: what is known of the light over the plan's, at places (n, 3) in cm; both are put
    right by it at each cell.
    """
    glass, water = optics_tank(tank), water_of(tank)
    drawn = [
        planes(glass, water, group.emitters, depths_cm=(depth_cm,), cell_cm=cell_cm)[0]
        for group in groups
    ]
    full = np.array([plane.ppfd for plane in drawn])
    x, y = np.meshgrid(drawn[0].x_cm, drawn[0].y_cm)
    points = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, depth_cm)])
    factors = 1.0 if over_plan is None else over_plan(points)
    flat = full.reshape(len(groups), -1) * factors
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
