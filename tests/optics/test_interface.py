"""Flat boundaries against published reflectances."""

import numpy as np
import pytest

from server.optics import interface
from tests.optics.published import rows


def test_reflectance_by_angle_is_within_a_tenth_of_a_point_of_jerlovs_table() -> None:
    # Source: Jerlov, Optical Oceanography, Table XVI, n = 4/3 [percent].
    for row in rows("fresnel_by_angle"):
        cosine = np.cos(np.radians(float(row["incidence_deg"])))
        found = 100 * float(interface.reflectance(cosine, n_from=1.0, n_to=4 / 3))
        assert found == pytest.approx(float(row["jerlov_tableXVI_percent_n4_3"]), abs=0.1)


def test_diffuse_reflectance_from_both_sides_agrees_with_the_closed_form() -> None:
    # Source: Walsh/Duntley closed form and quadrature, tests/published/fresnel_interface.csv.
    for row in rows("fresnel_interface"):
        n = float(row["n_water"])
        from_air = interface.diffuse_reflectance(1.0, n)
        from_water = interface.diffuse_reflectance(n, 1.0)
        assert from_air == pytest.approx(float(row["R_diffuse_from_air_closed_form"]), abs=5e-6)
        assert from_water == pytest.approx(float(row["R_diffuse_from_water_quad"]), abs=5e-6)
        assert 1 - from_water == pytest.approx((1 - from_air) / n**2, abs=1e-6)


def test_the_underside_of_the_sea_returns_0_48_of_diffuse_light() -> None:
    # Source: diffuse reflectance 0.4807 for n = 1.34, as above.
    assert interface.diffuse_reflectance(1.34, 1.0) == pytest.approx(0.4807, abs=5e-5)


def test_critical_angle_is_the_published_one() -> None:
    for row in rows("fresnel_interface"):
        found = interface.critical_angle_deg(float(row["n_water"]))
        assert found == pytest.approx(float(row["critical_angle_deg"]), abs=1e-3)


def test_light_beyond_the_critical_angle_is_returned_whole_by_surface_and_glass() -> None:
    cosine = np.cos(np.radians(np.linspace(49, 90, 30)))
    assert np.all(interface.under_surface(cosine, n_water=1.339) == 1.0)
    assert np.allclose(interface.wall_reflectance(cosine, n_water=1.339), 1.0)


def test_a_clear_cover_passes_the_published_share_straight_down() -> None:
    # Source: two surfaces of n = 1.52, incoherent, 0.91832; Kusuma, Pattison & Bugbee 2020 print
    # "up to 92 %" for a glass cover.
    pane = 1 - float(interface.slab_reflectance(1.0, n_from=1.0, n_beyond=1.0))
    assert pane == pytest.approx(0.91832, abs=1e-5)


def test_without_a_boundary_nothing_is_reflected_at_any_angle() -> None:
    cosine = np.linspace(0, 1, 11)
    assert np.all(interface.into_water(cosine, n_water=1.0, cover=False) == 1.0)
    assert np.allclose(interface.under_surface(cosine, n_water=1.0), 0.0, atol=1e-12)
