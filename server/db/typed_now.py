"""What is typed into each lamp's control, joined from rows: now, and at every step of a way up.

with club.read() as db:
    hung, way = hung_over(db, setup.id), way_rows(db, tank_id, today=today)
found = typed(lamps_typed(hung, schedule, days, today), way, on=today)
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlmodel import Session

from server.account.account import ToType
from server.account.to_type import LampSet, to_type
from server.db import acclimation, days, light
from server.db.abilities import power_set
from server.db.daylight import LampDay, dims, lamp_days, pressed_together
from server.db.days import GroupDay
from server.db.light import Hung, lamp_labels
from server.dose.clock import Clocked
from server.dose.control import Kind
from server.dose.ladder import Setting
from server.dose.way_now import WayNow, WayStep
from server.models import Schedule


@dataclass(frozen=True, kw_only=True)
class LampTyped:
    """What to set on one lamp: how high it hangs, how it is switched, and the numbers."""

    name: str
    model: str
    height_cm: float
    control: Kind
    day: LampDay | None
    lines: tuple[ToType, ...]


@dataclass(frozen=True, kw_only=True)
class StepTyped:
    """What to set at one step of the way up."""

    step: WayStep
    lamps: tuple[LampTyped, ...]


@dataclass(frozen=True, kw_only=True)
class Typed:
    """What to set now, and at each step of a way that is under way.

    due: the step whose numbers `now` holds although nobody has set it yet: the first one, on its
    day. Before that day, and at later steps until somebody looked, what hangs stays.
    """

    now: tuple[LampTyped, ...]
    way: WayNow | None = None
    steps: tuple[StepTyped, ...] = ()
    due: WayStep | None = None


@dataclass(frozen=True, kw_only=True)
class WayRows:
    """A way that is under way, and the light it leads to."""

    way: WayNow
    hung: tuple[Hung, ...]
    schedule: Schedule | None
    days: tuple[GroupDay, ...]


def way_rows(db: Session, tank_id: int, *, today: date) -> WayRows | None:
    """The way a tank is on; None where it is on none. Call inside a transaction."""
    plan = acclimation.under_way(db, tank_id)
    way = acclimation.way_of(db, tank_id, today=today)
    if plan is None or way is None:
        return None
    schedule = db.get(Schedule, plan.schedule_id) if plan.schedule_id else None
    return WayRows(
        way=way,
        hung=light.hung_over(db, plan.setup_id),
        schedule=schedule,
        days=days.days_of(db, schedule.id) if schedule else (),
    )


def typed(now: tuple[LampTyped, ...], way: WayRows | None, *, on: date) -> Typed:
    """What hangs, as it is typed, beside the steps of the way it is on."""
    if way is None:
        return Typed(now=now)
    stands = way.way
    steps = tuple(StepTyped(step=step, lamps=_at_step(way, step, on)) for step in stands.steps)
    due = stands.coming if stands.state == "due" and stands.set_now is None else None
    if due is not None:
        now = next(one.lamps for one in steps if one.step == due)
    return Typed(now=now, way=stands, steps=steps, due=due)


def _at_step(way: WayRows, step: WayStep, on: date) -> tuple[LampTyped, ...]:
    shortened = pressed_together(way.days, step.setting.lit_share)
    shown_on = max(on, step.due_on)
    return lamps_typed(at_setting(way.hung, step.setting), way.schedule, shortened, shown_on)


def at_setting(hung: Sequence[Hung], setting: Setting) -> tuple[Hung, ...]:
    """Lamps as they hang at a step of a way."""
    return tuple(
        replace(
            one,
            row=one.row.model_copy(
                update={
                    "power": power_set(one, setting.power),
                    "height_cm": round(one.row.height_cm + setting.raised_cm, 3),
                }
            ),
        )
        for one in hung
    )


def lamps_typed(
    hung: Sequence[Hung], schedule: Schedule | None, groups: Sequence[GroupDay], on: date
) -> tuple[LampTyped, ...]:
    """Every lamp in its order; one without a day is set once and switched by hand."""
    if schedule is None:
        return of_days(hung, (), control="")
    return of_days(hung, on_the_wall(schedule, groups, on), control=schedule.control)


def of_days(
    hung: Sequence[Hung], walls: Sequence[GroupDay], *, control: str
) -> tuple[LampTyped, ...]:
    """Every lamp in its order, its days given in the wall time they are typed in."""
    by_place = {
        place: lamp for lamp in lamp_days(hung, walls, control=control) for place in lamp.places
    }
    has_day = bool(walls)
    return tuple(
        _lamp(name, hung[place], by_place[place], has_day=has_day)
        for place, name in enumerate(lamp_labels(hung))
    )


def _lamp(name: str, one: Hung, day: LampDay, *, has_day: bool) -> LampTyped:
    made = LampSet(
        name=name,
        power=one.row.power,
        channels=tuple(channel.name for channel in one.stated.lamp.channels),
        levels=one.levels,
        dims=dims(one),
        control=day.control,
        groups=day.fit.groups if has_day else (),
    )
    return LampTyped(
        name=name,
        model=one.stated.row.name,
        height_cm=one.row.height_cm,
        control=day.control,
        day=day if has_day else None,
        lines=to_type(made),
    )


def told_together(lamps: Sequence[LampTyped]) -> tuple[tuple[str, LampTyped], ...]:
    """Lamps that are set the very same under one name: the model where they are all of it."""
    alike: dict[tuple[object, ...], list[LampTyped]] = {}
    for one in lamps:
        lines = tuple(replace(line, lamp="") for line in one.lines)
        alike.setdefault((one.model, one.control, one.height_cm, lines), []).append(one)
    models = [one.model for one in lamps]
    return tuple((_named(same, models), same[0]) for same in alike.values())


def _named(same: Sequence[LampTyped], models: Sequence[str]) -> str:
    count = models.count(same[0].model)
    if len(same) == count:
        return same[0].model if count == 1 else f"{count} × {same[0].model}"
    return ", ".join(one.name for one in same)


def on_the_wall(schedule: Schedule, groups: Sequence[GroupDay], on: date) -> tuple[GroupDay, ...]:
    """The days in the wall time of a date: what must be typed into a lamp then."""
    return tuple(replace(group, day=_clocked(schedule, group).wall_day(on)) for group in groups)


def _clocked(schedule: Schedule, group: GroupDay) -> Clocked:
    return Clocked(
        day=group.day,
        zone=schedule.time_zone,
        set_on=schedule.since,
        follows_clock=schedule.follows_clock,
    )
