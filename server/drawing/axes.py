"""Axes: ticks in the reader's unit on lengths that are kept in another."""

from dataclasses import dataclass

from server.drawing import scale

LETTER = 12.0
"""Letter size [SVG units], the same in wide and narrow drawings: a phone gets a narrower
chart, never a shrunken one."""


@dataclass(frozen=True, kw_only=True)
class Unit:
    """The reader's unit: its short name and how many kept units one of it is."""

    name: str
    size: float


CENTIMETRES = Unit(name="cm", size=1.0)
INCHES = Unit(name="in", size=2.54)


@dataclass(frozen=True, kw_only=True)
class Tick:
    """A tick at a place along its axis [SVG units] with its words."""

    at: float
    words: str


@dataclass(frozen=True, kw_only=True)
class Axis:
    """Ticks along one side of a plot, and the axis's name."""

    ticks: tuple[Tick, ...]
    name: str


def measured(*, along: scale.Scale, unit: Unit, name: str, most: int) -> Axis:
    """An axis whose round numbers are round in the reader's unit."""
    values = scale.ticks(low=along.low / unit.size, high=along.high / unit.size, most=most)
    return Axis(
        ticks=tuple(
            Tick(at=along.at(value * unit.size), words=scale.plain(value)) for value in values
        ),
        name=name,
    )


def named(*, along: scale.Scale, places: tuple[tuple[float, str], ...], name: str) -> Axis:
    """An axis with ticks of the caller's choosing: (value, words)."""
    return Axis(
        ticks=tuple(Tick(at=along.at(value), words=words) for value, words in places), name=name
    )


def room_for(*, length: float, widest: float) -> int:
    """How many ticks stand side by side without touching [count], at least one part."""
    return max(1, int(length // widest))
