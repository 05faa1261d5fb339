"""The day's dose against closed forms and scipy, and what must change nothing."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad

from server.dose.day import (
    Course,
    Day,
    DayRefused,
    added,
    course,
    dli,
    full_hours,
    hours_at_or_above,
    lit_hours,
    longest_dark_hours,
    ppfd_at,
    shifted,
)
from server.dose.dose import dose

TRAPEZOID = Day(hours=(8, 11.5, 16.5, 20), levels=(0, 100, 100, 0))


@st.composite
def days(draw: st.DrawFn) -> Day:
    """Any day to the minute, steps and nights across midnight included."""
    minutes = sorted(draw(st.lists(st.integers(0, 1439), min_size=1, max_size=10)))
    for at in range(len(minutes) - 1, 1, -1):
        if minutes[at] == minutes[at - 2]:
            del minutes[at]
    start = draw(st.integers(0, len(minutes) - 1))
    assume(minutes[start - 1] != minutes[start] or start == 0)
    turned = minutes[start:] + minutes[:start]
    level = st.floats(0, 100).map(lambda value: round(value, 2))
    return Day(
        hours=tuple(minute / 60 for minute in turned),
        levels=tuple(draw(level) for _ in turned),
    )


def _key_figures(one: Course) -> list[float]:
    return [dli(one), lit_hours(one), hours_at_or_above(one, 60), hours_at_or_above(one, 180)]


def test_the_trapezoid_from_8_to_20_with_five_full_hours_at_200_gives_6_12_mol() -> None:
    # closed form: 200 · (5 + 2 · 3.5/2) · 3600e-6
    result = dose(TRAPEZOID, peak_ppfd=200, compensation_ppfd=60, saturation_ppfd=250)
    assert result.dli_mol_m2_d == pytest.approx(6.12, abs=1e-12)
    assert (result.lit_hours, result.full_hours, result.saturated_hours) == (12, 5, 0)
    assert result.feeding_hours == pytest.approx(12 - 2 * 3.5 * 60 / 200, abs=1e-12)
    assert result.dark_hours == 12


def test_the_trapezoids_photosynthesis_agrees_with_scipy() -> None:
    result = dose(TRAPEZOID, peak_ppfd=200, compensation_ppfd=60, saturation_ppfd=250)
    ramp, _ = quad(lambda hour: math.tanh(200 * hour / 3.5 / 250), 0, 3.5, epsabs=1e-12)
    reference = (2 * ramp + 5 * math.tanh(200 / 250)) / 12
    assert result.saturation_share == pytest.approx(reference, abs=1e-9)


def test_a_square_day_is_ppfd_times_hours() -> None:
    square = Day(hours=(9, 9, 19, 19), levels=(0, 100, 100, 0))
    result = dose(square, peak_ppfd=250, compensation_ppfd=250, saturation_ppfd=250)
    assert result.dli_mol_m2_d == pytest.approx(250 * 10 * 0.0036, rel=1e-14)
    assert (result.lit_hours, result.full_hours) == (10, 10)
    assert (result.feeding_hours, result.saturated_hours) == (10, 10)
    assert result.saturation_share == pytest.approx(math.tanh(1), rel=1e-12)


def test_a_half_sine_day_gives_two_over_pi_of_a_square_one() -> None:
    # closed form: ∫ sin over half a turn = 2/π of peak times length
    edges = np.linspace(0, 12, 2001)
    light = 300 * np.sin(np.pi * edges / 12)
    one = Course(start_h=edges[:-1], end_h=edges[1:], start_ppfd=light[:-1], end_ppfd=light[1:])
    assert dli(one) == pytest.approx(2 / math.pi * 300 * 12 * 0.0036, rel=1e-6)


@pytest.mark.parametrize(
    ("ratio", "share"),
    [(0.1, 0.936231), (0.25, 0.839139), (0.5, 0.666667), (0.75, 0.460107), (0.9, 0.287133)],
)
def test_hours_above_saturation_of_a_half_sine_day(ratio: float, share: float) -> None:
    # (2/π) · acos(Ek/Emax) of the day length, derived; table in tests/published
    edges = np.linspace(0, 12, 4001)
    light = 100 * np.sin(np.pi * edges / 12)
    one = Course(start_h=edges[:-1], end_h=edges[1:], start_ppfd=light[:-1], end_ppfd=light[1:])
    assert hours_at_or_above(one, 100 * ratio) / 12 == pytest.approx(share, abs=2e-6)


def test_a_day_through_midnight_is_the_same_day() -> None:
    night = Day(hours=(20, 23.5, 4.5, 8), levels=(0, 100, 100, 0))
    assert _key_figures(course(night, peak_ppfd=200)) == pytest.approx(
        _key_figures(course(TRAPEZOID, peak_ppfd=200)), abs=1e-12
    )


def test_one_point_is_a_lamp_that_never_changes() -> None:
    one = course(Day(hours=(7.25,), levels=(40,)), peak_ppfd=100)
    assert dli(one) == pytest.approx(40 * 24 * 0.0036)
    assert (lit_hours(one), full_hours(one), longest_dark_hours(one)) == (24, 24, 0)


def test_a_dark_day_has_no_full_hours_and_no_share() -> None:
    result = dose(
        Day(hours=(0,), levels=(0,)), peak_ppfd=200, compensation_ppfd=60, saturation_ppfd=250
    )
    assert (result.dli_mol_m2_d, result.lit_hours, result.full_hours) == (0, 0, 0)
    assert (result.saturation_share, result.dark_hours) == (0, 24)


def test_the_dark_stretch_is_counted_across_midnight() -> None:
    day = Day(hours=(6, 6, 10, 10, 12, 12, 22, 22), levels=(0, 50, 50, 0, 0, 100, 100, 0))
    assert longest_dark_hours(course(day, peak_ppfd=100)) == 8


@pytest.mark.parametrize("level", [75, 33.3, 0.7])
def test_a_plateau_at_the_saturation_point_counts_as_saturated(level: float) -> None:
    day = Day(hours=(9, 9, 19, 19), levels=(0, level, level, 0))
    one = course(day, peak_ppfd=333.3)
    assert hours_at_or_above(one, 333.3 * level / 100) == 10


@pytest.mark.parametrize(
    ("hours", "levels", "point"),
    [
        ((), (), None),
        ((8, 9), (0,), None),
        ((8, 24), (0, 100), 1),
        ((8, float("nan")), (0, 100), 1),
        ((8, 9), (0, 101), 1),
        ((-1, 9), (0, 50), 0),
        ((8, 9), (float("inf"), 50), 0),
        ((8, 8, 8), (0, 50, 100), 2),
        ((8, 20, 7, 9), (0, 100, 50, 0), 3),
        ((8, 6, 4), (0, 100, 0), 2),
    ],
)
def test_a_day_that_cannot_be_is_refused_with_its_point(
    hours: tuple[float, ...], levels: tuple[float, ...], point: int | None
) -> None:
    with pytest.raises(DayRefused) as refused:
        Day(hours=hours, levels=levels)
    assert refused.value.point == point


@given(day=days(), minute=st.integers(0, 1439))
def test_splitting_a_line_changes_nothing(day: Day, minute: int) -> None:
    hour = minute / 60
    assume(hour not in day.hours)
    level = ppfd_at(course(day, peak_ppfd=100), hour)
    points = list(zip(day.hours, day.levels, strict=True))
    after = next((i for i, h in enumerate(_counted(day)) if h > _after(day, hour)), len(points))
    points.insert(after, (hour, min(100.0, max(0.0, level))))
    split = Day(hours=tuple(h for h, _ in points), levels=tuple(lv for _, lv in points))
    assert _key_figures(course(split, peak_ppfd=300)) == pytest.approx(
        _key_figures(course(day, peak_ppfd=300)), abs=1e-6
    )


def _counted(day: Day) -> list[float]:
    return [_after(day, hour) if i else day.hours[0] for i, hour in enumerate(day.hours)]


def _after(day: Day, hour: float) -> float:
    return hour if hour >= day.hours[0] else hour + 24


@given(day=days(), quarter_hours=st.integers(-400, 400))
def test_shifting_a_day_in_time_changes_nothing(day: Day, quarter_hours: int) -> None:
    later = shifted(day, hours=quarter_hours / 4)
    assert _key_figures(course(later, peak_ppfd=300)) == pytest.approx(
        _key_figures(course(day, peak_ppfd=300)), abs=1e-6
    )


@given(day=days(), peak=st.floats(1, 2000), factor=st.floats(0.01, 10))
def test_the_dose_is_linear_in_the_peak(day: Day, peak: float, factor: float) -> None:
    once = dli(course(day, peak_ppfd=peak))
    assert dli(course(day, peak_ppfd=peak * factor)) == pytest.approx(once * factor, rel=1e-9)


@given(one=days(), other=days())
def test_channel_groups_add_up(one: Day, other: Day) -> None:
    first, second = course(one, peak_ppfd=120), course(other, peak_ppfd=80)
    both = added([first, second])
    assert dli(both) == pytest.approx(dli(first) + dli(second), abs=1e-9)
    assert both.hours.sum() == pytest.approx(24)
    for hour in (0.4, 7.77, 13.01, 23.3):
        assert ppfd_at(both, hour) == pytest.approx(
            ppfd_at(first, hour) + ppfd_at(second, hour), abs=1e-6
        )


@given(day=days(), peak=st.floats(1, 1500))
def test_the_dose_agrees_with_scipy(day: Day, peak: float) -> None:
    one = course(day, peak_ppfd=peak)
    edges = sorted({hour % 24 for hour in day.hours} | {0.0, 24.0})
    reference = sum(
        quad(lambda hour: ppfd_at(one, hour), low, high)[0] for low, high in pairwise(edges)
    )
    assert dli(one) == pytest.approx(reference * 0.0036, rel=1e-6, abs=1e-9)


@given(day=days(), ppfd=st.floats(1, 300), more=st.floats(1, 300))
def test_more_light_is_never_reached_for_longer(day: Day, ppfd: float, more: float) -> None:
    one = course(day, peak_ppfd=300)
    assert hours_at_or_above(one, ppfd + more) <= hours_at_or_above(one, ppfd) + 1e-9
    assert 0 <= full_hours(one) <= lit_hours(one) <= 24 + 1e-9
