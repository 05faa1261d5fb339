"""Charts of a session: soundings printed at their places, and a log's day."""

from collections.abc import Sequence
from datetime import time

import numpy as np

from server.drawing import axes, line_chart, tank_view
from server.models import Tank
from server.surveys.day_curve import BIN_MINUTES, DayCurve
from server.surveys.readings import Sounding
from server.web import filters

_WIDE, _NARROW = 470.0, 268.0
MOST_PRINTED = 60  # more numbers than that are a grey cloud
_LEVELS = tank_view.Levels(tints=(1.0,), scheme="zone")
_PLAIN = np.full((2, 2), 2.0)  # nothing is computed here: plain water under the numbers


def soundings(
    tank: Tank, points: Sequence[Sounding], unit: str, *, narrow: bool
) -> tank_view.TankView | None:
    """The readings as numbers at their places, seen from above; None for none or too many."""
    if not points or len(points) > MOST_PRINTED:
        return None
    width = _NARROW if narrow else _WIDE
    return tank_view.plan(
        _PLAIN,
        length=tank.length_cm,
        width=tank.width_cm,
        per_cm=width / tank.length_cm,
        unit=axes.CENTIMETRES if unit == "cm" else axes.INCHES,
        levels=_LEVELS,
        title=f"Readings in {tank.name} from above",
        description=(
            f"{filters.count(len(points), 'point')} with the light read there in µmol m⁻² s⁻¹, "
            "at all depths; the table below has every one with its depth."
        ),
        axis_words=f"{unit} from the left wall · front wall below",
        points=[
            tank_view.Point(
                across=min(one.x_cm, tank.length_cm),
                along=min(one.y_cm, tank.width_cm),
                words=filters.ppfd(one.ppfd),
            )
            for one in points
        ],
    )


def day(curve: DayCurve, clock: str, *, narrow: bool) -> line_chart.LineChart:
    """The usual day of a log: median of its days, with the lowest and highest as an interval."""
    known = ~np.isnan(curve.ppfd)
    hours = (curve.minute[known] / 60).tolist()
    step = 6 if narrow else 3
    dose = curve.dli_mol_m2_d
    top = float(np.max(curve.high[known])) if known.any() else 0.0
    return line_chart.line_chart(
        width=320 if narrow else 620,
        height=240 if narrow else 280,
        title="The usual day of this log",
        description=(
            f"Median light of {filters.count(len(curve.days), 'day')} in steps of {BIN_MINUTES} "
            f"minutes; highest {filters.ppfd(top)} µmol m⁻² s⁻¹."
        ),
        x_name="hour of the day",
        y_name="PPFD, µmol m⁻² s⁻¹",
        x_range=(0.0, 24.0),
        x_places=tuple((float(h), _hour(h, clock)) for h in range(0, 25, step)),
        series=[
            line_chart.Series(
                x=hours,
                y=curve.ppfd[known].tolist(),
                shaded=True,
                low=curve.low[known].tolist() if len(curve.days) > 1 else None,
                high=curve.high[known].tolist() if len(curve.days) > 1 else None,
            )
        ],
        note=f"{filters.significant(dose, 3)} mol m⁻² d⁻¹" if dose is not None else "",
    )


def hours(curve: DayCurve, clock: str) -> tuple[tuple[str, ...], ...]:
    """The same day as a table: hour, usual light, lowest and highest day."""
    per_hour = 60 // BIN_MINUTES
    rows = []
    for hour in range(24):
        part = slice(hour * per_hour, (hour + 1) * per_hour)
        if np.isnan(curve.ppfd[part]).all():
            continue
        values = (
            np.nanmean(curve.ppfd[part]),
            np.nanmin(curve.low[part]),
            np.nanmax(curve.high[part]),
        )
        rows.append((_hour(hour, clock), *(filters.ppfd(float(v)) for v in values)))
    return tuple(rows)


def _hour(hour: int, clock: str) -> str:
    return filters.clock(time(hour % 24), clock) if hour < 24 or clock == "12" else "24:00"
