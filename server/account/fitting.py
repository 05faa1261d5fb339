"""Which lamps of a shelf suit this tank: how many, how high and at what level.

Every model is hung evenly over the glass, as many as fit beside each other and within the rim, at
heights and levels it can do. Light adds up, so each height is asked of the engine once at full
light. The choice is the adviser's: most animals expected in range, under the doubt of a plan that
nobody measured; the chosen one is then judged as the account judges any plan.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.account.ability import Ability, even_places, most_over
from server.account.account import AnimalLight
from server.account.known_light import KnownLight
from server.account.reckoning import Resident, animals_in
from server.account.sight import sight
from server.account.unmeasured import unmeasured
from server.comparing.side_by_side import shimmer_left
from server.optics.emitters import Emitter
from server.optics.field import Plane, planes, share_into_water
from server.optics.tank import Tank, Water
from server.surveys.mixture import normal_below
from server.surveys.plan import Animal, Lamp, Plan, points_of
from server.surveys.verdict import Verdict

Floats = NDArray[np.float64]

MOST_OF_ONE = 6
HEIGHTS = 7
PLAN_SD = 0.33
"""Standard deviation of ln PPFD of a plan that nobody measured, about what the map from no
readings gives in most places; only the choice among heights and levels rests on it."""

ENOUGH = 0.05
"""Expected share of the animals that one more lamp must bring in range."""

DARK_END = 1 / 3
"""An end of the tank whose tenth gets less than this of the middle half is dark (our judgement)."""

BIGGER_THAN_NEEDED = 0.25
"""At or below this level half as many photons would do."""


@dataclass(frozen=True, kw_only=True)
class Offered:
    """A lamp of the shelf: `hang` gives its emitters at full light at (x, y, height)."""

    key: int
    watts: float
    price: float | None
    ppf_umol_s: float
    ability: Ability
    hang: Callable[[float, float, float], Sequence[Emitter]]


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What may be spent; None where it does not matter."""

    watts: float | None = None
    money: float | None = None


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """So many of one lamp at the best height and level; animals: as the account judges them.

    places: middles of the lamps (x, y) [cm]. mean_ppfd and uniformity hold over the middle depth
    of the animals; missed_share of the photons never enter the water. why_not: empty where every
    animal's likeliest light lies in its range and no end stays dark.
    """

    key: int
    name: str
    places: tuple[tuple[float, float], ...]
    height_cm: float
    power: float
    animals: tuple[AnimalLight, ...] = ()
    mean_ppfd: float = 0.0
    uniformity: float = 0.0
    missed_share: float = 1.0
    shimmer: float = 0.0
    watts_at_power: float = 0.0
    price: float | None = None
    why_not: str = ""
    note: str = ""

    @property
    def count(self) -> int:
        return max(len(self.places), 1)

    @property
    def expected(self) -> float:
        """Animals expected in range."""
        return sum(one.chance_in_range for one in self.animals)

    @property
    def chance(self) -> float:
        return self.expected / max(len(self.animals), 1)


def likeliest(
    tank: Tank, wanted: Sequence[Animal], shelf: Sequence[Offered], budget: Budget
) -> tuple[Offered, ...]:
    """The shelf, those first whose photons come nearest to what the tank wants.

    Half of a lamp's photons are reckoned to arrive; only the order rests on it.
    """
    middle = float(np.mean([(one.low_ppfd + one.high_ppfd) / 2 for one in wanted]))
    need = middle * tank.length_cm * tank.width_cm * 1e-4 / 0.5

    def distance(lamp: Offered) -> float:
        counts = range(1, max(1, min(MOST_OF_ONE, _affordable(lamp, budget))) + 1)
        enough = [math.log(count * lamp.ppf_umol_s / need) for count in counts]
        return min(e if e >= 0 else -3 * e for e in enough)

    return tuple(sorted(shelf, key=distance))


def fittings(
    tank: Tank,
    water: Water,
    wanted: Sequence[Animal],
    shelf: Sequence[Offered],
    *,
    budget: Budget,
) -> tuple[Fitting, ...]:
    """The best count of each lamp; those that can first, by most expected, then by fewest watts.

    Raises ValueError when nothing is wanted.
    """
    if not wanted:
        raise ValueError("name at least one place and its range")
    over = _Over(tank=tank, water=water, wanted=tuple(wanted), budget=budget)
    found = [over.fitting(lamp) for lamp in shelf]
    return tuple(sorted(found, key=lambda fit: (bool(fit.why_not), -round(fit.expected, 1),
                                                fit.watts_at_power)))  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Chosen:
    """Where so many lamps would hang, and how many animals they would bring in range."""

    places: tuple[tuple[float, float], ...]
    height_cm: float
    power: float
    expected: float


@dataclass(frozen=True, kw_only=True)
class _Over:
    """One tank that looks for lamps."""

    tank: Tank
    water: Water
    wanted: tuple[Animal, ...]
    budget: Budget

    @property
    def glass_cm(self) -> tuple[float, float]:
        return self.tank.length_cm, self.tank.width_cm

    def fitting(self, lamp: Offered) -> Fitting:
        """The fewest of this lamp that bring about as many animals in range as any number."""
        refused = self._refused(lamp)
        if refused:
            return Fitting(
                key=lamp.key, name=lamp.ability.name, places=(), price=lamp.price,
                height_cm=lamp.ability.lowest_cm, power=0.0, why_not=refused,
            )  # fmt: skip
        tried = self._tried(lamp)
        most = max(one.expected for one in tried)
        fewest = next(one for one in tried if one.expected >= most - ENOUGH * len(self.wanted))
        return self._judged(lamp, fewest)

    def _refused(self, lamp: Offered) -> str:
        can = lamp.ability
        if not can.heights_cm:
            return f"It needs {can.lowest_cm:g} cm above the water."
        if not most_over(self.glass_cm, can):
            return f"It is longer than the glass: {max(can.size_cm):.0f} cm."
        return _too_dear(lamp, self.budget) if _affordable(lamp, self.budget) == 0 else ""

    def _layouts(self, lamp: Offered) -> list[tuple[tuple[float, float], ...]]:
        counts = range(1, min(MOST_OF_ONE, _affordable(lamp, self.budget)) + 1)
        found = [even_places(self.glass_cm, lamp.ability, count) for count in counts]
        return [places for places in found if places]

    def _tried(self, lamp: Offered) -> list[_Chosen]:
        """Rising counts, as long as one more lamp brings more animals in range."""
        found: list[_Chosen] = []
        for places in self._layouts(lamp):
            found.append(self._chosen(lamp, places))
            if len(found) > 1 and found[-1].expected < found[-2].expected + 0.01:
                break
        return found

    def _chosen(self, lamp: Offered, places: tuple[tuple[float, float], ...]) -> _Chosen:
        """The height and level that bring most animals in range; of equals the higher."""
        can = lamp.ability
        heights = np.unique(np.round(np.geomspace(can.lowest_cm, can.highest_cm, HEIGHTS), 1))
        middle = _hung(lamp, places, float(heights[heights.size // 2]))
        seen = sight(self._plan(middle), points_of(self.wanted))
        hung = [seen.straight(_hung(lamp, places, float(height))) for height in heights]
        full = seen.whole(np.array(hung))[:, : len(self.wanted)]
        levels = np.array(can.levels)
        expected = self._chances(full[:, None, :] * levels[:, None]).sum(axis=2)
        near = np.argwhere(expected >= expected.max() - 1e-3)
        at, level = near[-1]
        return _Chosen(
            places=places,
            height_cm=float(heights[at]),
            power=float(levels[level]),
            expected=float(expected[at, level]),
        )

    def _chances(self, ppfd: Floats) -> Floats:
        """Of each animal being in range where the plan gives so much, (…, n)."""
        log = np.log(np.maximum(ppfd, 1e-9))
        low, high = (
            np.log(np.maximum([getattr(one, end) for one in self.wanted], 1e-9))
            for end in ("low_ppfd", "high_ppfd")
        )
        return normal_below((high - log) / PLAN_SD) - normal_below((low - log) / PLAN_SD)

    def _plan(self, emitters: tuple[Emitter, ...]) -> Plan:
        lamps = (Lamp(name="lamps", emitters=emitters),)
        return Plan(tank=self.tank, water=self.water, lamps=lamps)

    def _judged(self, lamp: Offered, chosen: _Chosen) -> Fitting:
        full = _hung(lamp, chosen.places, chosen.height_cm)
        emitters = tuple(replace(e, ppf_umol_s=e.ppf_umol_s * chosen.power) for e in full)
        animals = self._animals(emitters)
        depth = float(np.median([one.depth_cm for one in self.wanted]))
        (plane,) = planes(
            self.tank, self.water, emitters, depths_cm=(depth,), cell_cm=_cell(self.tank)
        )
        return Fitting(
            key=lamp.key,
            name=lamp.ability.name,
            places=chosen.places,
            height_cm=chosen.height_cm,
            power=chosen.power,
            animals=animals,
            mean_ppfd=plane.mean,
            uniformity=plane.uniformity,
            missed_share=1.0 - share_into_water(self.tank, self.water, emitters),
            shimmer=shimmer_left(self.tank, self.water, emitters) or 0.0,
            watts_at_power=chosen.power * len(chosen.places) * lamp.watts,
            price=None if lamp.price is None else len(chosen.places) * lamp.price,
            why_not=_shortfall(animals, lamp.ability, chosen.power)
            or _dark_ends(plane, across=self.glass_cm[0] < self.glass_cm[1]),
            note=_note(lamp.ability, chosen.power),
        )

    def _animals(self, emitters: tuple[Emitter, ...]) -> tuple[AnimalLight, ...]:
        light = KnownLight(basis="planned", map=unmeasured(self._plan(emitters)))
        return animals_in(light, [Resident(key=n, animal=a) for n, a in enumerate(self.wanted)])


def _hung(
    lamp: Offered, places: Sequence[tuple[float, float]], height_cm: float
) -> tuple[Emitter, ...]:
    return tuple(e for x_cm, y_cm in places for e in lamp.hang(x_cm, y_cm, height_cm))


def _cell(tank: Tank) -> float:
    return max(2.0, math.sqrt(tank.length_cm * tank.width_cm / 600))


# In words


def leaning(one: AnimalLight) -> Verdict:
    """Where its likeliest light lies, however unsure."""
    if one.ppfd is None or one.ppfd < one.low_wanted:
        return Verdict.TOO_DIM
    return Verdict.TOO_BRIGHT if one.ppfd > one.high_wanted else Verdict.IN_RANGE


def _shortfall(animals: Sequence[AnimalLight], can: Ability, power: float) -> str:
    """Why not everybody's likeliest light lies in its range."""
    found = [leaning(one) for one in animals]
    dim, bright = found.count(Verdict.TOO_DIM), found.count(Verdict.TOO_BRIGHT)
    of = f"of {len(found)}"
    if dim and bright:
        return f"Too uneven: at its best {dim} {of} would be too dim and {bright} too bright."
    if bright:
        if can.dims == "no":
            return f"It does not dim: even at its best height {bright} {of} would be too bright."
        if power <= can.levels[0] + 1e-9:
            return f"Too strong even at its least: {bright} {of} would be too bright."
        return f"Too uneven: at its best {bright} {of} would be too bright."
    if dim:
        return f"Not enough light: {dim} {of} would be too dim{_at_full(power)}."
    return ""


def _at_full(power: float) -> str:
    return " at full light" if power >= 1.0 else ""


def _dark_ends(plane: Plane, *, across: bool) -> str:
    """That an end of the longer side stays dark; empty where it does not."""
    along = plane.ppfd.mean(axis=1 if across else 0)
    tenth, quarter = max(1, along.size // 10), along.size // 4
    middle = float(along[quarter : along.size - quarter].mean())
    ends = min(float(along[:tenth].mean()), float(along[-tenth:].mean()))
    if ends >= DARK_END * middle:
        return ""
    share = 100 * ends / max(middle, 1e-9)
    return f"The ends of the tank stay dark: they get {share:.0f} % of the middle."


def _note(can: Ability, power: float) -> str:
    if can.dims != "no" and power <= BIGGER_THAN_NEEDED:
        return f"Bigger than needed: {100 * power:.0f} % of its light is enough."
    return ""


# Money


def _affordable(lamp: Offered, budget: Budget) -> int:
    """How many the budget allows at full light."""
    most = MOST_OF_ONE
    if budget.watts is not None:
        most = min(most, int(budget.watts // lamp.watts))
    if budget.money is not None and lamp.price is not None:
        most = min(most, int(budget.money // lamp.price) if lamp.price > 0 else most)
    return most


def _too_dear(lamp: Offered, budget: Budget) -> str:
    if budget.watts is not None and lamp.watts > budget.watts:
        return f"One alone takes {lamp.watts:g} W, more than the {budget.watts:g} W allowed."
    return "One alone costs more than the budget."
