"""Shimmer: how much of the dance of ripple-focused light a lamp leaves."""

from dataclasses import dataclass, replace
from typing import Annotated

from pydantic import Field

from server.drawing.line_chart import Dot, LineChart, Series, line_chart
from server.optics import emitters as lights
from server.optics import shimmer as dance
from server.optics.lamp import LIMITS, Layout
from server.optics.shimmer import LIMITS as WATER_LIMITS
from server.optics.shimmer import SOFT, STRONG, Ripple, Shimmer
from server.web.answers import Answer
from server.web.ask import Asked
from server.web.calculators.light_asked import NOT_TAKEN
from server.web.calculators.registry import Calculator, Json, Unanswerable
from server.web.charts import Both, both
from server.web.fields import length, maybe, number
from server.web.filters import CM_PER_INCH, percent
from server.web.filters import length as shown
from server.web.forms import Filled, Form
from server.web.layouts import layout_fields, read_layout
from server.web.problem import Refusal
from server.web.scene_json import Emitters, Number, Strict
from server.web.shimmer_told import SURE, answer, direction_rows, facts, layout_emitters

_PANEL = {"count_x": ("6", "6"), "count_y": ("4", "4"), "pitch_x": ("4", "1.5"),
          "pitch_y": ("4", "1.5")}  # fmt: skip
LAYOUT = [
    one.but(start="grid") if one.name == "layout" else one for one in layout_fields(start=_PANEL)
]
BEAM = number(
    "beam", "Beam angle", (5, 170), like="90", unit="degrees", start="90",
    where="On the lamp's box, often as lens angle.",
)  # fmt: skip
HEIGHT = length(
    "height", "Height over the water", LIMITS["height_cm"], like_cm=25, start="25", start_in="10"
)
DEPTH = length(
    "depth", "Depth you look at", WATER_LIMITS["depth_cm"], like_cm=30, start="30", start_in="12"
)
RIPPLE = length(
    "ripple", "Ripples, crest to crest", WATER_LIMITS["ripple_length_cm"], like_cm=8, start="8",
    start_in="3", where="Look along the surface from the side.",
)  # fmt: skip
RIPPLE_HEIGHT = length(
    "ripple_height", "Ripples, trough to crest", (0.01, 20.0), like_cm=0.4, start="0.4",
    start_in="0.15", hint="Changes the contrast, not the share that is left.",
)  # fmt: skip
ASIDE_X = maybe(
    length("aside_x", "Aside of the lamp's middle, along it", (-500.0, 500.0), like_cm=20,
           hint="Empty means right under it.")
)  # fmt: skip
ASIDE_Y = maybe(length("aside_y", "Aside, across it", (-500.0, 500.0), like_cm=20))
HEIGHT_OF_CHART = 240.0
_HEIGHTS = 13
_DIRECTIONS = 8
_NEXT = {"washed out": ("soft", SOFT), "soft": ("strong", STRONG)}


@dataclass(frozen=True)
class Typed:
    """A lamp's layout over rippled water, and where one looks."""

    layout: Layout
    beam_deg: float
    height_cm: float
    depth_cm: float
    ripple: Ripple
    aside_cm: tuple[float, float]
    unit: str


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    sure: str
    charts: Both[LineChart]
    facts: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]


def read(form: Filled, ask: Asked) -> Typed:
    layout, beam, height, depth = read_layout(form), form[BEAM], form[HEIGHT], form[DEPTH]
    crest, trough = form[RIPPLE], form[RIPPLE_HEIGHT]
    aside = form[ASIDE_X] or 0.0, form[ASIDE_Y] or 0.0
    form.check()
    steepest = WATER_LIMITS["steepest"][1]
    if trough > steepest * crest:
        words = (
            "Ripples this steep break; keep the height under "
            f"{100 * steepest:.0f} % of the length from crest to crest."
        )
        raise form.refuse(RIPPLE_HEIGHT, words)
    ripple = Ripple(length_cm=crest, height_cm=trough)
    return Typed(layout, beam, height, depth, ripple, aside, form.unit)


def work(typed: Typed) -> Shimmer:
    try:
        return _at(typed)
    except ValueError as dark:
        words = "No light of this lamp reaches that place; look nearer to its middle."
        raise Unanswerable("aside_x", words) from dark


def show(typed: Typed, found: Shimmer) -> View:
    curve = _curve(typed)
    return View(
        answer=answer(found),
        do=_do(found, curve, typed),
        sure=SURE,
        charts=both(lambda width: _chart(curve, found, typed, width)),
        facts=facts(found, typed.ripple, typed.layout, typed.unit),
        rows=direction_rows(found),
    )


Curve = list[tuple[float, float]]
"""Heights in cm and the share that is left there."""


def _curve(typed: Typed) -> Curve:
    low, high = min(10.0, typed.height_cm), max(60.0, 1.3 * typed.height_cm)
    heights = [low + (high - low) * k / (_HEIGHTS - 1) for k in range(_HEIGHTS)]
    return [(height, _left(replace(typed, height_cm=height))) for height in heights]


def _left(typed: Typed) -> float:
    """Share that is left; none where no light arrives."""
    try:
        return _at(typed).survives
    except ValueError:
        return 0.0


def _at(typed: Typed) -> Shimmer:
    return dance.shimmer(
        layout_emitters(typed.layout, typed.beam_deg, typed.height_cm),
        x_cm=typed.aside_cm[0],
        y_cm=typed.aside_cm[1],
        depth_cm=typed.depth_cm,
        ripple=typed.ripple,
        directions=_DIRECTIONS,
    )


def _do(found: Shimmer, curve: Curve, typed: Typed) -> str:
    """What would bring more, or calm it: another height where that is enough, else another lamp."""
    if found.word not in _NEXT:
        return "To calm it, take a wider lamp, hang it lower, or break the surface's long ripples."
    word, level = _NEXT[found.word]
    higher = [height for height, left in curve if height > typed.height_cm and left >= level]
    if higher:
        return f"For a {word} shimmer hang it higher, from about {shown(higher[0], typed.unit, 0)}."
    return "For more of it, take a lamp whose emitters sit closer together, or add one small spot."


def _chart(curve: Curve, here: Shimmer, typed: Typed, width: float) -> LineChart:
    """What is left against the lamp's height, with a mark where it hangs."""
    per_unit = 1.0 if typed.unit == "cm" else CM_PER_INCH
    (low, at_low), (high, at_high) = curve[0], curve[-1]
    return line_chart(
        width=width,
        height=HEIGHT_OF_CHART,
        title="Shimmer against the lamp's height",
        description=(
            f"Share of a small lamp's shimmer that is left, from {percent(at_low)} at "
            f"{shown(low, typed.unit)} to {percent(at_high)} at {shown(high, typed.unit)}; "
            f"{percent(here.survives)} at {shown(typed.height_cm, typed.unit)}."
        ),
        x_name=f"height over the water, {typed.unit}",
        y_name="shimmer left, %",
        series=[Series(x=[h / per_unit for h, _ in curve], y=[100 * left for _, left in curve])],
        y_range=(0.0, 105.0),
        dots=[Dot(x=typed.height_cm / per_unit, y=100 * here.survives)],
    )


def _within(limits: tuple[float, float]) -> object:
    return Field(ge=limits[0], le=limits[1])


class ShimmerAsked(Strict):
    """Lamps over rippled water and the place one looks at."""

    emitters: Emitters
    x_cm: Annotated[Number, _within(lights.LIMITS["x_cm"])]
    y_cm: Annotated[Number, _within(lights.LIMITS["x_cm"])]
    depth_cm: Annotated[Number, _within(WATER_LIMITS["depth_cm"])]
    ripple_length_cm: Annotated[Number, _within(WATER_LIMITS["ripple_length_cm"])]
    ripple_height_cm: Annotated[Number, Field(gt=0, le=WATER_LIMITS["ripple_height_cm"][1])]
    refractive_index: Annotated[Number, Field(gt=1, le=1.6)] = 1.339


class DirectionAnswer(Answer):
    """One way the ripples may run: 0 along x, 90 along y."""

    direction_deg: float
    survives: float
    contrast: float


class ShimmerAnswer(Answer):
    """survives: share of one small lamp's dance left. contrast: standard deviation over mean."""

    survives: float
    contrast: float
    word: str
    by_direction: list[DirectionAnswer]


def shimmer(asked: ShimmerAsked) -> Shimmer:
    """Contrast of ripple-focused light that survives for a layout of emitters."""
    try:
        return dance.shimmer(
            [one.emitter() for one in asked.emitters],
            x_cm=asked.x_cm,
            y_cm=asked.y_cm,
            depth_cm=asked.depth_cm,
            ripple=Ripple(length_cm=asked.ripple_length_cm, height_cm=asked.ripple_height_cm),
            refractive_index=asked.refractive_index,
        )
    except ValueError as wrong:
        raise Refusal(422, NOT_TAKEN, errors=[_beside(str(wrong))]) from wrong


def _beside(words: str) -> tuple[str, str]:
    if "steepest" in words:
        return "ripple_height_cm", "must be at most 0.3 of the ripple's length"
    return "emitters", words


SHIMMER = Calculator(
    key="shimmer",
    name="Shimmer",
    question="How strongly will ripples dance on the rock under this lamp?",
    asks="Your lamp and water",
    button="Work it out",
    form=Form(*LAYOUT, HEIGHT, DEPTH, RIPPLE, RIPPLE_HEIGHT, BEAM, ASIDE_X, ASIDE_Y),
    read=read,
    work=work,
    show=show,
    json=Json(
        path="/api/shimmer",
        summary="How much the light will dance",
        work=shimmer,
        answer=ShimmerAnswer,
    ),
)
