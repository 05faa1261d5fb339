"""What a visitor types into the shimmer calculator; the address carries it."""

from dataclasses import dataclass

from starlette.datastructures import QueryParams

from server.models import Member
from server.optics.lamp import LIMITS, Layout
from server.optics.shimmer import LIMITS as WATER_LIMITS
from server.optics.shimmer import Ripple
from server.web.light.light_form import typed_in
from server.web.tanks.typed import Refused, TypedIn

LAYOUTS = (
    ("point", "One small spot: a single LED or a tight cluster under one lens"),
    ("grid", "Single LEDs spread over a panel or bar"),
    ("square", "A glowing face: a dense cluster or a reflector"),
    ("tubes", "Tubes side by side"),
)
DEFAULTS = {
    "layout": "grid",
    "count_x": "6",
    "count_y": "4",
    "pitch_x": "4",
    "pitch_y": "4",
    "side": "",
    "tube_length": "",
    "beam": "90",
    "height": "25",
    "depth": "30",
    "ripple": "8",
    "ripple_height": "0.4",
    "aside_x": "",
    "aside_y": "",
}
_INCH_DEFAULTS = {
    "pitch_x": "1.5",
    "pitch_y": "1.5",
    "height": "10",
    "depth": "12",
    "ripple": "3",
    "ripple_height": "0.15",
}


@dataclass(frozen=True)
class ShimmerTyped:
    """A lamp's layout over rippled water, and where one looks."""

    layout: Layout
    beam_deg: float
    height_cm: float
    depth_cm: float
    ripple: Ripple
    aside_cm: tuple[float, float]
    values: dict[str, str]
    unit: str


def read_shimmer(query: QueryParams, who: Member | None) -> ShimmerTyped | Refused:
    """The shimmer calculator's address."""
    inches = who is not None and who.length_unit == "in"
    typed = typed_in(query, who, DEFAULTS | (_INCH_DEFAULTS if inches else {}))
    layout = _layout(typed)
    beam = typed.number("beam", low=5, high=170, like="90", unit="degrees")
    height = _length(typed, "height", LIMITS["height_cm"], 25)
    depth = _length(typed, "depth", WATER_LIMITS["depth_cm"], 30)
    ripple_length = _length(typed, "ripple", WATER_LIMITS["ripple_length_cm"], 8)
    ripple_height = _length(typed, "ripple_height", (0.01, 20.0), 0.4)
    aside = tuple(
        _length(typed, name, (-500.0, 500.0), 20, needed=False) or 0.0
        for name in ("aside_x", "aside_y")
    )
    steepest = WATER_LIMITS["steepest"][1]
    if not typed.errors and ripple_height > steepest * ripple_length:
        typed.errors["ripple_height"] = (
            "Ripples this steep break; keep the height under "
            f"{100 * steepest:.0f} % of the length from crest to crest."
        )
    if typed.errors or layout is None or beam is None:
        return typed.refused()
    return ShimmerTyped(
        layout,
        beam,
        height,
        depth,
        Ripple(length_cm=ripple_length, height_cm=ripple_height),
        (aside[0], aside[1]),
        typed.values,
        typed.unit,
    )


def _layout(typed: TypedIn) -> Layout | None:
    """The layout; the fields that belong to another kind are only kept as typed."""
    for name in ("count_x", "count_y", "pitch_x", "pitch_y", "side", "tube_length"):
        typed.words(name, most=20)
    kind = typed.choice("layout", [key for key, _ in LAYOUTS], otherwise="grid")
    if kind == "point":
        return Layout()
    if kind == "square":
        side = _length(typed, "side", LIMITS["side_cm"], 6)
        return Layout(side_cm=side)
    count_x = 1 if kind == "tubes" else _count(typed, "count_x", 60)
    count_y = _count(typed, "count_y", 40)
    pitch_x = 0.0 if kind == "tubes" else _length(typed, "pitch_x", LIMITS["pitch_x_cm"], 4)
    pitch_y = _length(typed, "pitch_y", LIMITS["pitch_y_cm"], 4)
    tube = _length(typed, "tube_length", LIMITS["tube_length_cm"], 85) if kind == "tubes" else None
    if typed.errors:
        return None
    try:
        return Layout(
            count_x=count_x,
            count_y=count_y,
            pitch_x_cm=pitch_x,
            pitch_y_cm=pitch_y,
            tube_length_cm=tube,
        )
    except ValueError as wrong:
        typed.errors["count_x"] = f"{str(wrong)[:1].upper()}{str(wrong)[1:]}."
        return None


def _count(typed: TypedIn, name: str, most: int) -> int:
    value = typed.number(name, low=1, high=most, like="4") or 1.0
    if value != int(value):
        typed.errors[name] = "Type a whole number, such as 4."
    return int(value)


def _length(
    typed: TypedIn, name: str, limits_cm: tuple[float, float], like_cm: float, needed: bool = True
) -> float:
    """A length in cm; 0 where it may stay empty and does."""
    low, high = limits_cm
    value = typed.length(name, low_cm=low, high_cm=high, like_cm=like_cm, needed=needed)
    return 0.0 if value is None else value
