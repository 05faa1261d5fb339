"""What differs between two accounts of a tank's light: plan and readings, or two sessions."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.account.cuts import Cuts
from server.db.light import Hung
from server.db.measured import Measured, Survey
from server.db.tanks import place_of
from server.drawing import axes, tank_view
from server.drawing.overheads import Overhead
from server.drawing.tank_view import Doubt, Point, TankView
from server.models import Tank
from server.surveys.drift import Drift
from server.web import chart_levels, filters
from server.web.measured import charts, words
from server.web.three_views import MARGINS, MOST_PER_CM, PHONE

Floats = NDArray[np.float64]

WIDE = 720.0
PLAN = "plan"


@dataclass(frozen=True, kw_only=True)
class DifferenceView:
    """The whole page."""

    tank_id: int
    tank_name: str
    setup_id: int
    unit: str
    answer: str
    sure: str
    told: str
    wide: TankView
    narrow: TankView
    choices: tuple[tuple[str, str], ...]
    later_choices: tuple[tuple[str, str], ...]
    earlier: str
    later: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class Pair:
    """later: the measured account; earlier: another one, None for the plan; names of both."""

    later: Measured
    earlier: Measured | None
    earlier_key: str
    later_key: str
    names: tuple[str, str]
    change: Drift | None
    unit: str
    depth_cm: float


def session_choices(surveys: Sequence[Survey]) -> tuple[tuple[str, str], ...]:
    """Sessions to choose from, newest first."""
    return tuple(
        (str(one.session.id), f"readings of {filters.day(one.session.taken_on)}")
        for one in reversed(surveys)
        if one.readings
    )


def difference_page(of: Pair) -> DifferenceView:
    rows, unit = of.later.rows, of.unit
    tank = rows.tank
    cuts = Cuts(depth_cm=of.depth_cm, front_y_cm=tank.width_cm / 2, side_x_cm=tank.length_cm / 2)
    earlier = of.earlier.map if of.earlier else None
    told, change, unsure, shape = charts.change_views(of.later.map, earlier, cuts)
    field, doubt = change.reshape(shape), unsure.reshape(shape)
    choices = session_choices(rows.surveys)
    return DifferenceView(
        tank_id=tank.id,
        tank_name=tank.name,
        setup_id=rows.setup.id,
        unit=unit,
        answer=_answer(of, told.percent, told.unsure),
        sure=_sure(told.unsure),
        told=words.drift_words(of.change) if of.change else "",
        wide=_chart(of, tank, field, doubt, WIDE),
        narrow=_chart(of, tank, field, doubt, PHONE),
        choices=((PLAN, "the plan"), *choices),
        later_choices=(("all", "all readings that count"), *choices),
        earlier=of.earlier_key,
        later=of.later_key,
        rows=_table(of, told.percent, told.low, told.high, shape),
    )


def _answer(of: Pair, percent: Floats, unsure: NDArray[np.bool_]) -> str:
    """The change of the middle place, or that nothing sure is to be seen."""
    earlier, later = of.names
    depth = filters.length(of.depth_cm, of.unit)
    middle = float(np.median(percent))
    if float(unsure.mean()) > 0.8:
        return f"{depth} down, {later} and {earlier} do not differ for sure."
    way = "more" if middle > 0 else "less"
    return f"{depth} down, {later} show {abs(middle):.0f} % {way} light than {earlier}."


def _sure(unsure: NDArray[np.bool_]) -> str:
    share = filters.percent(float(unsure.mean()))
    return (
        f"On {share} of this depth the difference is too small or too uncertain to be sure of its "
        "sign: hatched on the chart."
    )


def _chart(of: Pair, tank: Tank, field: Floats, doubt: Floats, width: float) -> TankView:
    depth = filters.length(of.depth_cm, of.unit)
    low, high = (
        chart_levels.signed(round(float(end))) for end in (np.nanmin(field), np.nanmax(field))
    )
    return tank_view.plan(
        field,
        length=tank.length_cm,
        width=tank.width_cm,
        per_cm=min((width - MARGINS) / tank.length_cm, MOST_PER_CM),
        unit=axes.CENTIMETRES if of.unit == "cm" else axes.INCHES,
        levels=chart_levels.change(float(np.nanmax(np.abs(field)))),
        title=f"{of.names[1].capitalize()} less {of.names[0]}, from above, {depth} deep",
        description=f"From {low} to {high} µmol m⁻² s⁻¹.",
        axis_words=f"{of.unit} from the left wall · front wall below",
        points=_numbers(field, tank),
        overheads=[_lamp(one) for one in of.later.rows.hung],
        doubt=Doubt(values=doubt, limit=0.5, blank=1.5),
    )


def _lamp(hung: Hung) -> Overhead:
    place = place_of(hung.row)
    along, across = hung.stated.lamp.layout.extent_cm
    width, length = (across, along) if place.turned else (along, across)
    return Overhead(across=place.x_cm, along=place.y_cm, width=width, length=length, words="")


def _nine(shape: tuple[int, int]) -> list[tuple[int, int]]:
    """Rows and columns of nine even places, the front ones first."""
    ny, nx = shape
    rows, columns = ((n // 6, n // 2, n - 1 - n // 6) for n in (ny, nx))
    return [(j, i) for j in rows for i in columns]


def _place(j: int, i: int, shape: tuple[int, int], tank: Tank) -> tuple[float, float]:
    return (i + 0.5) / shape[1] * tank.length_cm, (j + 0.5) / shape[0] * tank.width_cm


def _numbers(field: Floats, tank: Tank) -> list[Point]:
    """The difference printed at nine places, as computed values."""
    found = []
    for j, i in _nine(field.shape):
        x, y = _place(j, i, field.shape, tank)
        told = chart_levels.signed(round(float(field[j, i])))
        found.append(Point(across=x, along=y, words=told, measured=False))
    return found


def _table(
    of: Pair, percent: Floats, low: Floats, high: Floats, shape: tuple[int, int]
) -> tuple[tuple[str, ...], ...]:
    """The same as numbers at nine places of the depth."""
    found = []
    for j, i in _nine(shape):
        at = j * shape[1] + i
        place = _place(j, i, shape, of.later.rows.tank)
        x, y = (filters.length_number(round(one), of.unit) for one in place)
        ends = (_signed(float(values[at])) for values in (percent, low, high))
        found.append((f"{x} right, {y} back", *ends))
    return tuple(found)


def _signed(percent: float) -> str:
    return f"{chart_levels.signed(round(percent))} %"
