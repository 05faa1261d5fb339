"""Levels and heights for lamps that may hang anyhow: the adviser's change, again and again."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from server.account.ability import Hang, Hanging, as_it_can
from server.account.adviser import search
from server.account.change import Kind
from server.account.known_light import KnownLight
from server.surveys.plan import Animal

ROUNDS = 4
GAINED = 0.02

LightOf = Callable[[Sequence[Hang]], KnownLight | None]


def solved(
    light_of: LightOf, animals: Sequence[Animal], hanging: Sequence[Hanging]
) -> tuple[Hanging, ...]:
    """The lamps at heights and levels they can do, for most animals expected in range.

    light_of: the light with the lamps hung so; None where none falls on the tank.
    """
    hung = tuple(replace(one, hang=as_it_can(one.hang, one.ability)) for one in hanging)
    for _ in range(ROUNDS):
        light = light_of([one.hang for one in hung])
        if light is None or not animals:
            return hung
        best = search(light.map, animals, hung, frozenset({Kind.POWER, Kind.HEIGHT}))
        if best.change is None or best.gain < GAINED:
            return hung
        hung = tuple(
            replace(one, hang=hang) for one, hang in zip(hung, best.change.after, strict=True)
        )
    return hung
