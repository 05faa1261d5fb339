"""A calendar as a strip: days across, one row for each thing that is lent."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.drawing.marks import Words, text_width
from server.drawing.room import Box

LEFT, HEAD, ROW = 110.0, 40.0, 34.0
"""Room for the row's name, for months and days, and for one row [SVG units]."""


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Days in a row, first and last included. kind becomes a class of the drawing:
    "taken", "mine", "offered", "resting", "late"."""

    row: int
    first: date
    last: date
    words: str
    kind: str = "taken"


@dataclass(frozen=True, kw_only=True)
class DrawnStretch:
    """A stretch in SVG units; goes_on: it began before or ends after the days shown."""

    box: Box
    kind: str
    full_words: str
    words: Words | None
    begins_before: bool
    ends_after: bool


@dataclass(frozen=True, kw_only=True)
class DayTick:
    """A day's number over its column; strong on Mondays and the first of a month."""

    at: float
    words: str
    strong: bool


@dataclass(frozen=True, kw_only=True)
class Strip:
    """A finished strip, ready for templates/drawing/strip.svg."""

    width: float
    height: float
    title: str
    description: str
    names: tuple[Words, ...]
    months: tuple[Words, ...]
    days: tuple[DayTick, ...]
    weekends: tuple[Box, ...]
    rows: tuple[float, ...]
    left: float
    right: float
    bottom: float
    today: float | None
    stretches: tuple[DrawnStretch, ...]


def strip(
    *,
    width: float,
    title: str,
    description: str,
    first: date,
    last: date,
    rows: Sequence[str],
    stretches: Sequence[Stretch],
    today: date | None = None,
) -> Strip:
    """Days from first to last across, a row for each name. Stretches are cut at both ends."""
    count = (last - first).days + 1
    if count < 1:
        raise ValueError("a calendar strip needs at least one day")
    step = (width - LEFT - 8) / count
    every = [first + timedelta(days=n) for n in range(count)]
    bottom = HEAD + ROW * len(rows)

    def at(day: date) -> float:
        return round(LEFT + (day - first).days * step, 1)

    return Strip(
        width=width,
        height=bottom + 8,
        title=title,
        description=description,
        names=tuple(
            Words(x=0, y=HEAD + ROW * n + 22, anchor="start", lines=(_cut(name, LEFT - 8),))
            for n, name in enumerate(rows)
        ),
        months=_months(every, at, LEFT + count * step),
        days=_day_ticks(every, at, step),
        weekends=tuple(
            Box(left=at(day), top=HEAD - 4, width=round(step, 1), height=bottom - HEAD + 4)
            for day in every
            if day.weekday() >= 5
        ),
        rows=tuple(HEAD + ROW * n for n in range(len(rows) + 1)),
        left=LEFT,
        right=round(LEFT + count * step, 1),
        bottom=bottom,
        today=at(today) + round(step / 2, 1) if today and first <= today <= last else None,
        stretches=tuple(
            _stretch(one, first, last, at, step)
            for one in stretches
            if one.last >= first and one.first <= last
        ),
    )


def _months(every: Sequence[date], at: Callable[[date], float], right: float) -> tuple[Words, ...]:
    """Names of months over their first day shown, where there is room before the next name."""
    starts = [day for day in every if day == every[0] or day.day == 1]
    ends = [*(at(day) for day in starts[1:]), right]
    return tuple(
        Words(x=at(day) + 2, y=14, anchor="start", lines=(f"{day:%B}",))
        for day, end in zip(starts, ends, strict=True)
        if text_width([f"{day:%B}"]) + 8 <= end - at(day)
    )


def _day_ticks(
    every: Sequence[date], at: Callable[[date], float], step: float
) -> tuple[DayTick, ...]:
    """Every day's number where it fits, otherwise Mondays and the first of a month only."""
    all_fit = step >= 19
    return tuple(
        DayTick(at=round(at(day) + step / 2, 1), words=str(day.day), strong=day.weekday() == 0)
        for day in every
        if all_fit or day.weekday() == 0
    )


def _stretch(
    one: Stretch, first: date, last: date, at: Callable[[date], float], step: float
) -> DrawnStretch:
    start, end = max(one.first, first), min(one.last, last)
    box = Box(
        left=at(start) + 1,
        top=HEAD + ROW * one.row + 4,
        width=round(at(end) + step - at(start) - 2, 1),
        height=ROW - 8,
    )
    shown = _cut(one.words, box.width - 8)
    words = Words(x=box.left + 5, y=box.top + 17, anchor="start", lines=(shown,))
    return DrawnStretch(
        box=box,
        kind=one.kind,
        full_words=one.words,
        words=words if len(shown) > 1 else None,
        begins_before=one.first < first,
        ends_after=one.last > last,
    )


def _cut(words: str, room: float) -> str:
    """Words shortened to their room with an ellipsis."""
    while words and text_width([words]) > room:
        words = words[:-2].rstrip() + "…" if len(words) > 2 else ""
    return words
