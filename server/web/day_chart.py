"""The day as a drawing: PPFD over the hours, the dose written into it, the hours that feed."""

from dataclasses import dataclass

from server.dose.day import HOURS, Course, dli, stretches_above
from server.drawing import line_chart
from server.web.filters import ppfd, significant
from server.web.times import hour_places, shown_time

WIDE, NARROW = 720.0, 340.0
HEIGHT = 260.0


@dataclass(frozen=True)
class DayCharts:
    """One day drawn for a desk and for a phone."""

    wide: line_chart.LineChart
    narrow: line_chart.LineChart


@dataclass(frozen=True)
class Mark:
    """A level whose hours are marked under the axis: "feeds", "saturated"."""

    ppfd: float
    words: str


def day_charts(
    light: Course,
    *,
    title: str,
    marks: tuple[Mark, ...] = (),
    rules: tuple[line_chart.Rule, ...] = (),
    others: tuple[tuple[str, Course], ...] = (),
    y_name: str = "PPFD, µmol m⁻² s⁻¹",
    note: str | None = None,
    clock: str = "24",
) -> DayCharts:
    """Both sizes of a day's curve; `others` are drawn beside it with their names."""
    words = f"{significant(dli(light))} mol m⁻² d⁻¹" if note is None else note
    return DayCharts(*(
        _drawn(light, title, marks, rules, others, y_name, words, clock, width)
        for width in (WIDE, NARROW)
    ))  # fmt: skip


def _drawn(
    light: Course,
    title: str,
    marks: tuple[Mark, ...],
    rules: tuple[line_chart.Rule, ...],
    others: tuple[tuple[str, Course], ...],
    y_name: str,
    note: str,
    clock: str,
    width: float,
) -> line_chart.LineChart:
    hours, values = _corners(light)
    tops = [*values, *(rule.y for rule in rules), *(one.peak_ppfd for _, one in others), 1.0]
    return line_chart.day_curve(
        width=width,
        height=HEIGHT,
        title=title,
        description=_told(light, marks, note, clock),
        hours=hours,
        values=values,
        y_name=y_name,
        y_top=max(tops) * 1.15,
        hour_words=hour_places(width, clock),
        spans=[span for row, mark in enumerate(marks) for span in _spans(light, mark, row)],
        rules=rules,
        note=note,
        others=[_other(one, name, style) for style, (name, one) in enumerate(others, start=2)],
    )


def _corners(one: Course) -> tuple[list[float], list[float]]:
    hours: list[float] = []
    values: list[float] = []
    for start, end, from_ppfd, to_ppfd in zip(
        one.start_h, one.end_h, one.start_ppfd, one.end_ppfd, strict=True
    ):
        if not hours or (hours[-1], values[-1]) != (start, from_ppfd):
            hours.append(float(start))
            values.append(float(from_ppfd))
        hours.append(float(end))
        values.append(float(to_ppfd))
    return hours, values


def _other(one: Course, name: str, style: int) -> line_chart.Series:
    hours, values = _corners(one)
    return line_chart.Series(x=hours, y=values, name=name, style=style)


def _spans(light: Course, mark: Mark, row: int) -> list[line_chart.Span]:
    """Marked hours; a stretch through midnight is drawn as two."""
    drawn = []
    for start, length in stretches_above(light, mark.ppfd):
        for left, right in ((start, min(start + length, HOURS)), (0.0, start + length - HOURS)):
            if right > left:
                drawn.append(line_chart.Span(start=left, end=right, words=mark.words, row=row))
    return drawn


def _told(light: Course, marks: tuple[Mark, ...], note: str, clock: str) -> str:
    said = [f"Up to {ppfd(light.peak_ppfd)}"]
    for start, length in stretches_above(light, 1e-9):
        whole = length >= HOURS - 1e-9
        said.append(
            "lit all day and night"
            if whole
            else f"lit from {shown_time(start, clock)} to {shown_time(start + length, clock)}"
        )
    for mark in marks:
        hours = sum(length for _, length in stretches_above(light, mark.ppfd))
        said.append(f"{mark.words} {significant(hours, 2)} hours")
    return ", ".join([*said, *([note] if note else [])]) + "."
