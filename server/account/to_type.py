"""The number to type: what goes into each lamp's control, the plan's power in it exactly once.

Power, day and channel are three factors of one dimmer. Whoever reads two of them side by side
types the wrong one, so every page, card, file and feed prints their product from here.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.account.account import ToType
from server.dose.control import WHOLE, ChannelDay, Kind
from server.dose.setpoints import RISKY_FIRST, set_points, switch_times

SWITCHES: tuple[Kind, ...] = ("by_hand", "clock_switch")


@dataclass(frozen=True, kw_only=True)
class LampSet:
    """One lamp as it is set, its day in wall time.

    power: 0–1, the plan's, with any step of the way up already in it. channels: its channel
    groups by name; levels: 0–1 by channel on top of power, absent means 1. dims: whether it can
    be dimmed at all. groups: what its control runs; empty where it has no day.
    """

    name: str
    power: float
    channels: tuple[str, ...]
    levels: Mapping[str, float]
    dims: bool
    control: Kind
    groups: tuple[ChannelDay, ...]


def to_type(lamp: LampSet) -> tuple[ToType, ...]:
    """Every number of one lamp, channel by channel, in the order of typing.

    Power times channel level times the day's level, in percent of the lamp's own full light. A
    lamp that does not dim has times only.
    """
    return tuple(one for dial in _dials(lamp) for one in _of_dial(lamp, dial))


@dataclass(frozen=True, kw_only=True)
class _Dial:
    """One thing to set: a channel, or all of the lamp where its channels stand alike."""

    channel: str
    full_percent: float
    group: ChannelDay | None


def _dials(lamp: LampSet) -> list[_Dial]:
    if not lamp.groups or [group.name for group in lamp.groups] == [WHOLE]:
        group = lamp.groups[0] if lamp.groups else None
        names = _apart(lamp) if lamp.dims else ("",)
        return [_dial(lamp, name, group) for name in names]
    return [_dial(lamp, group.name, group) for group in lamp.groups]


def _apart(lamp: LampSet) -> tuple[str, ...]:
    """The channels that need numbers of their own; one nameless dial where all stand alike."""
    levels = {lamp.levels.get(name, 1.0) for name in lamp.channels}
    return lamp.channels if len(levels) > 1 else ("",)


def _dial(lamp: LampSet, channel: str, group: ChannelDay | None) -> _Dial:
    first = channel or (lamp.channels[0] if lamp.channels else "")
    level = lamp.levels.get(first, 1.0)
    return _Dial(channel=channel, full_percent=100 * lamp.power * level, group=group)


def _of_dial(lamp: LampSet, dial: _Dial) -> list[ToType]:
    if dial.group is None:
        return [_line(lamp, dial, "", 100.0)]
    if lamp.control in SWITCHES or not lamp.dims:
        return _switched(lamp, dial, dial.group)
    return [
        _line(lamp, dial, point.time, point.percent, then=point.then)
        for point in set_points((dial.group,))
    ]


def _switched(lamp: LampSet, dial: _Dial, group: ChannelDay) -> list[ToType]:
    """On and off; the dimmer of a lamp that has one is set once, for as long as it is on."""
    top = max(group.day.levels)
    pairs = switch_times(group)
    if not pairs:
        return [_line(lamp, dial, "", top, then="on" if top else "off")]
    lines = []
    for on, off in pairs:
        lines += [
            _line(lamp, dial, on, top, then="on"),
            _line(lamp, dial, off, 0.0, then="off"),
        ]
    return lines


def _line(lamp: LampSet, dial: _Dial, time: str, level: float, *, then: str = "") -> ToType:
    percent = round(dial.full_percent * level / 100, 1)
    return ToType(
        lamp=lamp.name,
        channel=dial.channel,
        time=time,
        type_percent=percent if lamp.dims else None,
        then=then,
    )


def brightest(lines: Iterable[ToType]) -> float | None:
    """The highest number of some lines; None where there is nothing to type but times."""
    return max((one.type_percent for one in lines if one.type_percent is not None), default=None)


def as_csv(lamps: Sequence[tuple[str, Sequence[ToType]]]) -> str:
    """Numbers to type as CSV (RFC 4180); each lamp's comes with the name of its control."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["lamp", "channel_group", "local_time", "type_percent", "then", "control"])
    for control, lines in lamps:
        writer.writerows(_cells(control, one) for one in lines)
    return out.getvalue()


def _cells(control: str, one: ToType) -> list[str]:
    percent = "" if one.type_percent is None else f"{one.type_percent:g}"
    return [
        _plain(one.lamp), _plain(one.channel or WHOLE), one.time, percent, one.then, control,
    ]  # fmt: skip


def _plain(text: str) -> str:
    return f"'{text}" if text.startswith(RISKY_FIRST) else text
