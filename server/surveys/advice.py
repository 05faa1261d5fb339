"""The one change that would put most animals in range, worked out on the corrected model.

Every lamp alone and all lamps together are tried at other powers and heights, every lamp at other
places, and every animal elsewhere. The engine says how the light at the animals would change; the
map says how well the light there is known now. A change is judged by how many animals it puts in
range, then by how surely, then by how little it alters.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.surveys import changed, places, verdict
from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Animal, Plan, points_of, scattered_at, straight_light_of
from server.surveys.verdict import Judged

Floats = NDArray[np.float64]

POWERS = tuple(p / 100 for p in range(5, 101, 1))
LEAST_TURN = 0.02
FURTHEST_MOVE_CM = 25.0  # an animal moved further would need rock that may not be there
MOST_HEIGHT_CM = 1000.0  # no lamp is said to hang higher
HEIGHT_STEP_CM = 3.0
PLACE_STEPS_CM = (-15.0, -7.0, 7.0, 15.0)
HEIGHTS_TRIED = 6
# A light further from the one measured is known less well, by this share of the ln change.
PER_CHANGE = 0.05


class Kind(StrEnum):
    """What would be changed."""

    POWER = "power"
    HEIGHT = "height"
    LAMP_PLACE = "lamp place"
    ANIMAL_PLACE = "animal place"


@dataclass(frozen=True, kw_only=True)
class Hanging:
    """How a lamp hangs and how far it may go."""

    power: float
    height_cm: float
    x_cm: float
    y_cm: float
    dimmable: bool = True
    least_height_cm: float = 10.0
    most_height_cm: float = 60.0


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change.

    lamp: index of the lamp, None for all of them. before, after: power (0–1), height [cm] of the
    lamp (of the first for all), or place (x, y[, depth]) [cm].
    """

    kind: Kind
    lamp: int | None = None
    animal: int | None = None
    before: tuple[float, ...] = ()
    after: tuple[float, ...] = ()

    @property
    def size(self) -> float:
        """How much is altered, in shares of itself; moving an animal counts as a big thing."""
        gap = float(np.linalg.norm(np.subtract(self.after, self.before)))
        if self.kind is Kind.POWER or self.kind is Kind.HEIGHT:
            return gap / max(self.before[0], 1e-6)
        return gap / 40.0 + (0.5 if self.kind is Kind.ANIMAL_PLACE else 0.0)


@dataclass(frozen=True, kw_only=True)
class Advice:
    """The best single change and what it would do.

    in_range_before, in_range_after: animals whose likeliest light lies within their range.
    sure_before, sure_after: expected number in range, counting doubt.
    """

    change: Change
    now: tuple[Judged, ...]
    then: tuple[Judged, ...]
    in_range_before: int
    in_range_after: int
    sure_before: float
    sure_after: float

    @property
    def helps(self) -> bool:
        """More animals in range than now, or the same number clearly more surely."""
        more = self.in_range_after > self.in_range_before
        same = self.in_range_after == self.in_range_before
        return more or (same and self.sure_after > self.sure_before + 0.3)


def advice(
    found: MeasuredMap, animals: Sequence[Animal], hanging: Sequence[Hanging]
) -> Advice | None:
    """The one change that would put most animals in range; None without animals or lamps.

    hanging: one per lamp of the plan. Where nothing helps, the best change is given all the same
    and `Advice.helps` is false.
    """
    return _advice(found, tuple(animals), tuple(hanging))


@lru_cache(maxsize=64)
def _advice(
    found: MeasuredMap, animals: tuple[Animal, ...], hanging: tuple[Hanging, ...]
) -> Advice | None:
    """Remembered: a map is the same object as long as its lamps and readings are the same."""
    if not animals or not found.plan.lamps:
        return None
    points = points_of(animals)
    now = found.at(points)
    before = verdict.judged(now, animals)
    best: tuple[tuple[float, ...], Change, tuple[Judged, ...]] | None = None
    for change, light, whom in _tried(found, animals, hanging, now, points):
        then = verdict.judged(light, whom)
        rank = _rank(change, then)
        if best is None or rank > best[0]:
            best = (rank, change, then)
    if best is None:
        return None
    _, change, then = best
    return Advice(
        change=change,
        now=before,
        then=then,
        in_range_before=_count(before),
        in_range_after=_count(then),
        sure_before=_sure(before),
        sure_after=_sure(then),
    )


def _rank(change: Change, then: Sequence[Judged]) -> tuple[float, ...]:
    """More in range first; a lamp rather than an animal; then clearly surer; then less altered."""
    stays = change.kind is not Kind.ANIMAL_PLACE
    return _count(then), stays, round(5 * _sure(then)), -change.size


def changed_plan(plan: Plan, change: Change) -> Plan:
    """A plan with the change made (an animal's move leaves it as it is)."""
    if change.kind is Kind.POWER:
        factor = change.after[0] / max(change.before[0], 1e-6)
        factors = tuple(factor if change.lamp in (None, n) else 1.0 for n in range(len(plan.lamps)))
        return changed.with_output(plan, factors)
    if change.kind is Kind.HEIGHT:
        return _moved(plan, change.lamp, up_cm=change.after[0] - change.before[0])
    if change.kind is Kind.LAMP_PLACE:
        x, y = (change.after[i] - change.before[i] for i in (0, 1))
        return _moved(plan, change.lamp, right_cm=x, back_cm=y)
    return plan


def _tried(
    found: MeasuredMap,
    animals: Sequence[Animal],
    hanging: Sequence[Hanging],
    now: Estimate,
    points: Floats,
) -> Iterator[tuple[Change, Estimate, Sequence[Animal]]]:
    """Every change with the light it would give the animals."""
    corrected = found.corrected
    straight = np.array(
        [straight_light_of(corrected, lp.emitters, points) for lp in corrected.lamps]
    )
    scattered = [scattered_at(corrected, lp.emitters, points) for lp in corrected.lamps]
    by_lamp = straight + np.array(scattered)
    total = np.maximum(by_lamp.sum(axis=0), 1e-9)
    for change in _power_changes(hanging):
        factor = change.after[0] / change.before[0]
        part = total if change.lamp is None else by_lamp[change.lamp]
        yield change, times(now, 1 + (factor - 1) * part / total), animals
    heights = tuple(_Heights.of(corrected, n, hung, points) for n, hung in enumerate(hanging))
    for change in _height_changes(hanging):
        lamps = range(len(hanging)) if change.lamp is None else (change.lamp,)
        up_cm = change.after[0] - change.before[0]
        gained = np.sum([heights[lamp].gained(up_cm) for lamp in lamps], axis=0)
        yield change, times(now, np.maximum(total + gained, 1e-9) / total), animals
    for change in _place_changes(found, hanging):
        light = total + _gained(corrected, change, straight, points)
        yield change, times(now, np.maximum(light, 1e-9) / total), animals
    yield from _animal_changes(found, animals, now)


def _gained(plan: Plan, change: Change, straight: Floats, points: Floats) -> Floats:
    """Light gained at the animals by moving a lamp; scattered light is taken to stay as it is."""
    lamp = change.lamp or 0
    moved = changed_plan(plan, change).lamps[lamp].emitters
    return np.asarray(straight_light_of(plan, moved, points) - straight[lamp], dtype=np.float64)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Heights:
    """One lamp's light at the animals at a few heights, (heights, animals); read off between.

    Its logarithm is taken as straight in ln(height + 10 cm) between neighbours: off by 2 % at
    most, which is less than the light is known to.
    """

    start_cm: float
    height_cm: Floats
    light: Floats

    @classmethod
    def of(cls, plan: Plan, lamp: int, hung: Hanging, points: Floats) -> "_Heights":
        ends = (min(hung.least_height_cm, hung.height_cm), max(hung.most_height_cm, hung.height_cm))
        tried = np.geomspace(ends[0] + 10.0, ends[1] + 10.0, HEIGHTS_TRIED) - 10.0
        height_cm = np.unique(np.append(tried, hung.height_cm))
        moved = [_moved(plan, lamp, up_cm=float(h) - hung.height_cm).lamps[lamp] for h in height_cm]
        return cls(
            start_cm=hung.height_cm,
            height_cm=height_cm,
            light=np.array([straight_light_of(plan, one.emitters, points) for one in moved]),
        )

    def gained(self, up_cm: float) -> Floats:
        """Light gained at the animals by hanging the lamp so much higher."""
        return self._at(self.start_cm + up_cm) - self._at(self.start_cm)

    def _at(self, height_cm: float) -> Floats:
        nodes = np.log(self.height_cm + 10.0)
        log = np.log(np.maximum(self.light, 1e-6))
        at = np.log(height_cm + 10.0)
        return np.exp([np.interp(at, nodes, column) for column in log.T])


def _power_changes(hanging: Sequence[Hanging]) -> Iterator[Change]:
    for lamp, hung in enumerate(hanging):
        if hung.dimmable and hung.power > 0 and len(hanging) > 1:
            yield from _powers(hung.power, lamp)
    top = max(hung.power for hung in hanging)
    if top > 0 and all(hung.dimmable for hung in hanging):
        yield from _powers(top, None)


def _powers(now: float, lamp: int | None) -> Iterator[Change]:
    for power in POWERS:
        if abs(power - now) >= LEAST_TURN:
            yield Change(kind=Kind.POWER, lamp=lamp, before=(now,), after=(power,))


def _height_changes(hanging: Sequence[Hanging]) -> Iterator[Change]:
    alone = range(len(hanging)) if len(hanging) > 1 else ()
    for lamp in (None, *alone):
        chosen = hanging if lamp is None else (hanging[lamp],)
        start = chosen[0].height_cm
        least = max(hung.least_height_cm - hung.height_cm for hung in chosen)
        most = min(min(hung.most_height_cm, MOST_HEIGHT_CM) - hung.height_cm for hung in chosen)
        for height in np.arange(np.ceil(start + least), start + most + 0.1, HEIGHT_STEP_CM):
            if abs(height - start) >= 1:
                yield Change(kind=Kind.HEIGHT, lamp=lamp, before=(start,), after=(float(height),))


def _place_changes(found: MeasuredMap, hanging: Sequence[Hanging]) -> Iterator[Change]:
    sides = (found.plan.tank.length_cm, found.plan.tank.width_cm)
    for lamp, hung in enumerate(hanging):
        for axis in (0, 1):
            for step in PLACE_STEPS_CM:
                place = [hung.x_cm, hung.y_cm]
                place[axis] += step
                if 0 <= place[axis] <= sides[axis]:
                    yield Change(
                        kind=Kind.LAMP_PLACE,
                        lamp=lamp,
                        before=(hung.x_cm, hung.y_cm),
                        after=(place[0], place[1]),
                    )


def _animal_changes(
    found: MeasuredMap, animals: Sequence[Animal], now: Estimate
) -> Iterator[tuple[Change, Estimate, Sequence[Animal]]]:
    """Each animal that is out of range moved to the nearest place that is surely within it."""
    grid = places.even_grid(found.plan.tank, along=9, across=5, levels=5)
    light = found.at(grid)
    for number, animal in enumerate(animals):
        if animal.low_ppfd <= now.ppfd[number] <= animal.high_ppfd:
            continue
        inside = light.chance_below(animal.high_ppfd) - light.chance_below(animal.low_ppfd)
        fits = np.flatnonzero(inside >= verdict.SURE)
        if not fits.size:
            continue
        away = np.linalg.norm(grid[fits] - points_of([animal]), axis=1)
        if float(away.min()) > FURTHEST_MOVE_CM:
            continue
        place = np.round(grid[fits[int(np.argmin(away))]])
        yield _moved_animal(found, animals, number, place)


def _moved_animal(
    found: MeasuredMap, animals: Sequence[Animal], number: int, place: Floats
) -> tuple[Change, Estimate, Sequence[Animal]]:
    x, y, depth = (float(value) for value in place)
    animal = animals[number]
    moved = list(animals)
    moved[number] = replace(animal, x_cm=x, y_cm=y, depth_cm=depth)
    change = Change(
        kind=Kind.ANIMAL_PLACE,
        animal=number,
        before=(animal.x_cm, animal.y_cm, animal.depth_cm),
        after=(x, y, depth),
    )
    return change, found.at(points_of(moved)), moved


def times(light: Estimate, factor: Floats) -> Estimate:
    """Light changed by a factor, a little less sure the further it goes from what was measured."""
    log = np.log(np.maximum(factor, 1e-6))
    scale = np.exp(log)
    extra = PER_CHANGE * np.abs(log)
    return Estimate(
        ppfd=light.ppfd * scale,
        low=light.low * scale * np.exp(-extra),
        high=light.high * scale * np.exp(extra),
        log_mean=light.log_mean + log,
        log_sd=np.sqrt(light.log_sd**2 + extra**2),
        weight=light.weight,
    )


def _moved(
    plan: Plan,
    lamp: int | None,
    *,
    up_cm: float = 0.0,
    right_cm: float = 0.0,
    back_cm: float = 0.0,
) -> Plan:
    def elsewhere(e: Emitter) -> Emitter:
        return replace(
            e,
            x_cm=e.x_cm + right_cm,
            y_cm=e.y_cm + back_cm,
            height_cm=changed.held("height_cm", e.height_cm + up_cm),
        )

    lamps = tuple(
        replace(hung, emitters=tuple(elsewhere(e) for e in hung.emitters))
        if lamp in (None, number)
        else hung
        for number, hung in enumerate(plan.lamps)
    )
    return replace(plan, lamps=lamps)


def _count(judged: Sequence[Judged]) -> int:
    return sum(j.animal.low_ppfd <= j.ppfd <= j.animal.high_ppfd for j in judged)


def _sure(judged: Sequence[Judged]) -> float:
    return float(sum(j.chance_in_range for j in judged))
