"""What the animals of a tank get from its light as planned, and what that means for each."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.db.light import Scene
from server.drawing.marks import Verdict
from server.models import Animal
from server.optics.field import at_points
from server.web import filters

VERDICT_WORDS: dict[Verdict, str] = {
    "below": "too dim",
    "within": "in range",
    "above": "too bright",
    "unknown": "not known",
}


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One animal, the PPFD planned at its place (None without light), and the verdict."""

    animal: Animal
    letter: str
    ppfd: float | None
    verdict: Verdict

    @property
    def words(self) -> str:
        return VERDICT_WORDS[self.verdict]

    @property
    def range_words(self) -> str:
        return range_words(self.animal.low_ppfd, self.animal.high_ppfd)


def range_words(low: float, high: float) -> str:
    """A range as it was stated, without false decimals: 5–60."""
    return "–".join(filters.number(value, 1).removesuffix(".0") for value in (low, high))


def letter(position: int) -> str:
    """The letter an animal carries on charts: a to z, then aa, ab, …"""
    round_, place = divmod(position, 26)
    return (letter(round_ - 1) if round_ else "") + "abcdefghijklmnopqrstuvwxyz"[place]


def judge(animals: Sequence[Animal], scene: Scene | None) -> tuple[Judged, ...]:
    """Every animal in its order; without a scene nothing is known of their light."""
    light = _light(animals, scene) if scene is not None and animals else [None] * len(animals)
    return tuple(
        Judged(animal=animal, letter=letter(n), ppfd=light[n], verdict=verdict_of(animal, light[n]))
        for n, animal in enumerate(animals)
    )


def _light(animals: Sequence[Animal], scene: Scene) -> list[float | None]:
    """An animal left outside by a tank made smaller is judged at the nearest place inside."""
    tank = scene.tank
    found = at_points(
        tank,
        scene.water,
        scene.emitters,
        x_cm=[min(animal.x_cm, tank.length_cm) for animal in animals],
        y_cm=[min(animal.y_cm, tank.width_cm) for animal in animals],
        depth_cm=[min(animal.depth_cm, tank.depth_cm) for animal in animals],
    )
    return [float(value) for value in found]


def verdict_of(animal: Animal, ppfd: float | None) -> Verdict:
    if ppfd is None:
        return "unknown"
    if ppfd < animal.low_ppfd:
        return "below"
    return "above" if ppfd > animal.high_ppfd else "within"
