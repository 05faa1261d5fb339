"""Scales and ticks."""

import math

import pytest

from server.drawing import axes, scale


def test_ticks_are_round_and_stay_within_the_ends() -> None:
    assert scale.ticks(low=0, high=120, most=12) == (
        0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120,
    )  # fmt: skip
    assert scale.ticks(low=3, high=47, most=5) == (10, 20, 30, 40)
    assert scale.ticks(low=-1, high=1, most=4) == (-1, -0.5, 0, 0.5, 1)


@pytest.mark.parametrize("span", [0.013, 1, 47.2, 120, 5000, 3e8])
@pytest.mark.parametrize("most", [1, 3, 7, 20])
def test_a_step_never_cuts_into_more_parts_than_asked(span: float, most: int) -> None:
    step = scale.tick_step(span=span, most=most)
    assert span / step <= most * (1 + 1e-9)
    assert span / step > most / 2.6


def test_a_scale_maps_ends_to_ends_and_holds_what_is_outside() -> None:
    along = scale.Scale(low=0, high=50, start=200, end=100)
    assert (along.at(0), along.at(25), along.at(50)) == (200, 150, 100)
    assert (along.at(-9), along.at(99)) == (200, 100)


def test_a_logarithmic_scale_gives_equal_ratios_equal_room() -> None:
    along = scale.Scale(low=10, high=1000, start=0, end=200, logarithmic=True)
    assert along.at(100) == 100
    with pytest.raises(ValueError, match="above 0"):
        scale.Scale(low=0, high=1, start=0, end=1, logarithmic=True)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_refused_by_name(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        scale.Scale(low=0, high=1, start=0, end=1).at(bad)
    with pytest.raises(ValueError, match="finite"):
        scale.plain(bad)


def test_ticks_are_round_in_inches_for_those_who_read_inches() -> None:
    along = scale.Scale(low=0, high=121.92, start=0, end=480)
    axis = axes.measured(along=along, unit=axes.INCHES, name="", most=5)
    assert [tick.words for tick in axis.ticks] == ["0", "10", "20", "30", "40"]
    assert axis.ticks[1].at == pytest.approx(100, abs=0.1)
