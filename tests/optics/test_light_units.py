"""Light units against computed and published constants."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.optics.light_units import (
    DAYLIGHT_LUX_PER_PPFD,
    DAYLIGHT_UMOL_PER_J,
    UNIT_NAMES,
    Unit,
    light_level,
    mistake_as_daylight,
)
from server.optics.spectrum import Spectrum, from_table
from server.optics.spectrum_shapes import ready
from tests.optics.cie import colour
from tests.optics.published import rows


def daylight() -> Spectrum:
    listed = colour.SDS_ILLUMINANTS["D65"]
    return from_table(listed.wavelengths, listed.values, name="D65")


def test_the_daylight_constants_are_those_of_cie_d65() -> None:
    row = next(row for row in rows("lux_ppfd_from_cie_spds") if row["source"] == "D65")
    assert float(row["lux_per_umol_m2_s"]) == DAYLIGHT_LUX_PER_PPFD
    assert float(row["umol_per_J_400_700"]) == DAYLIGHT_UMOL_PER_J


def test_the_published_daylight_average_lies_within_its_five_percent() -> None:
    # Thimijan & Heins 1983, HortScience 18:818: sun and sky 54 lux, 4.57 µmol/J.
    row = next(row for row in rows("thimijan_heins_1983") if row["source"].startswith("sun and"))
    assert float(row["lux_per_umol_m2_s"]) == pytest.approx(DAYLIGHT_LUX_PER_PPFD, rel=0.05)
    assert float(row["umol_per_J_400_700"]) == pytest.approx(DAYLIGHT_UMOL_PER_J, rel=0.05)


def test_one_foot_candle_is_10_76_lux() -> None:
    level = light_level(1.0, "foot_candles", daylight())
    assert level.lux == pytest.approx(10.7639104)


def test_full_sun_turns_into_the_usual_figures() -> None:
    level = light_level(2000.0, "ppfd", daylight())
    assert level.lux == pytest.approx(110_995, rel=1e-3)
    assert level.w_m2 == pytest.approx(441.6, rel=1e-3)


@given(
    value=st.floats(1e-3, 1e4),
    unit=st.sampled_from(sorted(UNIT_NAMES)),
    shape=st.sampled_from(["royal_blue", "white_cool", "tube_white", "halide_blue"]),
)
def test_every_unit_turned_there_and_back_is_itself(value: float, unit: Unit, shape: str) -> None:
    light = ready(shape)
    level = light_level(value, unit, light)
    for other in UNIT_NAMES:
        back = light_level(level.of(other), other, light).of(unit)
        assert back == pytest.approx(value, rel=1e-12)


def test_blue_light_read_as_daylight_by_a_lux_meter_is_called_far_too_dim() -> None:
    mistake = mistake_as_daylight(1000.0, "lux", ready("royal_blue"))
    true = light_level(1000.0, "lux", ready("royal_blue")).ppfd
    assert mistake.percent == pytest.approx(100 * (mistake.ppfd / true - 1))
    assert mistake.percent < -80


def test_daylight_taken_for_daylight_is_no_mistake_in_any_unit() -> None:
    for unit in UNIT_NAMES:
        assert mistake_as_daylight(500.0, unit, daylight()).percent == pytest.approx(0, abs=0.1)
    assert mistake_as_daylight(0.0, "lux", ready("blue")).ppfd == 0.0


@pytest.mark.parametrize("value", [-1.0, float("nan"), float("inf"), 1e9])
def test_an_absurd_value_is_refused(value: float) -> None:
    with pytest.raises(ValueError):
        light_level(value, "lux", daylight())
    with pytest.raises(ValueError):
        mistake_as_daylight(value, "lux", daylight())
