"""The number to type: power, channel and day multiplied once, for every kind of control."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.account.to_type import LampSet, as_csv, brightest, to_type
from server.account.typed_words import in_short, percent_words
from server.dose.control import CONTROLS, WHOLE, ChannelDay, Kind, best_day, control_of
from server.dose.day import Day
from server.dose.shapes import Trapezoid

TEN_HOURS = Trapezoid(on_h=10, lit_hours=10, ramp_hours=1).day


def lamp(kind: Kind = "full", *, dims: bool = True, power: float = 0.31, **more: object) -> LampSet:
    wanted = (ChannelDay(name=WHOLE, share=1.0, day=TEN_HOURS),)
    given_ = {
        "name": "Gull 24",
        "power": power,
        "channels": (),
        "levels": {},
        "dims": dims,
        "control": kind,
        "groups": best_day(wanted, control_of(kind, dims=dims)).groups,
    }
    return LampSet(**(given_ | more))  # type: ignore[arg-type]  # fields by name


def test_full_light_of_the_day_is_the_power_and_never_a_hundred() -> None:
    """Whoever typed 100 beside “power 31 %” gave 3.2 times the plan."""
    lines = to_type(lamp())
    assert [(one.time, one.type_percent) for one in lines] == [
        ("10:00", 0),
        ("11:00", 31),
        ("19:00", 31),
        ("20:00", 0),
    ]
    assert in_short(lines) == "31 %, 10:00 to 20:00"


def test_channels_are_multiplied_by_power_level_and_day_once() -> None:
    # by hand: 42 % · 40 % · 50 % = 8.4 % for red, 42 % · 100 % · 50 % = 21 % for the others
    half = Day(hours=(9.0, 9.0, 18.0, 18.0), levels=(0.0, 50.0, 50.0, 0.0))
    groups = (ChannelDay(name=WHOLE, share=1.0, day=half),)
    made = lamp(power=0.42, channels=("blue", "red"), levels={"red": 0.4}, groups=groups)
    lit = {one.channel: one.type_percent for one in to_type(made) if one.type_percent}
    assert lit == {"blue": 21, "red": 8.4}
    assert in_short(to_type(made)) == "blue 21 % and red 8.4 %, 09:00 to 18:00"


def test_a_channel_with_a_day_of_its_own_is_typed_by_itself() -> None:
    groups = (
        ChannelDay(name="blue", share=0.6, day=Day(hours=(0.0,), levels=(5.0,))),
        ChannelDay(name="white", share=0.4, day=TEN_HOURS),
    )
    lines = to_type(lamp(channels=("blue", "white"), groups=groups))
    assert [one.type_percent for one in lines if one.channel == "blue"] == [1.6]
    assert brightest(one for one in lines if one.channel == "white") == 31


@pytest.mark.parametrize("kind", ["by_hand", "clock_switch", "programs", "full"])
def test_a_lamp_that_does_not_dim_is_told_times_and_no_percentage(kind: Kind) -> None:
    lines = to_type(lamp(kind, dims=False, power=1.0))
    assert {one.type_percent for one in lines} == {None}
    assert [one.then for one in lines] == ["on", "off"]
    assert [percent_words(one) for one in lines] == ["on", "off"]
    # nine hours of full light around 15:00 on a control of quarters of an hour
    expected = ["10:30", "19:30"]
    assert [one.time for one in lines] == expected


def test_a_lamp_that_dims_on_a_clock_switch_has_its_dimmer_set_once() -> None:
    lines = to_type(lamp("clock_switch"))
    assert [(one.then, one.type_percent) for one in lines] == [("on", 31), ("off", 0)]
    assert [percent_words(one) for one in lines] == ["31 %", "off"]


def test_a_lamp_that_does_not_dim_stays_on_at_full_for_fewer_hours() -> None:
    """A day of 60 percent is nine hours of 60: five and a half of full light, to the quarter."""
    dim = Trapezoid(on_h=10, lit_hours=10, ramp_hours=1, level=60).day
    wanted = (ChannelDay(name=WHOLE, share=1.0, day=dim),)
    fit = best_day(wanted, control_of("clock_switch", dims=False))
    assert max(fit.groups[0].day.levels) == 100
    assert fit.able_light == pytest.approx(5.4, abs=0.13)


def test_without_a_day_there_is_one_number_and_no_time() -> None:
    (line,) = to_type(lamp(groups=()))
    assert (line.time, line.type_percent) == ("", 31)
    (switched,) = to_type(lamp("by_hand", dims=False, groups=()))
    assert switched.type_percent is None


@given(
    power=st.floats(0.01, 1),
    level=st.floats(1, 100),
    kind=st.sampled_from(list(CONTROLS)),
    dims=st.booleans(),
)
def test_no_number_passes_power_times_the_day(
    power: float, level: float, kind: Kind, dims: bool
) -> None:
    day = Trapezoid(on_h=8, lit_hours=9, ramp_hours=0.5, level=level).day
    wanted = (ChannelDay(name=WHOLE, share=1.0, day=day),)
    fit = best_day(wanted, control_of(kind, dims=dims))
    lines = to_type(lamp(kind, dims=dims, power=power, groups=fit.groups))
    most = brightest(lines)
    top = max(fit.groups[0].day.levels)
    assert most is None if not dims else most == pytest.approx(power * top, abs=0.051)


def test_numbers_are_written_as_csv_without_formulas() -> None:
    text = as_csv([("full", to_type(lamp(name="=Gull")))])
    rows = list(csv.reader(io.StringIO(text, newline="")))
    assert rows[0] == ["lamp", "channel_group", "local_time", "type_percent", "then", "control"]
    assert rows[2] == ["'=Gull", WHOLE, "11:00", "31", "hold", "full"]
    assert text.endswith("\r\n")
