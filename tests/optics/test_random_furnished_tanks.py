"""The engine against the plain photon tracer on furnished tanks drawn by chance.

Rocks of any albedo that overlap and touch walls, braces, growth, lids, leaning lamps, covers and
tinted water. A few by default; UNDERLAMP_LONG=1 follows more photons through many more tanks.
"""

import os

import numpy as np
import pytest

from server.optics.balance import balance
from server.optics.field import at_points, planes, share_into_water
from server.optics.rocks import free_share
from tests.optics.brute_force import leaning, trace
from tests.optics.random_tanks import furnished_tank

LONG = os.environ.get("UNDERLAMP_LONG") == "1"
SEEDS = range(40) if LONG else range(6)
PHOTONS = 2_000_000 if LONG else 150_000


@pytest.mark.parametrize("seed", SEEDS)
def test_a_furnished_tank_drawn_by_chance_agrees_with_photons(seed: int) -> None:
    tank, water, lamps = furnished_tank(seed)
    depths = [round(part * tank.depth_cm, 1) for part in (0.12, 0.5, 0.95)]
    found = planes(tank, water, lamps, depths_cm=depths, cell_cm=2.5)
    cells = found[0].x_cm.size, found[0].y_cm.size
    traced = trace(
        tank, water, lamps, depths_cm=depths, cells=cells, photons=PHOTONS, batches=8, seed=seed
    )
    share = share_into_water(tank, water, lamps)
    print(f"\n{seed}: {len(tank.rocks)} rocks, share {share:.4f}, {traced.share_into_water:.4f}")
    assert share == pytest.approx(traced.share_into_water, abs=0.005)
    for plane, ppfd, se in zip(found, traced.ppfd, traced.se, strict=True):
        whole = np.isfinite(plane.ppfd) & (free_share(tank, *cells, plane.depth_cm) >= 1.0)
        if not whole.any():
            continue
        mean, sure = ppfd[whole].mean(), np.sqrt((se[whole] ** 2).sum()) / whole.sum()
        off = plane.ppfd[whole] - ppfd[whole]
        print(f"  {plane.depth_cm:5.1f} cm: {mean:8.2f} ± {sure:.2f}, off {off.mean():+.2f}")
        assert abs(off.mean()) < 0.01 * mean + 3.5 * sure
        known = np.sqrt(se[whole] ** 2 + (0.05 * ppfd[whole]) ** 2 + (0.01 * ppfd.max()) ** 2)
        assert np.median(np.abs(off) / known) < 1.0
        assert np.percentile(np.abs(off) / known, 95) < 3.0


@pytest.mark.parametrize("seed", SEEDS)
def test_each_way_out_of_a_furnished_tank_takes_what_photons_take(seed: int) -> None:
    tank, water, lamps = furnished_tank(seed)
    found = balance(tank, water, lamps)
    traced = trace(
        tank, water, lamps, depths_cm=[], cells=(1, 1), photons=PHOTONS, batches=4, seed=seed
    )
    print(f"\n{seed}: {found.found_again:.4f} of what entered is found again")
    assert found.found_again == pytest.approx(1.0, abs=0.025)
    for name, share in traced.fate.items():
        assert getattr(found, name) / found.emitted == pytest.approx(share, abs=0.008), name


@pytest.mark.parametrize("seed", SEEDS)
def test_points_read_what_the_cells_around_them_read(seed: int) -> None:
    tank, water, lamps = furnished_tank(seed)
    depth = round(0.5 * tank.depth_cm, 1)
    plane = planes(tank, water, lamps, depths_cm=[depth], cell_cm=2)[0]
    x, y = np.meshgrid(plane.x_cm, plane.y_cm)
    free = np.isfinite(plane.ppfd)
    free &= free_share(tank, plane.x_cm.size, plane.y_cm.size, depth) >= 1.0
    found = at_points(tank, water, lamps, x_cm=x[free], y_cm=y[free], depth_cm=depth)
    off = (found - plane.ppfd[free]) / max(plane.max, 1e-9)
    # A point beside an edge is lit where its cell is lit in part; a row of those moves the mean.
    assert abs(off.mean()) < 0.03
    assert np.median(np.abs(off)) < 0.01


def test_the_tracers_own_lean_sends_straight_down_where_it_is_told() -> None:
    down = np.array([[0.0], [0.0], [-1.0]])
    out = leaning(down, 30, 90)[:, 0]
    assert out == pytest.approx([0, np.sin(np.radians(30)), -np.cos(np.radians(30))])
    side = leaning(np.array([[1.0], [0.0], [0.0]]), 20, 0)[:, 0]
    assert side == pytest.approx([np.cos(np.radians(20)), 0, np.sin(np.radians(20))])
