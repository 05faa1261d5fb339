"""What the animals get from a plan, and the one turn of a power that would put more in range."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.db.tanks import LampPlace
from server.drawing.marks import Verdict
from server.models import Animal
from server.surveys.verdict import Judged as Known
from server.surveys.verdict import Verdict as Sure
from server.web.tanks.judged import Judged, letter

Floats = npt.NDArray[np.float64]

POWERS = np.arange(5, 101) / 100


@dataclass(frozen=True, kw_only=True)
class Turn:
    """A change of power: of one lamp, or of all by the same share (lamp None)."""

    lamp: int | None
    powers: tuple[float, ...]
    in_range: int


def judge(animals: Sequence[Animal], ppfd: Floats | None) -> tuple[Judged, ...]:
    """Verdicts by the planned value alone; nothing is known without lamps (ppfd None)."""
    return tuple(
        Judged(
            animal=animal,
            letter=letter(n),
            ppfd=None if ppfd is None else float(ppfd[n]),
            verdict="unknown" if ppfd is None else _verdict(animal, float(ppfd[n])),
        )
        for n, animal in enumerate(animals)
    )


def _verdict(animal: Animal, ppfd: float) -> Verdict:
    if ppfd < animal.low_ppfd:
        return "below"
    return "above" if ppfd > animal.high_ppfd else "within"


_SAID: dict[Sure, Verdict] = {
    Sure.TOO_DIM: "below",
    Sure.IN_RANGE: "within",
    Sure.TOO_BRIGHT: "above",
    Sure.NOT_KNOWN: "unknown",
}


def judge_known(animals: Sequence[Animal], found: Sequence[Known]) -> tuple[Judged, ...]:
    """Verdicts of the measured map: given where they are sure, otherwise not known."""
    return tuple(
        Judged(animal=animal, letter=letter(n), ppfd=one.ppfd, verdict=_SAID[one.verdict])
        for n, (animal, one) in enumerate(zip(animals, found, strict=True))
    )


def best_turn(
    animals: Sequence[Animal], by_lamp: Floats, places: Sequence[LampPlace]
) -> Turn | None:
    """The one turn of power that puts most animals in range, if it puts in more than now.

    by_lamp: PPFD of each lamp at its present power, (lamps, animals). Light is linear in power,
    so every power of every lamp, and of all together, is simply tried. Of equals the smallest
    turn wins.
    """
    if not animals or not places:
        return None
    low = np.array([animal.low_ppfd for animal in animals])
    high = np.array([animal.high_ppfd for animal in animals])
    total = by_lamp.sum(axis=0)
    best: tuple[int, float, Turn] | None = None
    for lamp, part, now in _turnable(by_lamp, places):
        ratio = POWERS / now
        light = total[None, :] + part[None, :] * (ratio[:, None] - 1)
        counts = ((light >= low) & (light <= high)).sum(axis=1)
        at = int(np.lexsort((np.abs(np.log(ratio)), -counts))[0])
        rank = (int(counts[at]), -abs(float(np.log(ratio[at]))))
        if best is None or rank > best[:2]:
            powers = _powers(places, lamp, float(ratio[at]))
            best = (*rank, Turn(lamp=lamp, powers=powers, in_range=rank[0]))
    now_in_range = int(((total >= low) & (total <= high)).sum())
    return best[2] if best is not None and best[0] > now_in_range else None


def _turnable(
    by_lamp: Floats, places: Sequence[LampPlace]
) -> Iterator[tuple[int | None, Floats, float]]:
    """What can be turned: each lamp that is on, and all together; its light and its power."""
    for n, place in enumerate(places):
        if place.power > 0:
            yield n, by_lamp[n], place.power
    highest = max(place.power for place in places)
    if len(places) > 1 and highest > 0:
        yield None, by_lamp.sum(axis=0), highest


def _powers(places: Sequence[LampPlace], lamp: int | None, ratio: float) -> tuple[float, ...]:
    return tuple(
        round(place.power * (ratio if lamp in (None, n) else 1.0), 3)
        for n, place in enumerate(places)
    )
