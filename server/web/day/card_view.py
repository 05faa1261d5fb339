"""What the card for the cabinet door shows: heights, what to type now, each step of a way up."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from server.account.account import ToType
from server.account.typed_words import in_short
from server.db.moments import Moment
from server.db.typed_now import StepTyped, Typed, on_the_wall, told_together
from server.dose.chores import Due
from server.dose.clock import clock_changes
from server.models import Club as ClubRow
from server.models import Member, Tank
from server.web import filters
from server.web.day.view import way_words
from server.web.day_chart import DayCharts
from server.web.lamp_lines import LampLines, clock_of, lamp_lines, percent_charts
from server.web.times import NotATime, read_time, shown_time


@dataclass(frozen=True, kw_only=True)
class CardLamp:
    """What to set on one lamp: (channel, time, time after the clocks change, number) by line."""

    name: str
    control: str
    height: str
    lines: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, kw_only=True)
class CardStep:
    """One step of a way up: when, and what is then typed into each lamp."""

    number: int
    on: str
    state: str
    lamps: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class CardView:
    """The tank's card for the cabinet door."""

    id: int
    name: str
    club: str
    printed: str
    lamps: tuple[CardLamp, ...]
    way: str
    steps: tuple[CardStep, ...]
    changes: str
    follows: bool
    zone: str
    since: str
    next_check: str
    charts: DayCharts


def card(
    who: Member,
    tank: Tank,
    now: Moment,
    typed: Typed,
    club: ClubRow,
    today: date,
    next_check: str,
) -> CardView | None:
    """The card to tape inside the cabinet; None where no day runs."""
    if now.schedule is None or not now.hung or not now.days:
        return None
    walls = on_the_wall(now.schedule, now.days, today)
    change = next(iter(clock_changes(now.schedule.time_zone, after=today)), None)
    forward = change.forward_hours if change and not now.schedule.follows_clock else 0.0
    heights = [
        filters.length(lamp.height_cm, who.length_unit) for _, lamp in told_together(typed.now)
    ]
    return CardView(
        id=tank.id,
        name=tank.name,
        club=club.name,
        printed=filters.day(today),
        lamps=tuple(
            _card_lamp(lamp, height, forward, who.clock)
            for lamp, height in zip(lamp_lines(typed.now, who.clock), heights, strict=True)
        ),
        way=way_words(typed),
        steps=tuple(_card_step(one, typed, who) for one in typed.steps),
        changes=filters.day(change.on) if change else "",
        follows=now.schedule.follows_clock,
        zone=now.schedule.time_zone,
        since=filters.day(now.changed_on or today),
        next_check=next_check,
        charts=percent_charts(now.hung, walls, now.control, who.clock),
    )


def _card_step(one: StepTyped, typed: Typed, who: Member) -> CardStep:
    step, written = one.step, clock_of(who.clock)
    if step.done_on is not None:
        state = f"set on {filters.day(step.done_on)}"
    elif typed.due == step:
        state = "now"
    else:
        state = "held" if typed.way and typed.way.state == "held" else ""
    return CardStep(
        number=step.number,
        on=filters.day(step.due_on),
        state=state,
        lamps=tuple(
            (name, _step_words(lamp.lines, lamp.height_cm, who.length_unit, written))
            for name, lamp in told_together(one.lamps)
        ),
    )


def _step_words(
    lines: Sequence[ToType], height_cm: float, unit: str, written: Callable[[str], str]
) -> str:
    return f"{in_short(lines, written)}; {filters.length(height_cm, unit)} above the water"


def next_check(dues: Sequence[Due]) -> str:
    """The next time somebody should look after the light."""
    if not dues:
        return ""
    first = dues[0]
    when = "now" if first.days_late >= 0 else f"on {filters.day(first.due_on)}"
    return f"{first.chore.name.lower()} {when}"


def _card_lamp(lamp: LampLines, height: str, forward_hours: float, clock: str) -> CardLamp:
    """Times as they are now, beside those after the next change of clocks."""

    def then(time: str) -> str:
        try:
            return shown_time(read_time(time) + forward_hours, clock)
        except NotATime:
            return time

    return CardLamp(
        name=lamp.name,
        control=lamp.control,
        height=height,
        lines=tuple((line.what, line.time, then(line.time), line.percent) for line in lamp.lines),
    )
