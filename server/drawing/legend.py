"""The legend of a tinted chart: one strip of tints with the levels between them."""

from dataclasses import dataclass

from server.drawing.axes import Tick
from server.drawing.room import Box
from server.drawing.scale import plain
from server.drawing.tank_view import Levels

HEIGHT = 40.0
PAD = 4.0


@dataclass(frozen=True, kw_only=True)
class Legend:
    """A finished legend, ready for templates/drawing/legend.svg."""

    width: float
    height: float
    title: str
    description: str
    scheme: str
    steps: tuple[Box, ...]
    edges: tuple[Tick, ...]


def legend(levels: Levels, *, width: float, title: str) -> Legend:
    """Equal steps for the tints of these levels, lowest at the left."""
    count = len(levels.tints) + 1
    step = (width - 2 * PAD) / count
    words = dict(levels.words)
    edges = tuple(
        Tick(at=round(PAD + step * n, 1), words=words.get(level, plain(level)))
        for n, level in enumerate(levels.tints, start=1)
    )
    return Legend(
        width=width,
        height=HEIGHT,
        title=title,
        description="Steps at " + ", ".join(edge.words for edge in edges) + ".",
        scheme=levels.scheme,
        steps=tuple(
            Box(left=round(PAD + step * n, 1), top=1.0, width=round(step, 1), height=16.0)
            for n in range(count)
        ),
        edges=edges,
    )
