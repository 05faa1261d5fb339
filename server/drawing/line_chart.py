"""Curves over a straight axis: the day's light, a spectrum, power against height, drift.

One builder for all of them. `day_curve` and `spectrum_chart` set the axis people expect there.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.drawing import axes, path, scale
from server.drawing.axes import LETTER, Axis
from server.drawing.marks import Words, text_width
from server.drawing.room import Box, Room

Array = npt.NDArray[np.float64]

LEFT, RIGHT, TOP, BOTTOM = 48.0, 20.0, 30.0, 42.0
"""Margins around the plot [SVG units]; the y axis's name stands above the plot."""
SPAN_ROW = 18.0
"""Height of one row of marked stretches under the axis [SVG units]."""


@dataclass(frozen=True, kw_only=True)
class Series:
    """One curve: x and y [n], a name that is written at its end or peak, its place in the order
    of line styles (1–4: full, long dashes, dots, dash and dot). low, high: an interval [n]."""

    x: Sequence[float]
    y: Sequence[float]
    name: str = ""
    style: int = 1
    shaded: bool = False
    low: Sequence[float] | None = None
    high: Sequence[float] | None = None


@dataclass(frozen=True, kw_only=True)
class Span:
    """A stretch of the x axis, marked under it: the hours that feed, a band of colour."""

    start: float
    end: float
    words: str = ""
    row: int = 0


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A level across the plot, with its words at the right end."""

    y: float
    words: str


@dataclass(frozen=True, kw_only=True)
class Dot:
    """A measured point in the plot, with an interval where one is known."""

    x: float
    y: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, kw_only=True)
class DrawnSeries:
    """A curve in SVG units: its line, the shaded area under it, its interval, its name."""

    style: int
    line: str
    shade: str
    interval: str
    words: Words | None


@dataclass(frozen=True, kw_only=True)
class DrawnSpan:
    """A marked stretch in SVG units; words is None where they found no room."""

    box: Box
    words: Words | None


@dataclass(frozen=True, kw_only=True)
class LineChart:
    """A finished chart, ready for templates/drawing/line_chart.svg."""

    width: float
    height: float
    title: str
    description: str
    box: Box
    x_axis: Axis
    y_axis: Axis
    series: tuple[DrawnSeries, ...]
    spans: tuple[DrawnSpan, ...]
    rules: str
    rule_words: tuple[Words, ...]
    dots: str
    notes: tuple[Words, ...]


def line_chart(
    *,
    width: float,
    height: float,
    title: str,
    description: str,
    x_name: str,
    y_name: str,
    series: Sequence[Series],
    x_range: tuple[float, float] | None = None,
    y_range: tuple[float, float] | None = None,
    x_places: tuple[tuple[float, str], ...] | None = None,
    spans: Sequence[Span] = (),
    rules: Sequence[Rule] = (),
    dots: Sequence[Dot] = (),
    note: str = "",
) -> LineChart:
    """Curves with their names written at them. Compared charts are given the same ranges.

    x_places: ticks of the caller's choosing (value, words), otherwise round numbers.
    note: one line of words set into the plot, such as the dose under a day's curve.
    """
    rows = 1 + max((one.row for one in spans), default=-1)
    box = Box(
        left=LEFT,
        top=TOP,
        width=width - LEFT - RIGHT,
        height=height - TOP - BOTTOM - rows * SPAN_ROW,
    )
    low, high = x_range or _x_range(series)
    across = scale.Scale(low=low, high=high, start=box.left, end=box.right)
    low, high = y_range or _y_range(series, rules, dots)
    up = scale.Scale(low=low, high=high, start=box.bottom, end=box.top)
    # A name may stand above its peak, over the plot's upper edge.
    room = Room(inside=Box(left=LEFT, top=TOP - 14, width=box.width, height=box.height + 14))
    rule_words = tuple(_rule_words(one, up, box, room) for one in rules)
    drawn = tuple(_drawn(one, across, up, room) for one in series)
    return LineChart(
        width=width,
        height=height,
        title=title,
        description=description,
        box=box,
        x_axis=_x_axis(across, x_name, x_places),
        y_axis=axes.measured(
            along=up,
            unit=axes.Unit(name="", size=1.0),
            name=y_name,
            most=axes.room_for(length=box.height, widest=32),
        ),
        series=drawn,
        spans=_spans(spans, across, box),
        rules=path.lines([(box.left, up.at(one.y), box.right, up.at(one.y)) for one in rules]),
        rule_words=rule_words,
        dots=_dots(dots, across, up),
        notes=_note(note, series, across, up),
    )


def day_curve(
    *,
    width: float,
    height: float,
    title: str,
    description: str,
    hours: Sequence[float],
    values: Sequence[float],
    y_name: str,
    y_top: float | None = None,
    hour_words: tuple[tuple[float, str], ...] = (),
    spans: Sequence[Span] = (),
    rules: Sequence[Rule] = (),
    note: str = "",
    others: Sequence[Series] = (),
) -> LineChart:
    """A day: hours 0–24 across, the area under the curve shaded, its sum written into it.

    hour_words: ticks as the reader writes hours, otherwise every third or sixth hour.
    spans: marked hours; one that runs through midnight is given as two.
    """
    step = 6 if width < 480 else 3
    places = hour_words or tuple((float(h), f"{h:02d}:00") for h in range(0, 25, step))
    top = y_top if y_top is not None else max([*values, *(one.y for one in rules), 1.0]) * 1.08
    return line_chart(
        width=width,
        height=height,
        title=title,
        description=description,
        x_name="",
        y_name=y_name,
        series=(Series(x=hours, y=values, shaded=True), *others),
        x_range=(0.0, 24.0),
        y_range=(0.0, top),
        x_places=places,
        spans=spans,
        rules=rules,
        note=note,
    )


def spectrum_chart(
    *,
    width: float,
    height: float,
    title: str,
    description: str,
    series: Sequence[Series],
    y_name: str,
    bands: Sequence[Span] = (),
    x_range: tuple[float, float] = (400.0, 700.0),
) -> LineChart:
    """Curves over wavelength [nm], bands of colour named under the axis."""
    return line_chart(
        width=width,
        height=height,
        title=title,
        description=description,
        x_name="wavelength, nm",
        y_name=y_name,
        series=series,
        x_range=x_range,
        y_range=_y_range(series, (), ()),
        spans=bands,
    )


def _x_range(series: Sequence[Series]) -> tuple[float, float]:
    every = [value for one in series for value in one.x]
    scale.finite(name="x", values=every)
    low, high = min(every, default=0.0), max(every, default=1.0)
    return (low, high) if high > low else (low - 0.5, low + 0.5)


def _y_range(
    series: Sequence[Series], rules: Sequence[Rule], dots: Sequence[Dot]
) -> tuple[float, float]:
    """From zero (or below, where values are) to a little above the highest thing drawn."""
    every = [value for one in series for value in (*one.y, *(one.high or ()), *(one.low or ()))]
    every += [one.y for one in rules] + [value for one in dots for value in (one.y, one.high or 0)]
    scale.finite(name="y", values=every)
    low, high = min(0.0, *every, 0.0), max(*every, 0.0, low_limit(every))
    return low * 1.08, high * 1.08


def low_limit(values: Sequence[float]) -> float:
    """A top for a plot of nothing but zeros, so that it still has an axis."""
    return 0.0 if any(value > 0 for value in values) else 1.0


def _x_axis(across: scale.Scale, name: str, places: tuple[tuple[float, str], ...] | None) -> Axis:
    if places is not None:
        return axes.named(along=across, places=places, name=name)
    room = axes.room_for(length=across.end - across.start, widest=50)
    return axes.measured(along=across, unit=axes.Unit(name="", size=1.0), name=name, most=room)


def _points(
    xs: Sequence[float], ys: Sequence[float], across: scale.Scale, up: scale.Scale
) -> Array:
    return np.array([[across.at(x), up.at(y)] for x, y in zip(xs, ys, strict=True)]).reshape(-1, 2)


def _drawn(one: Series, across: scale.Scale, up: scale.Scale, room: Room) -> DrawnSeries:
    points = _points(one.x, one.y, across, up)
    if len(points) < 2:
        raise ValueError("a curve needs at least two points")
    floor = up.at(max(0.0, up.low))
    foot = np.array([[points[-1, 0], floor], [points[0, 0], floor]])
    interval = ""
    if one.low is not None and one.high is not None:
        upper = _points(one.x, one.high, across, up)
        lower = _points(one.x, one.low, across, up)[::-1]
        interval = path.polyline(np.concatenate([upper, lower]), closed=True)
    return DrawnSeries(
        style=one.style,
        line=path.polyline(points),
        shade=path.polyline(np.concatenate([points, foot]), closed=True) if one.shaded else "",
        interval=interval,
        words=_name(one.name, points, room),
    )


def _name(name: str, points: Array, room: Room) -> Words | None:
    """A curve's name at its highest point, or else near an end."""
    if not name:
        return None
    width = text_width([name]) + 4
    for index in (int(np.argmin(points[:, 1])), len(points) - 1, 0, len(points) // 2):
        x = min(
            max(float(points[index, 0]), room.inside.left + width / 2),
            room.inside.right - width / 2,
        )
        for y in (float(points[index, 1]) - 10, float(points[index, 1]) + 14):
            if room.take(Box.around(x=x, y=y, width=width, height=LETTER)):
                return Words(x=round(x, 1), y=round(y + 4, 1), anchor="middle", lines=(name,))
    return None


def _rule_words(one: Rule, up: scale.Scale, box: Box, room: Room) -> Words:
    y = up.at(one.y)
    width = text_width([one.words])
    room.hold(Box(left=box.left, top=y - 15, width=width + 4, height=15))
    return Words(x=box.left + 4, y=round(y - 4, 1), anchor="start", lines=(one.words,))


def _spans(spans: Sequence[Span], across: scale.Scale, box: Box) -> tuple[DrawnSpan, ...]:
    """Bars under the axis; their words in the middle of the bar, held inside the drawing."""
    room = Room(inside=Box(left=0, top=0, width=box.right + RIGHT, height=10_000))
    drawn = []
    for one in spans:
        left, right = across.at(one.start), across.at(one.end)
        bar = Box(
            left=left,
            top=box.bottom + 24 + one.row * SPAN_ROW,
            width=max(round(right - left, 1), 1.0),
            height=4.0,
        )
        half = text_width([one.words]) / 2 + 2
        middle = min(max((left + right) / 2, half), box.right + RIGHT - half)
        words = Words(x=round(middle, 1), y=bar.top + 16, anchor="middle", lines=(one.words,))
        place = Box.around(x=middle, y=bar.top + 12, width=2 * half, height=10)
        drawn.append(DrawnSpan(box=bar, words=words if one.words and room.take(place) else None))
    return tuple(drawn)


def _dots(dots: Sequence[Dot], across: scale.Scale, up: scale.Scale) -> str:
    """Upright crosses, with a line over the interval."""
    ends = []
    for one in dots:
        x, y = across.at(one.x), up.at(one.y)
        low = up.at(one.low) if one.low is not None else y + 4
        high = up.at(one.high) if one.high is not None else y - 4
        ends += [(x - 4, y, x + 4, y), (x, low, x, high)]
    return path.lines(ends)


def _note(
    note: str, series: Sequence[Series], across: scale.Scale, up: scale.Scale
) -> tuple[Words, ...]:
    """The note's place: under the first curve, at the middle of what it encloses."""
    if not note or not series:
        return ()
    x, y = np.asarray(series[0].x, float), np.asarray(series[0].y, float)
    area = float(np.trapezoid(y, x))
    middle = float(np.trapezoid(x * y, x)) / area if area > 0 else (across.low + across.high) / 2
    half = text_width([note]) / 2
    at = min(max(across.at(middle), across.start + half), across.end - half)
    level = up.at(float(np.interp(middle, x, y)) / 2)
    return (Words(x=round(at, 1), y=round(level + 4, 1), anchor="middle", lines=(note,)),)
