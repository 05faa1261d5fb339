"""How strongly something sends out by angle: a half rose hanging downward."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.drawing import path, scale
from server.drawing.marks import Anchor, Words

LETTERS = 26.0
"""Room around the rose for the angles' words [SVG units]."""


@dataclass(frozen=True, kw_only=True)
class Polar:
    """A finished rose, ready for templates/drawing/polar.svg."""

    width: float
    height: float
    title: str
    description: str
    rings: tuple[str, ...]
    rays: str
    shape: str
    other: str
    edges: str
    words: tuple[Words, ...]
    ring_words: tuple[Words, ...]


def polar(
    *,
    width: float,
    title: str,
    description: str,
    angles_deg: Sequence[float],
    values: Sequence[float],
    other: tuple[Sequence[float], Sequence[float]] | None = None,
    edge_deg: float | None = None,
) -> Polar:
    """A rose of values (from 0 straight down to 90 at the side; negative angles on the left).

    Given from 0 only, both halves are drawn alike. other: a second rose, (angles, values), on
    the same scale. edge_deg: full angle of a cone to be marked.
    """
    scale.finite(name="values", values=[*angles_deg, *values, *(other[1] if other else ())])
    top = max([*values, *(other[1] if other else ()), 1e-12])
    radius = width / 2 - LETTERS
    middle, origin = width / 2, 12.0

    def place(angle: float, share: float) -> tuple[float, float]:
        turn = math.radians(angle)
        return (middle + radius * share * math.sin(turn), origin + radius * share * math.cos(turn))

    def rose(angles: Sequence[float], heights: Sequence[float]) -> str:
        pairs = sorted(zip(angles, heights, strict=True))
        if min(angles) >= 0:
            pairs = [(-angle, value) for angle, value in reversed(pairs) if angle > 0] + pairs
        points = [place(angle, value / top) for angle, value in pairs if abs(angle) <= 90]
        return path.polyline(np.array([(middle, origin), *points]), closed=True)

    def arc(share: float) -> str:
        return path.curve(np.array([place(angle, share) for angle in range(-90, 91, 6)]))

    ends = [(middle, origin, *place(angle, 1.0)) for angle in range(-90, 91, 30)]
    cone = [] if edge_deg is None else [place(side * edge_deg / 2, 1.05) for side in (-1, 1)]
    return Polar(
        width=width,
        height=round(origin + radius + LETTERS, 1),
        title=title,
        description=description,
        rings=tuple(arc(share) for share in (0.25, 0.5, 0.75, 1.0)),
        rays=path.lines(ends),
        shape=rose(angles_deg, values),
        other=rose(*other) if other else "",
        edges=path.lines([(middle, origin, *end) for end in cone]),
        words=tuple(_angle(place(angle, 1.0), angle) for angle in range(-60, 61, 30)),
        ring_words=tuple(
            Words(
                x=round(middle + 3, 1),
                y=round(origin + radius * share - 3, 1),
                anchor="start",
                lines=(f"{share:.0%}".replace("%", " %"),),
            )
            for share in (0.5,)
        ),
    )


def _angle(at: tuple[float, float], angle: int) -> Words:
    anchor: Anchor = "middle" if angle == 0 else "start" if angle > 0 else "end"
    nudge = 0 if angle == 0 else math.copysign(4, angle)
    return Words(
        x=round(at[0] + nudge, 1), y=round(at[1] + 14, 1), anchor=anchor, lines=(f"{abs(angle)}°",)
    )
