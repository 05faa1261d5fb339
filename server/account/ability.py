"""What one lamp can do as it hangs. Everything that is proposed stays within this.

No number here comes from a lamp's look: dimming, levels and heights are stated of its model, or
the usual ones of its kind, and then said to be so.
"""

import math
from bisect import bisect
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Literal

Dims = Literal["no", "steps", "smooth"]
Control = Literal["by_hand", "clock_switch", "programs", "full"]

USUAL_HEIGHTS_CM = (15.0, 60.0)
"""Where a lamp states no heights (common practice, no published source)."""

USUAL_LEAST_LEVEL = 0.1
"""Dimmed further, many lamps change colour or flicker (common practice, no published source)."""

USUAL_STEPS: dict[Dims, float] = {"no": 1.0, "steps": 0.05, "smooth": 0.01}
"""Steps of the level where none is stated (our judgement)."""

SPLASH_CM = 15.0
"""Below this, salt water splashes and creeps onto a lamp (common practice, no published source)."""

SPLASH_CAUTION = (
    "That is low over salt water, where splash and salt creep reach a lamp and its mains lead: "
    "only for a lamp made for it, with a splash guard, a drip loop in the lead and a residual "
    "current device (RCD or GFCI)."
)

_SLACK_CM = 0.05


@dataclass(frozen=True, kw_only=True)
class Ability:
    """What a lamp can do as it hangs.

    least_level, level_step: shares of its full light (0–1); a lamp that does not dim is at 1.
    size_cm: its extent along x and y as it hangs. lowest_cm, highest_cm: from the water up to
    its face, the room above the water counted in; the highest lies below the lowest where that
    room is too small. heights_stated: whether both come from its papers.
    """

    name: str
    dims: Dims
    control: Control = "full"
    least_level: float = USUAL_LEAST_LEVEL
    level_step: float = 0.01
    size_cm: tuple[float, float] = (0.0, 0.0)
    lowest_cm: float = USUAL_HEIGHTS_CM[0]
    highest_cm: float = USUAL_HEIGHTS_CM[1]
    heights_stated: bool = False

    @cached_property
    def levels(self) -> tuple[float, ...]:
        """Every level it can be set to, rising, full light last."""
        if self.dims == "no":
            return (1.0,)
        first = math.ceil(self.least_level / self.level_step - 1e-9)
        last = math.floor(1.0 / self.level_step + 1e-9)
        steps = (round(k * self.level_step, 4) for k in range(max(first, 1), last + 1))
        return tuple(dict.fromkeys([level for level in steps if level < 1.0] + [1.0]))

    def runs_at(self, power: float) -> bool:
        """Whether its control can be set to this power; off is always possible."""
        at = bisect(self.levels, power - 5e-4)
        return power == 0.0 or (at < len(self.levels) and self.levels[at] < power + 5e-4)

    def hangs_at(self, height_cm: float) -> bool:
        return self.lowest_cm - _SLACK_CM <= height_cm <= self.highest_cm + _SLACK_CM

    @property
    def heights_cm(self) -> tuple[float, ...]:
        """Whole centimetres it may hang at, its lowest and highest among them."""
        if self.highest_cm < self.lowest_cm:
            return ()
        whole = range(math.ceil(self.lowest_cm), math.floor(self.highest_cm) + 1)
        return tuple(sorted({self.lowest_cm, *map(float, whole), self.highest_cm}))


@dataclass(frozen=True, kw_only=True)
class Hang:
    """How one lamp hangs: power (0–1), and the place of its middle [cm]."""

    power: float
    height_cm: float
    x_cm: float
    y_cm: float


@dataclass(frozen=True, kw_only=True)
class Hanging:
    """One lamp over the tank: how it hangs and what it can do."""

    hang: Hang
    ability: Ability


def dims_of(stated: str, kind: str, control: str) -> Dims:
    """How a lamp dims: as stated, else as its kind and control let it.

    Halides and tubes without a stated dimmer do not dim, nor does what a clock or a hand
    switches on and off.
    """
    if stated in ("no", "steps", "smooth"):
        return stated  # type: ignore[return-value]  # one of the three just above
    if kind in ("fluorescent_tube", "metal_halide") or control in ("by_hand", "clock_switch"):
        return "no"
    return "steps" if control == "programs" else "smooth"


def splashed(height_cm: float) -> bool:
    return height_cm < SPLASH_CM


# Room over the glass


def over_glass(glass_cm: tuple[float, float], hang: Hang, ability: Ability) -> bool:
    """Whether the lamp lies within the rim (length, width)."""
    places = (hang.x_cm, hang.y_cm)
    return all(
        size / 2 - _SLACK_CM <= place <= side - size / 2 + _SLACK_CM
        for place, size, side in zip(places, ability.size_cm, glass_cm, strict=True)
    )


def apart(one: Hang, can_one: Ability, other: Hang, can_other: Ability) -> bool:
    """Whether two lamps lie side by side, whatever their heights."""
    gaps = (abs(one.x_cm - other.x_cm), abs(one.y_cm - other.y_cm))
    if gaps == (0.0, 0.0):
        return False
    sizes = zip(can_one.size_cm, can_other.size_cm, strict=True)
    return any(
        gap >= (a + b) / 2 - _SLACK_CM and gap > 0 for gap, (a, b) in zip(gaps, sizes, strict=True)
    )


def all_fit(glass_cm: tuple[float, float], hanging: Sequence[Hanging]) -> bool:
    """Whether every lamp lies within the rim and none over another."""
    inside = all(over_glass(glass_cm, one.hang, one.ability) for one in hanging)
    pairs = combinations(hanging, 2)
    return inside and all(apart(a.hang, a.ability, b.hang, b.ability) for a, b in pairs)


def even_places(
    glass_cm: tuple[float, float], ability: Ability, count: int
) -> tuple[tuple[float, float], ...]:
    """Middles of `count` such lamps hung evenly, side by side and within the rim.

    In one row along the longer side if that has room, else in as many rows as it needs; empty
    where so many do not fit.
    """
    long = 0 if glass_cm[0] >= glass_cm[1] else 1
    room = [_room(glass_cm[axis], ability.size_cm[axis]) for axis in (0, 1)]
    for rows in range(1, count + 1):
        if count % rows == 0 and count // rows <= room[long] and rows <= room[1 - long]:
            return _rows(glass_cm, count // rows, rows, long)
    return ()


def most_over(glass_cm: tuple[float, float], ability: Ability) -> int:
    """How many such lamps fit over the glass at most."""
    return min(
        _room(glass_cm[0], ability.size_cm[0]) * _room(glass_cm[1], ability.size_cm[1]), 1000
    )


def _room(side_cm: float, size_cm: float) -> int:
    return math.floor((side_cm + _SLACK_CM) / size_cm) if size_cm > 0 else 1000


def _rows(
    glass_cm: tuple[float, float], along: int, rows: int, long: int
) -> tuple[tuple[float, float], ...]:
    found = [
        (glass_cm[long] * (k + 0.5) / along, glass_cm[1 - long] * (row + 0.5) / rows)
        for row in range(rows)
        for k in range(along)
    ]
    return tuple(found if long == 0 else [(b, a) for a, b in found])


def as_it_can(hang: Hang, can: Ability) -> Hang:
    """The nearest way to hang that the lamp can do; a lamp that is off stays off.

    Where the room above is too low for it, its height is left as it is.
    """
    power = hang.power and min(can.levels, key=lambda level: abs(level - hang.power))
    height_cm = hang.height_cm
    if can.heights_cm:
        height_cm = min(max(height_cm, can.lowest_cm), can.highest_cm)
    return replace(hang, power=power, height_cm=height_cm)
