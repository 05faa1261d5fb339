"""What the animals get from a plan, and the one turn of a power that would put more in range."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.db.tanks import LampPlace
from server.drawing.marks import Verdict
from server.models import Animal
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
    now = _count(by_lamp.sum(axis=0), low, high)
    tried = [turn for turn in _turns(by_lamp, places, low, high) if turn[0].in_range > now]
    return max(tried, key=lambda turn: (turn[0].in_range, -turn[1]))[0] if tried else None


def _turns(
    by_lamp: Floats, places: Sequence[LampPlace], low: Floats, high: Floats
) -> list[tuple[Turn, float]]:
    """Every turn with how far it goes (ratio of the powers, as a logarithm)."""
    total, found = by_lamp.sum(axis=0), []
    now = np.array([place.power for place in places])
    for n, place in enumerate(places):
        if place.power <= 0:
            continue
        for power in POWERS:
            light = total + by_lamp[n] * (power / place.power - 1)
            powers = (*now[:n], power, *now[n + 1 :])
            found.append(_turn(n, powers, light, low, high, power / place.power))
    if len(places) > 1 and now.max() > 0:
        for top in POWERS:
            share = top / now.max()
            found.append(_turn(None, tuple(now * share), total * share, low, high, share))
    return found


def _turn(
    lamp: int | None,
    powers: tuple[float, ...],
    light: Floats,
    low: Floats,
    high: Floats,
    ratio: float,
) -> tuple[Turn, float]:
    turn = Turn(
        lamp=lamp,
        powers=tuple(round(float(power), 3) for power in powers),
        in_range=_count(light, low, high),
    )
    return turn, abs(float(np.log(ratio)))


def _count(light: Floats, low: Floats, high: Floats) -> int:
    return int(((light >= low) & (light <= high)).sum())
