"""The one turn of a power that helps most."""

from datetime import date

import numpy as np

from server.db.tanks import LampPlace
from server.models import Animal
from server.web.planner.judge import best_turn, judge


def animal(low: float, high: float) -> Animal:
    return Animal(
        tank_id=1, name="a", group="soft", x_cm=1, y_cm=1, depth_cm=1, low_ppfd=low,
        high_ppfd=high, placed_on=date(2026, 1, 1),
    )  # fmt: skip


def lamp(power: float) -> LampPlace:
    return LampPlace(lamp_model_id=1, x_cm=0, y_cm=0, height_cm=20, power=power)


def test_one_lamp_too_bright_is_turned_down_just_enough() -> None:
    turn = best_turn([animal(75, 150)], np.array([[300.0]]), [lamp(0.8)])
    assert turn is not None
    assert turn.in_range == 1
    assert turn.powers == (0.4,)


def test_the_lamp_that_is_wrong_is_the_one_that_is_turned() -> None:
    by_lamp = np.array([[250.0, 0.0], [0.0, 500.0]])
    turn = best_turn([animal(200, 350), animal(200, 350)], by_lamp, [lamp(0.5), lamp(0.5)])
    assert turn is not None
    assert turn.lamp == 1
    assert turn.powers == (0.5, 0.35)


def test_nothing_is_proposed_where_no_turn_helps() -> None:
    assert best_turn([animal(200, 350)], np.array([[250.0]]), [lamp(0.5)]) is None
    assert best_turn([animal(900, 950)], np.array([[10.0]]), [lamp(0.9)]) is None
    assert best_turn([animal(200, 350)], np.zeros((1, 1)), [lamp(0.0)]) is None
    assert best_turn([], np.zeros((1, 0)), [lamp(0.5)]) is None


def test_a_promise_is_kept_at_the_powers_it_names() -> None:
    rng = np.random.default_rng(7)
    for _ in range(60):
        animals = [animal(low, low * 1.8) for low in rng.uniform(40, 300, 4)]
        places = [lamp(float(p)) for p in rng.uniform(0.1, 1.0, 3)]
        by_lamp = rng.uniform(0, 200, (3, 4))
        turn = best_turn(animals, by_lamp, places)
        if turn is None:
            continue
        now = np.array([place.power for place in places])
        light = (by_lamp * (np.array(turn.powers) / now)[:, None]).sum(axis=0)
        fair = sum(one.verdict == "within" for one in judge(animals, light))
        before = sum(one.verdict == "within" for one in judge(animals, by_lamp.sum(axis=0)))
        assert abs(fair - turn.in_range) <= 1  # powers are written to a tenth of a percent
        assert turn.in_range > before
        assert max(turn.powers) <= 1.0
