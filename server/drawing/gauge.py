"""Small charts for one line of a table: a dot with its interval on the range that is wanted.

All gauges of one table share one scale, so they can be read down the column.
"""

from dataclasses import dataclass

from server.drawing.marks import Verdict
from server.drawing.room import Box
from server.drawing.scale import Scale

WIDTH, HEIGHT = 168.0, 26.0
"""Size of a gauge [SVG units]; it is drawn at the same size everywhere."""
PAD = 8.0


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """A finished gauge, ready for templates/drawing/gauge.svg. value is None where not known."""

    width: float
    height: float
    wanted: Box | None
    interval: Box | None
    value: float | None
    verdict: Verdict
    runs_over: bool


def gauge(
    *,
    value: float | None,
    wanted: tuple[float, float] | None,
    interval: tuple[float, float] | None = None,
    verdict: Verdict = "unknown",
    scale_range: tuple[float, float],
    logarithmic: bool = True,
    width: float = WIDTH,
) -> Gauge:
    """A value on the range it should be in. scale_range is shared by all rows of a table."""
    low, high = scale_range
    along = Scale(low=low, high=high, start=PAD, end=width - PAD, logarithmic=logarithmic)
    return Gauge(
        width=width,
        height=HEIGHT,
        wanted=None if wanted is None else _bar(along, wanted, 8.0),
        interval=None if interval is None else _bar(along, interval, 2.0),
        value=None if value is None else along.at(value),
        verdict=verdict,
        runs_over=value is not None and value > high,
    )


def _bar(along: Scale, ends: tuple[float, float], height: float) -> Box:
    left, right = along.at(ends[0]), along.at(ends[1])
    return Box(
        left=left,
        top=HEIGHT / 2 - height / 2,
        width=max(round(right - left, 1), 1.0),
        height=height,
    )
