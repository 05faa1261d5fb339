"""The engine against the plain photon tracer on tanks drawn by chance, traced as the test runs.

A few by default; UNDERLAMP_LONG=1 follows more photons through many more tanks.
"""

import os

import numpy as np
import pytest

from server.optics.balance import balance
from server.optics.field import planes, share_into_water
from tests.optics.brute_force import surface_reflectance, trace
from tests.optics.random_tanks import random_tank

LONG = os.environ.get("UNDERLAMP_LONG") == "1"
SEEDS = range(60) if LONG else range(8)
PHOTONS = 2_000_000 if LONG else 200_000


@pytest.mark.parametrize("seed", SEEDS)
def test_a_tank_drawn_by_chance_agrees_with_photons_followed_one_by_one(seed: int) -> None:
    tank, water, lamps = random_tank(seed)
    depths = [round(part * tank.depth_cm, 1) for part in (0.12, 0.5, 0.95)]
    found = planes(tank, water, lamps, depths_cm=depths, cell_cm=2.0)
    traced = trace(
        tank, water, lamps, depths_cm=depths, cells=(4, 3), photons=PHOTONS, seed=seed, batches=10
    )
    share = share_into_water(tank, water, lamps)
    print(f"\n{seed}: share {share:.4f}, traced {traced.share_into_water:.4f}")
    assert share == pytest.approx(traced.share_into_water, abs=0.005)
    for plane, ppfd, se in zip(found, traced.ppfd, traced.se, strict=True):
        mean = ppfd.mean()
        sure = np.sqrt((se**2).sum()) / ppfd.size
        off = plane.mean - mean
        print(
            f"  {plane.depth_cm:5.1f} cm: {mean:8.2f} ± {sure:.2f}, off {100 * off / mean:+.2f} %"
        )
        assert abs(off) < 0.01 * mean + 3 * sure


@pytest.mark.parametrize("seed", SEEDS)
def test_what_enters_equals_what_is_absorbed_let_out_and_returned(seed: int) -> None:
    tank, water, lamps = random_tank(seed)
    found = balance(tank, water, lamps)
    print(f"\n{seed}: {found.found_again:.4f} of what entered is found again")
    assert found.found_again == pytest.approx(1.0, abs=0.005)


@pytest.mark.parametrize("seed", SEEDS)
def test_each_way_out_takes_the_share_that_photons_take(seed: int) -> None:
    tank, water, lamps = random_tank(seed)
    found = balance(tank, water, lamps)
    traced = trace(
        tank, water, lamps, depths_cm=[], cells=(1, 1), photons=PHOTONS, seed=seed, batches=5
    )
    for name, share in traced.fate.items():
        assert getattr(found, name) / found.emitted == pytest.approx(share, abs=0.005), name


def test_the_tracer_itself_keeps_every_photon_and_knows_fresnel() -> None:
    tank, water, lamps = random_tank(3)
    fate = trace(
        tank, water, lamps, depths_cm=[], cells=(1, 1), photons=100_000, seed=1, batches=2
    ).fate
    entered = fate.pop("entered")
    assert sum(fate.values()) == pytest.approx(entered, rel=0.01)
    assert surface_reflectance(np.array([1.0]), 1.0, 1.339)[0] == pytest.approx(0.021005, abs=2e-6)
