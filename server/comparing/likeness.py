"""How alike two tanks are, for finding those whose experience helps.

A distance over what decides the light: size and depth of the water (ratios), the animals'
wishes, the kinds of lamp, and what the walls do. Our own measure, no published source; each
part is told apart so that the page can say in words why a tank is near.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Likened:
    """What of a tank decides its light. `groups` counts animals by group, `kinds` lamps by kind."""

    length_cm: float
    width_cm: float
    depth_cm: float
    clear_walls: int
    cover: bool
    groups: Mapping[str, int]
    kinds: Mapping[str, int]


@dataclass(frozen=True, kw_only=True)
class Likeness:
    """The parts of the distance, each 0 when equal and about 1 when far apart."""

    depth: float
    size: float
    animals: float
    lamps: float
    walls: float

    @property
    def distance(self) -> float:
        return math.hypot(self.depth, self.size, self.animals, self.lamps, 0.5 * self.walls)

    @property
    def alike_in(self) -> tuple[str, ...]:
        """What the two tanks have in common, in words."""
        parts = (
            (self.depth, 0.2, "depth of water"),
            (self.size, 0.25, "size"),
            (self.animals, 0.4, "animals"),
            (self.lamps, 0.3, "kind of lamp"),
            (self.walls, 0.3, "walls"),
        )
        return tuple(words for value, near, words in parts if value <= near)


def likeness(one: Likened, other: Likened) -> Likeness:
    """Depth and size by ratio (a factor of 2 counts 1), animals and lamps by shared share."""
    return Likeness(
        depth=_ratio(one.depth_cm, other.depth_cm),
        size=math.hypot(
            _ratio(one.length_cm, other.length_cm), _ratio(one.width_cm, other.width_cm)
        )
        / math.sqrt(2),
        animals=_apart(one.groups, other.groups),
        lamps=_apart(one.kinds, other.kinds),
        walls=abs(one.clear_walls - other.clear_walls) / 4 + 0.25 * (one.cover != other.cover),
    )


def _ratio(one: float, other: float) -> float:
    return abs(math.log2(one / other))


def _apart(one: Mapping[str, int], other: Mapping[str, int]) -> float:
    """1 minus the shared share of two mixtures (Bray & Curtis 1957 on shares, from memory)."""
    if not one or not other:
        return 0.0 if not one and not other else 0.5  # nothing known says little either way
    total_one, total_other = sum(one.values()), sum(other.values())
    shared = sum(
        min(one.get(key, 0) / total_one, other.get(key, 0) / total_other) for key in {*one, *other}
    )
    return 1.0 - shared
