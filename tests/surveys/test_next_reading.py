"""Where to measure next, verdicts, and the one change."""

from dataclasses import replace

import numpy as np
import pytest

from server.optics.tank import Rock
from server.surveys import changed, places
from server.surveys.estimate import estimate
from server.surveys.next_reading import next_reading
from server.surveys.plan import Plan, Reading, points_of
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


def followed(plan: Plan, count: int) -> np.ndarray:
    """Places in the order the tool proposes them, read on the plan's own light, (count, 3)."""
    readings: list[Reading] = []
    for number in range(count):
        wanted = next_reading(estimate(plan, readings))
        place = np.array([[wanted.x_cm, wanted.y_cm, wanted.depth_cm]])
        readings += read(plan, place, error=0.03, seed=number)
    return points_of(readings)


def test_twelve_places_are_apart_off_the_glass_and_go_down_more_than_up() -> None:
    found = followed(PLAN, 12)
    gaps = np.linalg.norm(found[:, None] - found[None], axis=2) + 1e3 * np.eye(12)
    assert gaps.min() > 6.0
    assert np.all(found >= places.KEEP_OFF_CM)
    assert np.all(found <= np.array([120.0, 50.0, 52.0]) - places.KEEP_OFF_CM)
    ups = np.maximum(-np.diff(found[:, 2]), 0.0)
    assert ups.sum() < 2.5 * PLAN.tank.depth_cm  # random order goes up about four times as far
    assert np.linalg.norm(np.diff(found, axis=0), axis=1).mean() < 0.42 * np.hypot(120, 72)


def test_before_it_is_enough_a_dead_lamp_would_have_shown() -> None:
    """An animal under the first lamp, read on until the tool stops: the third is out."""
    real = changed.with_output(PLAN, (1.0, 1.0, 0.0))
    spots = [np.array([20.0, 25.0, 25.0]), np.array([100.0, 25.0, 25.0])]
    animals = [
        animal(f"A{n}", spot, 0.5 * float(PLAN.sensed(spot[None])[0]), 5000.0)
        for n, spot in enumerate(spots)
    ]
    readings: list[Reading] = []
    for number in range(16):
        wanted = next_reading(estimate(PLAN, readings), animals=animals)
        if not wanted.worth_it:
            break
        place = np.array([[wanted.x_cm, wanted.y_cm, wanted.depth_cm]])
        readings += read(real, place, error=0.03, seed=number)
    judged = verdicts(estimate(PLAN, readings), animals)
    assert [one.verdict for one in judged] == [Verdict.IN_RANGE, Verdict.TOO_DIM]
    assert len(readings) < 16


def test_nothing_is_proposed_under_a_rock() -> None:
    rock = Rock(left_cm=40, right_cm=80, front_cm=20, back_cm=50, top_cm=20)
    stony = replace(PLAN, tank=replace(PLAN.tank, rocks=(rock,)))
    found = followed(stony, 4)
    assert places.under_no_rock(stony.tank, found).all()
    assert not places.under_no_rock(stony.tank, np.array([[60.0, 30.0, 30.0]])).any()


def test_a_lone_low_reading_gets_one_beside_it() -> None:
    good = read(PLAN, twelve(PLAN), error=0.02)
    low = [*good[:5], replace(good[5], ppfd=0.22 * good[5].ppfd), *good[6:]]
    wanted = next_reading(estimate(PLAN, low))
    gap = np.linalg.norm(points_of(low)[5] - [wanted.x_cm, wanted.y_cm, wanted.depth_cm])
    assert gap < 15 and "beside Reading 6" in wanted.why and wanted.worth_it


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
