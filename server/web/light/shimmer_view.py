"""What the shimmer calculator shows."""

from collections.abc import Callable
from dataclasses import dataclass

from server.drawing.line_chart import Dot, LineChart, Series, line_chart
from server.optics.emitters import Emitter
from server.optics.lamp import LampModel, Layout, lamp_emitters
from server.optics.shimmer import Ripple, Shimmer, shimmer
from server.web.filters import CM_PER_INCH, length, percent
from server.web.light.layout_form import LAYOUTS
from server.web.light.shimmer_form import ShimmerTyped
from server.web.tanks.typed import Refused

WIDE, NARROW, HEIGHT = 720.0, 340.0, 240.0
_HEIGHTS = 13
_DIRECTIONS = 8
_WORDS = {
    "strong": "a strong shimmer",
    "soft": "a soft shimmer",
    "washed out": "a shimmer that is washed out",
}
_DO = {
    "strong": "To calm it, hang a wider lamp, hang it lower, or break the surface's long ripples.",
    "soft": "For more of it, choose a lamp with its emitters closer together, or hang it higher.",
    "washed out": (
        "No setting of this lamp brings shimmer here; a small spot among the light would."
    ),
}
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
    found = _at(hung(typed.height_cm), typed)
    return ShimmerView(
        typed.values,
        {},
        typed.unit,
        answer=answer(found),
        do=_DO[found.word],
        sure=SURE,
        charts=height_charts(
            hung,
            height_cm=typed.height_cm,
            here=found,
            at=lambda emitters: _at(emitters, typed),
            unit=typed.unit,
        ),
        facts=facts(found, typed.ripple, typed.layout, typed.unit),
        rows=direction_rows(found),
    )


def answer(found: Shimmer) -> str:
    """The one sentence, used on lamps' pages too."""
    return f"{percent(found.survives)} of the dance is left: {_WORDS[found.word]}."


def layout_emitters(layout: Layout, beam_deg: float, height_cm: float) -> tuple[Emitter, ...]:
    """A lamp of that layout over the origin; its flux does not matter to shimmer."""
    lamp = LampModel(kind="led_panel", beam_deg=beam_deg, ppf_umol_s=100.0, layout=layout)
    return lamp_emitters(lamp, x_cm=0.0, y_cm=0.0, height_cm=height_cm, power=1.0)


def facts(found: Shimmer, ripple: Ripple, layout: Layout, unit: str) -> tuple[tuple[str, str], ...]:
    along, across = layout.extent_cm
    return (
        ("Dance left", f"{percent(found.survives)} of what one small lamp would give here"),
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
    )


def height_charts(
    hung: Callable[[float], tuple[Emitter, ...]],
    *,
    height_cm: float,
    here: Shimmer,
    at: Callable[[tuple[Emitter, ...]], Shimmer],
    unit: str,
) -> ShimmerCharts:
    """What survives against the lamp's height, with a dot where it hangs."""
    low, high = min(10.0, height_cm), max(60.0, 1.3 * height_cm)
    heights = [low + (high - low) * k / (_HEIGHTS - 1) for k in range(_HEIGHTS)]
    left = [100 * at(hung(height)).survives for height in heights]
    per_unit = 1.0 if unit == "cm" else CM_PER_INCH
    wide, narrow = (
        line_chart(
            width=width,
            height=HEIGHT,
            title="Shimmer against the lamp's height",
            description=(
                f"Share of the dance that is left, from {left[0]:.0f} % at "
                f"{length(low, unit)} to {left[-1]:.0f} % at {length(high, unit)}; "
                f"{100 * here.survives:.0f} % at {length(height_cm, unit)}."
            ),
            x_name=f"height over the water, {unit}",
            y_name="dance left, %",
            series=[Series(x=[h / per_unit for h in heights], y=left)],
            y_range=(0.0, 105.0),
            dots=[Dot(x=height_cm / per_unit, y=100 * here.survives)],
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
