"""Meters: their budget, the colour and direction they misjudge, and one against another.

Closed forms are derived beside each check; Student's t comes from scipy.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from server.optics.spectrum import WAVELENGTH_NM, from_table
from server.surveys import meters, mismatch
from server.surveys.budget import Calibration, Immersion, Light, budget, factor_doubt

FLAT = np.ones(401)
BLUE = from_table(np.array([440.0, 450.0, 460.0]), np.array([0.0, 1.0, 0.0]), name="blue")
EVEN = from_table(np.array([400.0, 700.0]), np.array([1.0, 1.0]), name="even power")


def test_a_sensor_that_answers_to_all_photons_alike_needs_no_correction() -> None:
    assert mismatch.spectral_mismatch(FLAT, calibration=EVEN, lamp=BLUE) == pytest.approx(1.0)


def test_a_lamp_like_the_calibration_lamp_needs_no_correction() -> None:
    curve = mismatch.response_curve(np.array([400.0, 700.0]), np.array([0.2, 1.0]))
    assert mismatch.spectral_mismatch(curve, calibration=BLUE, lamp=BLUE) == pytest.approx(1.0)


def test_a_sensor_blind_below_half_way_reads_even_photons_half() -> None:
    """Calibrated with even photons it shows half of them, so red light reads double: F = 1/2.

    Photons per nm of a source of power ∝ 1/λ are even, so both means are lengths of a line.
    """
    nm = np.arange(400.0, 701.0)
    photons = from_table(nm, 1 / nm, name="even photons")
    red = from_table(np.array([600.0, 610.0, 620.0]), np.array([0.0, 1.0, 0.0]), name="red")
    curve = mismatch.response_curve(np.array([549.999, 550.0, 700.0]), np.array([0.0, 1.0, 1.0]))
    found = mismatch.spectral_mismatch(curve, calibration=photons, lamp=red)
    assert found == pytest.approx(0.5, abs=0.002)


def test_a_sensor_weak_in_the_blue_is_put_right_upwards() -> None:
    curve = mismatch.response_curve(np.array([400.0, 500.0, 700.0]), np.array([0.5, 1.0, 1.0]))
    found = mismatch.spectral_mismatch(curve, calibration=EVEN, lamp=BLUE)
    assert found == pytest.approx((1 - 0.25 * _share_below_500()) / 0.75, rel=0.02)


def _share_below_500() -> float:
    """Of the photons of even power: they go with λ; the ramp's mean over them is about 3/4."""
    return EVEN.photon_share(400.0, 500.0)


@pytest.mark.parametrize(
    ("nm", "answer"),
    [([500.0], [1.0]), ([500.0, 400.0], [1.0, 1.0]), ([400.0, 700.0], [0.0, 0.0])],
)
def test_a_curve_that_is_none_is_refused(nm: list[float], answer: list[float]) -> None:
    with pytest.raises(ValueError):
        mismatch.response_curve(np.array(nm), np.array(answer))


def test_light_the_sensor_does_not_see_is_refused() -> None:
    red_only = np.where(WAVELENGTH_NM > 600, 1.0, 0.0)
    with pytest.raises(ValueError, match="does not answer"):
        mismatch.spectral_mismatch(red_only, calibration=EVEN, lamp=BLUE)


def test_side_light_counts_by_what_it_brings() -> None:
    angles, light = np.array([10.0, 60.0]), np.array([3.0, 1.0])
    found = mismatch.directional_error(angles, light, np.array([1.0, 0.8]))
    assert found == pytest.approx((3 * 1.0 + 1 * 0.8) / 4 - 1)


# The budget


def test_independent_factors_add_as_squares() -> None:
    """JCGM 100:2008, 5.1.6: 3, 4, 12 and 84 make 85 (two Pythagorean triples and a third)."""
    told = budget(
        reading=0.12, place=0.84, stated=0.03, immersion=Immersion.AIR, curve=True, cosine=0.04
    )
    rest = 100 * 0.012  # what the curve leaves
    assert told.one_percent == pytest.approx(np.hypot(85.0, rest))
    assert told.factor_percent == pytest.approx(np.sqrt(3**2 + 4**2 + rest**2))
    assert told.expanded_percent == pytest.approx(2 * told.one_percent)


def test_shares_sum_to_all_and_come_largest_first() -> None:
    told = budget(reading=0.04, place=0.03, light=Light.BLUE, years=3)
    assert sum(part.share_percent for part in told.parts) == pytest.approx(100)
    sizes = [part.percent for part in told.parts]
    assert sizes == sorted(sizes, reverse=True)


def test_one_corner_against_another_does_not_pay_the_meters_factor() -> None:
    """Two readings of one meter: the factor cancels, their own errors add as squares."""
    told = budget(reading=0.03, place=0.04, calibration=Calibration.NONE)
    assert told.relative_percent == pytest.approx(np.sqrt(2) * 5.0)
    assert {part.name for part in told.parts if not part.shared} == {"reading", "place"}


def test_nobodys_word_is_marked_as_judgement_and_the_paper_is_not() -> None:
    told = {part.name: part.judged for part in budget(reading=0.04, place=0.0, stated=0.025).parts}
    assert not told["calibration"] and told["immersion"]
    guessed = budget(reading=0.04, place=0.0)
    assert not guessed.stated and all(part.judged for part in guessed.parts if part.shared)


@given(years=st.floats(0, 20))
def test_an_old_paper_is_worth_less(years: float) -> None:
    assert factor_doubt(stated=0.025, years=years) >= factor_doubt(stated=0.025)


def test_a_negative_doubt_is_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        budget(reading=-0.01, place=0.0)


# Two meters at one spot


@pytest.mark.parametrize("freedom", [3, 4, 6, 12, 40])
def test_students_interval_is_scipys(freedom: int) -> None:
    assert meters.student_80(freedom) == pytest.approx(stats.t.ppf(0.9, freedom), rel=0.002)


def test_the_ratio_of_two_meters_holds_the_truth_four_times_in_five() -> None:
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(800):
        light = rng.uniform(50, 400, 5)
        first = 1.08 * light * (1 + 0.05 * rng.normal(size=5))
        second = light * (1 + 0.05 * rng.normal(size=5))
        told = meters.ratio(list(first), list(second))
        held += told.low <= 1.08 <= told.high
    assert 0.75 < held / 800 < 0.86


def test_the_meter_that_is_known_worse_moves_more() -> None:
    told = meters.agreed(
        meters.ratio([110.0] * 6, [100.0] * 6), first_doubt=0.10, second_doubt=0.02
    )
    assert told.first_factor < 0.93 and 1.0 < told.second_factor < 1.01
    assert told.first_doubt < 0.04 and told.second_doubt < 0.02 and told.correlation > 0.3


def test_the_agreement_is_the_least_squares_one() -> None:
    """Against the generalised inverse of the three equations, solved by numpy."""
    compared = meters.ratio([120.0, 118.0], [100.0, 101.0])
    told = meters.agreed(compared, first_doubt=0.08, second_doubt=0.05)
    rows = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, -1.0]])
    weight = np.diag([0.08**-2, 0.05**-2, compared.log_sd**-2])
    covariance = np.linalg.inv(rows.T @ weight @ rows)
    logs = covariance @ rows.T @ weight @ np.array([0.0, 0.0, np.log(compared.value)])
    assert np.log([told.first_factor, told.second_factor]) == pytest.approx(-logs)
    assert [told.first_doubt**2, told.second_doubt**2] == pytest.approx(np.diag(covariance))
    expected = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
    assert told.correlation == pytest.approx(expected)


@pytest.mark.parametrize(("first", "second"), [([], []), ([100.0], [100.0, 90.0]), ([1.0], [50.0])])
def test_pairs_that_are_none_are_refused(first: list[float], second: list[float]) -> None:
    with pytest.raises(ValueError, match="pair"):
        meters.ratio(first, second)
