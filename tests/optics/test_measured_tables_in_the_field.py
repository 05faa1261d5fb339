"""Measured intensity tables used by the light field: same light as the lens they were made from."""

from dataclasses import replace

import numpy as np
import pytest

from server.optics.emitters import Emitter
from server.optics.field import at_points, planes, share_into_water
from server.optics.lamp import LampModel, Layout, lamp_emitters
from server.optics.photometric_reader import read_photometric_file
from server.optics.photometry import lens_table
from server.optics.tank import Tank, Water
from tests.optics.published import FOLDER

TANK = Tank(length_cm=90, width_cm=50, depth_cm=45)
WATER = Water()


def point(beam: float) -> Emitter:
    return Emitter(x_cm=40, y_cm=25, height_cm=25, ppf_umol_s=150, beam_deg=beam)


@pytest.mark.parametrize("beam", [60.0, 90.0, 120.0])
def test_a_table_of_a_lens_lights_a_tank_as_the_lens_does(beam: float) -> None:
    plain = point(beam)
    tabled = replace(plain, intensity=lens_table(beam))
    places = {"x_cm": np.linspace(3, 87, 30), "y_cm": 20.0, "depth_cm": 20.0}
    by_lens = at_points(TANK, WATER, (plain,), **places)
    assert at_points(TANK, WATER, (tabled,), **places) == pytest.approx(by_lens, rel=2e-3)
    for one, other in zip(
        planes(TANK, WATER, (plain,), depths_cm=(10, 40), cell_cm=2),
        planes(TANK, WATER, (tabled,), depths_cm=(10, 40), cell_cm=2),
        strict=True,
    ):
        assert other.mean == pytest.approx(one.mean, rel=2e-3)
        # Cells are sampled, and a steep beam more finely as a lens than as a table.
        assert np.abs(other.ppfd / one.ppfd - 1).max() < 0.02
    assert share_into_water(TANK, WATER, (tabled,)) == pytest.approx(
        share_into_water(TANK, WATER, (plain,)), rel=2e-3
    )


def test_a_lopsided_file_spreads_across_the_lamp_as_its_c0_says() -> None:
    # I = cos θ (1 + 0.3 cos 2C): stronger across the lamp (C0) than along it (C90).
    raw = (FOLDER / "synthetic_photometry" / "quadrant_1000lm.ies").read_bytes()
    lamp = LampModel(
        kind="led_panel",
        beam_deg=120,
        ppf_umol_s=100,
        layout=Layout(),
        intensity=read_photometric_file(raw).table,
    )
    wide = Tank(length_cm=100, width_cm=100, depth_cm=40)
    for turned in (False, True):
        emitters = lamp_emitters(lamp, x_cm=50, y_cm=50, height_cm=30, power=1.0, turned=turned)
        (plane,) = planes(wide, WATER, emitters, depths_cm=(20,), cell_cm=10)
        along_x, along_y = plane.ppfd[4, 1], plane.ppfd[1, 4]
        assert (along_x > 1.1 * along_y) if turned else (along_y > 1.1 * along_x)
