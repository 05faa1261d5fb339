"""Measurements of one lamp put together; references worked out apart from the code."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from server.comparing.pooled import Measured, chance_of_more, pooled


def measured(value: float, percent: float) -> Measured:
    half = 1.2815515655446004 * percent / 100
    return Measured(value=value, low=value * math.exp(-half), high=value * math.exp(half))


def test_one_measurement_is_itself() -> None:
    found = pooled([measured(0.9, 5)])
    assert found.value == pytest.approx(0.9)
    assert (found.low, found.high) == pytest.approx((0.8442, 0.9595), abs=1e-3)
    assert not found.disagree


def test_two_that_agree_are_surer_than_one() -> None:
    found = pooled([measured(0.9, 5), measured(0.92, 5)])
    assert found.value == pytest.approx(math.sqrt(0.9 * 0.92))
    assert math.log(found.high / found.value) == pytest.approx(
        1.28155 * 0.05 / math.sqrt(2), rel=1e-3
    )
    assert found.between == 0 and not found.disagree


def test_two_that_disagree_widen_the_answer_and_are_named() -> None:
    agree = pooled([measured(0.9, 5), measured(0.9, 5), measured(0.9, 5)])
    apart = pooled([measured(0.9, 5), measured(0.9, 5), measured(0.5, 5)])
    assert apart.disagree and apart.farthest == 2
    assert math.log(apart.high / apart.low) > 4 * math.log(agree.high / agree.low)


def test_a_known_case_of_the_random_effects_mean() -> None:
    """Worked by hand: logs 0 and 0.4, both sd 0.1: Q = 8, tau² = (8−1)/100 = 0.07."""
    found = pooled([measured(1.0, 10), measured(math.exp(0.4), 10)])
    assert math.log(found.value) == pytest.approx(0.2)
    assert found.between**2 == pytest.approx(0.07)
    assert math.log(found.high / found.value) == pytest.approx(
        1.28155 * math.sqrt(0.08 / 2), rel=1e-4
    )


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 10, 30])
@pytest.mark.parametrize("share", [0.5, 0.1, 0.01])
def test_the_chance_agrees_with_scipy(freedom: int, share: float) -> None:
    q = float(stats.chi2.isf(share, freedom))
    assert chance_of_more(q, freedom) == pytest.approx(share, rel=0.12)


def test_nothing_measured_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing"):
        pooled([])


@given(st.lists(st.floats(0.2, 3.0), min_size=1, max_size=12), st.floats(1, 30))
def test_the_answer_lies_within_what_was_measured(values: list[float], percent: float) -> None:
    found = pooled([measured(value, percent) for value in values])
    assert min(values) * (1 - 1e-9) <= found.value <= max(values) * (1 + 1e-9)
    assert found.low < found.value < found.high
