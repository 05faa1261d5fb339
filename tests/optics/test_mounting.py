"""How high to hang it: the rule of the best height, and what cannot be met."""

from dataclasses import replace

import numpy as np
import pytest

from server.optics.emitters import Emitter
from server.optics.field import planes
from server.optics.mounting import (
    NEAR_BEST,
    Target,
    heights_tried,
    mounting_height,
    power_in_range,
)
from server.optics.remedies import remedies
from server.optics.tank import Tank, Water

TANK = Tank(length_cm=90, width_cm=50, depth_cm=50)
WATER = Water()
TARGET = Target(low_ppfd=100, high_ppfd=250, depths_cm=(20, 35))


def two_lamps(beam: float, ppf: float = 150.0) -> list[Emitter]:
    return [
        Emitter(x_cm=x, y_cm=25, height_cm=1, ppf_umol_s=ppf, beam_deg=beam) for x in (22.5, 67.5)
    ]


@pytest.mark.parametrize("ppf", [100.0, 200.0])
def test_a_narrow_lens_hangs_higher_than_a_wide_one(ppf: float) -> None:
    # Common practice, no published source: narrow lenses hang high, wide ones low.
    narrow, wide = (
        mounting_height(
            TANK, WATER, two_lamps(beam, ppf), target=TARGET, height_range_cm=(10, 80),
            power_range=(0.1, 1.0),
        )
        for beam in (50.0, 150.0)
    )  # fmt: skip
    print(f"\n50°: {narrow.height_cm} cm, 150°: {wide.height_cm} cm")
    assert narrow.height_cm >= wide.height_cm + 10
    assert 10 <= wide.height_cm <= narrow.height_cm <= 60


def test_the_advice_is_what_the_field_itself_says_at_that_height_and_power() -> None:
    advice = mounting_height(
        TANK, WATER, two_lamps(90), target=TARGET, height_range_cm=(10, 60), power_range=(0.1, 1)
    )
    hung = [
        replace(one, height_cm=advice.height_cm, ppf_umol_s=advice.power * one.ppf_umol_s)
        for one in two_lamps(90)
    ]
    found = planes(TANK, WATER, hung, depths_cm=TARGET.depths_cm, cell_cm=2.0)
    ppfd = np.concatenate([plane.ppfd.ravel() for plane in found])
    share = np.mean((ppfd >= TARGET.low_ppfd) & (ppfd <= TARGET.high_ppfd))
    assert advice.share_in_range == pytest.approx(share, abs=1e-9)
    assert advice.min_ppfd == pytest.approx(ppfd.min(), rel=1e-6)
    assert advice.max_ppfd == pytest.approx(ppfd.max(), rel=1e-6)
    assert advice.mean_ppfd == pytest.approx(ppfd.mean(), rel=1e-6)


def test_among_equally_good_heights_the_one_that_needs_least_power_is_chosen() -> None:
    advice = mounting_height(
        TANK, WATER, two_lamps(90), target=TARGET, height_range_cm=(10, 60), power_range=(0.1, 1)
    )
    most = max(one.share_in_range for one in advice.curve)
    near = [one for one in advice.curve if one.share_in_range >= most - NEAR_BEST]
    assert advice.best in near
    assert advice.power <= min(one.power for one in near) + 2e-3


def panels() -> list[Emitter]:
    """Two panels of twenty emitters."""
    return [
        replace(one, x_cm=one.x_cm + 4 * i - 8, y_cm=19 + 4 * j, ppf_umol_s=7.5)
        for one in two_lamps(60)
        for i in range(5)
        for j in range(4)
    ]


@pytest.mark.parametrize("lamps", [two_lamps(60), panels()], ids=["points", "panels"])
def test_every_height_of_the_curve_agrees_with_the_field_there(lamps: list[Emitter]) -> None:
    target = replace(TARGET, low_ppfd=150, high_ppfd=220)
    advice = mounting_height(
        TANK, WATER, lamps, target=target, height_range_cm=(5, 65), power_range=(0.1, 1)
    )
    for one in advice.curve[::9]:
        hung = [replace(lamp, height_cm=one.height_cm) for lamp in lamps]
        found = planes(TANK, WATER, hung, depths_cm=target.depths_cm, cell_cm=2.0)
        full = np.concatenate([plane.ppfd.ravel() for plane in found])
        power = power_in_range(full, target=target, power_range=(0.1, 1))
        ppfd = power * full
        share = np.mean((ppfd >= 150) & (ppfd <= 220))
        assert one.share_in_range == pytest.approx(share, abs=0.01)


def test_the_power_found_beats_every_power_tried_one_by_one() -> None:
    full = np.random.default_rng(5).lognormal(5.5, 0.6, 400)
    target = replace(TARGET, low_ppfd=120, high_ppfd=260)

    def share(power: float) -> float:
        return float(np.mean((power * full >= 120) & (power * full <= 260)))

    found = power_in_range(full, target=target, power_range=(0.2, 0.9))
    tried = np.linspace(0.2, 0.9, 2001)
    assert share(found) >= max(share(power) for power in tried)
    assert share(found) > share(found - 0.003)


def test_power_stays_in_its_range_where_the_target_is_out_of_reach() -> None:
    full = np.array([50.0, 60.0])
    assert power_in_range(full, target=TARGET, power_range=(0.1, 1.0)) == 1.0
    assert power_in_range(100 * full, target=TARGET, power_range=(0.5, 1.0)) == 0.5
    assert power_in_range(0 * full, target=TARGET, power_range=(0.5, 1.0)) == 0.5


def test_the_lamps_lowest_and_highest_place_and_the_headroom_are_kept() -> None:
    assert heights_tried((15, 60)) == tuple(float(h) for h in range(15, 61))
    assert heights_tried((15, 60), 32.5)[-1] == 32.5
    assert len(heights_tried((1, 1000))) == 121
    assert heights_tried((20, 20)) == (20.0,)
    with pytest.raises(ValueError, match="no height lies between"):
        heights_tried((15, 60), 10)


def test_what_cannot_be_met_is_named_and_remedies_are_tried() -> None:
    one = two_lamps(90, 60)[:1]
    target = Target(low_ppfd=200, high_ppfd=300, depths_cm=(15, 40))
    options = {"target": target, "height_range_cm": (15.0, 60.0), "power_range": (0.1, 1.0)}
    advice = mounting_height(TANK, WATER, one, **options)
    assert advice.share_in_range < 0.5
    found = remedies(TANK, WATER, one, advice, **options, cell_cm=2.0)
    assert found.not_met
    changes = {remedy.change: remedy.share_in_range for remedy in found.tried}
    assert changes.get("more light", 0) > advice.share_in_range or changes.get("second lamp", 0) > 0
    assert list(changes.values()) == sorted(changes.values(), reverse=True)


def test_nothing_is_recommended_where_the_target_is_met() -> None:
    options = {"target": TARGET, "height_range_cm": (10.0, 60.0), "power_range": (0.1, 1.0)}
    advice = mounting_height(TANK, WATER, two_lamps(90), **options)
    found = remedies(TANK, WATER, two_lamps(90), advice, **options, cell_cm=2.0)
    assert found.not_met == ""
    assert found.tried == ()
