"""The best day a control can run, and the numbers to type into it."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.dose.control import (
    CONTROLS,
    ChannelDay,
    Kind,
    apart,
    best_day,
    light_hours,
    together,
)
from server.dose.day import Day, course
from server.dose.setpoints import set_points, switch_times
from server.dose.shapes import Trapezoid
from server.dose.shortened import shortened
from server.dose.sun import natural_day

TRAPEZOID = Day(hours=(8, 11.5, 16.5, 20), levels=(0, 100, 100, 0))
SIESTA = Day(hours=(8, 8, 11, 11, 15, 15, 20, 20), levels=(0, 100, 100, 0, 0, 100, 100, 0))
MOON = Day(hours=(20, 20, 23, 23), levels=(0, 2, 2, 0))


def _whole(day: Day) -> tuple[ChannelDay, ...]:
    return (ChannelDay(name="All channels", share=1.0, day=day),)


def test_a_clock_switch_runs_the_trapezoid_as_a_square_of_the_same_dose() -> None:
    # closed form: 5 + 3.5 = 8.5 hours at full light, around 14:00
    fit = best_day(_whole(TRAPEZOID), CONTROLS["clock_switch"])
    assert switch_times(fit.groups[0]) == (("09:45", "18:15"),)
    assert fit.dose_change == pytest.approx(0, abs=1e-9)
    assert any("No dawn and dusk" in said for said in fit.lost)
    assert any("3.5 hours less" in said for said in fit.lost)


def test_a_clock_switch_keeps_a_pause_at_noon_and_a_hand_cannot() -> None:
    switched = best_day(_whole(SIESTA), CONTROLS["clock_switch"])
    by_hand = best_day(_whole(SIESTA), CONTROLS["by_hand"])
    assert switch_times(switched.groups[0]) == (("08:00", "11:00"), ("15:00", "20:00"))
    assert len(switch_times(by_hand.groups[0])) == 1
    assert by_hand.able_light == pytest.approx(8)
    assert any("Somebody has to be there" in said for said in by_hand.lost)


def test_a_switch_runs_a_day_through_midnight() -> None:
    fit = best_day(_whole(Trapezoid(on_h=19, lit_hours=10).day), CONTROLS["clock_switch"])
    assert switch_times(fit.groups[0]) == (("19:00", "05:00"),)
    assert fit.lost == ()


def test_programs_take_the_ramp_nearest_to_the_wanted_one() -> None:
    wanted = Trapezoid(on_h=9, lit_hours=10, ramp_hours=1.6).day
    fit = best_day(_whole(wanted), CONTROLS["programs"])
    times = [(point.time, point.percent) for point in set_points(fit.groups)]
    assert times == [("09:00", 0), ("10:30", 100), ("17:25", 100), ("18:55", 0)]
    assert abs(fit.dose_change) < 0.02


def test_full_control_runs_channel_groups_apart_to_the_minute() -> None:
    wanted = (
        ChannelDay(name="Blue", share=0.6, day=natural_day(latitude_deg=18, on=date(2026, 3, 1))),
        ChannelDay(name="White", share=0.4, day=TRAPEZOID),
    )
    fit = best_day(wanted, CONTROLS["full"])
    assert fit.lost == ()
    assert [group.name for group in fit.groups] == ["Blue", "White"]
    assert fit.dose_change == pytest.approx(0, abs=0.005)


def test_a_switch_runs_all_channel_groups_together_and_loses_the_moon() -> None:
    wanted = (
        ChannelDay(name="White", share=0.7, day=TRAPEZOID),
        ChannelDay(name="Blue", share=0.3, day=MOON),
    )
    fit = best_day(wanted, CONTROLS["clock_switch"])
    assert len(fit.groups) == 1 and fit.groups[0].share == pytest.approx(1)
    assert any("channel groups go on and off together" in said for said in fit.lost)
    assert any("faint light" in said for said in fit.lost)
    assert fit.able_light == pytest.approx(fit.wanted_light, rel=0.03)


def test_points_beyond_the_limit_are_left_out_where_they_matter_least() -> None:
    wiggle = Day(
        hours=tuple(8 + n * 0.4 for n in range(30)),
        levels=tuple(0.0 if n in (0, 29) else 60 + (n % 3) for n in range(30)),
    )
    fit = best_day(_whole(wiggle), CONTROLS["full"])
    assert len(fit.groups[0].day.hours) == 24
    gap = apart(course(wiggle, peak_ppfd=100), together(fit.groups))
    assert gap < 0.5


@pytest.mark.parametrize("kind", list(CONTROLS))
def test_a_dark_day_and_a_day_that_never_ends_can_be_run(kind: str) -> None:
    control = CONTROLS[kind]
    dark = best_day(_whole(Day(hours=(0,), levels=(0,))), control)
    always = best_day(_whole(Day(hours=(0,), levels=(100,))), control)
    assert (dark.able_light, dark.dose_change) == (0, 0)
    assert always.able_light == pytest.approx(24)


@pytest.mark.parametrize("kind", list(CONTROLS))
@settings(max_examples=40)
@given(
    on=st.integers(0, 95),
    lit=st.integers(16, 64),
    ramp=st.integers(0, 8),
    level=st.integers(20, 100),
)
def test_every_control_keeps_the_dose_within_its_own_steps(
    kind: str, on: int, lit: int, ramp: int, level: int
) -> None:
    shape = Trapezoid(on_h=on / 4, lit_hours=lit / 4, ramp_hours=ramp / 4, level=level)
    control = CONTROLS[kind]
    fit = best_day(_whole(shape.day), control)
    slack = control.minute_step / 60 + 0.03 * fit.wanted_light
    assert abs(fit.able_light - fit.wanted_light) <= slack
    assert light_hours(fit.groups) == fit.able_light


def test_set_points_say_what_comes_next() -> None:
    points = set_points(_whole(TRAPEZOID))
    assert [(point.time, point.then) for point in points] == [
        ("08:00", "rise"),
        ("11:30", "hold"),
        ("16:30", "fall"),
        ("20:00", "hold"),
    ]
    jumps = set_points(_whole(SIESTA))
    assert [point.then for point in jumps[:4]] == ["jump", "hold", "jump", "hold"]


def test_courses_apart_are_the_mean_of_their_difference() -> None:
    # two triangles of 0→100→0 and 100→0→100 over the day differ by 50 on average
    up = course(Day(hours=(0, 12), levels=(0, 100)), peak_ppfd=100)
    down = course(Day(hours=(0, 12), levels=(100, 0)), peak_ppfd=100)
    assert apart(up, down) == pytest.approx(50)
    assert apart(up, up) == 0


@pytest.mark.parametrize("kind", list(CONTROLS))
@given(share=st.floats(0.05, 1.0), on_h=st.floats(0, 23.75), top=st.floats(0.5, 100))
@settings(max_examples=200)
def test_a_shortened_day_never_needs_more_than_full_light(
    kind: Kind, share: float, on_h: float, top: float
) -> None:
    """Rounding once let a ramp end at 100.00000000000001 percent, which no day can hold."""
    day = Trapezoid(on_h=on_h, lit_hours=10, ramp_hours=1, level=top).day
    (pressed,) = shortened((day,), share)
    fit = best_day(_whole(pressed), CONTROLS[kind])
    assert all(0 <= level <= 100 for group in fit.groups for level in group.day.levels)


def test_the_days_that_once_could_not_be_worked_out() -> None:
    day = Trapezoid(on_h=10, lit_hours=10, ramp_hours=1).day
    for share in (0.6402451225612806, 0.6492746373186594):
        (pressed,) = shortened((day,), share)
        assert course(pressed, peak_ppfd=100).peak_ppfd == 100
        assert best_day(_whole(pressed), CONTROLS["by_hand"]).groups[0].day.levels
