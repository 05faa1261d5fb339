"""The animals' day and the clock on the wall: time zones and daylight saving.

A schedule is typed in the wall time of one date (`set_on`). The animals' day stays tied to
the sun, that is to UTC: when clocks change, the wall times of the schedule move and the light
does not. A keeper who asks for it lets the day follow the clock instead.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, available_timezones

from server.dose.day import Course, Day, course, hours_at_or_above, shifted, until

DAY = timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Clocked:
    """A day as typed on a date in a zone; `follows_clock` lets it jump with daylight saving."""

    day: Day
    zone: str
    set_on: date
    follows_clock: bool = False

    def wall_day(self, on: date) -> Day:
        """The day in wall time on a date: what a clock that shows that date's time must hold."""
        if self.follows_clock:
            return self.day
        return shifted(self.day, hours=_offset_h(self.zone, on) - _offset_h(self.zone, self.set_on))


@dataclass(frozen=True, kw_only=True)
class ClockChange:
    """The date on which clocks change and by how many hours they go forward (or back, < 0)."""

    on: date
    forward_hours: float


def known_zone(zone: str) -> bool:
    """Whether the time zone exists."""
    return zone in available_timezones()


def _offset_h(zone: str, on: date) -> float:
    """Hours ahead of UTC at noon of a date [h]."""
    offset = datetime.combine(on, time(12), ZoneInfo(zone)).utcoffset()
    return (offset or timedelta()).total_seconds() / 3600


def clock_changes(zone: str, *, after: date, days: int = 366) -> tuple[ClockChange, ...]:
    """The dates within `days` after a date on which the zone's clocks change."""
    found, before = [], _offset_h(zone, after)
    for number in range(1, days + 1):
        on = after + number * DAY
        now = _offset_h(zone, on)
        if now != before:
            found.append(ClockChange(on=on, forward_hours=now - before))
        before = now
    return tuple(found)


def lit_hours_between(clocked: Clocked, start: datetime, end: datetime) -> float:
    """Hours of light [h] that really pass between two instants (both with a time zone).

    A lamp that follows the clock jumps with it: the hour that is skipped is not lived, the
    hour that comes twice is lived twice.
    """
    total, at = 0.0, start.astimezone(UTC)
    stop = end.astimezone(UTC)
    while at < stop:
        until_then = min(_next_turn(clocked, at), stop)
        total += _lit(clocked, at, until_then)
        at = until_then
    return total


def _next_turn(clocked: Clocked, at: datetime) -> datetime:
    """The next instant at which the lamp's clock may jump, at most a day ahead."""
    ahead = at + DAY
    if not clocked.follows_clock or _offset_at(clocked.zone, at) == _offset_at(clocked.zone, ahead):
        return ahead
    low, high = at, ahead
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) / 2
        changed = _offset_at(clocked.zone, middle) != _offset_at(clocked.zone, at)
        low, high = (low, middle) if changed else (middle, high)
    return high.replace(microsecond=0)


def _offset_at(zone: str, at: datetime) -> timedelta:
    return at.astimezone(ZoneInfo(zone)).utcoffset() or timedelta()


def _lit(clocked: Clocked, start: datetime, end: datetime) -> float:
    """Lit hours between two instants with one offset, at most a day apart."""
    zone = ZoneInfo(clocked.zone)
    if clocked.follows_clock:
        wall = start.astimezone(zone)
    else:
        wall = start + timedelta(hours=_offset_h(clocked.zone, clocked.set_on))
    hour = wall.hour + wall.minute / 60 + (wall.second + wall.microsecond / 1e6) / 3600
    from_here = course(shifted(clocked.day, hours=-hour), peak_ppfd=100)
    length = (end - start).total_seconds() / 3600
    return _any_light(until(from_here, hour=length) if length < 24 else from_here)


def _any_light(one: Course) -> float:
    return hours_at_or_above(one, 1e-6)
