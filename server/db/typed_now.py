"""What is typed into each lamp's control: the plan's power already in every number."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from server.account.account import ToType
from server.db.daylight import WHOLE, lamp_days
from server.db.days import GroupDay
from server.db.light import Hung
from server.db.measured import lamp_names
from server.dose.clock import Clocked
from server.dose.setpoints import set_points
from server.models import Schedule


def set_now(
    hung: Sequence[Hung], schedule: Schedule | None, days: Sequence[GroupDay], on: date
) -> tuple[ToType, ...]:
    """Every number to type, lamp by lamp, channel by channel, time by time."""
    names = lamp_names(hung)
    if schedule is None or not days:
        return tuple(_by_hand(name, one) for name, one in zip(names, hung, strict=True))
    walls = tuple(replace(one, day=_clocked(schedule, one).wall_day(on)) for one in days)
    found: list[tuple[int, ToType]] = []
    for lamp in lamp_days(hung, walls, control=schedule.control):
        for place in lamp.places:
            found += [
                (
                    place,
                    ToType(
                        lamp=names[place],
                        channel="" if point.group == WHOLE else point.group,
                        time=point.time,
                        type_percent=round(point.percent * hung[place].row.power, 1),
                    ),
                )
                for point in set_points(lamp.fit.groups)
            ]
    return tuple(one for _, one in sorted(found, key=lambda pair: pair[0]))


def _by_hand(name: str, one: Hung) -> ToType:
    dims = one.stated.row.control != "clock_switch"
    percent = round(100 * one.row.power, 1) if dims else None
    return ToType(lamp=name, channel="", time="", type_percent=percent)


def _clocked(schedule: Schedule, group: GroupDay) -> Clocked:
    return Clocked(
        day=group.day,
        zone=schedule.time_zone,
        set_on=schedule.since,
        follows_clock=schedule.follows_clock,
    )
