"""A fixed sensor's log against doses worked out by hand."""

import math
from datetime import datetime, timedelta

import numpy as np
import pytest

from server.surveys.day_curve import BINS, day_curve

START = datetime(2026, 11, 25)


def every(minutes: float, days: float = 1) -> list[datetime]:
    return [START + timedelta(minutes=minutes * i) for i in range(int(days * 1440 / minutes) + 1)]


def test_a_steady_hundred_for_a_day_is_8_64_mol() -> None:
    """100 µmol m⁻² s⁻¹ × 86,400 s = 8.64 mol m⁻² (arithmetic)."""
    at = every(5)
    curve = day_curve(at, [100.0] * len(at))
    assert curve.dli_mol_m2_d == pytest.approx(8.64)
    assert curve.days[0].whole
    assert curve.step_s == 300


def test_a_half_sine_has_the_dose_two_over_pi_of_its_box() -> None:
    """∫ sin over half a period is 2/π of peak × length (arithmetic): 10 h at 200 -> 4.584 mol."""
    at = every(5, 3)
    hours = np.array([(t - START).total_seconds() / 3600 % 24 for t in at])
    light = np.where((hours > 9) & (hours < 19), 200 * np.sin(np.pi * (hours - 9) / 10), 0)
    curve = day_curve(at, light.clip(0).tolist())
    assert curve.dli_mol_m2_d == pytest.approx(200 * 36_000 * 2 / math.pi / 1e6, rel=2e-3)
    assert curve.ppfd[14 * 6] == pytest.approx(200, rel=0.01)
    assert 9.5 <= curve.lit_hours <= 10.2


def test_a_step_over_midnight_is_shared_between_the_days() -> None:
    at = [START + timedelta(hours=23, minutes=30), START + timedelta(hours=24, minutes=30)]
    curve = day_curve(at, [100.0, 100.0])
    assert [day.dli_mol_m2_d for day in curve.days] == pytest.approx([0.18, 0.18])
    at.append(START + timedelta(hours=25))
    curve = day_curve(at, [100.0, 100.0, 100.0])
    assert [day.dli_mol_m2_d for day in curve.days] == pytest.approx([0.18, 0.36])


def test_a_gap_is_not_filled_and_the_day_is_not_whole() -> None:
    at = [t for t in every(5) if not 10 <= t.hour < 14]
    curve = day_curve(at, [100.0] * len(at))
    assert curve.dli_mol_m2_d is None
    assert curve.days[0].covered == pytest.approx(1 - 4 / 24, abs=0.01)
    assert np.isnan(curve.ppfd[12 * 6])


def test_order_and_repeated_seconds_do_not_matter() -> None:
    at = every(10)
    light = [float(i % 7) for i in range(len(at))]
    straight = day_curve(at, light)
    turned = day_curve(at[::-1] + at[:50], light[::-1] + light[:50])
    assert turned.dli_mol_m2_d == pytest.approx(straight.dli_mol_m2_d)


def test_one_line_is_a_curve_without_a_dose() -> None:
    curve = day_curve([START], [50.0])
    assert curve.dli_mol_m2_d is None
    assert np.count_nonzero(~np.isnan(curve.ppfd)) == 1 and len(curve.ppfd) == BINS


def test_no_lines_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        day_curve([], [])


def test_bins_are_named_by_their_middle_minute() -> None:
    curve = day_curve([START], [50.0])
    assert (curve.minute[0], curve.minute[-1]) == (5.0, 1435.0)
    assert curve.ppfd[0] == 50.0
    assert (curve.step_s, curve.lines) == (0.0, 1)


def test_light_that_changes_over_midnight_is_cut_there_in_proportion() -> None:
    """100 to 200 in an hour around midnight: means 125 and 175 for half an hour each."""
    at = [START + timedelta(hours=23, minutes=30), START + timedelta(hours=24, minutes=30)]
    first, second = day_curve(at, [100.0, 200.0]).days
    assert (first.dli_mol_m2_d, second.dli_mol_m2_d) == pytest.approx((0.225, 0.315))
    assert (first.covered, second.covered) == pytest.approx((1 / 48, 1 / 48))
    assert second.day == first.day + timedelta(days=1)


def test_an_hour_between_lines_is_bridged_and_more_is_not() -> None:
    at = [START, START + timedelta(hours=1), START + timedelta(hours=2, seconds=1)]
    (day,) = day_curve(at, [100.0, 100.0, 100.0]).days
    assert day.dli_mol_m2_d == pytest.approx(0.36)


def test_a_day_is_whole_from_95_percent_on() -> None:
    for hours, whole in ((22.8, True), (22.7, False)):
        at = [START + timedelta(hours=hours * i / 100) for i in range(101)]
        assert day_curve(at, [1.0] * 101).days[0].whole is whole


def test_the_usual_day_is_the_median_between_the_lowest_and_the_highest() -> None:
    at, light = [], []
    for day, value in enumerate((100.0, 200.0, 600.0)):
        for minute in range(0, 1440, 10):
            at.append(START + timedelta(days=day, minutes=minute))
            light.append(value)
    curve = day_curve(at, light)
    assert (curve.low[60], curve.ppfd[60], curve.high[60]) == (100.0, 200.0, 600.0)
    assert curve.lit_hours == 24.0
    assert curve.step_s == 600.0


def test_lit_hours_count_bins_above_one() -> None:
    at = every(10)[:-1]
    light = [2.0 if t.hour < 6 else 1.0 for t in at]
    assert day_curve(at, light).lit_hours == 6.0
