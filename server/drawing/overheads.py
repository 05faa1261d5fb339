"""What hangs over a tank, drawn: outlines from above, bodies and cones from the side."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.drawing import path, scale
from server.drawing.marks import Words
from server.drawing.room import Box

BEYOND = 12.0
"""How far past the tank's right side a cone may be drawn [SVG units]."""


@dataclass(frozen=True, kw_only=True)
class Overhead:
    """Something that hangs over the tank, seen in this view [cm].

    from above: its outline across × along; from the side: its width at `height` over the top.
    spread: full angle of the cone drawn below it [degrees], None for no cone.
    """

    across: float
    width: float
    words: str
    along: float = 0.0
    length: float = 0.0
    height: float = 0.0
    spread: float | None = None
    chosen: bool = False


@dataclass(frozen=True, kw_only=True)
class Shape:
    """A drawn overhead: its body [SVG units], words above it, cone edges as path words."""

    body: Box
    words: Words
    cone: str
    chosen: bool


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """A height written beside its line [SVG units]."""

    d: str
    words: Words


def outline(one: Overhead, across: scale.Scale, along: scale.Scale) -> Shape:
    """An overhead from above: its outline, held inside the plot."""
    left, right = across.at(one.across - one.width / 2), across.at(one.across + one.width / 2)
    bottom, top = along.at(one.along - one.length / 2), along.at(one.along + one.length / 2)
    body = Box(left=left, top=top, width=max(right - left, 3.0), height=max(bottom - top, 3.0))
    words = Words(x=left + 4, y=top + 14, anchor="start", lines=(one.words,))
    return Shape(body=body, words=words, cone="", chosen=one.chosen)


def hung(one: Overhead, across: scale.Scale, box: Box, per_cm: float) -> Shape:
    """An overhead from the side, at its true height over the water."""
    face = box.top - one.height * per_cm
    middle = across.start + one.across * per_cm
    half = max(one.width * per_cm / 2, 3.0)
    body = Box(left=round(middle - half, 1), top=round(face - 6, 1), width=2 * half, height=6.0)
    words = Words(x=round(middle, 1), y=round(face - 11, 1), anchor="middle", lines=(one.words,))
    return Shape(
        body=body, words=words, cone=_cone(one, middle, half, face, box), chosen=one.chosen
    )


def _cone(one: Overhead, middle: float, half: float, face: float, box: Box) -> str:
    """The edges of a cone from the face down to the water, cut off at the drawing's edge."""
    if one.spread is None or not 0 < one.spread < 170 or one.height <= 0:
        return ""
    slope = float(np.tan(np.radians(one.spread / 2)))
    ends = []
    for side in (-1.0, 1.0):
        start = middle + side * half
        room = (box.right + BEYOND - start) if side > 0 else (start - box.left + 8)
        drop = min(box.top - face, max(room, 0.0) / slope)
        ends.append((start, face, start + side * drop * slope, face + drop))
    return path.lines(ends)


def dimension(
    overheads: Sequence[Overhead], box: Box, per_cm: float, words: str
) -> Dimension | None:
    hung = [one for one in overheads if one.height > 0]
    if not hung or not words:
        return None
    one = next((each for each in hung if each.chosen), hung[0])
    x, face = box.left - 10, box.top - one.height * per_cm
    d = path.lines(
        [(x, face, x, box.top), (x - 4, face, x + 4, face), (x - 4, box.top, x + 4, box.top)]
    )
    middle = (face + box.top) / 2 + 4
    return Dimension(d=d, words=Words(x=x - 5, y=round(middle, 1), anchor="end", lines=(words,)))
