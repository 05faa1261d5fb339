"""What the adviser says where a keeper would know the answer, on a measured reef."""

import numpy as np

from server.account.ability import Ability, Hang, Hanging
from server.account.adviser import best_change
from server.account.change import Kind
from server.account.proposing import GO_UP_SLOWLY, cautions
from server.surveys import changed, places
from server.surveys.estimate import estimate
from server.surveys.plan import Animal
from tests.surveys.reef import read, reef, twelve

PLAN = reef()
CAN = Ability(name="lamp", dims="smooth", size_cm=(10, 10))


def hanging(power: float, can: Ability = CAN) -> tuple[Hanging, ...]:
    return tuple(
        Hanging(hang=Hang(power=power, height_cm=22, x_cm=x, y_cm=25), ability=can)
        for x in (20, 60, 100)
    )


def animal(name: str, place: np.ndarray, low: float, high: float) -> Animal:
    x, y, depth = (float(v) for v in place)
    return Animal(name=name, x_cm=x, y_cm=y, depth_cm=depth, low_ppfd=low, high_ppfd=high)


def test_lamps_that_are_twice_too_bright_are_to_be_turned_down_to_about_half() -> None:
    found = estimate(PLAN, read(PLAN, twelve(PLAN), error=0.02))
    spots = places.even_grid(PLAN.tank, along=3, across=1, levels=1)
    spots[:, 2] = 30
    light = found.at(spots).ppfd
    animals = [
        animal(f"A{n}", place, 0.42 * e, 0.6 * e)
        for n, (place, e) in enumerate(zip(spots, light, strict=True))
    ]
    best = best_change(found, animals, hanging(0.6))
    assert best is not None and best.change is not None
    assert best.change.kind is Kind.POWER and best.change.lamps == (0, 1, 2)
    assert all(0.25 <= hang.power <= 0.36 for hang in best.change.after)
    assert best.before < 0.5 and best.after > 2.5


def test_one_weak_lamp_is_to_be_turned_up_alone() -> None:
    real = changed.with_output(PLAN, (1.0, 1.0, 0.5))
    found = estimate(PLAN, read(real, twelve(PLAN), error=0.01))
    spots = np.array([[20.0, 25.0, 20.0], [60.0, 25.0, 20.0], [100.0, 25.0, 20.0]])
    wanted = PLAN.sensed(spots)
    animals = [
        animal(f"A{n}", place, 0.85 * e, 1.15 * e)
        for n, (place, e) in enumerate(zip(spots, wanted, strict=True))
    ]
    best = best_change(found, animals, hanging(0.4))
    assert best is not None and best.change is not None
    assert best.change.kind is Kind.POWER and best.change.lamps == (2,)
    assert 0.6 < best.change.after[2].power < 1.0
    assert best.brighter
    assert cautions(best.change, brighter=best.brighter) == (GO_UP_SLOWLY,)


def test_lamps_that_do_not_dim_get_height_place_number_or_a_mesh() -> None:
    found = estimate(PLAN, read(PLAN, twelve(PLAN), error=0.02))
    spot = np.array([[60.0, 25.0, 20.0]])
    ppfd = float(found.at(spot).ppfd[0])
    fixed = Ability(name="lamp", dims="no", size_cm=(10, 10))
    best = best_change(found, [animal("A", spot[0], ppfd / 3, ppfd / 2)], hanging(1.0, fixed))
    assert best is not None and best.change is not None and best.change.kind is not Kind.POWER
    assert all(hang.power == 1.0 for hang in best.change.after)


def test_two_animals_at_one_place_with_ranges_far_apart_cannot_share() -> None:
    found = estimate(PLAN, read(PLAN, twelve(PLAN), error=0.02))
    spot = np.array([[60.0, 25.0, 49.0]])
    ppfd = float(found.at(spot).ppfd[0])
    pair = [
        animal("Dim", spot[0], ppfd * 0.3, ppfd * 0.5),
        animal("Bright", spot[0] + [1, 0, 0], ppfd * 0.9, ppfd * 1.4),
    ]
    level = Ability(name="lamp", dims="smooth", size_cm=(10, 10), lowest_cm=22, highest_cm=22)
    best = best_change(found, pair, hanging(0.5, level))
    assert best is not None
    assert best.pair == (0, 1)


def test_nothing_is_advised_without_animals() -> None:
    assert best_change(estimate(PLAN, []), [], hanging(0.6)) is None
