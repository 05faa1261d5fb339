"""Changes between two sessions, differences on a chart, and misfits said in words."""

import numpy as np
import pytest

from server.surveys import changed, difference, explanation, places
from server.surveys.drift import Story, drift
from server.surveys.estimate import estimate
from server.surveys.explanation import Finding
from server.surveys.plan import Plan
from tests.surveys.reef import read, reef, twelve

PLAN = reef()
POINTS = twelve(PLAN)
DARKENED = changed.with_output(PLAN, (0.84, 0.84, 0.84))


def test_the_same_light_read_twice_is_no_change() -> None:
    before = estimate(PLAN, read(PLAN, POINTS, error=0.04, seed=1))
    found = drift(before, read(PLAN, POINTS, error=0.04, seed=2))
    assert found is not None and not found.real
    assert found.change_percent.low < 0 < found.change_percent.high


def test_lamps_that_lost_a_sixth_are_found_and_named() -> None:
    before = estimate(PLAN, read(PLAN, POINTS, error=0.03, seed=1))
    found = drift(before, read(DARKENED, POINTS, error=0.03, seed=2))
    assert found is not None and found.real and found.likeliest is Story.OUTPUT
    assert found.change_percent.low < -16 < found.change_percent.high


def test_water_that_yellowed_is_told_from_lamps_that_aged() -> None:
    before = estimate(PLAN, read(PLAN, POINTS, error=0.02, seed=1))
    yellow = changed.with_absorption(PLAN, 0.6)
    found = drift(before, read(yellow, POINTS, error=0.02, seed=2))
    assert found is not None and found.real and found.likeliest is Story.WATER


def test_another_meter_makes_a_small_change_less_sure() -> None:
    before = estimate(PLAN, read(PLAN, POINTS, error=0.02, seed=1))
    later = read(changed.with_output(PLAN, (0.9,) * 3), POINTS, error=0.02, seed=2)
    same, other = drift(before, later), drift(before, later, same_meter=False)
    assert same is not None and other is not None
    assert other.chance_real < same.chance_real


def test_without_readings_on_both_sides_there_is_no_change_to_speak_of() -> None:
    assert drift(estimate(PLAN, []), read(PLAN, POINTS)) is None
    assert drift(estimate(PLAN, read(PLAN, POINTS)), []) is None


def test_a_difference_is_signed_and_unsure_where_it_is_small() -> None:
    where = places.even_grid(PLAN.tank, along=4, across=2, levels=2)
    before = estimate(PLAN, read(PLAN, POINTS, error=0.02, seed=1))
    same = estimate(PLAN, read(PLAN, POINTS, error=0.02, seed=2))
    darker = estimate(PLAN, read(DARKENED, POINTS, error=0.02, seed=3))
    assert difference.between_sessions(before, same, where).unsure.mean() > 0.7
    gone = difference.between_sessions(before, darker, where)
    assert np.median(gone.percent) == pytest.approx(-16, abs=4)
    assert gone.unsure.mean() < 0.3
    assert np.all(gone.low <= gone.percent) and np.all(gone.percent <= gone.high)


def test_the_plan_against_the_measurement_shows_what_the_plan_got_wrong() -> None:
    where = places.even_grid(PLAN.tank, along=4, across=2, levels=2)
    found = estimate(PLAN, read(DARKENED, POINTS, error=0.02))
    assert np.median(difference.from_plan(PLAN, found, where).percent) == pytest.approx(-16, abs=4)


DENSE = places.even_grid(PLAN.tank, along=6, across=4, levels=3, edge=0.06)


@pytest.mark.parametrize(
    ("real", "finding", "words"),
    [
        (changed.with_output(PLAN, (0.75,) * 3), Finding.OUTPUT, "25 % lower"),
        (changed.with_absorption(PLAN, 0.5), Finding.WATER, "lower with depth"),
        (changed.with_beam(PLAN, -15.0), Finding.BEAM, "narrower than stated"),
        (changed.with_output(PLAN, (1.0, 1.0, 0.7)), Finding.ONE_LAMP, "Lamp 3"),
        (changed.with_wall(PLAN, "front", "black"), Finding.WALL, "front wall"),
    ],
)
def test_a_systematic_misfit_is_explained_in_words(
    real: Plan, finding: Finding, words: str
) -> None:
    found = estimate(PLAN, read(real, DENSE, error=0.01))
    told = {one.finding: one.words for one in explanation.explained(found)}
    assert finding in told
    if finding is not Finding.OUTPUT:
        assert words in told[finding]


def test_agreement_is_said_too() -> None:
    found = estimate(PLAN, read(PLAN, DENSE, error=0.03))
    assert [one.finding for one in explanation.explained(found)] == [Finding.NOTHING]
