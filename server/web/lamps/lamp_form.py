"""What a member asks of a lamp's page: how high it hangs, how deep one looks, which ripples."""

from dataclasses import dataclass

from server.models import LampModel
from server.optics.shimmer import Ripple
from server.web.fields import choice, length
from server.web.forms import Filled, Form
from server.web.spectrum_told import WATER_OPTIONS

USUAL_HEIGHT_CM = 25.0
_RIPPLE_HEIGHT = 0.05
"""Height of the shown ripple as a part of its length: gentle waves under a return pump."""

HEIGHT = length("height", "Height over the water", (0.1, 200.0), like_cm=USUAL_HEIGHT_CM)
DEPTH = length("depth", "Depth", (1.0, 250.0), like_cm=30.0)
RIPPLE = length("ripple", "Ripples, crest to crest", (0.5, 500.0), like_cm=8.0)
WATER = choice("water", "Water", WATER_OPTIONS, start="usual")
LOOKED_AT = Form(HEIGHT, DEPTH, RIPPLE, WATER)


@dataclass(frozen=True)
class LookedAt:
    """A hanging height, a depth, a water and a ripple."""

    height_cm: float
    depth_cm: float
    water: str
    ripple: Ripple
    unit: str


def usual_values(lamp: LampModel) -> dict[str, float | None]:
    """Lengths [cm] the page starts from: the middle of the stated heights."""
    return {"height": usual_height_cm(lamp), "depth": 30.0, "ripple": 8.0}


def read_asked(form: Filled) -> LookedAt:
    """Raises Refused."""
    height, depth, water, ripple = form[HEIGHT], form[DEPTH], form[WATER], form[RIPPLE]
    form.check()
    gentle = Ripple(length_cm=ripple, height_cm=_RIPPLE_HEIGHT * ripple)
    return LookedAt(height, depth, water, gentle, form.unit)


def usual_height_cm(lamp: LampModel) -> float:
    """Middle of the stated heights, or 25 cm."""
    low, high = lamp.min_height_cm, lamp.max_height_cm
    if low is not None and high is not None:
        return (low + high) / 2
    return low or high or USUAL_HEIGHT_CM
