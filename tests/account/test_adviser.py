"""The adviser against enumeration, against chance, and against the rule of least power."""

import os
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from server.account.adviser import ALL, Advice, best_change, search
from server.account.animal_moves import floor_spots
from server.account.change import HANDS, Kind
from server.account.known_light import KnownLight
from server.account.proposing import proposed
from server.optics.emitters import Emitter
from server.optics.field import at_points
from server.optics.tank import Rock
from server.surveys import changed, verdict
from server.surveys.estimate import MeasuredMap, estimate
from server.surveys.plan import Animal, Plan, Reading, points_of
from server.surveys.priors import Priors
from server.surveys.scaled import times
from tests.account.made import CONTROLS, Made, made

LONG = os.environ.get("UNDERLAMP_LONG") == "1"
TANKS = range(60 if LONG else 4)
MADE = range(300 if LONG else 12)
STEP_CM = 15.0


def light(plan: Plan, emitters: tuple[Emitter, ...], animals: tuple[Animal, ...]) -> np.ndarray:
    """The engine itself, everything included."""
    x, y, depth = points_of(animals).T
    return at_points(plan.tank, plan.water, emitters, x_cm=x, y_cm=y, depth_cm=depth)


def map_of(one: Made, seed: int) -> MeasuredMap:
    """A map from no readings, or from six that another output than stated gave."""
    if seed % 2:
        return estimate(one.plan, ())
    rng = np.random.default_rng(1000 + seed)
    sides = np.array([one.plan.tank.length_cm, one.plan.tank.width_cm, one.plan.tank.depth_cm])
    points = rng.uniform(0.1, 0.9, (6, 3)) * sides
    read = one.plan.ppfd(points) * rng.uniform(0.75, 1.2) * rng.normal(1.0, 0.04, 6)
    return estimate(
        one.plan,
        [
            Reading(x_cm=x, y_cm=y, depth_cm=z, ppfd=float(max(e, 0.5)))
            for (x, y, z), e in zip(points, read, strict=True)
        ],
    )


# By enumeration: every lamp's emitters are written out anew and the engine asked about all of them


def enumerated(one: Made, found: MeasuredMap, kinds: frozenset[Kind]) -> float:
    """The most animals expected in range over a coarse lattice of the same moves."""
    plan = found.corrected
    groups = [lamp.emitters for lamp in plan.lamps]
    now = light(plan, plan.emitters, one.animals)
    base = verdict.judged(found.at(points_of(one.animals)), one.animals)
    best = sum(j.chance_in_range for j in base)
    for emitters in lamps_otherwise(one, groups, kinds):
        then = light(plan, emitters, one.animals)
        factor = np.maximum(then, 1e-9) / np.maximum(now, 1e-9)
        judged = verdict.judged(times(found.at(points_of(one.animals)), factor), one.animals)
        lost = any(
            a.chance_in_range >= 0.8 and b.chance_in_range < 0.5
            for a, b in zip(base, judged, strict=True)
        )
        if not lost:
            best = max(best, sum(j.chance_in_range for j in judged))
    if Kind.ANIMAL_PLACE in kinds:
        best = max(best, animals_otherwise(one, found, base))
    return best


def lamps_otherwise(
    one: Made, groups: list[tuple[Emitter, ...]], kinds: frozenset[Kind]
) -> Iterator[tuple[Emitter, ...]]:
    def put(n: int, new: tuple[Emitter, ...]) -> tuple[Emitter, ...]:
        return tuple(e for k, group in enumerate(groups) for e in (new if k == n else group))

    for n, hung in enumerate(one.hanging):
        can, hang = hung.ability, hung.hang
        if Kind.POWER in kinds and can.dims != "no":
            for power in np.arange(0.05, 1.001, 0.05):
                if power >= can.least_level - 1e-9:
                    yield put(n, dimmed(groups[n], power / hang.power))
        if Kind.MESH in kinds and can.dims == "no":
            for share in (0.8, 0.65, 0.5):
                yield put(n, dimmed(groups[n], share))
        if Kind.HEIGHT in kinds:
            for height in np.arange(can.lowest_cm, can.highest_cm + 0.01, 5.0):
                yield put(n, shifted(groups[n], 0, 0, height - hang.height_cm))
        if Kind.LAMP_PLACE in kinds:
            for x, y in spots(one, n, but=n):
                yield put(n, shifted(groups[n], x - hang.x_cm, y - hang.y_cm, 0))
        if Kind.TAKE_AWAY in kinds and len(groups) > 1:
            yield put(n, ())
        if Kind.ADD in kinds:
            levels = (1.0,) if can.dims == "no" else (0.3, 0.5, 0.75, 1.0)
            for (x, y), level in product(spots(one, n, but=None), levels):
                new = shifted(groups[n], x - hang.x_cm, y - hang.y_cm, 0)
                yield tuple(e for group in groups for e in group) + dimmed(new, level / hang.power)


def dimmed(emitters: tuple[Emitter, ...], factor: float) -> tuple[Emitter, ...]:
    return tuple(replace(e, ppf_umol_s=e.ppf_umol_s * factor) for e in emitters)


def shifted(
    emitters: tuple[Emitter, ...], right: float, back: float, up: float
) -> tuple[Emitter, ...]:
    return tuple(
        replace(e, x_cm=e.x_cm + right, y_cm=e.y_cm + back, height_cm=e.height_cm + up)
        for e in emitters
    )


def spots(one: Made, n: int, *, but: int | None) -> Iterator[tuple[float, float]]:
    long, wide = one.hanging[n].ability.size_cm
    tank = one.plan.tank
    for x in np.arange(long / 2, tank.length_cm - long / 2 + 1e-6, STEP_CM):
        for y in np.arange(wide / 2, tank.width_cm - wide / 2 + 1e-6, STEP_CM):
            others = [h for k, h in enumerate(one.hanging) if k != but]
            if all(
                abs(x - h.hang.x_cm) >= (long + h.ability.size_cm[0]) / 2
                or abs(y - h.hang.y_cm) >= (wide + h.ability.size_cm[1]) / 2
                for h in others
            ):
                yield float(x), float(y)


def animals_otherwise(one: Made, found: MeasuredMap, base: tuple[verdict.Judged, ...]) -> float:
    """Every animal that is not surely in range on every free spot of the floor."""
    tank = one.plan.tank
    best = 0.0
    for n, animal in enumerate(one.animals):
        if base[n].chance_in_range >= 0.8:
            continue
        for x in np.arange(0.1 * tank.length_cm, 0.9 * tank.length_cm, STEP_CM):
            for y in np.arange(0.1 * tank.width_cm, 0.9 * tank.width_cm, STEP_CM):
                there = replace(animal, x_cm=x, y_cm=y, depth_cm=tank.depth_cm - 2.0)
                others = [a for k, a in enumerate(one.animals) if k != n]
                if any(np.hypot(a.x_cm - x, a.y_cm - y) < 10.0 for a in others):
                    continue
                (judged,) = verdict.judged(found.at(points_of([there])), [there])
                gained = judged.chance_in_range - base[n].chance_in_range
                best = max(best, sum(j.chance_in_range for j in base) + gained)
    return best


@pytest.mark.parametrize("seed", TANKS)
def test_never_more_than_a_fiftieth_of_an_animal_worse_than_enumeration(seed: int) -> None:
    one = made(seed)
    found = map_of(one, seed)
    for kinds in (HANDS, ALL):
        advised = search(found, one.animals, one.hanging, kinds)
        best = enumerated(one, found, kinds)
        print(f"tank {seed}: adviser {advised.after:.3f}, enumeration {best:.3f}")
        assert advised.after >= best - 0.02


@pytest.mark.parametrize("seed", TANKS)
def test_what_it_says_of_the_light_is_what_the_engine_gives(seed: int) -> None:
    """The chances after the change, from the engine asked about all emitters anew."""
    one = made(seed)
    found = map_of(one, seed)
    advised = search(found, one.animals, one.hanging, frozenset({Kind.HEIGHT, Kind.LAMP_PLACE}))
    change = advised.change
    if change is None:
        return
    plan = found.corrected
    groups = [
        shifted(lamp.emitters, b.x_cm - a.x_cm, b.y_cm - a.y_cm, b.height_cm - a.height_cm)
        for lamp, a, b in zip(plan.lamps, change.before, change.after, strict=True)
    ]
    then = light(plan, tuple(e for group in groups for e in group), one.animals)
    factor = then / light(plan, plan.emitters, one.animals)
    said = np.array([b.ppfd / a.ppfd for a, b in zip(advised.now, advised.then, strict=True)])
    assert said == pytest.approx(factor, rel=0.03)


# Within what the lamps can do


def assert_allowed(one: Made, advice: Advice) -> None:
    change = advice.change
    if change is None or change.kind is Kind.ANIMAL_PLACE:
        return
    cans = [h.ability for h in one.hanging]
    if change.kind is Kind.ADD:
        cans.append(cans[change.lamps[0]])
    if change.kind is Kind.TAKE_AWAY:
        del cans[change.lamps[0]]
        assert change.after
    befores = [h.hang for h in one.hanging]
    tank = one.plan.tank
    for n, (can, hang) in enumerate(zip(cans, change.after, strict=True)):
        new = n >= len(befores) or hang not in befores
        if can.dims == "no":
            assert hang.power in (0.0, 1.0)
        if not new:
            continue
        steps = hang.power / can.level_step
        assert can.least_level - 1e-9 <= hang.power <= 1.0 or hang.power == 1.0
        assert abs(steps - round(steps)) < 1e-6
        assert can.lowest_cm - 1e-9 <= hang.height_cm <= can.highest_cm + 1e-9
        if change.kind in (Kind.ADD, Kind.LAMP_PLACE):
            assert (
                can.size_cm[0] / 2 - 0.1 <= hang.x_cm <= tank.length_cm - can.size_cm[0] / 2 + 0.1
            )
            assert can.size_cm[1] / 2 - 0.1 <= hang.y_cm <= tank.width_cm - can.size_cm[1] / 2 + 0.1
            for k, (other_can, other) in enumerate(zip(cans, change.after, strict=True)):
                assert k == n or (
                    abs(hang.x_cm - other.x_cm) >= (can.size_cm[0] + other_can.size_cm[0]) / 2 - 0.1
                    or abs(hang.y_cm - other.y_cm)
                    >= (can.size_cm[1] + other_can.size_cm[1]) / 2 - 0.1
                )


@pytest.mark.parametrize("seed", MADE)
def test_no_proposal_leaves_what_a_lamp_can_do(seed: int) -> None:
    one = made(seed)
    found = map_of(one, seed)
    for kinds in (
        ALL,
        frozenset({Kind.POWER}),
        frozenset({Kind.ADD}),
        frozenset({Kind.LAMP_PLACE}),
    ):
        advice = search(found, one.animals, one.hanging, kinds)
        assert_allowed(one, advice)
        assert advice.after >= advice.before - 1e-9
    worth = best_change(found, one.animals, one.hanging)
    assert worth is not None
    assert_allowed(one, worth)


@pytest.mark.parametrize("seed", MADE)
def test_no_animal_is_moved_out_of_the_water_or_onto_nothing(seed: int) -> None:
    one = made(seed)
    advice = search(map_of(one, seed), one.animals, one.hanging, frozenset({Kind.ANIMAL_PLACE}))
    if advice.change is None:
        return
    x, y, depth = advice.change.place
    assert 0 < x < one.plan.tank.length_cm and 0 < y < one.plan.tank.width_cm
    assert depth == pytest.approx(one.plan.tank.depth_cm - 2.0)


@pytest.mark.parametrize("seed", MADE)
def test_nobody_who_surely_has_light_is_given_up(seed: int) -> None:
    one = made(seed)
    advice = best_change(map_of(one, seed), one.animals, one.hanging)
    assert advice is not None
    for a, b in zip(advice.now, advice.then, strict=True):
        assert a.chance_in_range < 0.8 or b.chance_in_range >= 0.5


# Off the edge


def test_one_animal_is_put_well_inside_its_range_not_on_its_edge() -> None:
    one = made(3, lamps=1, controls=(CONTROLS[0],))
    animal = one.animals[0]
    here = points_of([animal])
    plan = one.plan
    hung = replace(
        one.hanging[0],
        hang=replace(one.hanging[0].hang, power=1.0),
        ability=replace(one.hanging[0].ability, least_level=0.05),
    )
    plan = changed.with_output(plan, (1000.0 / float(plan.ppfd(here)[0]),))
    wants = replace(animal, low_ppfd=200.0, high_ppfd=350.0)
    advice = search(estimate(plan, ()), [wants], [hung], frozenset({Kind.POWER}))
    assert advice.then[0].ppfd == pytest.approx(np.sqrt(200 * 350), rel=0.12)


# By chance


def least_power(full: np.ndarray, low: np.ndarray, high: np.ndarray) -> float:
    """The rule the house had before: of the powers that put most in range, the least."""
    powers = np.arange(0.1, 1.0001, 0.001)
    light = powers[:, None] * full
    inside = ((light >= low * (1 - 1e-9)) & (light <= high)).sum(axis=1)
    return float(powers[int(np.argmax(inside))])


def truths(plan: Plan, rng: np.random.Generator, count: int) -> Iterator[Plan]:
    """Plans as they may truly be: output, lens, water and height off by what priors believe."""
    beliefs = Priors()
    for _ in range(count):
        output = tuple([float(np.exp(rng.normal(0, beliefs.output)))] * len(plan.lamps))
        true = changed.with_output(plan, output)
        true = changed.with_beam(true, float(rng.normal(0, beliefs.beam_deg)))
        per_m = plan.absorption_per_m
        true = changed.with_absorption(true, float(rng.normal(0, beliefs.absorption_per_m(per_m))))
        yield changed.with_height(true, float(rng.normal(0, beliefs.height_cm)))


def test_it_hits_more_often_than_the_least_power_does(capsys: pytest.CaptureFixture[str]) -> None:
    """Monte Carlo over the error of a plan: animals truly in range after each rule's power."""
    rng = np.random.default_rng(7)
    adviser, least, animals = 0, 0, 0
    for seed in range(40 if LONG else 12):
        one = made(seed, lamps=1, controls=(CONTROLS[0],))
        low, high = (
            np.array([getattr(a, end) for a in one.animals]) for end in ("low_ppfd", "high_ppfd")
        )
        now = one.hanging[0].hang.power
        full = light(one.plan, one.plan.emitters, one.animals) / now
        advice = search(estimate(one.plan, ()), one.animals, one.hanging, frozenset({Kind.POWER}))
        powers = (
            advice.change.after[0].power if advice.change else now,
            least_power(full, low, high),
        )
        for true in truths(one.plan, rng, 60 if LONG else 25):
            whole = light(true, true.emitters, one.animals) / now
            hits = [int(((p * whole >= low) & (p * whole <= high)).sum()) for p in powers]
            adviser, least, animals = adviser + hits[0], least + hits[1], animals + len(low)
    with capsys.disabled():
        print(
            f"\nin range under an uncertain plan: adviser {adviser / animals:.3f}, "
            f"least power {least / animals:.3f} ({animals} draws)"
        )
    assert adviser > 1.03 * least


# In words


def test_before_any_reading_it_says_that_measuring_comes_first() -> None:
    one = made(5)
    light = KnownLight(basis="planned", map=estimate(one.plan, ()))
    told = proposed(light, one.animals, one.hanging)
    words = told if isinstance(told, str) else told.words
    assert words.startswith("Measure before you change anything.")


def test_nobody_is_moved_under_or_into_a_rock() -> None:
    """The only dim spots lie under a rock that fills the left half; nobody is sent there."""
    one = made(4)
    tank = one.plan.tank
    rock = Rock(
        left_cm=2, right_cm=tank.length_cm / 2, front_cm=2, back_cm=tank.width_cm - 2,
        top_cm=tank.depth_cm / 2, bottom_cm=tank.depth_cm - 5,
    )  # fmt: skip
    plan = replace(one.plan, tank=replace(tank, rocks=(rock,)))
    spots = floor_spots(estimate(plan, ()))
    assert len(spots) and spots[:, 0].min() > tank.length_cm / 2


def test_a_day_that_is_too_long_is_shortened_where_the_light_is_right() -> None:
    one = made(3, lamps=1, controls=(CONTROLS[0],))
    found = estimate(one.plan, ())
    ppfd = float(found.at(points_of(one.animals[:1])).ppfd[0])
    wants = [replace(one.animals[0], low_ppfd=ppfd / 5, high_ppfd=ppfd * 5)]
    light = KnownLight(basis="planned", map=found)
    told = proposed(light, wants, one.hanging, lit_hours=20.0)
    assert not isinstance(told, str) and told.change.kind is Kind.HOURS
    assert "20 hours of light to 16 hours" in told.order
    assert isinstance(proposed(light, wants, one.hanging, lit_hours=12.0), str)
