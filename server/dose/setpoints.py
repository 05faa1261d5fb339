"""The points of a lamp's day, channel by channel, time by time, in percent of the power set."""

from dataclasses import dataclass
from itertools import pairwise

from server.dose.control import ChannelDay

RISKY_FIRST = ("=", "+", "-", "@", "\t", "\0")
"""A cell that starts so may be run as a formula by a spreadsheet."""


@dataclass(frozen=True, kw_only=True)
class SetPoint:
    """One line to type: at `time` (local, 24 h) the channel group stands at `percent`.

    `then` says how it goes on from here: "hold", "rise", "fall" or "jump".
    """

    group: str
    time: str
    percent: float
    then: str


def clock_time(hour: float) -> str:
    """HH:MM of an hour of the day, to the nearest minute."""
    minute = round(hour * 60) % 1440
    return f"{minute // 60:02d}:{minute % 60:02d}"


def set_points(groups: tuple[ChannelDay, ...]) -> tuple[SetPoint, ...]:
    """Every point of every channel group, in the order they are typed in."""
    return tuple(point for group in groups for point in _of_group(group))


def _of_group(group: ChannelDay) -> list[SetPoint]:
    points = sorted(
        zip(group.day.hours, range(len(group.day.hours)), group.day.levels, strict=True),
        key=lambda point: (point[0], _turn(point[1], group)),
    )
    following = [*points[1:], points[0]]
    return [
        SetPoint(
            group=group.name,
            time=clock_time(hour),
            percent=level,
            then=_then(hour, level, next_hour, next_level),
        )
        for (hour, _, level), (next_hour, _, next_level) in zip(points, following, strict=True)
    ]


def _turn(index: int, group: ChannelDay) -> int:
    """Order of points at one time; a step across the list's end keeps last before first."""
    hours = group.day.hours
    wraps = len(hours) > 1 and hours[0] == hours[-1]
    return -1 if wraps and index == len(hours) - 1 else index


def _then(hour: float, level: float, next_hour: float, next_level: float) -> str:
    if next_level == level:
        return "hold"
    if next_hour == hour:
        return "jump"
    return "rise" if next_level > level else "fall"


def switch_times(group: ChannelDay) -> tuple[tuple[str, str], ...]:
    """For a control that only switches: (on, off) times; empty for a lamp never or always on."""
    points = _of_group(group)
    jumps = [
        (before.time, after.percent > before.percent)
        for before, after in pairwise(points)
        if before.time == after.time and before.percent != after.percent
    ]
    turned = [*jumps[1:], *jumps[:1]]
    return tuple((at, off) for (at, is_on), (off, _) in zip(jumps, turned, strict=True) if is_on)
