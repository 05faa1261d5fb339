"""Where to measure next, verdicts, and the one change."""

import numpy as np
import pytest

from server.surveys import places
from server.surveys.estimate import estimate
from server.surveys.next_reading import next_reading
from server.surveys.plan import Plan, Reading
from server.surveys.verdict import Verdict, verdicts
from tests.surveys.reef import animal, read, reef, twelve

PLAN = reef()


def width(plan: Plan, readings: list[Reading]) -> float:
    points = places.even_grid(plan.tank, along=5, across=3, levels=3)
    return float(np.mean(estimate(plan, readings).at(points).half_width))


def test_the_first_reading_is_proposed_from_the_plan_alone() -> None:
    following = next_reading(estimate(PLAN, []))
    assert following.worth_it and following.narrows > 0.5
    assert "narrows the doubt" in following.why


def test_following_the_proposals_beats_measuring_one_corner_only() -> None:
    readings: list[Reading] = []
    for number in range(5):
        following = next_reading(estimate(PLAN, readings))
        place = np.array([[following.x_cm, following.y_cm, following.depth_cm]])
        readings += read(PLAN, place, error=0.03, seed=number)
    corner = np.random.default_rng(1).uniform([3, 3, 3], [20, 15, 15], (5, 3))
    assert width(PLAN, readings) < 0.8 * width(PLAN, read(PLAN, corner, error=0.03))


def test_proposals_are_places_a_sensor_can_reach() -> None:
    following = next_reading(estimate(PLAN, read(PLAN, twelve(PLAN))))
    assert 2 <= following.x_cm <= 118 and 2 <= following.y_cm <= 48
    assert 2 <= following.depth_cm <= 50


def test_an_animal_in_doubt_draws_the_next_reading_to_itself() -> None:
    place = np.array([100.0, 38.0, 40.0])
    light = float(PLAN.sensed(place[None])[0])
    doubtful = animal("Torch", place, light * 0.97, light * 1.5)
    following = next_reading(estimate(PLAN, read(PLAN, twelve(PLAN)[:4])), animals=[doubtful])
    assert "Torch" in following.why and following.worth_it
    away = np.linalg.norm(place - [following.x_cm, following.y_cm, following.depth_cm])
    assert away < 35


def test_it_is_no_longer_worth_it_once_every_verdict_is_settled() -> None:
    place = np.array([60.0, 25.0, 30.0])
    light = float(PLAN.sensed(place[None])[0])
    settled = animal("Leather", place, light / 2, light * 2)
    following = next_reading(estimate(PLAN, read(PLAN, twelve(PLAN))), animals=[settled])
    assert not following.worth_it and "settled" in following.why


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (0.5, 1.6, Verdict.IN_RANGE),
        (1.4, 2.0, Verdict.TOO_DIM),
        (0.3, 0.7, Verdict.TOO_BRIGHT),
        (1.0, 1.6, Verdict.NOT_KNOWN),
    ],
)
def test_verdicts_follow_the_light_and_its_doubt(low: float, high: float, verdict: Verdict) -> None:
    place = np.array([60.0, 25.0, 30.0])
    found = estimate(PLAN, read(PLAN, twelve(PLAN), error=0.03))
    light = float(found.at(place[None]).ppfd[0])
    (judged,) = verdicts(found, [animal("Plate", place, low * light, high * light)])
    assert judged.verdict is verdict
    assert judged.chance_dim + judged.chance_in_range + judged.chance_bright == pytest.approx(1)


def test_hardly_anything_is_known_without_a_reading() -> None:
    place = np.array([60.0, 25.0, 30.0])
    light = float(PLAN.sensed(place[None])[0])
    (judged,) = verdicts(estimate(PLAN, []), [animal("Plate", place, 0.8 * light, 1.3 * light)])
    assert judged.verdict is Verdict.NOT_KNOWN and judged.leaning is Verdict.IN_RANGE
