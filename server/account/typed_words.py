"""Numbers to type in few words, for cards, feeds and steps of a way up."""

from collections.abc import Callable, Sequence
from itertools import pairwise

from server.account.account import ToType
from server.account.to_type import brightest
from server.wording import figures

Clock = Callable[[str], str]
"""A wall time HH:MM as its reader writes it."""


def percent_words(one: ToType) -> str:
    """What is typed at one time: a percentage, or on and off."""
    if one.type_percent is None or one.then == "off":
        return one.then or "on"
    return typed_percent(one.type_percent)


def typed_percent(percent: float) -> str:
    """A number of a control as it is typed: 31 %, 15.5 %."""
    return f"{figures.number(percent, 1).removesuffix('.0')} %"


def in_short(lines: Sequence[ToType], clock: Clock = str) -> str:
    """The most that is typed into each channel of a lamp, and when it is lit."""
    channels = dict.fromkeys(line.channel for line in lines)
    each = {name: [line for line in lines if line.channel == name] for name in channels}
    spans = {name: _span(own, clock) for name, own in each.items()}
    if len(set(spans.values())) == 1:
        most = figures.listed([_most(name, own) for name, own in each.items()])
        return ", ".join(part for part in (most, next(iter(spans.values()))) if part)
    return "; ".join(
        ", ".join(part for part in (_most(name, own), spans[name]) if part)
        for name, own in each.items()
    )


def _most(channel: str, lines: Sequence[ToType]) -> str:
    percent = brightest(lines)
    words = "on" if percent is None else typed_percent(percent)
    return f"{channel} {words}" if channel else words


def _span(lines: Sequence[ToType], clock: Clock) -> str:
    """From when to when there is light; nothing for a lamp that stands as it is."""
    timed = [line for line in lines if line.time]
    switched = (
        [line.time for line in timed if line.then == "on"],
        [line.time for line in timed if line.then == "off"],
    )
    if all(switched):
        return f"{clock(switched[0][0])} to {clock(switched[1][-1])}"
    turns = list(pairwise([*timed, *timed[:1]]))
    begins = [a.time for a, b in turns if not a.type_percent and b.type_percent]
    ends = [b.time for a, b in turns if a.type_percent and not b.type_percent]
    return f"{clock(begins[0])} to {clock(ends[-1])}" if begins and ends else ""
