"""Factors once, repeats combined, surprises asked about."""

import math
import random

import pytest

from server.surveys.readings import (
    Reading,
    SensorFactors,
    combined,
    surprise,
    surprises,
    usual_nearby,
)


def at(x: float, ppfd: float, *, y: float = 20, depth: float = 15, number: int = 0) -> Reading:
    return Reading(x_cm=x, y_cm=y, depth_cm=depth, ppfd=ppfd, number=number)


def test_factors_multiply_once_and_exactly() -> None:
    assert SensorFactors(immersion=1.1, calibration=1.0).corrected(100) == 110.0
    assert SensorFactors(immersion=1.32, calibration=0.95).corrected(200) == 250.8
    assert SensorFactors().corrected(123.456) == 123.456


@pytest.mark.parametrize("factor", [0.0, -1.0, 0.19, 5.1, math.nan, math.inf])
def test_absurd_factors_are_refused(factor: float) -> None:
    with pytest.raises(ValueError, match="immersion factor"):
        SensorFactors(immersion=factor)


def test_readings_of_one_point_become_their_mean_with_a_smaller_error() -> None:
    once = combined([at(10, 100)])
    four = combined([at(10, v) for v in (98, 100, 101, 101)])
    assert (four[0].ppfd, four[0].count) == (100.0, 4)
    assert once[0].error_ppfd == pytest.approx(5.0)
    assert four[0].error_ppfd < once[0].error_ppfd / 2


def test_points_apart_stay_apart_and_keep_their_order() -> None:
    points = combined([at(30, 5, number=1), at(10, 6, number=2), at(31, 7, number=3)])
    assert [point.numbers for point in points] == [(1, 3), (2,)]


def test_scattered_repeats_widen_the_error_of_every_point() -> None:
    steady = combined([at(10, 100), at(50, 80), at(50, 81)])
    wild = combined([at(10, 100), at(50, 80), at(50, 140)])
    assert wild[0].error_ppfd > 1.5 * steady[0].error_ppfd
    assert wild[1].error_ppfd > wild[0].error_ppfd


def test_the_stated_error_covers_simulated_readings() -> None:
    """5 % true scatter, three repeats at each of ten points: the true value lies within
    1.28 standard errors about four times in five."""
    draw = random.Random(11)
    inside = total = 0
    for _ in range(150):
        truth = [draw.uniform(50, 400) for _ in range(10)]
        points = combined(
            [
                at(10 * i, value * draw.gauss(1, 0.05))
                for i, value in enumerate(truth)
                for _ in "abc"
            ]
        )
        for value, point in zip(truth, points, strict=True):
            inside += abs(point.ppfd - value) <= 1.2816 * point.error_ppfd
            total += 1
    assert 0.76 < inside / total < 0.84


def test_zero_readings_have_the_meters_last_digit_as_error() -> None:
    (point,) = combined([at(10, 0), at(10, 0)])
    assert point.ppfd == 0.0
    assert point.error_ppfd == pytest.approx(1 / math.sqrt(2))


def test_thousands_of_readings_are_combined_quickly() -> None:
    draw = random.Random(3)
    readings = [at(draw.uniform(0, 120), 50, y=draw.uniform(0, 50)) for _ in range(5_000)]
    points = combined(readings)
    assert sum(point.count for point in points) == 5_000


def test_ten_times_the_neighbours_is_asked_about_and_the_digit_named() -> None:
    others = [at(10, 110), at(20, 120), at(30, 100)]
    asked = surprise(at(15, 1150), others)
    assert asked is not None
    assert 9 < asked.ratio < 11
    assert asked.perhaps_ppfd == 115.0
    assert asked.against == "its neighbours"


@pytest.mark.parametrize("value", [40, 115, 300])
def test_usual_values_are_not_asked_about(value: float) -> None:
    assert surprise(at(15, value), [at(10, 110), at(20, 120)]) is None


def test_a_value_the_plan_expects_is_no_surprise_though_neighbours_differ() -> None:
    others = [at(10, 20), at(20, 22)]
    assert surprise(at(15, 200), others) is not None
    assert surprise(at(15, 200), others, expected_ppfd=180) is None


def test_with_nothing_to_compare_nothing_is_asked() -> None:
    assert surprise(at(15, 5000), []) is None
    assert surprise(at(15, 5000), [at(110, 10)]) is None
    assert usual_nearby(at(15, 1), []) is None


def test_darkness_beside_light_is_asked_about() -> None:
    asked = surprise(at(15, 0), [at(10, 110), at(20, 120)])
    assert asked is not None
    assert asked.perhaps_ppfd is None


def test_the_odd_one_of_a_table_is_named_and_not_its_neighbours() -> None:
    readings = [at(10 * i, 100 + i, number=i) for i in range(8)]
    readings[3] = at(30, 1030, number=3)
    (found,) = surprises(readings)
    assert found[0].number == 3
    assert found[1].perhaps_ppfd == 103


def test_a_steady_table_holds_no_surprise() -> None:
    assert surprises([at(10 * i, 100 * 0.9**i) for i in range(10)]) == ()


def test_a_question_starts_beyond_three_times_either_way() -> None:
    others = [at(10, 100), at(12, 100)]
    assert surprise(at(11, 300), others) is None
    assert surprise(at(11, 301), others) is not None
    assert surprise(at(11, 34), others) is None
    assert surprise(at(11, 33), others) is not None


def test_a_slip_is_named_only_where_the_digit_fits() -> None:
    others = [at(10, 100), at(12, 100)]
    for value, meant in (
        (1000, 100),
        (2000, 200),
        (2100, None),
        (501, 50.1),
        (10_000, 100),
        (9, 90),
    ):
        asked = surprise(at(11, value), others)
        assert asked is not None and asked.perhaps_ppfd == meant, value


def test_next_to_darkness_nothing_is_expected() -> None:
    """Neighbours at the meter's last digit say nothing about ratios."""
    assert surprise(at(11, 50), [at(10, 1.0), at(12, 1.0)]) is None
    assert surprise(at(11, 50), [at(10, 0.0), at(12, 0.0)]) is None


def test_neighbours_weigh_by_nearness_and_only_within_an_arms_breadth() -> None:
    near = usual_nearby(at(10, 0), [at(10, 100), at(30, 200)])
    assert near is not None and 100 < near < 105
    assert usual_nearby(at(0, 0), [at(45, 100)]) == pytest.approx(100)
    assert usual_nearby(at(0, 0), [at(45.1, 100)]) is None


def test_a_table_of_a_few_readings_names_none() -> None:
    assert surprises([at(10, 100), at(20, 1000), at(30, 100), at(40, 100)]) == ()


def test_readings_just_within_reach_are_one_point() -> None:
    assert len(combined([at(10, 100), at(11.5, 100)])) == 1
    assert len(combined([at(10, 100), at(11.6, 100)])) == 2
