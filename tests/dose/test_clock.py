"""Clock changes do not move the animals' day, unless asked, and never lose lit hours unseen."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.dose.clock import Clocked, clock_changes, known_zone, lit_hours_between
from server.dose.shapes import Trapezoid

ZONES = (
    "Europe/Berlin",
    "Europe/Dublin",
    "America/New_York",
    "America/St_Johns",
    "Australia/Lord_Howe",
    "Pacific/Auckland",
)


@pytest.mark.parametrize("zone", ZONES)
def test_clocks_change_twice_a_year_once_each_way(zone: str) -> None:
    changes = clock_changes(zone, after=date(2026, 1, 10), days=365)
    assert len(changes) == 2
    assert changes[0].forward_hours == -changes[1].forward_hours != 0


def test_the_dates_of_the_european_changes() -> None:
    # Directive 2000/84/EC: last Sundays of March and October
    changes = clock_changes("Europe/Berlin", after=date(2026, 1, 1))
    assert [(one.on, one.forward_hours) for one in changes] == [
        (date(2026, 3, 29), 1),
        (date(2026, 10, 25), -1),
    ]


def test_a_zone_without_daylight_saving_has_no_changes() -> None:
    assert clock_changes("Asia/Singapore", after=date(2026, 1, 1)) == ()
    assert known_zone("Asia/Singapore") and not known_zone("Asia/Atlantis")


def test_the_wall_times_move_and_the_light_does_not() -> None:
    day = Trapezoid(on_h=10, lit_hours=10, ramp_hours=1).day
    kept = Clocked(day=day, zone="Europe/Berlin", set_on=date(2026, 1, 15))
    assert kept.wall_day(date(2026, 2, 15)) == day
    assert kept.wall_day(date(2026, 7, 1)).hours == (11, 12, 20, 21)
    asked = Clocked(day=day, zone="Europe/Berlin", set_on=date(2026, 1, 15), follows_clock=True)
    assert asked.wall_day(date(2026, 7, 1)) == day


@pytest.mark.parametrize("zone", ZONES)
@given(on=st.integers(0, 1439), lit=st.integers(30, 1380), start=st.integers(0, 1439))
def test_every_24_hours_hold_the_lit_hours_whatever_the_clocks_do(
    zone: str, on: int, lit: int, start: int
) -> None:
    day = Trapezoid(on_h=on / 60, lit_hours=lit / 60).day
    kept = Clocked(day=day, zone=zone, set_on=date(2026, 1, 15))
    for change in clock_changes(zone, after=date(2026, 1, 15)):
        midnight = datetime.combine(change.on, time(0), ZoneInfo(zone)).astimezone(UTC)
        begin = midnight - timedelta(days=1) + timedelta(minutes=start)
        lived = lit_hours_between(kept, begin, begin + timedelta(days=1))
        assert lived == pytest.approx(lit / 60, abs=1e-6)


@pytest.mark.parametrize("zone", ZONES)
def test_a_day_that_follows_the_clock_away_from_the_change_keeps_its_hours(zone: str) -> None:
    day = Trapezoid(on_h=10, lit_hours=9).day
    asked = Clocked(day=day, zone=zone, set_on=date(2026, 1, 15), follows_clock=True)
    for change in clock_changes(zone, after=date(2026, 1, 15)):
        start = datetime.combine(change.on, time(0), ZoneInfo(zone))
        end = datetime.combine(change.on + timedelta(days=1), time(0), ZoneInfo(zone))
        assert lit_hours_between(asked, start, end) == pytest.approx(9, abs=1e-6)


@pytest.mark.parametrize(("month", "lived"), [(3, 5.0), (10, 7.0)])
def test_a_night_that_follows_the_clock_loses_or_gains_the_hour(month: int, lived: float) -> None:
    # on 22:00 to 04:00 in Berlin; clocks go from 2 to 3 in March, from 3 to 2 in October
    day = Trapezoid(on_h=22, lit_hours=6).day
    asked = Clocked(day=day, zone="Europe/Berlin", set_on=date(2026, 1, 15), follows_clock=True)
    change = next(
        one
        for one in clock_changes("Europe/Berlin", after=date(2026, 1, 1))
        if one.on.month == month
    )
    zone = ZoneInfo("Europe/Berlin")
    start = datetime.combine(change.on - timedelta(days=1), time(12), zone)
    end = datetime.combine(change.on, time(12), zone)
    assert lit_hours_between(asked, start, end) == pytest.approx(lived, abs=1e-6)
