"""Readings carried over to other heights and powers, against the tank they were taken in.

The truth is the light engine itself with lamps that give less than they state, as in
tests/surveys/reef.py; what is tested is the carrying, not the engine.
"""

from dataclasses import replace

import numpy as np
import pytest

from server.account.carried import carried
from server.account.known_light import KnownLight
from server.account.unmeasured import stated_light, unmeasured
from server.surveys import changed
from server.surveys.estimate import estimate
from server.surveys.plan import Plan
from tests.surveys import reef

TRUE_OUTPUT = (0.78, 0.78, 0.60)
PLACES = np.array([[20.0, 25, 12], [60, 20, 25], [100, 25, 12], [40, 10, 40]])


def real(plan: Plan, points: np.ndarray) -> np.ndarray:
    return changed.with_output(plan, TRUE_OUTPUT).sensed(points)


@pytest.fixture(scope="module")
def known() -> KnownLight:
    plan = reef.reef()
    points = reef.twelve(plan)
    really = changed.with_output(plan, TRUE_OUTPUT)
    return KnownLight(basis="measured", map=estimate(plan, reef.read(really, points, error=0.02)))


@pytest.mark.parametrize(
    ("power", "up_cm"), [(1.0, 0.0), (0.32, 0.0), (1.0, 8.0), (0.5, 15.0), (1.0, -5.0)]
)
def test_the_carried_light_is_that_of_the_real_lamps(
    known: KnownLight, power: float, up_cm: float
) -> None:
    then = known.map.plan
    now = changed.with_height(changed.with_output(then, (power,) * 3), up_cm)
    found = known.hung_as(now).at(PLACES)
    off = np.abs(found.ppfd / real(now, PLACES) - 1)
    assert off.max() < 0.08 and np.median(off) < 0.03
    planned = np.abs(now.sensed(PLACES) / real(now, PLACES) - 1)
    assert off.max() < planned.min() / 3


def test_a_step_of_power_alone_multiplies_and_stays_nearly_as_sure(known: KnownLight) -> None:
    now = changed.with_output(known.map.plan, (0.5,) * 3)
    before, after = known.at(PLACES), known.hung_as(now).at(PLACES)
    np.testing.assert_allclose(after.ppfd, before.ppfd / 2, rtol=1e-6)
    assert (after.half_width > before.half_width).all()
    assert (after.half_width < before.half_width + 0.05).all()


def test_the_further_it_goes_the_less_sure_it_is(known: KnownLight) -> None:
    halves = [
        known.hung_as(changed.with_output(known.map.plan, (power,) * 3)).at(PLACES).half_width
        for power in (1.0, 0.5, 0.1)
    ]
    assert (halves[0] < halves[1]).all() and (halves[1] < halves[2]).all()


def test_it_is_called_carried_and_a_plan_stays_planned(known: KnownLight) -> None:
    now = changed.with_height(known.map.plan, 5.0)
    assert known.hung_as(now).basis == "carried"
    planned = KnownLight(basis="planned", map=unmeasured(reef.reef()))
    assert planned.hung_as(now).basis == "planned"


def test_what_did_not_move_is_the_measured_map_itself(known: KnownLight) -> None:
    away = known.hung_as(changed.with_height(known.map.plan, 5.0))
    assert away.hung_as(known.map.plan).map is known.map
    assert carried(known.map, known.map.plan) is known.map


def test_lamps_that_changed_places_take_what_was_learnt_with_them(known: KnownLight) -> None:
    """The weak third lamp is listed first: its output goes with it."""
    plan = known.map.plan
    turned = replace(plan, lamps=(plan.lamps[2], plan.lamps[0], plan.lamps[1]))
    found = carried(known.map, turned, order=(2, 0, 1))
    np.testing.assert_allclose(found.at(PLACES).ppfd, known.at(PLACES).ppfd, rtol=1e-6)
    wrong = carried(known.map, turned, order=(0, 1, 2))
    assert np.abs(wrong.at(PLACES).ppfd / known.at(PLACES).ppfd - 1).max() > 0.05


def test_other_lamps_are_refused(known: KnownLight) -> None:
    plan = known.map.plan
    with pytest.raises(ValueError, match="same lamps"):
        known.hung_as(replace(plan, lamps=plan.lamps[:2]))


def test_a_plan_nobody_measured_is_its_own_middle_at_every_height() -> None:
    """Seen: the median of all beliefs moved by 7 % between two heights, which no lamp did."""
    plan = reef.reef()
    for up_cm in (0.0, 20.0):
        raised = changed.with_height(plan, up_cm)
        light = KnownLight(basis="planned", map=unmeasured(raised))
        found = light.at(PLACES)
        np.testing.assert_allclose(found.ppfd, stated_light(raised, PLACES), rtol=1e-9)
        np.testing.assert_allclose(light.over_plan(PLACES), 1.0)
        assert (found.half_width > 0.25).all()
        assert (found.low < found.ppfd).all() and (found.ppfd < found.high).all()
        plain = estimate(raised, ()).at(PLACES)
        np.testing.assert_allclose(found.high / found.low, plain.high / plain.low, rtol=1e-9)
