"""What a member asks of a lamp's page: how high it hangs, how deep one looks, which ripples."""

from dataclasses import dataclass

from starlette.datastructures import QueryParams

from server.models import LampModel, Member
from server.optics.shimmer import Ripple
from server.optics.tint import TINTS
from server.web.light.light_form import typed_in
from server.web.tanks.typed import Refused, TypedIn, shown_length

USUAL_HEIGHT_CM = 25.0
HEIGHT_LIMITS_CM = (0.1, 200.0)
_RIPPLE_HEIGHT = 0.05
"""Height of the shown ripple as a part of its length: gentle waves under a return pump."""


@dataclass(frozen=True)
class Asked:
    """A hanging height, a depth, a water and a ripple."""

    height_cm: float
    depth_cm: float
    water: str
    ripple: Ripple
    values: dict[str, str]
    unit: str


def read_asked(query: QueryParams, who: Member, lamp: LampModel) -> Asked | Refused:
    """The lamp page's address; an empty one takes the middle of the stated heights."""
    unit = who.length_unit
    usual = usual_height_cm(lamp)
    defaults = {
        "height": shown_length(usual, unit),
        "depth": shown_length(30.0, unit),
        "water": "usual",
        "ripple": shown_length(8.0, unit),
    }
    typed = typed_in(query, who, defaults)
    height = _length(typed, "height", HEIGHT_LIMITS_CM, usual)
    depth = _length(typed, "depth", (1.0, 250.0), 30.0)
    water = typed.choice("water", TINTS, otherwise="usual")
    ripple = _length(typed, "ripple", (0.5, 500.0), 8.0)
    if typed.errors:
        return typed.refused()
    gentle = Ripple(length_cm=ripple, height_cm=_RIPPLE_HEIGHT * ripple)
    return Asked(height, depth, water, gentle, typed.values, unit)


def usual_height_cm(lamp: LampModel) -> float:
    """Middle of the stated heights, or 25 cm."""
    low, high = lamp.min_height_cm, lamp.max_height_cm
    if low is not None and high is not None:
        return (low + high) / 2
    return low or high or USUAL_HEIGHT_CM


def _length(typed: TypedIn, name: str, limits_cm: tuple[float, float], like_cm: float) -> float:
    value = typed.length(name, low_cm=limits_cm[0], high_cm=limits_cm[1], like_cm=like_cm)
    return 0.0 if value is None else value
