"""One view of a tank as a chart: from above (`plan`), or cut across (`section`).

Frames are in the tank's own lengths; all three views of a tank share one number of SVG units
per centimetre, so that they line up. A drawing says how wide it is; it is never to be shrunk:
a phone gets its own, narrower drawing with the same letters.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from server.drawing import axes, contour, field, path, scale
from server.drawing.marks import (
    Mark,
    PlacedMark,
    Reading,
    Sounding,
    Verdict,
    place_marks,
    place_soundings,
    stand_marks,
)
from server.drawing.overheads import Dimension, Overhead, Shape, hung, outline
from server.drawing.overheads import dimension as height_line
from server.drawing.rocks import Block, DrawnBlock, drawn_blocks, filled
from server.drawing.room import Box, Room

Array = npt.NDArray[np.float64]

LEFT, RIGHT, TOP, BOTTOM = 52.0, 12.0, 12.0, 40.0
"""Margins around the plot [SVG units]: tick words left, tick words and axis name below."""


@dataclass(frozen=True, kw_only=True)
class Levels:
    """Where a field is cut. Charts that are compared share one of these.

    tints: edges of the tints; lines: further contours, drawn finer; words: how a level is
    written where the bare number will not do; scheme: which family of tints.
    """

    tints: tuple[float, ...]
    lines: tuple[float, ...] = ()
    words: tuple[tuple[float, str], ...] = ()
    scheme: Literal["tint", "zone", "change"] = "tint"


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """How unsure the field is, cell by cell: half-width of the interval over the value.

    Past `limit` lines are broken and the area is hatched, past `blank` it is hatched twice.
    """

    values: Array
    limit: float = 0.25
    blank: float = 0.6


@dataclass(frozen=True, kw_only=True)
class Thing:
    """A mark in the view's own lengths [cm]: across, and up the page's own second axis."""

    across: float
    along: float
    letter: str
    verdict: Verdict
    words: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Point:
    """A printed number in the view's own lengths [cm]."""

    across: float
    along: float
    words: str
    measured: bool = True


@dataclass(frozen=True, kw_only=True)
class Hatch:
    """An area to be hatched. kind: "unsure" or "unknown"."""

    kind: Literal["unsure", "unknown"]
    d: str


@dataclass(frozen=True, kw_only=True)
class TankView:
    """A finished chart in SVG units, ready to be placed by templates/drawing/tank_view.svg."""

    width: float
    height: float
    title: str
    description: str
    scheme: str
    box: Box
    drawn: contour.Contours
    hatches: tuple[Hatch, ...]
    x_axis: axes.Axis
    y_axis: axes.Axis
    axis_words: str
    marks: tuple[PlacedMark, ...]
    soundings: tuple[Sounding, ...]
    rocks: tuple[DrawnBlock, ...]
    overheads: tuple[Shape, ...]
    overheads_from_above: bool
    cuts: str
    dimension: Dimension | None
    open_top: bool


def plan(
    values: Array,
    *,
    length: float,
    width: float,
    per_cm: float,
    unit: axes.Unit,
    levels: Levels,
    title: str,
    description: str,
    axis_words: str,
    things: Sequence[Thing] = (),
    points: Sequence[Point] = (),
    overheads: Sequence[Overhead] = (),
    cut_across: float | None = None,
    cut_along: float | None = None,
    doubt: Doubt | None = None,
    blocks: Sequence[Block] = (),
) -> TankView:
    """A tank from above. values [ny, nx], first row at the front; drawn with the front below.

    length, width: inside the tank [cm]; per_cm: SVG units per cm; cut_across, cut_along: where
    the two sections are taken (across: x; along: y from the front) [cm].
    """
    box = Box(left=LEFT, top=TOP, width=length * per_cm, height=width * per_cm)
    across = scale.Scale(low=0, high=length, start=box.left, end=box.right)
    along = scale.Scale(low=0, high=width, start=box.bottom, end=box.top)
    outlines = tuple(outline(one, across, along) for one in overheads)
    return _view(
        np.flipud(values),
        box=box,
        across=across,
        along=along,
        unit=unit,
        levels=levels,
        heading=(title, description, axis_words),
        things=things,
        points=points,
        doubt=None if doubt is None else (np.flipud(doubt.values), doubt),
        overheads=outlines,
        overheads_from_above=True,
        cuts=_cuts(box, across, along, cut_across, cut_along),
        blocks=blocks,
        dimension=None,
    )


def section(
    values: Array,
    *,
    length: float,
    depth: float,
    headroom: float,
    per_cm: float,
    unit: axes.Unit,
    levels: Levels,
    title: str,
    description: str,
    axis_words: str,
    things: Sequence[Thing] = (),
    points: Sequence[Point] = (),
    overheads: Sequence[Overhead] = (),
    cut_across: float | None = None,
    cut_along: float | None = None,
    doubt: Doubt | None = None,
    blocks: Sequence[Block] = (),
    dimension_words: str = "",
) -> TankView:
    """A tank cut upright. values [nd, n], first row at the surface.

    headroom: air drawn above the water [cm]; cut_along: the depth of the view from above [cm];
    dimension_words: the height of the chosen overhead (or the first), written beside its line.
    """
    air = headroom * per_cm + 22
    box = Box(left=LEFT, top=air, width=length * per_cm, height=depth * per_cm)
    across = scale.Scale(low=0, high=length, start=box.left, end=box.right)
    along = scale.Scale(low=0, high=depth, start=box.top, end=box.bottom)
    return _view(
        values,
        box=box,
        across=across,
        along=along,
        unit=unit,
        levels=levels,
        heading=(title, description, axis_words),
        things=things,
        points=points,
        doubt=None if doubt is None else (doubt.values, doubt),
        overheads=tuple(hung(one, across, box, per_cm) for one in overheads),
        overheads_from_above=False,
        cuts=_cuts(box, across, along, cut_across, cut_along),
        blocks=blocks,
        dimension=height_line(overheads, box, per_cm, dimension_words),
    )


def _view(
    values: Array,
    *,
    box: Box,
    across: scale.Scale,
    along: scale.Scale,
    unit: axes.Unit,
    levels: Levels,
    heading: tuple[str, str, str],
    things: Sequence[Thing],
    points: Sequence[Point],
    doubt: tuple[Array, Doubt] | None,
    overheads: tuple[Shape, ...],
    overheads_from_above: bool,
    cuts: str,
    blocks: Sequence[Block],
    dimension: Dimension | None,
) -> TankView:
    room = Room(inside=box)
    rocks = drawn_blocks(blocks, across, along)
    readings = [
        Reading(
            x=across.at(one.across), y=along.at(one.along), words=one.words, measured=one.measured
        )
        for one in points
    ]
    placed = [
        Mark(
            x=across.at(one.across),
            y=along.at(one.along),
            letter=one.letter,
            verdict=one.verdict,
            words=one.words,
        )
        for one in things
    ]
    # Marks and ticks stand where they stand; numbers and words go around them; contour
    # numbers take what is left.
    stood = stand_marks(placed, room)
    soundings = place_soundings(readings, room)
    with_words = place_marks(stood, room)
    for rock in rocks:
        if rock.solid:
            room.hold(rock.box)
    values = filled(values, rocks, box)
    refined = None
    if doubt is not None:
        refined = field.field(filled(doubt[0], rocks, box), box=box, positive=False)
    drawn = contour.contours(
        field.field(values, box=box, positive=levels.scheme != "change"),
        tint_levels=levels.tints,
        line_levels=levels.lines,
        words=dict(levels.words),
        room=room,
        doubt=refined,
        doubt_limit=doubt[1].limit if doubt else 1.0,
    )
    title, description, axis_words = heading
    return TankView(
        width=round(box.right + RIGHT, 1),
        height=round(box.bottom + BOTTOM, 1),
        title=title,
        description=description,
        scheme=levels.scheme,
        box=box,
        drawn=drawn,
        hatches=() if refined is None or doubt is None else _hatches(refined, doubt[1]),
        x_axis=axes.measured(
            along=across, unit=unit, name="", most=axes.room_for(length=box.width, widest=44)
        ),
        y_axis=_down_the_side(along, unit, box, dimension is not None),
        axis_words=axis_words,
        marks=with_words,
        soundings=soundings,
        rocks=rocks,
        overheads=overheads,
        overheads_from_above=overheads_from_above,
        cuts=cuts,
        dimension=dimension,
        open_top=not overheads_from_above,
    )


def _down_the_side(along: scale.Scale, unit: axes.Unit, box: Box, dimension: bool) -> axes.Axis:
    """Ticks of the second axis; the water line needs no 0 where a height's line ends at it."""
    most = axes.room_for(length=box.height, widest=30)
    axis = axes.measured(along=along, unit=unit, name="", most=most)
    if not dimension:
        return axis
    return axes.Axis(ticks=tuple(t for t in axis.ticks if t.words != "0"), name="")


def _hatches(doubt: field.Field, limits: Doubt) -> tuple[Hatch, ...]:
    unsure = contour.cut(doubt, limits.limit).d
    unknown = contour.cut(doubt, limits.blank).d
    both = (Hatch(kind="unsure", d=unsure), Hatch(kind="unknown", d=unknown))
    return tuple(one for one in both if one.d)


def _cuts(
    box: Box,
    across: scale.Scale,
    along: scale.Scale,
    cut_across: float | None,
    cut_along: float | None,
) -> str:
    """Fine lines where the other views are taken, running a little past the walls."""
    out = 6
    ends = []
    if cut_across is not None:
        ends.append((across.at(cut_across), box.top, across.at(cut_across), box.bottom))
    if cut_along is not None:
        ends.append((box.left - out, along.at(cut_along), box.right + out, along.at(cut_along)))
    return path.lines(ends)
