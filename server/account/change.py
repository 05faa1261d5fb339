"""One change to a tank: what hangs otherwise afterwards, or which animal lives elsewhere."""

import math
from dataclasses import dataclass
from enum import StrEnum

from server.account.ability import Hang


class Kind(StrEnum):
    """What would be changed."""

    POWER = "power"
    HEIGHT = "height"
    LAMP_PLACE = "lamp place"
    MESH = "mesh"
    TAKE_AWAY = "take away"
    ADD = "add"
    HOURS = "hours"
    ANIMAL_PLACE = "animal place"


HANDS = frozenset({Kind.POWER, Kind.HEIGHT, Kind.LAMP_PLACE, Kind.MESH, Kind.TAKE_AWAY})
"""Changes to what hangs already: nothing to buy, and no animal is touched."""

EFFORT: dict[Kind, float] = {
    Kind.POWER: 0.0,
    Kind.HEIGHT: 0.3,
    Kind.LAMP_PLACE: 0.5,
    Kind.MESH: 0.6,
    Kind.TAKE_AWAY: 1.0,
    Kind.ANIMAL_PLACE: 1.0,
    Kind.HOURS: 0.0,
    Kind.ADD: 2.0,
}
"""What each kind costs whatever its extent; only the order of equals rests on it (our choice)."""

FAR_CM = 40.0


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change.

    lamps: indexes of the lamps it touches (for ADD: the one whose like is added). before, after:
    how every lamp hangs; after ADD the new one is last, after TAKE_AWAY one is missing.
    mesh: share of light that a mesh lets through. animal, stood, place: an animal's index and
    where it stands before and after (x, y, depth) [cm]. lit_hours: hours of light before, after.
    """

    kind: Kind
    lamps: tuple[int, ...] = ()
    before: tuple[Hang, ...] = ()
    after: tuple[Hang, ...] = ()
    mesh: float = 1.0
    animal: int | None = None
    stood: tuple[float, float, float] = (0.0, 0.0, 0.0)
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)
    lit_hours: tuple[float, float] = (0.0, 0.0)

    @property
    def size(self) -> float:
        """How much is altered, so that of equals the smallest change can be taken."""
        return EFFORT[self.kind] + 0.1 * len(self.lamps) + self._extent

    @property
    def touched(self) -> tuple[tuple[Hang, Hang], ...]:
        """Before and after of each lamp that is turned, raised or moved."""
        if self.kind in (Kind.ADD, Kind.TAKE_AWAY):
            return ()
        return tuple((self.before[n], self.after[n]) for n in self.lamps)

    @property
    def new(self) -> Hang | None:
        """How an added lamp would hang."""
        return self.after[-1] if self.kind is Kind.ADD else None

    @property
    def _extent(self) -> float:
        if self.kind is Kind.MESH:
            return abs(math.log(self.mesh))
        if self.kind is Kind.ANIMAL_PLACE:
            return math.dist(self.stood, self.place) / FAR_CM
        return sum(_gap(one, other) for one, other in self.touched)


def _gap(one: Hang, other: Hang) -> float:
    turned = abs(math.log(max(other.power, 1e-3) / max(one.power, 1e-3)))
    raised = abs(other.height_cm - one.height_cm) / max(one.height_cm, 1.0)
    return turned + raised + math.dist((one.x_cm, one.y_cm), (other.x_cm, other.y_cm)) / FAR_CM
