"""What the shimmer calculator shows."""

from collections.abc import Callable
from dataclasses import dataclass

from server.drawing.line_chart import Dot, LineChart, Series, line_chart
from server.optics.emitters import Emitter
from server.optics.lamp import LampModel, Layout, lamp_emitters
from server.optics.shimmer import SOFT, STRONG, Ripple, Shimmer, shimmer
from server.web.filters import CM_PER_INCH, length, percent
from server.web.light.layout_form import LAYOUTS
from server.web.light.shimmer_form import ShimmerTyped
from server.web.tanks.typed import Refused

WIDE, NARROW, HEIGHT = 720.0, 340.0, 240.0
_HEIGHTS = 13
_DIRECTIONS = 8
_NEXT = {"washed out": ("soft", SOFT), "soft": ("strong", STRONG)}
SURE = (
    "Worked out for one ripple at a time and for light straight from the lamp. Real surfaces carry "
    "many ripples, and light returned by walls and sand thins the contrast further. The words "
    "strong, soft and washed out are ours: 60 % and 25 % left."
)


@dataclass(frozen=True)
class ShimmerCharts:
    """What survives against height, drawn for a desk and for a phone."""

    wide: LineChart
    narrow: LineChart


@dataclass(frozen=True)
class ShimmerView:
    """The shimmer calculator: form, answer, chart, directions."""

    values: dict[str, str]
    errors: dict[str, str]
    unit: str
    layouts: tuple[tuple[str, str], ...] = LAYOUTS
    answer: str = ""
    do: str = ""
    sure: str = ""
    charts: ShimmerCharts | None = None
    facts: tuple[tuple[str, str], ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def refused_view(refused: Refused, unit: str) -> ShimmerView:
    return ShimmerView(refused.values, refused.errors, unit)


def shimmer_view(typed: ShimmerTyped) -> ShimmerView:
    """The answer for a lamp and a ripple that were understood."""
    hung = lambda height_cm: layout_emitters(typed.layout, typed.beam_deg, height_cm)  # noqa: E731 - one line names what the chart and the answer share
    try:
        found = _at(hung(typed.height_cm), typed)
    except ValueError:
        words = "No light of this lamp reaches that place; look nearer to its middle."
        return refused_view(Refused(typed.values, {"aside_x": words}), typed.unit)
    curve = _curve(hung, typed)
    return ShimmerView(
        typed.values,
        {},
        typed.unit,
        answer=answer(found),
        do=_do(found, curve, typed),
        sure=SURE,
        charts=_charts(curve, found, typed),
        facts=facts(found, typed.ripple, typed.layout, typed.unit),
        rows=direction_rows(found),
    )


def answer(found: Shimmer) -> str:
    """The one sentence, used on lamps' pages too."""
    return f"{percent(found.survives)} of a small lamp's shimmer is left: {found.word}."


def layout_emitters(layout: Layout, beam_deg: float, height_cm: float) -> tuple[Emitter, ...]:
    """A lamp of that layout over the origin; its flux does not matter to shimmer."""
    lamp = LampModel(kind="led_panel", beam_deg=beam_deg, ppf_umol_s=100.0, layout=layout)
    return lamp_emitters(lamp, x_cm=0.0, y_cm=0.0, height_cm=height_cm, power=1.0)


def facts(found: Shimmer, ripple: Ripple, layout: Layout, unit: str) -> tuple[tuple[str, str], ...]:
    along, across = layout.extent_cm
    return (
        ("Shimmer left", f"{percent(found.survives)} of what one small lamp would give here"),
        (
            "Contrast",
            f"{percent(found.contrast)} (standard deviation over mean) under ripples "
            f"{length(ripple.height_cm, unit, 2)} high",
        ),
        ("Lamp's size", f"{length(along, unit)} × {length(across, unit)}"),
        ("Ripple", f"{length(ripple.length_cm, unit)} from crest to crest"),
    )


def direction_rows(found: Shimmer) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (_direction(one.direction_deg), percent(one.survives), percent(one.contrast))
        for one in found.by_direction
        if one.direction_deg % 45 == 0
    )


Curve = list[tuple[float, float]]
"""Heights in cm and the share that is left there."""


def _curve(hung: Callable[[float], tuple[Emitter, ...]], typed: ShimmerTyped) -> Curve:
    low, high = min(10.0, typed.height_cm), max(60.0, 1.3 * typed.height_cm)
    heights = [low + (high - low) * k / (_HEIGHTS - 1) for k in range(_HEIGHTS)]
    return [(height, _left(hung(height), typed)) for height in heights]


def _left(emitters: tuple[Emitter, ...], typed: ShimmerTyped) -> float:
    """Share that is left; none where no light arrives."""
    try:
        return _at(emitters, typed).survives
    except ValueError:
        return 0.0


def _do(found: Shimmer, curve: Curve, typed: ShimmerTyped) -> str:
    """What would bring more, or calm it: another height where that is enough, else another lamp."""
    if found.word not in _NEXT:
        return "To calm it, take a wider lamp, hang it lower, or break the surface's long ripples."
    word, level = _NEXT[found.word]
    higher = [height for height, left in curve if height > typed.height_cm and left >= level]
    if higher:
        return (
            f"For a {word} shimmer hang it higher, from about {length(higher[0], typed.unit, 0)}."
        )
    return "For more of it, take a lamp whose emitters sit closer together, or add one small spot."


def _charts(curve: Curve, here: Shimmer, typed: ShimmerTyped) -> ShimmerCharts:
    """What is left against the lamp's height, with a mark where it hangs."""
    per_unit = 1.0 if typed.unit == "cm" else CM_PER_INCH
    (low, at_low), (high, at_high) = curve[0], curve[-1]
    wide, narrow = (
        line_chart(
            width=width,
            height=HEIGHT,
            title="Shimmer against the lamp's height",
            description=(
                f"Share of a small lamp's shimmer that is left, from {percent(at_low)} at "
                f"{length(low, typed.unit)} to {percent(at_high)} at {length(high, typed.unit)}; "
                f"{percent(here.survives)} at {length(typed.height_cm, typed.unit)}."
            ),
            x_name=f"height over the water, {typed.unit}",
            y_name="shimmer left, %",
            series=[
                Series(x=[h / per_unit for h, _ in curve], y=[100 * left for _, left in curve])
            ],
            y_range=(0.0, 105.0),
            dots=[Dot(x=typed.height_cm / per_unit, y=100 * here.survives)],
        )
        for width in (WIDE, NARROW)
    )
    return ShimmerCharts(wide, narrow)


def _at(emitters: tuple[Emitter, ...], typed: ShimmerTyped) -> Shimmer:
    return shimmer(
        emitters,
        x_cm=typed.aside_cm[0],
        y_cm=typed.aside_cm[1],
        depth_cm=typed.depth_cm,
        ripple=typed.ripple,
        directions=_DIRECTIONS,
    )


def _direction(degrees: float) -> str:
    if degrees == 0:
        return "along the lamp"
    return "across the lamp" if degrees == 90 else f"{degrees:g}° from along"
