"""What a visitor types into the shimmer calculator; the address carries it."""

from dataclasses import dataclass

from starlette.datastructures import QueryParams

from server.models import Member
from server.optics.lamp import LIMITS, Layout
from server.optics.shimmer import LIMITS as WATER_LIMITS
from server.optics.shimmer import Ripple
from server.web.light.layout_form import read_layout
from server.web.light.light_form import typed_in
from server.web.tanks.typed import Refused, TypedIn

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
    layout = read_layout(typed)
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


def _length(
    typed: TypedIn, name: str, limits_cm: tuple[float, float], like_cm: float, needed: bool = True
) -> float:
    """A length in cm; 0 where it may stay empty and does."""
    low, high = limits_cm
    value = typed.length(name, low_cm=low, high_cm=high, like_cm=like_cm, needed=needed)
    return 0.0 if value is None else value
