"""What the entry page by the tank shows, and what it hands to the phone."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.db import light
from server.models import MeasurementSession, Member, PlannedPoint, Reading, Tank
from server.surveys import places
from server.surveys.readings import Reading as DomainReading
from server.surveys.readings import Surprise, surprise
from server.web import filters
from server.web.factor_words import multiplied

TOP_WIDTH = 150.0  # SVG units; the chart is drawn once and never shrunk
GAP = 12.0
MARGIN = 8.0


@dataclass(frozen=True)
class PointView:
    """One planned point: words, numbers, and its place on the small chart."""

    id: int
    number: int
    words: str
    place: str
    name: str
    expected: str
    expected_ppfd: float | None
    x_cm: float
    y_cm: float
    depth_cm: float
    chart_x: float
    chart_y: float
    chart_depth: float
    state: str
    values: str


@dataclass(frozen=True)
class SmallChart:
    """The tank from above and below it from the front, on one scale [SVG units]."""

    width: float
    height: float
    left: float
    top_height: float
    top: float
    front: float
    front_height: float
    inner_width: float
    per_cm: float


@dataclass(frozen=True)
class Question:
    """A value that surprises, asked about after it was kept."""

    reading_id: int
    client_id: str
    value: str
    told: str
    perhaps: str
    point_id: int | None


@dataclass(frozen=True)
class EntryView:
    """The entry page at one point."""

    session_id: int
    tank_id: int
    tank_name: str
    member_id: int
    unit: str
    point: PointView | None
    own_place: bool
    points: tuple[PointView, ...]
    chart: SmallChart
    read: int
    question: Question | None
    data: str
    factors: str


def small_chart(tank: Tank) -> SmallChart:
    """Both views of the tank, as wide as a thumb."""
    per_cm = min((TOP_WIDTH - 2 * MARGIN) / tank.length_cm, 120.0 / (tank.width_cm + tank.depth_cm))
    top_height, front_height = tank.width_cm * per_cm, tank.depth_cm * per_cm
    return SmallChart(
        width=round(tank.length_cm * per_cm + 2 * MARGIN, 1),
        height=round(top_height + front_height + GAP + 2 * MARGIN, 1),
        left=MARGIN,
        top=MARGIN,
        top_height=round(top_height, 1),
        front=round(MARGIN + top_height + GAP, 1),
        front_height=round(front_height, 1),
        inner_width=round(tank.length_cm * per_cm, 1),
        per_cm=per_cm,
    )


def points_of(
    tank: Tank,
    planned: Sequence[PlannedPoint],
    readings: Sequence[Reading],
    unit: str,
    scale: float | None,
) -> tuple[PointView, ...]:
    """Every planned point with what was read there. `scale` moves expected values to what the
    readings so far say of the plan."""
    by_point: dict[int, list[Reading]] = {}
    for one in readings:
        if one.point_id is not None and one.struck_reason is None:
            by_point.setdefault(one.point_id, []).append(one)
    chart = small_chart(tank)
    return tuple(
        _point(tank, chart, one, by_point.get(one.id, []), number, unit, scale)
        for number, one in enumerate(planned, start=1)
    )


def _point(
    tank: Tank,
    chart: SmallChart,
    one: PlannedPoint,
    readings: Sequence[Reading],
    number: int,
    unit: str,
    scale: float | None,
) -> PointView:
    expected = one.expected_ppfd
    if expected is not None and scale is not None:
        expected *= scale
    state = "read" if readings else "skipped" if one.skipped_at else "open"
    return PointView(
        id=one.id,
        number=number,
        words=where(tank, one.x_cm, one.y_cm, one.depth_cm),
        place=numbers(one.x_cm, one.y_cm, one.depth_cm, unit),
        name=one.name,
        expected=f"about {_about(expected)}" if expected is not None else "",
        expected_ppfd=round(expected, 2) if expected is not None else None,
        x_cm=one.x_cm,
        y_cm=one.y_cm,
        depth_cm=one.depth_cm,
        chart_x=round(chart.left + one.x_cm * chart.per_cm, 1),
        chart_y=round(chart.top + chart.top_height - one.y_cm * chart.per_cm, 1),
        chart_depth=round(chart.front + one.depth_cm * chart.per_cm, 1),
        state=state,
        values=", ".join(f"{r.raw_ppfd:g}" for r in readings),
    )


def _about(value: float) -> str:
    """Two digits and no more: an expectation is not a measurement."""
    return filters.significant(float(f"{value:.2g}"), 2)


def where(tank: Tank, x_cm: float, y_cm: float, depth_cm: float) -> str:
    """A place in words: "At the back left, half-way down"."""
    words = places.in_words(light.optics_tank(tank), np.array([x_cm, y_cm, depth_cm]))
    return words[0].upper() + words[1:]


def numbers(x_cm: float, y_cm: float, depth_cm: float, unit: str) -> str:
    """A place in numbers, as one reads them off a tape."""
    x, y, depth = (filters.length_number(v, unit) for v in (x_cm, y_cm, depth_cm))
    return f"{x} from left, {y} from front, {depth} deep"


def plan_scale(planned: Sequence[PlannedPoint], readings: Sequence[Reading]) -> float | None:
    """Median of read over expected at the points read so far; None before the second one."""
    expected = {one.id: one.expected_ppfd for one in planned if one.expected_ppfd}
    ratios = [
        one.raw_ppfd / value
        for one in readings
        if one.struck_reason is None and not one.shaded and one.raw_ppfd > 0
        for value in [expected.get(one.point_id or 0)]
        if value
    ]
    return float(np.median(ratios)) if len(ratios) > 1 else None


def question_about(
    reading: Reading, readings: Sequence[Reading], expected: float | None
) -> Question | None:
    """The question about one value, from raw values: factors would not change the ratio."""
    others = [_raw(one) for one in readings if one.id != reading.id and one.struck_reason is None]
    found = surprise(_raw(reading), others, expected_ppfd=expected)
    if found is None or reading.shaded or reading.struck_reason is not None:
        return None
    return Question(
        reading_id=reading.id,
        client_id=reading.client_id or "",
        value=f"{reading.raw_ppfd:g}",
        told=_told(found),
        perhaps=f"{found.perhaps_ppfd:g}" if found.perhaps_ppfd else "",
        point_id=reading.point_id,
    )


def _raw(one: Reading) -> DomainReading:
    return DomainReading(x_cm=one.x_cm, y_cm=one.y_cm, depth_cm=one.depth_cm, ppfd=one.raw_ppfd)


def _told(found: Surprise) -> str:
    usual = _about(found.usual_ppfd)
    verb = "lead one to expect" if found.against == "its neighbours" else "leads one to expect"
    times = (
        f"{_about(found.ratio)} times"
        if found.ratio >= 1
        else f"{_about(1 / found.ratio)} times less than"
    )
    subject = found.against[0].upper() + found.against[1:]
    return f"That is {times} what {subject.lower()} {verb}, about {usual}."


def entry_page(
    who: Member,
    session: MeasurementSession,
    tank: Tank,
    *,
    planned: Sequence[PlannedPoint],
    readings: Sequence[Reading],
    point_id: int | None,
    own_place: tuple[float, float, float] | None,
    question: Question | None = None,
) -> EntryView:
    unit = who.length_unit
    points = points_of(tank, planned, readings, unit, plan_scale(planned, readings))
    point = _own_place(tank, own_place, unit) if own_place else _chosen(points, point_id)
    return EntryView(
        session_id=session.id,
        tank_id=tank.id,
        tank_name=tank.name,
        member_id=who.id,
        unit=unit,
        point=point,
        own_place=own_place is not None,
        points=points,
        chart=small_chart(tank),
        read=sum(one.struck_reason is None for one in readings),
        question=question,
        data=_data(who, session, tank, points, readings),
        factors=multiplied(session.immersion_factor, session.calibration_factor),
    )


def _chosen(points: Sequence[PointView], point_id: int | None) -> PointView | None:
    chosen = next((one for one in points if one.id == point_id), None)
    return chosen or next((one for one in points if one.state == "open"), None)


def next_open(points: Sequence[PointView], after: int | None) -> PointView | None:
    """The next point not read yet, going on from one and round to the start."""
    index = next((i for i, one in enumerate(points) if one.id == after), -1)
    rest = [*points[index + 1 :], *points[: index + 1]]
    return next((one for one in rest if one.state == "open" and one.id != after), None)


def _own_place(tank: Tank, place: tuple[float, float, float], unit: str) -> PointView:
    row = PlannedPoint(session_id=0, position=0, x_cm=place[0], y_cm=place[1], depth_cm=place[2])
    return _point(tank, small_chart(tank), row, [], 0, unit, None)


def _data(
    who: Member,
    session: MeasurementSession,
    tank: Tank,
    points: Sequence[PointView],
    readings: Sequence[Reading],
) -> str:
    """What the page's script needs to go on without a network."""
    chart = small_chart(tank)
    return json.dumps(
        {
            "session": session.id,
            "member": who.id,
            "member_name": who.name,
            "unit": who.length_unit,
            "tank": [tank.length_cm, tank.width_cm, tank.depth_cm],
            "chart": [chart.left, chart.top + chart.top_height, chart.front, chart.per_cm],
            "points": [
                {
                    "id": one.id,
                    "words": one.words,
                    "place": one.place,
                    "name": one.name,
                    "expected": one.expected,
                    "expected_ppfd": one.expected_ppfd,
                    "at": [one.x_cm, one.y_cm, one.depth_cm],
                    "skipped": one.state == "skipped",
                }
                for one in points
            ],
            "readings": [
                {
                    "client_id": one.client_id,
                    "point": one.point_id,
                    "at": [one.x_cm, one.y_cm, one.depth_cm],
                    "value": one.raw_ppfd,
                }
                for one in readings
                if one.struck_reason is None
            ],
            "known": [one.client_id for one in readings if one.client_id],
        }
    )
