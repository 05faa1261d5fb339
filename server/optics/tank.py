"""The tank and its water, as light meets them."""

import math
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
    "refractive_index": (1.0, 1.6),
    "absorption_per_m": (0.0, 100.0),
}
"""Least and greatest value that is accepted for each measure (both included)."""

_SHARE_TOLERANCE = 1e-3


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
class Tank:
    """Inside measures [cm]; `depth_cm` is the depth of the water.

    floor_albedo: diffuse share the floor returns, 0–1. cover: a clear glass pane over the water.
    Raises ValueError for measures outside LIMITS.
    """

    length_cm: float
    width_cm: float
    depth_cm: float
    walls: Walls = field(default_factory=Walls)
    floor_albedo: float = 0.1
    cover: bool = False

    def __post_init__(self) -> None:
        for name in ("length_cm", "width_cm", "depth_cm", "floor_albedo"):
            _within(name, getattr(self, name))


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


def _within(name: str, value: float) -> None:
    low, high = LIMITS[name]
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {value}")
