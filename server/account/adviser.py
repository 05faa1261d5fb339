"""The one adviser: which single change brings most animals into the light they need.

It maximises the expected number of animals in range, by the account's own interval; so it stays
away from the edges of ranges by as much as the light is unsure. Of changes within TIE of the best
the smallest is taken, then the one that leaves the light most even. An animal that surely has its
light is never given up for others. What costs money or moves an animal is looked at only where
changing what hangs does not do, and must gain clearly more.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from server.account.ability import Hanging
from server.account.animal_moves import animal_moves, cannot_share
from server.account.change import HANDS, Change, Kind
from server.account.moves import Moves, Tried
from server.account.odds import Odds, odds
from server.account.sight import sight
from server.surveys import verdict
from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Animal, points_of
from server.surveys.scaled import times
from server.surveys.verdict import SURE, Judged

Floats = NDArray[np.float64]

TIE = 0.015
"""Expected animals in range within which changes count as equally good."""

WORTH = 0.1
"""Expected animals that a change must gain to be proposed at all (our judgement)."""

WORTH_MORE = 0.25
"""What it must gain over the best of HANDS if it costs money or moves an animal."""

GIVEN_UP = 0.5
"""A sure animal's chance may not fall below this for the sake of others."""

CONTESTED = 0.1
"""Expected animals by which a kind's best may lie behind and still be worked out exactly."""

SPOTTED = (Kind.LAMP_PLACE, Kind.ADD)
READ_OFF_ERROR = 0.06  # of ln light, between the nodes of a lattice over the glass
NEXT_TO_CM, MOST_ASKED = 2.0, 14  # spots of which the engine itself is asked
MOST_SPOTS = 4  # of the lattice that are looked at more closely
ELSEWHERE_CM = 5.0
NEAR = 0.4
"""Expected animals that going closer round a spot of the lattice may gain."""

ALL = frozenset(Kind) - {Kind.HOURS}


@dataclass(frozen=True, kw_only=True)
class Advice:
    """A change with what it would do.

    now, then: every animal's light before and after. pair: indexes of two animals that no change
    tried could serve together, though each alone could be.
    """

    change: Change | None
    now: tuple[Judged, ...]
    then: tuple[Judged, ...]
    pair: tuple[int, int] | None = None

    @property
    def before(self) -> float:
        """Expected number in range as it hangs."""
        return expected(self.now)

    @property
    def after(self) -> float:
        return expected(self.then)

    @property
    def gain(self) -> float:
        return self.after - self.before

    @property
    def brighter(self) -> bool:
        """Whether some animal would get clearly more than now: it then has to get used to it."""
        return any(b.ppfd > 1.1 * a.ppfd for a, b in zip(self.now, self.then, strict=True))


def expected(judged: Sequence[Judged]) -> float:
    return float(sum(one.chance_in_range for one in judged))


def best_change(
    found: MeasuredMap, animals: Sequence[Animal], hanging: Sequence[Hanging]
) -> Advice | None:
    """The change worth making; `Advice.change` is None where none is. None without light.

    hanging: one per lamp of the map's plan. Remembered: a map is the same object as long as its
    lamps and readings are the same.
    """
    return _best_change(found, tuple(animals), tuple(hanging))


@lru_cache(maxsize=128)
def _best_change(
    found: MeasuredMap, animals: tuple[Animal, ...], hanging: tuple[Hanging, ...]
) -> Advice | None:
    if not animals or not any(e.ppf_umol_s > 0 for e in found.plan.emitters):
        return None
    looked = _Search.over(found, animals, hanging)
    by_hand = looked.best(HANDS)
    if all(one.chance_in_range >= SURE for one in by_hand.then):
        return by_hand if by_hand.gain >= WORTH else looked.nothing()
    other = looked.best(ALL - HANDS)
    if other.gain >= max(by_hand.gain, 0.0) + WORTH_MORE:
        return replace(other, pair=looked.pair)
    best = by_hand if by_hand.gain >= WORTH else looked.nothing()
    return replace(best, pair=looked.pair)


def search(
    found: MeasuredMap,
    animals: Sequence[Animal],
    hanging: Sequence[Hanging],
    kinds: frozenset[Kind] = ALL,
) -> Advice:
    """The best change of these kinds, however little it gains; doing nothing is one of them."""
    return _Search.over(found, tuple(animals), tuple(hanging)).best(kinds)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Search:
    """What the changes of one tank are weighed with; keeps the chances of all it has tried."""

    found: MeasuredMap
    animals: tuple[Animal, ...]
    moves: Moves
    light: Estimate
    now: tuple[Judged, ...]
    odds: Odds
    seen: list[Floats]

    @classmethod
    def over(
        cls, found: MeasuredMap, animals: tuple[Animal, ...], hanging: tuple[Hanging, ...]
    ) -> "_Search":
        points = points_of(animals)
        light = found.at(points)
        return cls(
            found=found,
            animals=animals,
            moves=Moves(sight=sight(found.corrected, points), hanging=hanging),
            light=light,
            now=verdict.judged(light, animals),
            odds=odds(light, animals),
            seen=[],
        )

    def nothing(self) -> Advice:
        return Advice(change=None, now=self.now, then=self.now)

    @property
    def pair(self) -> tuple[int, int] | None:
        return cannot_share(np.concatenate(self.seen)) if self.seen else None

    def best(self, kinds: frozenset[Kind]) -> Advice:
        tried = list(self.moves.tried(kinds))
        tried += self._nearby(tried)
        changes = dict.fromkeys([change for change, _ in self._finalists(tried)])
        changes |= dict.fromkeys(self._other_spots(tried))
        lamps = [self._exactly(change) for change in changes]
        return self._chosen([self.nothing(), *lamps, *self._animals(kinds)])

    def _other_spots(self, tried: Sequence[Tried]) -> list[Change]:
        """Spots that look well when the light read off is taken to be wrong by a few percent.

        Where the light is known well, that much turns a verdict, so the engine is asked of each.
        """
        kinds = ([one for one in tried if one[0].kind is kind] for kind in SPOTTED)
        return [change for those in kinds if those for change in self._softly_best_of(those)]

    def _softly_best_of(self, tried: Sequence[Tried]) -> list[Change]:
        whole = self.moves.sight.whole(np.array([light for _, light in tried]))
        now = self.moves.sight.whole(self.moves.now)
        count = len(self.animals)
        chances = self.soft_odds.at(whole[:, :count] / np.maximum(now[:count], 1e-9))
        order = np.argsort(-chances.sum(axis=1), kind="stable").tolist()
        return self._spread_out([tried[n][0] for n in order], away_cm=NEXT_TO_CM, most=MOST_ASKED)

    @cached_property
    def soft_odds(self) -> Odds:
        """Chances as if the light were known no better than it is read off."""
        unsure = np.sqrt(self.light.log_sd**2 + READ_OFF_ERROR**2)
        return odds(replace(self.light, log_sd=unsure), self.animals)

    @staticmethod
    def _spread_out(changes: Sequence[Change], *, away_cm: float, most: int) -> list[Change]:
        """The first few changes that lie so far apart."""
        found: list[Change] = []
        for change in changes:
            if all(_apart_cm(change, other) > away_cm for other in found):
                found.append(change)
            if len(found) == most:
                break
        return found

    def _chosen(self, advices: Sequence[Advice]) -> Advice:
        """The smallest change among those within TIE of the best; then the most even light."""
        safe = [one for one in advices if not self._gives_up(one)]
        most = max(one.after for one in safe)
        near = [one for one in safe if one.after >= most - TIE]
        return min(near, key=lambda one: 0.0 if one.change is None else one.change.size)

    # Lamps

    def _chances(self, tried: Sequence[Tried]) -> Floats:
        """Of each animal under each change, (changes, animals); 0 where a sure one is lost."""
        whole = self.moves.sight.whole(np.array([light for _, light in tried]))
        now = self.moves.sight.whole(self.moves.now)
        count = len(self.animals)
        chances = self.odds.at(whole[:, :count] / np.maximum(now[:count], 1e-9))
        self.seen.append(chances)
        sure = np.array([one.chance_in_range >= SURE for one in self.now])
        kept = ~np.any(sure & (chances < GIVEN_UP), axis=1)
        return np.asarray(np.where(kept[:, None], chances, 0.0))

    def _finalists(self, tried: Sequence[Tried]) -> list[Tried]:
        """The smallest change among the best, and the best of each kind that comes near them."""
        if not tried:
            return []
        chances = self._chances(tried)
        total = chances.sum(axis=1)
        near = [int(n) for n in np.flatnonzero(total >= total.max() - TIE)]
        smallest = min(near, key=lambda n: self._preference(tried[n]))
        return [tried[n] for n in dict.fromkeys([smallest, *_leaders(tried, total)])]

    def _preference(self, one: Tried) -> tuple[float, float]:
        """Smallest change first, then the most even light."""
        change, straight = one
        even = self.moves.sight.evenness(self.moves.sight.whole(straight))
        return round(change.size, 2), -round(even, 2)

    def _nearby(self, tried: Sequence[Tried]) -> list[Tried]:
        """Spots around the best two of the lattice, and every level of a lamp added there."""
        found: list[Tried] = []
        for kind in SPOTTED:
            those = self._worth_a_look(tried, kind)
            for step_cm, spots in ((6.0, MOST_SPOTS), (3.0, 2)) if those else ():
                for change in self._best_of(those)[:spots]:
                    those += self._around(change, step_cm)
            found += those
        return found

    def _worth_a_look(self, tried: Sequence[Tried], kind: Kind) -> list[Tried]:
        """Changes of one kind, if the best of them comes near the best of all."""
        totals = self._chances(tried).sum(axis=1) if tried else np.zeros(0)
        those = [n for n, (change, _) in enumerate(tried) if change.kind is kind]
        near = those and totals[those].max() > totals.max() - NEAR
        return [tried[n] for n in those] if near else []

    def _around(self, change: Change, step_cm: float) -> Iterator[Tried]:
        n, adding = change.lamps[0], change.kind is Kind.ADD
        hang = change.after[-1 if adding else n]
        for right, back in ((0, 0), (step_cm, 0), (-step_cm, 0), (0, step_cm), (0, -step_cm)):
            spot = (hang.x_cm + right, hang.y_cm + back)
            if adding:
                yield from self.moves.added(n, spot, self.moves.hanging[n].ability.levels)
            elif (right, back) != (0, 0):
                yield from self.moves.placed(n, spot)

    def _best_of(self, tried: Sequence[Tried]) -> list[Change]:
        """The best change, and the best at a few other spots, each away from those before."""
        order = np.argsort(-self._chances(tried).sum(axis=1), kind="stable").tolist()
        changes = [tried[n][0] for n in order]
        return self._spread_out(changes, away_cm=ELSEWHERE_CM, most=MOST_SPOTS)

    def _exactly(self, change: Change) -> Advice:
        """The change with its light worked out by the engine, nothing read off between."""
        then = self.moves.sight.exact(self.moves.emitters_after(change))
        light = times(self.light, then / self._exact_now)
        return Advice(change=change, now=self.now, then=verdict.judged(light, self.animals))

    @cached_property
    def _exact_now(self) -> Floats:
        return self.moves.sight.exact(self.moves.sight.plan.emitters)

    # Animals

    def _animals(self, kinds: frozenset[Kind]) -> Iterator[Advice]:
        if Kind.ANIMAL_PLACE not in kinds:
            return
        for change, then in animal_moves(self.found, self.animals, self.now):
            self.seen.append(np.array([[one.chance_in_range for one in then]]))
            yield Advice(change=change, now=self.now, then=then)

    def _gives_up(self, advice: Advice) -> bool:
        return any(
            a.chance_in_range >= SURE and b.chance_in_range < GIVEN_UP
            for a, b in zip(advice.now, advice.then, strict=True)
        )


def _apart_cm(one: Change, other: Change) -> float:
    """How far apart two changes set the lamp that they move or add; far for different lamps."""
    if one.lamps != other.lamps:
        return np.inf
    n = -1 if one.kind is Kind.ADD else one.lamps[0]
    a, b = one.after[n], other.after[n]
    return math.dist((a.x_cm, a.y_cm), (b.x_cm, b.y_cm))


def _leaders(tried: Sequence[Tried], total: Floats) -> list[int]:
    """The best change of each kind, where it comes near the best of all."""
    best: dict[Kind, int] = {}
    for n in np.argsort(total).tolist():
        best[tried[n][0].kind] = n
    return [n for n in best.values() if total[n] >= total.max() - CONTESTED]
