"""What the card for the cabinet door shows: heights, powers, times now and from the next change."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.db.daylight import lamp_days
from server.db.moments import Moment
from server.dose.chores import Due
from server.dose.clock import clock_changes
from server.models import Club, Member, Tank
from server.web import filters
from server.web.day.lit import on_the_wall
from server.web.day.view import LampLines, lamp_lines, percent_charts
from server.web.dose.day_chart import DayCharts
from server.web.dose.times import read_time, shown_time


@dataclass(frozen=True, kw_only=True)
class CardLamp:
    """What to set on one lamp model: (channel or on/off, time, time after the clocks change,
    level) line by line."""

    name: str
    control: str
    lines: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, kw_only=True)
class CardView:
    """The tank's card for the cabinet door."""

    id: int
    name: str
    club: str
    printed: str
    lamps: tuple[CardLamp, ...]
    hung: tuple[tuple[str, str, str], ...]
    changes: str
    follows: bool
    zone: str
    since: str
    next_check: str
    charts: DayCharts


def card(
    who: Member, tank: Tank, now: Moment, club: Club, today: date, next_check: str
) -> CardView | None:
    """The card to tape inside the cabinet; None where no day runs."""
    if now.schedule is None or not now.hung or not now.days:
        return None
    walls = on_the_wall(now.schedule, now.days, today)
    change = next(iter(clock_changes(now.schedule.time_zone, after=today)), None)
    forward = change.forward_hours if change and not now.schedule.follows_clock else 0.0
    lamps = lamp_lines(lamp_days(now.hung, walls, control=now.control), who.clock)
    return CardView(
        id=tank.id,
        name=tank.name,
        club=club.name,
        printed=filters.day(today),
        lamps=tuple(_card_lamps(lamps, forward, who.clock)),
        hung=tuple(
            (
                one.stated.row.name,
                filters.length(one.row.height_cm, who.length_unit),
                filters.percent(one.row.power),
            )
            for one in now.hung
        ),
        changes=filters.day(change.on) if change else "",
        follows=now.schedule.follows_clock,
        zone=now.schedule.time_zone,
        since=filters.day(now.changed_on or today),
        next_check=next_check,
        charts=percent_charts(now.hung, walls, now.control, who.clock),
    )


def next_check(dues: Sequence[Due]) -> str:
    """The next time somebody should look after the light."""
    if not dues:
        return ""
    first = dues[0]
    when = "now" if first.days_late >= 0 else f"on {filters.day(first.due_on)}"
    return f"{first.chore.name.lower()} {when}"


def _card_lamps(lamps: Sequence[LampLines], forward_hours: float, clock: str) -> list[CardLamp]:
    """Times as they are now, beside those after the next change of clocks."""

    def then(time: str) -> str:
        return shown_time(read_time(time) + forward_hours, clock)

    return [
        CardLamp(
            name=lamp.name,
            control=lamp.control,
            lines=(
                *(
                    (word, time, then(time), "")
                    for pair in lamp.switches
                    for word, time in zip(("on", "off"), pair, strict=True)
                ),
                *((line.group, line.time, then(line.time), line.percent) for line in lamp.lines),
            ),
        )
        for lamp in lamps
    ]
