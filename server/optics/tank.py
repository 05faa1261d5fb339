"""The tank and its water, as light meets them."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Wall = Literal["clear", "black"] | float
"""Glass with air behind, a dark wall that returns nothing, or a diffuse albedo 0–1."""

GLASS_INDEX = 1.52
"""Refractive index of window glass, for the walls and for a cover pane."""

LIMITS = {
    "length_cm": (1.0, 2000.0),
    "width_cm": (1.0, 2000.0),
    "depth_cm": (1.0, 1000.0),
    "floor_albedo": (0.0, 1.0),
    "albedo": (0.0, 1.0),
    "film": (0.0, 1.0),
    "lid": (0.0, 1.0),
    "refractive_index": (1.0, 1.6),
    "absorption_per_m": (0.0, 100.0),
}
"""Least and greatest value that is accepted for each measure (both included)."""

MAX_ROCKS, MAX_BRACES = 40, 12

ROCK_ALBEDO = 0.15
"""Diffuse albedo of overgrown rock where nobody stated one: our choice, no published source."""

_SHARE_TOLERANCE = 1e-3
_TOUCHING_CM = 1e-6


@dataclass(frozen=True, kw_only=True)
class Walls:
    """The four sides below the rim. Left and right close the x axis, front and back the y axis."""

    left: Wall = "clear"
    right: Wall = "clear"
    front: Wall = "clear"
    back: Wall = "clear"

    def __post_init__(self) -> None:
        for side in (self.left, self.right, self.front, self.back):
            if side not in ("clear", "black"):
                albedo_of(side)


@dataclass(frozen=True, kw_only=True)
class Rock:
    """A box with upright sides: a block, a shelf, a plate. Every face scatters.

    top_cm, bottom_cm: depths below the surface; without a bottom it stands on the floor.
    albedo: diffuse share each face returns. Raises ValueError where it has no inside.
    """

    left_cm: float
    right_cm: float
    front_cm: float
    back_cm: float
    top_cm: float
    bottom_cm: float | None = None
    albedo: float = ROCK_ALBEDO

    def __post_init__(self) -> None:
        _within("albedo", self.albedo)
        _check_edges(self)


@dataclass(frozen=True, kw_only=True)
class Brace:
    """An opaque strip on the water: stops light going in, swallows light coming up below it."""

    left_cm: float
    right_cm: float
    front_cm: float
    back_cm: float

    def __post_init__(self) -> None:
        _check_edges(self)


@dataclass(frozen=True, kw_only=True)
class Film:
    """Share of the light that growth on each clear wall lets by, 0–1, each time it is passed.

    Light passes it on the way to the glass and on the way back, so a wall returns the square.
    """

    left: float = 1.0
    right: float = 1.0
    front: float = 1.0
    back: float = 1.0

    def __post_init__(self) -> None:
        for share in (self.left, self.right, self.front, self.back):
            _within("film", share)


@dataclass(frozen=True, kw_only=True)
class Tank:
    """Inside measures [cm]; `depth_cm` is the depth of the water.

    floor_albedo: diffuse share the floor returns, 0–1. cover: a clear glass pane over the water.
    rocks and braces: inside the walls, at most MAX_ROCKS and MAX_BRACES. film: growth on the clear
    walls. lid: share of the light that a mesh over the tank passes, at every angle.
    Raises ValueError for measures outside LIMITS, and for rocks and braces outside the walls.
    """

    length_cm: float
    width_cm: float
    depth_cm: float
    walls: Walls = field(default_factory=Walls)
    floor_albedo: float = 0.1
    cover: bool = False
    rocks: tuple[Rock, ...] = ()
    braces: tuple[Brace, ...] = ()
    film: Film = field(default_factory=Film)
    lid: float = 1.0

    def __post_init__(self) -> None:
        for name in ("length_cm", "width_cm", "depth_cm", "floor_albedo", "lid"):
            _within(name, getattr(self, name))
        for message in (word for _, word in misplaced(self)):
            raise ValueError(message)

    @property
    def obstructed(self) -> bool:
        """Whether anything stands in the light's way between the walls."""
        return bool(self.rocks or self.braces)


def misplaced(tank: Tank) -> list[tuple[str, str]]:
    """Rocks and braces that are too many or not inside the walls: (field, what is wrong)."""
    found = []
    for name, things, most in (("rocks", tank.rocks, MAX_ROCKS),
                               ("braces", tank.braces, MAX_BRACES)):  # fmt: skip
        if len(things) > most:
            found.append((name, f"{name} must be at most {most}, not {len(things)}"))
        for k, thing in enumerate(things):
            wrong = box_faults(vars(thing), tank.length_cm, tank.width_cm, tank.depth_cm)
            found += [(f"{name}.{k}.{edge}", f"{name}.{k}.{edge} {word}") for edge, word in wrong]
    return found


def box_faults(
    edges: Mapping[str, float | None],
    length_cm: float = math.inf,
    width_cm: float = math.inf,
    depth_cm: float = math.inf,
) -> list[tuple[str, str]]:
    """What is wrong with the edges of a rock or brace in a tank of that size: (edge, words)."""
    found = []
    for low, high, extent in (("left_cm", "right_cm", length_cm), ("front_cm", "back_cm", width_cm),
                              ("top_cm", "bottom_cm", depth_cm)):  # fmt: skip
        first, second = edges.get(low), edges.get(high)
        for edge, at in ((low, first), (high, second)):
            if at is not None and not 0.0 <= at <= extent + _TOUCHING_CM:
                found.append((edge, f"must lie inside the tank, 0 to {extent:g}, not {at:g}"))
        if first is not None and (extent if second is None else second) <= first:
            edge = low if second is None else high
            found.append((edge, f"must leave room: {high} must lie beyond {low}"))
    return found


@dataclass(frozen=True, kw_only=True)
class Water:
    """Refractive index and absorption.

    absorption: pairs (share of the light, absorption per metre); the shares sum to 1. Parts of
        the light that fade differently, as colours do, keep their own exponent.
    """

    refractive_index: float = 1.339
    absorption: tuple[tuple[float, float], ...] = ((1.0, 0.1),)

    def __post_init__(self) -> None:
        _within("refractive_index", self.refractive_index)
        check_absorption(self.absorption)


def check_absorption(absorption: tuple[tuple[float, float], ...]) -> None:
    """Raises ValueError unless shares are positive, sum to 1, and every exponent is in LIMITS."""
    if not absorption:
        raise ValueError("absorption needs at least one (share, per_m) pair")
    for share, per_m in absorption:
        if not 0.0 <= share <= 1.0 + _SHARE_TOLERANCE:
            raise ValueError(f"a share of the light must lie between 0 and 1, not {share}")
        _within("absorption_per_m", per_m)
    total = sum(share for share, _ in absorption)
    if abs(total - 1.0) > _SHARE_TOLERANCE:
        raise ValueError(f"the shares of the light must sum to 1, not {total}")


def albedo_of(wall: Wall) -> float:
    """Diffuse albedo of a wall: 0 for black and for clear glass (which mirrors, not scatters)."""
    if isinstance(wall, str):
        return 0.0
    if not 0.0 <= wall <= 1.0:
        raise ValueError(f"a wall must be 'clear', 'black' or an albedo from 0 to 1, not {wall}")
    return float(wall)


def _check_edges(thing: object) -> None:
    """Raises ValueError for edges that are no numbers, below nought or do not rise."""
    for edge, words in box_faults(vars(thing)):
        raise ValueError(f"{edge} {words}")


def _within(name: str, value: float) -> None:
    low, high = LIMITS[name]
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {value}")
