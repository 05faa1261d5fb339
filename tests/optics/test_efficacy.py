"""Photons from watts against the published measurements."""

import re

import pytest

from server.optics.efficacy import (
    BY_KIND,
    compare_watts,
    efficacy_is_plausible,
    flux_from_watts,
)
from tests.optics.published import rows

PUBLISHED = rows("photon_efficacy_published")


def measured(word: str) -> list[float]:
    """Every efficacy printed in rows whose class holds the word."""
    return [
        float(number)
        for row in PUBLISHED
        if word in row["class"]
        for number in re.findall(r"\d+\.\d+|\d+", row["umol_per_J"])
    ]


def test_the_led_spread_is_that_of_measured_fixtures() -> None:
    # Nelson & Bugbee 2014 (ten LED fixtures) and Kusuma, Pattison & Bugbee 2020 (Table 2).
    led = BY_KIND["led_panel"]
    fixtures = measured("ten LED fixtures") + measured("fixture measured")
    assert led.low == min(fixtures)
    assert led.high == max(fixtures)
    assert led.typical == pytest.approx((led.low * led.high) ** 0.5, abs=0.05)


def test_tubes_and_halides_reach_at_best_what_was_measured_best() -> None:
    assert BY_KIND["fluorescent_tube"].high == max(measured("fluorescent"))
    assert BY_KIND["metal_halide"].high == max(measured("ceramic metal halide"))


@pytest.mark.parametrize("kind", BY_KIND)
def test_flux_is_watts_times_efficacy_with_its_spread_in_order(kind: str) -> None:
    estimate = flux_from_watts(kind, 100.0)  # type: ignore[arg-type] # keys of BY_KIND
    assert estimate.low < estimate.ppf_umol_s < estimate.high
    assert estimate.ppf_umol_s == pytest.approx(100 * estimate.efficacy.typical)
    assert estimate.efficacy.sources and estimate.efficacy.why


def test_watts_compare_within_a_kind() -> None:
    assert compare_watts("fluorescent_tube", 39.0, "fluorescent_tube", 78.0).ratio == 2.0
    assert compare_watts("led_bar", 50.0, "led_panel", 100.0).ratio == 2.0


@pytest.mark.parametrize(
    ("first", "second"),
    [("led_panel", "fluorescent_tube"), ("metal_halide", "led_bar"), ("mixed", "mixed")],
)
def test_watts_of_different_kinds_are_not_compared_and_the_reason_is_given(
    first: str, second: str
) -> None:
    answer = compare_watts(first, 50.0, second, 100.0)  # type: ignore[arg-type] # kinds
    assert answer.ratio is None
    assert "watt" in answer.reason


def test_a_stated_flux_far_off_its_kind_is_noticed() -> None:
    assert efficacy_is_plausible("led_panel", 250.0, 120.0)
    assert not efficacy_is_plausible("led_panel", 900.0, 120.0)
    assert not efficacy_is_plausible("metal_halide", 20.0, 250.0)


@pytest.mark.parametrize("watts", [0.0, -5.0, float("nan"), float("inf"), 1e6])
def test_absurd_watts_are_refused(watts: float) -> None:
    with pytest.raises(ValueError):
        flux_from_watts("led_panel", watts)
