"""Tanks at the edge of what may be asked: white all over, a film of water, dense water, thin beams.

Against the plain photon tracer (tests/optics/brute_force.py), traced as the test runs; for the
skirts of a thin beam against quadrature of the closed form over a cell.
"""

import numpy as np
import pytest

from server.optics.among_rocks import needs_rays
from server.optics.balance import balance
from server.optics.emitters import Emitter
from server.optics.field import planes
from server.optics.photometry import cosine_power
from server.optics.tank import Tank, Walls, Water
from tests.optics.brute_force import trace

WHITE = Walls(left=1.0, right=1.0, front=1.0, back=1.0)
BLACK = Walls(left="black", right="black", front="black", back="black")
LAMP = Emitter(x_cm=25, y_cm=18, height_cm=20, ppf_umol_s=100, beam_deg=90)
CLEAR_WATER = Water(absorption=((1.0, 0.0),))
BOX = {"length_cm": 60, "width_cm": 40, "depth_cm": 40}

CASES: dict[str, tuple[Tank, Water]] = {
    "all white, nothing absorbed": (Tank(**BOX, walls=WHITE, floor_albedo=1), CLEAR_WATER),
    "1 cm over a white floor": (
        Tank(length_cm=60, width_cm=40, depth_cm=1, floor_albedo=1), CLEAR_WATER,
    ),
    "2 cm over a white floor, matt walls": (
        Tank(length_cm=60, width_cm=40, depth_cm=2, floor_albedo=0.9,
             walls=Walls(left=0.9, right=0.9, front=0.9, back=0.9)),
        Water(),
    ),
    "index 1.6": (Tank(**BOX, floor_albedo=0.5), Water(refractive_index=1.6)),
    "index 1.6 in a column": (
        Tank(length_cm=25, width_cm=25, depth_cm=60, floor_albedo=0.5),
        Water(refractive_index=1.6, absorption=((1.0, 0.0),)),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_means_and_photons_hold_at_the_edge_of_what_may_be_asked(name: str) -> None:
    tank, water = CASES[name]
    assert needs_rays(tank, water)
    lamp = LAMP if tank.length_cm > 30 else Emitter(
        x_cm=10, y_cm=12, height_cm=8, ppf_umol_s=100, beam_deg=150
    )  # fmt: skip
    depths = [round(part * tank.depth_cm, 2) for part in (0.05, 0.5, 0.95)]
    found = planes(tank, water, [lamp], depths_cm=depths, cell_cm=tank.length_cm / 15)
    cells = found[0].x_cm.size, found[0].y_cm.size
    traced = trace(
        tank, water, [lamp], depths_cm=depths, cells=cells, photons=300_000, batches=10, seed=3
    )
    print(f"\n{name}: {balance(tank, water, [lamp]).found_again:.4f} found again")
    for plane, ppfd, se in zip(found, traced.ppfd, traced.se, strict=True):
        sure = np.sqrt((se**2).sum()) / se.size
        off = plane.mean - ppfd.mean()
        print(f"  {plane.depth_cm:5.2f} cm  {ppfd.mean():8.2f}  {100 * off / ppfd.mean():+.2f} %")
        assert abs(off) < 0.01 * ppfd.mean() + 3 * sure
        known = np.sqrt(se**2 + (0.03 * ppfd) ** 2)
        assert np.median(np.abs(plane.ppfd - ppfd) / known) < 1.0
    found_again = balance(tank, water, [lamp])
    assert found_again.found_again == pytest.approx(1.0, abs=0.01)
    for what, share in traced.fate.items():
        part = getattr(found_again, what) / found_again.emitted
        assert part == pytest.approx(share, rel=0.02, abs=0.004), what


def test_ordinary_tanks_keep_their_closed_forms() -> None:
    for tank in (
        Tank(length_cm=120, width_cm=50, depth_cm=55, floor_albedo=0.3),
        Tank(length_cm=90, width_cm=60, depth_cm=18, floor_albedo=0.4, walls=Walls(back=0.7)),
    ):
        assert not needs_rays(tank, Water())
    assert not needs_rays(Tank(**BOX, walls=BLACK, floor_albedo=0), Water(refractive_index=1.6))


@pytest.mark.parametrize("depth", [2.0, 20.0, 38.0])
def test_the_skirts_of_a_thin_beam_are_cell_averages(depth: float) -> None:
    # Without refraction E = (m+1)/2π Φ cosᵐ⁺³θ / D², averaged here over 40 × 40 places of a cell.
    tank = Tank(**BOX, walls=BLACK, floor_albedo=0)
    lamp = Emitter(x_cm=25, y_cm=18, height_cm=30, ppf_umol_s=100, beam_deg=5)
    air = Water(refractive_index=1.0, absorption=((1.0, 0.0),))
    found = planes(tank, air, [lamp], depths_cm=[depth], cell_cm=2)[0].ppfd
    x, y = ((np.arange(n * 40) + 0.5) / 20 for n in (30, 20))
    m, down = cosine_power(5), 30 + depth
    r2 = (x[None, :] - 25) ** 2 + (y[:, None] - 18) ** 2 + down**2
    exact = (m + 1) / (2 * np.pi) * 100 * (down / np.sqrt(r2)) ** (m + 1) / r2 * 1e4
    expected = exact.reshape(20, 40, 30, 40).mean(axis=(1, 3))
    seen = expected > 1e-5 * expected.max()
    assert found[seen] == pytest.approx(expected[seen], rel=0.007)
    assert found.mean() == pytest.approx(expected.mean(), rel=1e-3)


def test_water_in_which_nothing_is_left_is_no_fault() -> None:
    deep = Tank(length_cm=60, width_cm=40, depth_cm=1000, floor_albedo=0.5)
    inky = Water(absorption=((0.5, 0.0), (0.5, 100.0)))
    with np.errstate(all="raise", under="ignore"):
        plane = planes(deep, inky, [LAMP], depths_cm=[900], cell_cm=10)[0]
    assert np.all(np.isfinite(plane.ppfd))
