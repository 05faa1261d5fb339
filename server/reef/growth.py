"""How animals grow: wider plates that shade, taller branches that come nearer to the lamp.

Rates are linear extension in cm a year. They come from reviews of wild corals and are from memory;
in a tank they may be half or double, so a keeper's own note takes their place.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

DAYS_PER_YEAR = 365.25
PLATE_CM = 1.0
"""Thickness of a plate of coral as it throws shade: our choice."""


@dataclass(frozen=True, kw_only=True)
class Extension:
    """Published linear extension of a group [cm a year]: a middle value and its usual span."""

    middle: float
    low: float
    high: float
    source: str


_PRATCHETT = (
    "Pratchett et al. 2015, Oceanogr Mar Biol Annu Rev 53:215–295, a review of wild corals; "
    "from memory"
)
EXTENSIONS: Mapping[str, Extension] = {
    "small_polyp": Extension(middle=6.0, low=2.0, high=12.0, source=_PRATCHETT),
    "plating": Extension(middle=3.0, low=1.0, high=6.0, source=_PRATCHETT),
    "massive": Extension(
        middle=1.0,
        low=0.5,
        high=2.0,
        source="Lough & Barnes 2000, J Exp Mar Biol Ecol 245:225–243 (Porites); from memory",
    ),
}
"""By the key of the group in `server.dose.groups`; a missing group has no published rate here."""


@dataclass(frozen=True, kw_only=True)
class Grower:
    """An animal as it grows from a day on.

    width_cm: across, on that day; 0 for one too small to shade. rate_cm_year: how fast each edge
    moves outward. up: whether it grows toward the surface rather than outward.
    """

    x_cm: float
    y_cm: float
    depth_cm: float
    width_cm: float
    rate_cm_year: float
    up: bool = False


def years_between(earlier: date, later: date) -> float:
    """Years [a] from one day to a later one; never negative."""
    return max((later - earlier).days, 0) / DAYS_PER_YEAR


def grown(one: Grower, *, years: float) -> Grower:
    """The animal so many years on: both edges of a plate moved outward, or its tip upward."""
    gain = one.rate_cm_year * years
    if one.up:
        depth = max(one.depth_cm - gain, 0.0)
        return Grower(**{**vars(one), "depth_cm": depth})
    return Grower(**{**vars(one), "width_cm": one.width_cm + 2 * gain if one.width_cm else 0.0})


def plate(
    one: Grower, *, length_cm: float, width_cm: float, depth_cm: float
) -> tuple[float, float, float, float, float, float] | None:
    """The box that shades: left, right, front, back, top, bottom [cm], cut to the tank.

    None for an animal without a width, and where no water is left below it to be shaded.
    """
    half = one.width_cm / 2
    if half <= 0 or one.depth_cm + PLATE_CM >= depth_cm:
        return None
    return (
        max(one.x_cm - half, 0.0),
        min(one.x_cm + half, length_cm),
        max(one.y_cm - half, 0.0),
        min(one.y_cm + half, width_cm),
        one.depth_cm,
        one.depth_cm + PLATE_CM,
    )
