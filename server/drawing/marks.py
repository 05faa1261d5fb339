"""Marks that stand in a drawing: things with a verdict, and printed readings (soundings).

A verdict is said by shape and by word: a triangle pointing up is above what is wanted, one
pointing down is below, a circle is within, a square is not known.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from server.drawing import path
from server.drawing.axes import LETTER
from server.drawing.room import Box, Room

Verdict = Literal["below", "within", "above", "unknown"]

Anchor = Literal["start", "middle", "end"]

SIZE = 22.0
"""A mark's width [SVG units]."""
LINE = 14.0
"""Distance of two lines of words [SVG units]."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A lettered thing at a place [SVG units] with its verdict and a line or two of words."""

    x: float
    y: float
    letter: str
    verdict: Verdict
    words: tuple[str, ...] = ()
    leader: str = ""
    """A line from the true place, where the mark had to stand beside it."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A number at its place [SVG units]. measured: printed upright, otherwise computed, italic."""

    x: float
    y: float
    words: str
    measured: bool = True


@dataclass(frozen=True, kw_only=True)
class Words:
    """Lines of words at a place [SVG units]; anchor is SVG's text-anchor."""

    x: float
    y: float
    anchor: Anchor
    lines: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PlacedMark:
    """A mark and where its words found room (None: nowhere, the table beside has them)."""

    mark: Mark
    words: Words | None


@dataclass(frozen=True, kw_only=True)
class Sounding:
    """A reading and where its number found room (None: only its tick is drawn)."""

    reading: Reading
    words: Words | None


def text_width(lines: Sequence[str]) -> float:
    """About how wide the widest line is [SVG units]."""
    return max((len(line) for line in lines), default=0) * LETTER * 0.58


def _beside(*, x: float, y: float, lines: tuple[str, ...], away: float) -> list[tuple[Box, Words]]:
    """Places for words around a point: right, left, above, below."""
    width, height = text_width(lines) + 2, LINE * len(lines)
    middle = y - height / 2 + LINE - 3
    above, below = y - away - height, y + away
    places: tuple[tuple[float, float, float, float, Anchor], ...] = (
        (x + away, y - height / 2, x + away + 1, middle, "start"),
        (x - away - width, y - height / 2, x - away - 1, middle, "end"),
        (x - width / 2, above, x, above + LINE - 3, "middle"),
        (x - width / 2, below, x, below + LINE - 3, "middle"),
    )
    return [
        (
            Box(left=left, top=top, width=width, height=height),
            Words(x=round(at, 1), y=round(base, 1), anchor=anchor, lines=lines),
        )
        for left, top, at, base, anchor in places
    ]


def _found(places: list[tuple[Box, Words]], room: Room) -> Words | None:
    number = room.first(tuple(box for box, _ in places))
    return None if number is None else places[number][1]


def stand_marks(marks: Sequence[Mark], room: Room) -> tuple[Mark, ...]:
    """Marks where they stand; one that would hide another stands beside it, on a leader."""
    stood: list[Box] = []
    found = []
    for mark in marks:
        at = next((place for place in _around(mark, room) if _clear(place, stood)), mark)
        box = Box.around(x=at.x, y=at.y, width=SIZE, height=SIZE)
        stood.append(box)
        room.hold(box)
        found.append(at)
    return tuple(found)


def _clear(mark: Mark, stood: Sequence[Box]) -> bool:
    """Whether a mark shows: marks may touch, but none may cover the middle of another."""
    core = Box.around(x=mark.x, y=mark.y, width=SIZE * 0.6, height=SIZE * 0.6)
    return not any(core.meets(box) for box in stood)


def _around(mark: Mark, room: Room) -> Iterator[Mark]:
    """The mark's own place, then places around it inside the room, nearest first."""
    yield mark
    inside = room.inside
    for away in (SIZE, 2 * SIZE):
        for dx, dy in ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1)):
            x, y = round(mark.x + dx * away, 1), round(mark.y + dy * away, 1)
            if inside.left <= x <= inside.right and inside.top <= y <= inside.bottom:
                yield replace(mark, x=x, y=y, leader=path.lines([(mark.x, mark.y, x, y)]))


def place_marks(marks: Sequence[Mark], room: Room) -> tuple[PlacedMark, ...]:
    """Give the words of every mark that stands the first free place beside it."""
    return tuple(PlacedMark(mark=mark, words=_mark_words(mark, room)) for mark in marks)


def _mark_words(mark: Mark, room: Room) -> Words | None:
    """All lines if they find room, else the first line alone, else none."""
    for lines in dict.fromkeys((mark.words, mark.words[:1])):
        found = _found(_beside(x=mark.x, y=mark.y, lines=lines, away=13), room) if lines else None
        if found:
            return found
    return None


def place_soundings(readings: Sequence[Reading], room: Room) -> tuple[Sounding, ...]:
    """Give every reading its tick, then its number the first free place: above it, if it can."""
    for reading in readings:
        room.hold(Box.around(x=reading.x, y=reading.y, width=7, height=7))
    return tuple(Sounding(reading=one, words=_number(one, room)) for one in readings)


def _number(reading: Reading, room: Room) -> Words | None:
    right, left, above, below = _beside(x=reading.x, y=reading.y, lines=(reading.words,), away=5)
    return _found([above, right, left, below], room)
