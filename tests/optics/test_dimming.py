"""Percent to photons: the curve rises, goes through its readings, and says where it is guessing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from server.optics.dimming import UNMEASURED, DimmingCurve, SettingRead, dimming_curve

DIAL = np.linspace(0, 100, 401)


def read(*pairs: tuple[float, float]) -> tuple[SettingRead, ...]:
    return tuple(SettingRead(percent=percent, ppfd=ppfd) for percent, ppfd in pairs)


BENT = dimming_curve(read((10, 4), (30, 40), (60, 130), (100, 260)))


def test_it_goes_through_its_readings_and_none_is_more_than_full() -> None:
    assert BENT.at([0, 10, 30, 60, 100]) == pytest.approx(np.array([0, 4, 40, 130, 260]) / 260)
    assert BENT.measured == (10, 100)


def test_between_readings_it_is_the_published_monotone_cubic() -> None:
    # scipy's PchipInterpolator, but for its own rule at the two ends.
    reference = PchipInterpolator([0, 10, 30, 60, 100], np.array([0, 4, 40, 130, 260]) / 260)
    inner = np.linspace(10, 60, 101)
    assert BENT.at(inner) == pytest.approx(reference(inner), abs=1e-12)


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(1, 100), st.floats(0.5, 50)), min_size=3, max_size=8,
        unique_by=lambda pair: pair[0],
    )
)  # fmt: skip
def test_it_never_falls_and_the_dial_can_be_found_back(steps: list[tuple[int, float]]) -> None:
    steps.sort()
    light = np.cumsum([rise for _, rise in steps])
    curve = dimming_curve(read(*zip([p for p, _ in steps], light.tolist(), strict=True)))
    share = curve.at(DIAL)
    assert np.all(np.diff(share) >= -1e-12)
    assert share[0] == 0 and share[-1] == pytest.approx(1)
    low, high = curve.between(DIAL)
    assert np.all(low <= share + 1e-12) and np.all(share <= high + 1e-12) and low.min() >= 0
    assert curve.at(curve.percent_for(share)) == pytest.approx(share, abs=2e-3)


def test_the_setting_to_type_is_the_lowest_that_gives_as_much() -> None:
    dead = dimming_curve(read((10, 0), (20, 0), (40, 50), (70, 120), (100, 200)))
    assert dead.at(15) == 0
    assert dead.percent_for(0) == 0
    assert 20 < dead.percent_for(0.01) < 30
    assert dead.percent_for(0.25) == pytest.approx(40, abs=0.06)
    assert DimmingCurve().percent_for(0.37) == pytest.approx(37, abs=1e-6)


def test_doubt_is_the_readings_own_at_a_reading_and_more_between_and_below() -> None:
    low, high = BENT.between([60, 80, 5])
    share = BENT.at([60, 80, 5])
    width = (high - low) / share
    assert width[0] == pytest.approx(2 * 1.2816 * 0.02, rel=1e-6)
    assert width[1] > 4 * width[0]
    assert low[2] < 0.5 * share[2]
    assert high[2] <= BENT.at(10)


def test_an_unmeasured_lamp_is_its_percent_with_the_widest_doubt_low_down() -> None:
    plain = DimmingCurve()
    assert plain.at(30) == pytest.approx(0.3)
    low, high = plain.between([10, 50, 100])
    assert low == pytest.approx(np.array([0.1, 0.5, 1.0]) ** UNMEASURED[0])
    assert high == pytest.approx(np.array([0.1, 0.5, 1.0]) ** UNMEASURED[1])
    relative = (high - low) / np.array([0.1, 0.5, 1.0])
    assert relative[0] > relative[1] > relative[2] == 0


def test_small_dips_are_evened_out_and_large_ones_refused() -> None:
    even = dimming_curve(read((25, 50), (50, 100), (75, 99), (100, 150)))
    assert even.at(50) == pytest.approx(even.at(75)) == pytest.approx(99.5 / 150)
    with pytest.raises(ValueError, match="75 %"):
        dimming_curve(read((25, 50), (50, 100), (75, 80), (100, 150)))


def test_without_full_power_the_last_stretch_is_drawn_on() -> None:
    part = dimming_curve(read((20, 20), (40, 40), (60, 60)))
    assert part.at(100) == pytest.approx(1)
    assert part.at(60) == pytest.approx(0.6)
    low, high = part.between(90)
    assert high - low > 0.3
    whole = dimming_curve(read((20, 20), (40, 40), (60, 60), (100, 100)))
    at_60, of_whole = part.between(60), whole.between(60)
    assert at_60[1] - at_60[0] > 3 * (of_whole[1] - of_whole[0])


@pytest.mark.parametrize(
    "readings",
    [
        read((50, 10), (100, 20)),
        read((50, 10), (50, 11), (100, 20)),
        read((20, 0), (50, 0), (80, 3), (100, 20)),
        read((20, 5), (50, -1), (100, 20)),
        read((20, 5), (50, float("nan")), (100, 20)),
        read((20, 5), (50, 10), (101, 20)),
    ],
)
def test_too_few_or_impossible_readings_are_refused(readings: tuple[SettingRead, ...]) -> None:
    with pytest.raises(ValueError, match="must"):
        dimming_curve(readings)
