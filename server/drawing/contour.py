"""Contours of a field: filled areas and smooth lines with their numbers set into them.

The field is refined by cubic interpolation before it is cut, and the pieces of its outlines
are resampled evenly and drawn as curves, so no corner of a cell shows. Lines and filled areas
come from the same pieces: an edge of a tint and its line are one curve.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import contourpy
import numpy as np
import numpy.typing as npt

from server.drawing import path, scale
from server.drawing.field import Field
from server.drawing.room import Box, Room

Array = npt.NDArray[np.float64]

STEP = 9.5
"""Distance between the points of a drawn curve [SVG units]."""
SPECK = 60.0
"""Closed curves shorter than this are specks that could be taken for marks [SVG units]."""

NAMELESS = 160.0
"""Closed fine lines shorter than this are left out where their number finds no room."""


@dataclass(frozen=True, kw_only=True)
class Area:
    """All places at or above the level number `rank` (1 for the lowest), as path words."""

    rank: int
    d: str


@dataclass(frozen=True, kw_only=True)
class Line:
    """One piece of a contour line. sure: whether the field is well known there."""

    level: float
    major: bool
    sure: bool
    d: str


@dataclass(frozen=True, kw_only=True)
class Label:
    """A level's number in its line: middle [SVG units], turn [degrees], words."""

    x: float
    y: float
    turn: float
    words: str


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A stretch of contour between two walls, or a closed loop: evenly spaced points."""

    points: Array
    closed: bool

    @property
    def length(self) -> float:
        """Length [SVG units]."""
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())


# ---------- cutting ----------


@dataclass(frozen=True, kw_only=True)
class Cut:
    """One level cut out of a field: the area at or above it, and the pieces of its line."""

    d: str
    pieces: tuple[Piece, ...]


def cut(of: Field, level: float) -> Cut:
    """Everything at or above a level."""
    generator = contourpy.contour_generator(
        of.x, of.y, of.values, name="serial", fill_type="OuterOffset"
    )
    return _cut(generator, of.box, level)


def _cut(generator: contourpy.ContourGenerator, box: Box, level: float) -> Cut:
    words: list[str] = []
    pieces: list[Piece] = []
    for points, offsets in zip(*generator.filled(level, math.inf), strict=True):
        for start, end in pairwise(offsets):
            ring_words, ring_pieces = _ring(points[start:end], box)
            words.append(ring_words)
            pieces.extend(ring_pieces)
    return Cut(d="".join(words), pieces=tuple(pieces))


def _sides(points: Array, box: Box) -> npt.NDArray[np.int64]:
    """Which walls each point touches, one bit each."""
    near = 1e-6
    x, y = points[:, 0], points[:, 1]
    touching = (x < box.left + near, x > box.right - near, y < box.top + near)
    bits = sum(flag.astype(np.int64) << n for n, flag in enumerate(touching))
    return bits + ((y > box.bottom - near).astype(np.int64) << 3)


def _ring(ring: Array, box: Box) -> tuple[str, list[Piece]]:
    """One closed outline as path words, and the parts of it that are contour, not wall."""
    sides = _sides(ring, box)
    wall = (sides[:-1] & sides[1:]) != 0
    if not wall.any():
        piece = _even(ring, closed=True)
        return (path.curve(piece.points[:-1], closed=True), [piece]) if piece else ("", [])
    turn = int(np.argmax(wall))  # begin on a wall, so that no piece is cut in two
    points = np.concatenate([ring[turn:-1], ring[: turn + 1]])
    wall = np.concatenate([wall[turn:], wall[:turn]])
    return _along_walls(points, wall)


def _along_walls(points: Array, wall: npt.NDArray[np.bool_]) -> tuple[str, list[Piece]]:
    words: list[str] = [path.polyline(points[:1])]
    pieces: list[Piece] = []
    for start, end, is_wall in _runs(wall):
        stretch = points[start : end + 1]
        piece = None if is_wall else _even(stretch, closed=False)
        if piece:
            words.append(path.onward(piece.points))
            pieces.append(piece)
        else:
            words.append(path.through(_corners(stretch)))
    return "".join(words) + "z", pieces


def _runs(flags: npt.NDArray[np.bool_]) -> Iterator[tuple[int, int, bool]]:
    """Stretches of equal flags: first and one past the last index, and the flag."""
    edges = [0, *(np.flatnonzero(np.diff(flags)) + 1).tolist(), len(flags)]
    for start, end in pairwise(edges):
        yield start, end, bool(flags[start])


def _corners(stretch: Array) -> Array:
    """Where a stretch bends, and its end: all it needs besides its start."""
    steps = np.diff(stretch, axis=0)
    bends = np.abs(steps[1:, 0] * steps[:-1, 1] - steps[1:, 1] * steps[:-1, 0]) > 1e-9
    return stretch[[*(np.flatnonzero(bends) + 1).tolist(), len(stretch) - 1]]


def _even(points: Array, *, closed: bool) -> Piece | None:
    """A stretch resampled to even steps and lightly smoothed; None for a closed speck."""
    along = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T).cumsum()])
    if closed and along[-1] < SPECK:
        return None
    count = max(7 if closed else 3, round(float(along[-1]) / STEP) + 1)
    at = np.linspace(0, along[-1], count)
    even = np.stack([np.interp(at, along, points[:, n]) for n in (0, 1)], axis=1)
    return Piece(points=_smooth(even, closed=closed), closed=closed)


def _smooth(points: Array, *, closed: bool) -> Array:
    """Each point moved half-way to the middle of its neighbours; open ends stay."""
    middle = points.copy()
    middle[1:-1] = (points[:-2] + 2 * points[1:-1] + points[2:]) / 4
    if closed:
        middle[0] = middle[-1] = (points[-2] + 2 * points[0] + points[1]) / 4
    return middle


# ---------- lines with their numbers ----------


def label_width(words: str) -> float:
    """Room a label needs in its line [SVG units]."""
    return 7.0 * len(words) + 6.0


def place_label(piece: Piece, words: str, room: Room) -> tuple[int, Label] | None:
    """Where a line can carry its number: straight enough, free, and inside the plot.

    Returns the index of the middle point with the label, or None where there is no such place.
    """
    half = math.ceil(label_width(words) / 2 / STEP)
    points = piece.points
    if len(points) < 2 * half + 3:
        return None
    middles = np.arange(half, len(points) - half)
    chords = points[middles + half] - points[middles - half]
    straight = np.hypot(*chords.T) / (2 * half * STEP)
    for at in np.argsort(-np.round(straight, 2), kind="stable"):
        if straight[at] < 0.8:
            return None
        label = _label(points[middles[at]], chords[at], words)
        if room.take(_around(label, chords[at])):
            return int(middles[at]), label
    return None


def _label(at: Array, chord: Array, words: str) -> Label:
    turn = math.degrees(math.atan2(chord[1], chord[0]))
    upright = turn - 180 if turn > 90 else turn + 180 if turn <= -90 else turn
    return Label(
        x=round(float(at[0]), 1), y=round(float(at[1]), 1), turn=round(upright, 1), words=words
    )


def _around(label: Label, chord: Array) -> Box:
    """The upright box around a turned label."""
    along = label_width(label.words)
    share = np.abs(chord) / max(float(np.hypot(*chord)), 1e-9)
    width = along * share[0] + 12 * share[1]
    height = along * share[1] + 12 * share[0]
    return Box.around(x=label.x, y=label.y, width=float(width), height=float(height))


def without_gap(piece: Piece, middle: int, words: str) -> list[Piece]:
    """The line on both sides of its number."""
    half = math.ceil(label_width(words) / 2 / STEP)
    points = piece.points
    if piece.closed:
        ring = np.concatenate([points[middle + half : -1], points[: middle - half + 1]])
        return [Piece(points=ring, closed=False)] if len(ring) > 1 else []
    sides = (points[: middle - half + 1], points[middle + half :])
    return [Piece(points=side, closed=False) for side in sides if len(side) > 1]


def drawn(
    piece: Piece, *, level: float, major: bool, doubt: Field | None, limit: float
) -> list[Line]:
    """A piece as lines, parted where the doubt passes the limit."""
    if doubt is None:
        return [_line(piece.points, piece.closed, level, major, True)]
    sure = doubt.at(piece.points) <= limit
    if sure.all() or not sure.any():
        return [_line(piece.points, piece.closed, level, major, bool(sure[0]))]
    return [
        _line(piece.points[start : end + 1], False, level, major, flag)
        for start, end, flag in _runs(sure)
        if len(piece.points[start : end + 1]) > 1
    ]


def _line(points: Array, closed: bool, level: float, major: bool, sure: bool) -> Line:
    d = path.curve(points[:-1] if closed else points, closed=closed)
    return Line(level=level, major=major, sure=sure, d=d)


@dataclass(frozen=True, kw_only=True)
class Contours:
    """A whole field, drawn: tinted areas (lowest first), lines, and their numbers."""

    areas: tuple[Area, ...]
    lines: tuple[Line, ...]
    labels: tuple[Label, ...]


def contours(
    of: Field,
    *,
    tint_levels: Sequence[float],
    line_levels: Sequence[float],
    room: Room,
    words: dict[float, str] | None = None,
    doubt: Field | None = None,
    doubt_limit: float = 0.25,
) -> Contours:
    """Cut a field at its levels. Lines at tint levels are major, the others minor.

    room: the places already taken; labels are added to it. doubt: relative uncertainty, drawn
    as broken lines past doubt_limit. words: how a level is written, otherwise as a number.
    """
    generator = contourpy.contour_generator(
        of.x, of.y, of.values, name="serial", fill_type="OuterOffset"
    )
    every = sorted({*tint_levels, *line_levels})
    cuts = {level: _cut(generator, of.box, level) for level in every}
    areas = tuple(
        Area(rank=rank, d=cuts[level].d)
        for rank, level in enumerate(sorted(tint_levels), start=1)
        if cuts[level].d
    )
    made: list[Line] = []
    labels: list[Label] = []
    for level in sorted(every, key=lambda one: (one not in tint_levels, one)):
        text = (words or {}).get(level, scale.plain(level))
        major = level in tint_levels
        for piece in sorted(cuts[level].pieces, key=lambda one: -one.length):
            placed = place_label(piece, text, room)
            if placed is None and piece.closed and not major and piece.length < NAMELESS:
                continue
            parts = [piece] if placed is None else without_gap(piece, placed[0], text)
            labels += [] if placed is None else [placed[1]]
            for part in parts:
                made += drawn(part, level=level, major=major, doubt=doubt, limit=doubt_limit)
    return Contours(areas=areas, lines=tuple(made), labels=tuple(labels))
