"""The sun's place and light against pvlib, the pane against Fresnel, the emitter against the level.

Source of the reference: pvlib (NREL's SPA for the place, Ineichen & Perez 2002 for a clear sky).
"""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pvlib
import pytest

from server.optics.field import planes, share_into_water
from server.optics.interface import into_water
from server.optics.sun import (
    Window,
    clear_sky_ppfd,
    far_emitter,
    pane_lets_in,
    sun_place,
    sun_through,
)
from server.optics.tank import Tank, Walls, Water

BLACK = Walls(left="black", right="black", front="black", back="black")
TANK = Tank(length_cm=90, width_cm=45, depth_cm=45, walls=BLACK, floor_albedo=0)
WATER = Water(absorption=((1.0, 0.0),))
PLACES = [(52.5, 13.4), (0.0, 0.0), (-33.9, 151.2), (64.1, -21.9)]
MOMENTS = [
    datetime(2026, month, 11, hour, 20, tzinfo=UTC)
    for month in range(1, 13)
    for hour in (6, 11, 17)
]  # fmt: skip


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_the_sun_stands_where_pvlib_says(latitude: float, longitude: float) -> None:
    times = pd.DatetimeIndex(MOMENTS)
    known = pvlib.solarposition.get_solarposition(times, latitude, longitude)
    for when, height, compass in zip(MOMENTS, known["elevation"], known["azimuth"], strict=True):
        found = sun_place(latitude, longitude, when)
        assert found.height_deg == pytest.approx(height, abs=0.03)
        if abs(height) < 80:
            off = (found.compass_deg - compass + 180) % 360 - 180
            assert abs(off) < 0.1


def test_a_clear_sky_lets_through_what_pvlib_lets_through() -> None:
    # A common clear day of middle latitudes: Linke turbidity 3.
    for height in (10, 20, 40, 60, 85):
        air = pvlib.atmosphere.get_relative_airmass(90 - height)
        sky = pvlib.clearsky.ineichen(90 - height, air, linke_turbidity=3, perez_enhancement=False)
        expected = float(sky["dni"]) * 0.45 * 4.57
        assert clear_sky_ppfd(height) == pytest.approx(expected, rel=0.06)
    assert clear_sky_ppfd(0) == clear_sky_ppfd(-5) == 0.0


def test_panes_take_more_the_flatter_the_light_comes_and_the_more_they_are() -> None:
    for cosine in (1.0, 0.5, 0.2):
        assert 1 == pane_lets_in(cosine, "none") > pane_lets_in(cosine, "single")
        assert pane_lets_in(cosine, "single") > pane_lets_in(cosine, "double")
    assert pane_lets_in(1.0, "single") == pytest.approx(0.97 * 0.9183, abs=1e-3)
    assert pane_lets_in(0.1, "single") < 0.6 * pane_lets_in(1.0, "single")


@pytest.mark.parametrize("height", [5.0, 20.0, 45.0, 70.0, 88.0])
@pytest.mark.parametrize("turn", [0.0, 65.0, 200.0])
def test_the_far_source_lights_the_surface_evenly(height: float, turn: float) -> None:
    lamp = far_emitter(TANK, height_deg=height, from_x_deg=turn, level_ppfd=500)
    top = planes(TANK, WATER, [lamp], depths_cm=[0.0], cell_cm=3)[0]
    middle = top.ppfd[2:-2, 2:-2]
    passed = into_water(np.sin(np.radians([height])), n_water=1.339, cover=False)[0]
    assert np.median(middle) == pytest.approx(500 * passed, rel=0.02)
    assert middle.min() > 0.8 * middle.max()
    assert middle.max() / np.median(middle) < 1.12
    fallen = 500 * TANK.length_cm * TANK.width_cm / 1e4
    assert 0.9 * fallen < lamp.ppf_umol_s < 6 * fallen
    assert share_into_water(TANK, WATER, [lamp]) < passed


def test_the_beam_goes_on_away_from_the_sun() -> None:
    lamp = far_emitter(TANK, height_deg=30, from_x_deg=180, level_ppfd=500)  # from the left
    low = planes(TANK, WATER, [lamp], depths_cm=[30.0], cell_cm=3)[0].ppfd
    assert low[:, 0].max() < 0.05 * low.max()
    assert low[7, -3] > 0.5 * low.max()


HOME = {"latitude_deg": 52.5, "longitude_deg": 13.4, "front_faces_deg": 0.0}
NOON = datetime(2026, 6, 21, 13, 0, tzinfo=timezone(timedelta(hours=2)))


def test_it_shines_in_by_the_right_window_at_the_right_hours_only() -> None:
    south = Window(faces_deg=180)
    there = sun_through(TANK, south, when=NOON, **HOME)
    assert there is not None
    # The front looks north, so the noon sun stands behind the tank.
    assert there.y_cm > TANK.width_cm
    assert abs(there.x_cm - 45) < 0.15 * there.y_cm
    assert sun_through(TANK, Window(faces_deg=0), when=NOON, **HOME) is None
    assert sun_through(TANK, Window(faces_deg=180, from_hour=14), when=NOON, **HOME) is None
    assert sun_through(TANK, Window(faces_deg=180, to_hour=12.5), when=NOON, **HOME) is None
    assert sun_through(TANK, south, when=NOON + timedelta(hours=11), **HOME) is None
    evening = NOON.replace(hour=19)
    west = sun_through(TANK, Window(faces_deg=270), when=evening, **HOME)
    assert west is not None
    assert west.x_cm > TANK.length_cm  # to the right of a keeper who looks south
    bare = sun_through(TANK, Window(faces_deg=180, pane="none"), when=NOON, **HOME)
    assert bare is not None
    assert there.ppf_umol_s < 0.85 * bare.ppf_umol_s


@pytest.mark.parametrize(
    "told",
    [
        {"faces_deg": 360.0},
        {"faces_deg": float("nan")},
        {"faces_deg": 10.0, "from_hour": 9.0, "to_hour": 9.0},
        {"faces_deg": 10.0, "to_hour": 25.0},
        {"faces_deg": 10.0, "pane": "triple"},
    ],
)
def test_a_window_that_cannot_be_is_refused(told: dict) -> None:
    with pytest.raises(ValueError, match="must"):
        Window(**told)
