"""What to set on each lamp, as pages show it: numbers to type, and the day drawn."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.account.typed_words import percent_words
from server.db.daylight import LampDay, lamp_days, together_named
from server.db.days import GroupDay
from server.db.light import Hung, lamp_labels
from server.db.typed_now import LampTyped, told_together
from server.dose.control import KIND_NAMES, WHOLE, apart, together
from server.dose.day import Course, course
from server.web.day_chart import DayCharts, day_charts
from server.web.times import read_time, shown_time

MOST_CURVES = 4


@dataclass(frozen=True, kw_only=True)
class PointLine:
    """One line to type into a lamp; `what` is its channel, empty where all stand alike."""

    what: str
    time: str
    percent: str
    then: str


@dataclass(frozen=True, kw_only=True)
class LampLines:
    """What to set on one lamp, or on several that are set alike."""

    name: str
    control: str
    dims: bool
    lines: tuple[PointLine, ...]
    lost: tuple[str, ...]
    kept: str


def clock_of(clock: str) -> Callable[[str], str]:
    """Writes a wall time HH:MM as the reader writes it."""
    return lambda hh_mm: shown_time(read_time(hh_mm), clock) if hh_mm else ""


def lamp_lines(lamps: Sequence[LampTyped], clock: str) -> tuple[LampLines, ...]:
    """What to type into each lamp; lamps that are set alike stand together."""
    return tuple(_lines(name, lamp, clock) for name, lamp in told_together(lamps))


def _lines(name: str, lamp: LampTyped, clock: str) -> LampLines:
    written = clock_of(clock)
    change = lamp.day.fit.dose_change if lamp.day else 0.0
    return LampLines(
        name=name,
        control=KIND_NAMES[lamp.control],
        dims=any(line.type_percent is not None for line in lamp.lines),
        lines=tuple(
            PointLine(
                what=line.channel,
                time=written(line.time) or "always",
                percent=percent_words(line),
                then="" if line.then in ("on", "off") else line.then,
            )
            for line in lamp.lines
        ),
        lost=lamp.day.fit.lost if lamp.day else (),
        kept="" if abs(change) >= 0.005 else "The dose is kept.",
    )


# Drawn


def percent_charts(
    hung: Sequence[Hung], days: Sequence[GroupDay], control: str, clock: str
) -> DayCharts:
    """What stands on each control through the day; what runs apart as curves of its own.

    The wanted day is drawn beside it where the control cannot run it.
    """
    lamps = lamp_days(hung, days, control=control)
    curves = [curve for lamp in lamps for curve in _curves(hung, lamp)]
    (name, first), *others = curves[:MOST_CURVES]
    wanted = _wanted(hung, lamps[0])
    if wanted is not None:
        others = [("wanted", wanted), *others[: MOST_CURVES - 2]]
    return day_charts(
        first,
        title=f"The day of {name}" if others else "The day of the lamps",
        others=tuple(others),
        y_name="% on the control",
        note="",
        clock=clock,
    )


def _curves(hung: Sequence[Hung], lamp: LampDay) -> list[tuple[str, Course]]:
    """Lamps of one day by what they are set to: each channel that runs apart, each power."""
    labels = lamp_labels(hung)
    powers: dict[float, list[int]] = {}
    for place in lamp.places:
        powers.setdefault(hung[place].row.power, []).append(place)
    found = []
    for power, places in powers.items():
        name = together_named(hung, [labels[place] for place in places], places)
        levels = hung[places[0]].levels
        for group in lamp.fit.groups:
            level = levels.get(group.name, 1.0)
            told = name if group.name == WHOLE else f"{name}, {group.name}"
            found.append((told, course(group.day, peak_ppfd=100 * power * level)))
    return found


def _wanted(hung: Sequence[Hung], lamp: LampDay) -> Course | None:
    if len(lamp.wanted) > 1 or apart(together(lamp.wanted), together(lamp.fit.groups)) <= 0.5:
        return None
    return course(lamp.wanted[0].day, peak_ppfd=100 * hung[lamp.places[0]].row.power)
