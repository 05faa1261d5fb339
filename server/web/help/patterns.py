"""Example values for the page of patterns, which shows every part of the pages and drawings.

The page includes the real parts, so that it cannot drift from them. All numbers are made up.
"""

import math
from dataclasses import dataclass
from datetime import date

import numpy as np

from server.drawing import axes, gauge, legend, line_chart, overheads, polar, strip, tank_view
from server.drawing.marks import Verdict
from server.web.fields import choice, day, file, length, line, lines, maybe, number, tick
from server.web.forms import Filled, Form

LEVELS = tank_view.Levels(
    tints=(50, 75, 150, 200, 350, 500), lines=(25, 100, 125, 250, 300, 425, 600, 700)
)
CHANGE = tank_view.Levels(
    tints=(-50, -20, 20, 50),
    lines=(-100, 0, 100),
    words=(
        (-100, "−100"),
        (-50, "−50"),
        (-20, "−20"),
        (0, "0"),
        (20, "+20"),
        (50, "+50"),
        (100, "+100"),
    ),
    scheme="change",
)
ZONE = tank_view.Levels(tints=(200, 350), scheme="zone")
_Row = tuple[float | None, tuple[float, float] | None, tuple[float, float], Verdict]
_HOSTILE = "</title><script>alert(1)</script>"


@dataclass(frozen=True, kw_only=True)
class PatternsView:
    """One of each drawing."""

    plan: tank_view.TankView
    plan_narrow: tank_view.TankView
    front: tank_view.TankView
    front_narrow: tank_view.TankView
    change: tank_view.TankView
    zone: tank_view.TankView
    legend: legend.Legend
    day: line_chart.LineChart
    day_narrow: line_chart.LineChart
    spectrum: line_chart.LineChart
    drift: line_chart.LineChart
    rose: polar.Polar
    strip: strip.Strip
    gauges: tuple[gauge.Gauge, ...]


def _field(columns: int, rows: int, *, fall: float) -> np.ndarray:
    x = (np.arange(columns) + 0.5) / columns * 120
    y = (np.arange(rows) + 0.5) / rows * 50
    peaks = [(30, 24, 300), (62, 26, 420), (96, 24, 330)]
    made = sum(
        p / (1 + ((x[None, :] - a) / 26) ** 2 + ((y[:, None] - b) / fall) ** 2) ** 1.5
        for a, b, p in peaks
    )
    return np.asarray(made) + 40


_THINGS: tuple[tuple[str, float, float, float, Verdict, str], ...] = (
    ("a", 33.0, 34.0, 14.0, "within", "gets 285"),
    ("b", 86.0, 12.0, 33.0, "above", "too bright"),
    ("c", 104.0, 36.0, 40.0, "below", "too dim"),
    ("d", 14.0, 12.0, 45.0, "unknown", "not known"),
)


def _plan(per_cm: float, words: bool) -> tank_view.TankView:
    values = _field(60, 25, fall=18)
    y, x = np.mgrid[0:25, 0:60]
    doubt = 0.08 + 0.9 * np.exp(-((x - 4) ** 2 + (y - 3) ** 2) / 60)
    return tank_view.plan(
        values,
        length=120,
        width=50,
        per_cm=per_cm,
        unit=axes.CENTIMETRES,
        levels=LEVELS,
        title=f"From above, 24 cm down {_HOSTILE}",
        description="Made-up light over a tank of 120 by 50 cm, brightest in the middle.",
        axis_words="cm from the left wall · front wall below",
        things=[
            tank_view.Thing(across=x, along=y, letter=a, verdict=v, words=(w,) if words else ())
            for a, x, y, _, v, w in _THINGS
        ],
        points=[
            tank_view.Point(across=46, along=40, words="226"),
            tank_view.Point(across=74, along=30, words="354"),
            tank_view.Point(across=60, along=8, words="260", measured=False),
        ],
        overheads=[
            overheads.Overhead(across=x, along=24, width=12, length=12, words=n)
            for n, x in (("1", 30), ("2", 62), ("3", 96))
        ],
        cut_across=60,
        cut_along=25,
        doubt=tank_view.Doubt(values=doubt),
    )


def _front(per_cm: float, words: bool) -> tank_view.TankView:
    return tank_view.section(
        _field(60, 26, fall=40) * np.linspace(1.7, 0.5, 26)[:, None],
        length=120,
        depth=52,
        headroom=30,
        per_cm=per_cm,
        unit=axes.CENTIMETRES,
        levels=LEVELS,
        title="From the front, 25 cm from the front wall",
        description="Three lamps 22 cm over the water.",
        axis_words="cm from the left wall · depth down the side",
        things=[
            tank_view.Thing(across=x, along=d, letter=a, verdict=v, words=(w,) if words else ())
            for a, x, _, d, v, w in _THINGS
        ],
        overheads=[
            overheads.Overhead(across=x, width=12, height=22, words=p, spread=80, chosen=x == 62)
            for p, x in (("62 %", 30), ("85 %", 62), ("70 %", 96))
        ],
        cut_across=60,
        cut_along=24,
        dimension_words="22 cm",
    )


def _bare(levels: tank_view.Levels, title: str, values: np.ndarray) -> tank_view.TankView:
    return tank_view.plan(
        values,
        length=120,
        width=50,
        per_cm=4.2,
        unit=axes.INCHES,
        levels=levels,
        title=title,
        description="Made-up figures.",
        axis_words="inches from the left wall · front wall below",
    )


def _day(width: float) -> line_chart.LineChart:
    hours = [0, 8, 11.5, 16.5, 20, 24]
    return line_chart.day_curve(
        width=width,
        height=230,
        title="A day of light",
        description="On at 8, full from 11:30 to 16:30, off at 20.",
        hours=hours,
        values=[0, 0, 200, 200, 0, 0],
        y_name="PPFD, µmol m⁻² s⁻¹",
        spans=(line_chart.Span(start=9.05, end=18.95, words="feeds the animal, 9.9 h"),),
        rules=(line_chart.Rule(y=60, words="compensation, 60"),),
        note="6.12 mol m⁻² d⁻¹",
    )


def _spectrum() -> line_chart.LineChart:
    nm = list(range(400, 701, 5))
    blue = [math.exp(-(((n - 450) / 14) ** 2)) for n in nm]
    white = [
        0.7 * math.exp(-(((n - 560) / 60) ** 2)) + 0.4 * math.exp(-(((n - 445) / 12) ** 2))
        for n in nm
    ]
    return line_chart.spectrum_chart(
        width=560,
        height=250,
        title="Two spectra",
        description="Blue peaks at 450 nm; white is broad around 560 nm.",
        series=(
            line_chart.Series(x=nm, y=blue, name="blue", style=1, shaded=True),
            line_chart.Series(x=nm, y=white, name="white", style=2),
        ),
        y_name="photons per nm, of the peak",
        bands=(
            line_chart.Span(start=400, end=500, words="blue 48 %"),
            line_chart.Span(start=500, end=600, words="green 34 %"),
            line_chart.Span(start=600, end=700, words="red 18 %"),
        ),
    )


def _drift() -> line_chart.LineChart:
    months = [0, 2, 4, 6, 8, 10, 12]
    share = [100, 99, 98, 96.5, 95, 94, 92]
    return line_chart.line_chart(
        width=560,
        height=220,
        title="Output over a year",
        description="Falls from 100 to 92 percent.",
        x_name="months since hung",
        y_name="output, percent of new",
        series=(
            line_chart.Series(
                x=months,
                y=share,
                low=[v - 3 for v in share],
                high=[v + 3 for v in share],
                name="estimate",
            ),
        ),
        dots=(
            line_chart.Dot(x=0.2, y=101, low=97, high=105),
            line_chart.Dot(x=9, y=93, low=90, high=96),
        ),
    )


def _strip() -> strip.Strip:
    return strip.strip(
        width=760,
        title="Who has the meters",
        description="Four loans between 20 November and 19 December.",
        first=date(2026, 11, 20),
        last=date(2026, 12, 19),
        rows=("Blue meter", "Old meter with a long name"),
        stretches=(
            strip.Stretch(row=0, first=date(2026, 11, 17), last=date(2026, 11, 23), words="Ivo"),
            strip.Stretch(
                row=0, first=date(2026, 11, 25), last=date(2026, 11, 29), words="You", kind="mine"
            ),
            strip.Stretch(
                row=0,
                first=date(2026, 12, 2),
                last=date(2026, 12, 4),
                words="offered to Tess",
                kind="offered",
            ),
            strip.Stretch(
                row=1,
                first=date(2026, 11, 28),
                last=date(2026, 12, 12),
                words="resting: calibration",
                kind="resting",
            ),
            strip.Stretch(
                row=1,
                first=date(2026, 11, 21),
                last=date(2026, 11, 26),
                words="late: Jon",
                kind="late",
            ),
        ),
        today=date(2026, 11, 25),
    )


def _gauges() -> tuple[gauge.Gauge, ...]:
    rows: tuple[_Row, ...] = (
        (285.0, (266.0, 304.0), (200.0, 350.0), "within"),
        (184.0, (172.0, 196.0), (75.0, 150.0), "above"),
        (52.0, (40.0, 64.0), (75.0, 150.0), "below"),
        (140.0, (70.0, 260.0), (75.0, 150.0), "unknown"),
        (None, None, (75.0, 150.0), "unknown"),
    )
    return tuple(
        gauge.gauge(
            value=value,
            interval=interval,
            wanted=wanted,
            verdict=verdict,
            scale_range=(20, 1000),
        )
        for value, interval, wanted, verdict in rows
    )


FORM = Form(
    number("x_cm", "From the left wall", (0, 120), like="60", unit="cm",
           hint="Inside, along the front pane."),
    number("beam_deg", "Beam angle", (5, 170), like="90", unit="degrees", start="90",
           where="Printed on the lamp's box, often as beam or lens angle."),
    maybe(length("look", "Depth to draw", (0, 55), like_cm=27, hint="Empty means half way down.")),
    line("name", "Name of the tank", most=80, missing="Give the tank a name."),
    choice("floor", "Floor", (("bare", "bare glass"), ("light_sand", "light sand"))),
    choice("wall", "Back wall", (("clear", "Clear glass"),
                                 ("black", "Dark", "painted, film, or grown over")),
           kind="radios", start="", wrong="Say how the back wall is."),
    tick("cover", "There is a cover pane over the water"),
    day("since", "Since"),
    lines("note", "Note", most=2000, extra={"rows": 3}),
    file("table", "A table of readings", hint="CSV, or as saved from a spreadsheet."),
)  # fmt: skip
"""One field of each kind, as families describe theirs."""


def form(unit: str) -> Filled:
    """The form with two fields refused."""
    shown = FORM.showing(
        {"x_cm": "130", "name": "The long reef", "floor": "light_sand", "cover": "yes",
         "since": "2026-11-25", "note": "Rock moved on Sunday."}, unit=unit,
    )  # fmt: skip
    for field in FORM.fields.values():
        shown[field]
    return shown


def patterns() -> PatternsView:
    """Every drawing once, with made-up numbers."""
    return PatternsView(
        plan=_plan(6.0, True),
        plan_narrow=_plan(2.2, False),
        front=_front(6.0, True),
        front_narrow=_front(2.2, False),
        change=_bare(CHANGE, "What a change does", _field(60, 25, fall=18) - 240),
        zone=_bare(ZONE, "Where one animal could live", _field(60, 25, fall=18)),
        legend=legend.legend(LEVELS, width=320, title="PPFD, µmol m⁻² s⁻¹"),
        day=_day(680),
        day_narrow=_day(328),
        spectrum=_spectrum(),
        drift=_drift(),
        rose=polar.polar(
            width=320,
            title="A lamp's rose",
            description="Half strength at 40 degrees from straight down.",
            angles_deg=list(range(0, 91, 3)),
            values=[math.cos(math.radians(a)) ** 2.6 for a in range(0, 91, 3)],
            edge_deg=80,
        ),
        strip=_strip(),
        gauges=_gauges(),
    )
