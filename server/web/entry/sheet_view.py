"""The sheet to print: the points in order, drawn and listed, with room to write."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.models import MeasurementSession, Member, PlannedPoint, Reading, Tank
from server.web import filters
from server.web.entry.view import MARGIN, PointView, SmallChart, points_of


@dataclass(frozen=True)
class Label:
    """The numbers of the points that share one spot of the drawing [SVG units]."""

    x: float
    y: float
    words: str


@dataclass(frozen=True)
class SheetView:
    """A reading sheet: the points in order, drawn and listed, with room to write."""

    session_id: int
    tank_name: str
    day: str
    unit: str
    points: tuple[PointView, ...]
    chart: SmallChart
    above: tuple[Label, ...]
    front: tuple[Label, ...]


def sheet(
    who: Member,
    session: MeasurementSession,
    tank: Tank,
    planned: Sequence[PlannedPoint],
    readings: Sequence[Reading],
) -> SheetView:
    chart = _large_chart(tank)
    points = [
        _moved(one, chart) for one in points_of(tank, planned, readings, who.length_unit, None)
    ]
    return SheetView(
        session_id=session.id,
        tank_name=tank.name,
        day=filters.day(session.taken_on),
        unit=who.length_unit,
        points=tuple(points),
        chart=chart,
        above=_labels([(one.chart_x, one.chart_y, one.number) for one in points]),
        front=_labels([(one.chart_x, one.chart_depth, one.number) for one in points]),
    )


def _labels(spots: Sequence[tuple[float, float, int]]) -> tuple[Label, ...]:
    """One label for points whose numbers would be printed over each other."""
    labels: list[tuple[float, float, list[int]]] = []
    for x, y, number in spots:
        near = next((one for one in labels if abs(one[0] - x) < 16 and abs(one[1] - y) < 11), None)
        if near is None:
            labels.append((x, y, [number]))
        else:
            near[2].append(number)
    return tuple(Label(x, y, ", ".join(map(str, numbers))) for x, y, numbers in labels)


def _large_chart(tank: Tank) -> SmallChart:
    per_cm = min(560.0 / tank.length_cm, 420.0 / (tank.width_cm + tank.depth_cm))
    top_height, front_height = tank.width_cm * per_cm, tank.depth_cm * per_cm
    return SmallChart(
        width=round(tank.length_cm * per_cm + 2 * MARGIN, 1),
        height=round(top_height + front_height + 34 + 2 * MARGIN, 1),
        left=MARGIN,
        top=MARGIN,
        top_height=round(top_height, 1),
        front=round(MARGIN + top_height + 34, 1),
        front_height=round(front_height, 1),
        inner_width=round(tank.length_cm * per_cm, 1),
        per_cm=per_cm,
    )


def _moved(one: PointView, chart: SmallChart) -> PointView:
    return replace(
        one,
        chart_x=round(chart.left + one.x_cm * chart.per_cm, 1),
        chart_y=round(chart.top + chart.top_height - one.y_cm * chart.per_cm, 1),
        chart_depth=round(chart.front + one.depth_cm * chart.per_cm, 1),
    )
