"""Days of a plain shape, and solving back and forth between dose, hours and peak."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.dose.choices import best, choices
from server.dose.day import Day, DayRefused, course, dli, full_hours, lit_hours
from server.dose.shapes import (
    NoSuchDay,
    Trapezoid,
    Viewing,
    centred,
    hours_for,
    peak_for,
    peak_for_day,
    seen_hours,
)


@given(
    dose=st.floats(0.5, 20),
    peak=st.floats(150, 900),
    ramp=st.floats(0, 4).map(lambda v: round(v, 2)),
)
def test_hours_found_for_a_dose_give_the_dose_back(dose: float, peak: float, ramp: float) -> None:
    try:
        shape = hours_for(dli_mol_m2_d=dose, peak_ppfd=peak, ramp_hours=ramp)
    except NoSuchDay:
        assert dose / (peak * 0.0036) + ramp > 24
        return
    assert dli(course(shape.day, peak_ppfd=peak)) == pytest.approx(dose, rel=1e-9)


@given(lit=st.floats(2, 23), share=st.floats(0, 0.5), peak=st.floats(10, 900))
def test_dose_to_peak_and_back_to_hours_returns_the_start(
    lit: float, share: float, peak: float
) -> None:
    ramp = lit * share
    dose = peak * (lit - ramp) * 0.0036
    found = peak_for(dli_mol_m2_d=dose, lit_hours=lit, ramp_hours=ramp)
    again = hours_for(dli_mol_m2_d=dose, peak_ppfd=found, ramp_hours=ramp)
    assert found == pytest.approx(peak)
    assert again.lit_hours == pytest.approx(lit)


def test_the_hours_for_6_12_mol_at_200_with_long_ramps_are_twelve() -> None:
    # the trapezoid of the closed form, backwards: on at 8 (but centred on noon), 3.5 h ramps
    shape = hours_for(dli_mol_m2_d=6.12, peak_ppfd=200, ramp_hours=3.5)
    assert (shape.lit_hours, shape.full_hours) == pytest.approx((12, 5))
    assert shape.on_h == pytest.approx(6)


def test_a_small_dose_becomes_a_triangle_that_still_reaches_the_peak() -> None:
    shape = hours_for(dli_mol_m2_d=0.72, peak_ppfd=200, ramp_hours=3)
    assert shape.full_hours == 0
    assert dli(course(shape.day, peak_ppfd=200)) == pytest.approx(0.72)
    assert max(shape.day.levels) == 100


def test_a_dose_no_day_can_give_says_which_peak_would() -> None:
    with pytest.raises(NoSuchDay, match="peak of 232"):
        hours_for(dli_mol_m2_d=20, peak_ppfd=100)


def test_any_day_can_be_solved_for_its_peak() -> None:
    day = Day(hours=(20, 23, 2, 6), levels=(0, 80, 80, 0))
    peak = peak_for_day(day, dli_mol_m2_d=5)
    assert dli(course(day, peak_ppfd=peak)) == pytest.approx(5)
    with pytest.raises(NoSuchDay, match="no light"):
        peak_for_day(Day(hours=(0,), levels=(0,)), dli_mol_m2_d=5)


def test_ramps_longer_than_the_day_are_refused() -> None:
    with pytest.raises(DayRefused, match="fit into the lit hours"):
        Trapezoid(on_h=8, lit_hours=6, ramp_hours=3.5)
    with pytest.raises(DayRefused, match="at most 24"):
        Trapezoid(on_h=8, lit_hours=25)


@given(on=st.floats(0, 23.9), lit=st.floats(0.5, 24), share=st.floats(0, 0.5))
def test_a_trapezoid_is_lit_and_full_as_long_as_it_says(
    on: float, lit: float, share: float
) -> None:
    shape = Trapezoid(on_h=on, lit_hours=lit, ramp_hours=share * lit)
    one = course(shape.day, peak_ppfd=100)
    assert lit_hours(one) == pytest.approx(lit, abs=1e-6)
    assert full_hours(one) == pytest.approx(shape.full_hours, abs=1e-6)


def test_the_viewing_time_counts_through_midnight() -> None:
    square = Trapezoid(on_h=20, lit_hours=6).day
    assert seen_hours(square, Viewing(from_h=18, to_h=1)) == pytest.approx(5)
    assert seen_hours(square, Viewing(from_h=3, to_h=19)) == 0
    assert Viewing(from_h=18, to_h=1).middle_h == 21.5


def test_longer_and_dimmer_keeps_the_dose_and_feeds_better_below_saturation() -> None:
    found = choices(
        dli_mol_m2_d=6,
        peak_limit_ppfd=250,
        ramp_hours=1,
        viewing=Viewing(from_h=16, to_h=22),
        compensation_ppfd=60,
        saturation_ppfd=250,
    )
    assert all(one.dose.dli_mol_m2_d == pytest.approx(6) for one in found)
    peaks = [one.dose.peak_ppfd for one in found]
    worked = [one.dose.photosynthesis_hours for one in found]
    assert peaks == sorted(peaks, reverse=True)
    assert worked == sorted(worked)
    chosen = best(found)
    assert chosen is not None and chosen.within_peak and chosen.seen_hours == pytest.approx(6)


def test_no_choice_is_recommended_when_every_one_passes_the_peak() -> None:
    found = choices(
        dli_mol_m2_d=20,
        peak_limit_ppfd=100,
        ramp_hours=0,
        viewing=Viewing(from_h=16, to_h=22),
        compensation_ppfd=60,
        saturation_ppfd=250,
    )
    assert best(found) is None


def test_a_day_is_laid_around_its_middle() -> None:
    assert centred(middle_h=1, lit_hours=6, ramp_hours=1).on_h == 22
