"""The figures setups are compared by, against the engine and the dose room."""

from dataclasses import replace

import numpy as np
import pytest

from server.comparing.side_by_side import Hanging, Run, Side, figures, unfair
from server.dose.day import Day, course
from server.optics.emitters import Emitter
from server.optics.field import planes, share_into_water
from server.optics.lamp import kind_spectrum
from server.optics.tank import Tank, Walls, Water

TANK = Tank(
    length_cm=90,
    width_cm=45,
    depth_cm=45,
    walls=Walls(left="clear", right="clear", front="clear", back="black"),
    floor_albedo=0.1,
    cover=False,
)
DAY = Day(hours=(8.0, 11.5, 16.5, 20.0), levels=(0, 100, 100, 0))


def emitter(x_cm: float) -> Emitter:
    return Emitter(
        shape="square", x_cm=x_cm, y_cm=22, height_cm=25, ppf_umol_s=150, beam_deg=100, side_cm=8
    )


def hanging(kind: str = "led_cluster") -> Hanging:
    return Hanging(
        name="lamp",
        kind=kind,
        spectrum=kind_spectrum("led_cluster"),
        ppf_umol_s=150,
        height_cm=25,
        power=1.0,
        beam_deg=100,
    )


BOTH = (emitter(30), emitter(60))
SIDE = Side(
    tank=TANK,
    water=Water(),
    emitters=BOTH,
    runs=(Run(emitters=BOTH, watts=120.0, course=course(DAY, peak_ppfd=100)),),
    lamps=(hanging(), hanging()),
    half_width=None,
    days_unchanged=40,
)
ASKED = {"low_ppfd": 100.0, "high_ppfd": 250.0, "price_per_kwh": 0.3}


def test_light_and_dose_are_what_the_engine_and_the_day_say() -> None:
    found = figures(SIDE, depths_cm=[20], **ASKED)
    (plane,) = planes(TANK, Water(), SIDE.emitters, depths_cm=(20,), cell_cm=90 / 40)
    at = found.at[0]
    assert at is not None
    assert at.mean_ppfd == pytest.approx(plane.mean)
    assert at.uniformity == pytest.approx(plane.uniformity)
    inside = (plane.ppfd >= 100) & (plane.ppfd <= 250)
    assert at.share_in_range == pytest.approx(float(np.mean(inside)))
    # trapezoid: on at 8, off at 20, five full hours = 8.5 h of full light; 0.0036 mol per µmol h
    assert at.dli_mol_m2_d == pytest.approx(plane.mean * 8.5 * 0.0036)
    assert (found.lit_hours, found.full_hours) == (12, 5)


def test_cost_and_photons_per_joule() -> None:
    found = figures(SIDE, depths_cm=[20], **ASKED)
    passed = share_into_water(TANK, Water(), SIDE.emitters)
    assert found.umol_per_joule_into_water == pytest.approx(passed * 300 / 120)
    assert found.kwh_per_year == pytest.approx(0.120 * 8.5 * 365.25)
    assert found.money_per_year == pytest.approx(0.3 * found.kwh_per_year)


def test_the_dose_follows_the_light_put_right() -> None:
    dimmer = tuple(replace(e, ppf_umol_s=0.7 * e.ppf_umol_s) for e in BOTH)
    planned = figures(SIDE, depths_cm=[20], **ASKED).at[0]
    measured = figures(replace(SIDE, emitters=dimmer), depths_cm=[20], **ASKED).at[0]
    assert planned is not None and measured is not None
    assert measured.dli_mol_m2_d == pytest.approx(0.7 * planned.dli_mol_m2_d)


def test_no_water_that_deep_is_nothing_and_is_told() -> None:
    assert figures(SIDE, depths_cm=[50], **ASKED).at == (None,)
    assert any("as deep" in words for words in unfair([SIDE, SIDE], [50]))


def test_a_measured_setup_carries_its_doubt() -> None:
    measured = replace(SIDE, half_width=lambda points: np.full(len(points), 0.07))
    at = figures(measured, depths_cm=[20], **ASKED).at[0]
    assert at is not None and at.half_width == pytest.approx(0.07)
    assert any("only planned" in words for words in unfair([SIDE, measured], [20]))


def test_a_tank_without_lamps_has_no_light_and_no_ratios() -> None:
    dark = figures(replace(SIDE, lamps=(), emitters=(), runs=()), depths_cm=[20], **ASKED)
    assert dark.umol_per_joule_into_water is None and dark.shimmer is None
    assert dark.at[0] is not None and dark.at[0].mean_ppfd == 0


def test_equals_are_compared_without_reserve() -> None:
    assert unfair([SIDE, SIDE], [20]) == ()


def test_what_differs_is_told_in_words() -> None:
    other = replace(
        SIDE,
        tank=replace(TANK, length_cm=120, cover=True, walls=replace(TANK.walls, left="black")),
        lamps=(hanging("metal_halide"),),
    )
    told = " ".join(unfair([SIDE, other], [20]))
    for word in ("walls", "size", "cover", "Watts"):
        assert word in told
