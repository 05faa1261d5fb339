"""The intensity table against closed forms and scipy."""

import numpy as np
import pytest
from scipy import integrate

from server.optics.photometry import IntensityTable, cosine_power, lens_table


def cosine_table(step_deg: float = 5.0) -> IntensityTable:
    theta = np.append(np.arange(0.0, 90.0, step_deg), 90.0)
    level = np.cos(np.radians(theta)).clip(0)[None, :] * 1000 / np.pi
    return IntensityTable(theta_deg=theta, phi_deg=np.zeros(1), intensity=level)


def lopsided_table() -> IntensityTable:
    theta, phi = np.arange(0.0, 136.0, 7.5), np.array([0.0, 40.0, 100.0, 250.0])
    level = 2 + np.cos(np.radians(theta))[None, :] + 0.6 * np.cos(np.radians(phi))[:, None]
    return IntensityTable(theta_deg=theta, phi_deg=phi, intensity=level)


def test_zonal_flux_of_a_cosine_source_is_exactly_its_thousand_units() -> None:
    assert cosine_table().zonal_flux == pytest.approx(1000.0, rel=1e-9)


def test_flux_at_five_degrees_is_the_exact_integral_of_the_straight_pieces() -> None:
    # 999.365: piecewise-linear exact value for this table, reference figures (computed).
    assert cosine_table().flux == pytest.approx(999.365, abs=5e-4)


def test_flux_equals_scipys_integral_of_the_interpolated_surface() -> None:
    table = lopsided_table()
    value, _ = integrate.dblquad(
        lambda theta, phi: float(table.at(np.degrees(theta), np.degrees(phi))) * np.sin(theta),
        0,
        2 * np.pi,
        0,
        np.radians(135),
        epsabs=1e-3,
        epsrel=1e-4,
    )
    assert table.flux == pytest.approx(value, rel=2e-4)


def test_per_flux_integrates_to_one_so_no_photon_is_made_or_lost() -> None:
    table = lopsided_table()
    theta = np.linspace(0, 135, 2701)
    phi = np.linspace(0, 360, 721)[:-1]
    grid = table.per_flux(theta[None, :], phi[:, None]) * np.sin(np.radians(theta))
    total = np.trapezoid(grid.mean(axis=0), np.radians(theta)) * 2 * np.pi
    assert total == pytest.approx(1.0, rel=1e-4)


@pytest.mark.parametrize("beam", [20.0, 60.0, 90.0, 120.0, 160.0])
def test_a_lens_table_has_the_beam_it_was_made_for(beam: float) -> None:
    assert lens_table(beam, step_deg=0.25).beam_deg() == pytest.approx(beam, abs=0.01)


def test_lens_exponents_agree_with_the_published_examples() -> None:
    # Generalised Lambertian exponents as listed in the reference figures (computed from
    # m = ln 0.5 / ln cos(FWHM/2)): 120° 1, 90° 2, 60° 4.818842, 30° 19.993727.
    got = [cosine_power(beam) for beam in (120, 90, 80, 60, 40, 30)]
    assert got == pytest.approx([1, 2, 2.600780, 4.818842, 11.143405, 19.993727], rel=1e-6)


def test_share_down_counts_only_light_below_the_horizontal() -> None:
    theta = np.linspace(0, 180, 181)
    even = IntensityTable(theta_deg=theta, phi_deg=np.zeros(1), intensity=np.ones((1, 181)))
    assert even.share_down == pytest.approx(0.5)
    assert even.flux == pytest.approx(4 * np.pi)
    assert cosine_table().share_down == pytest.approx(1.0)


def test_turning_the_table_moves_its_pattern_from_x_towards_y() -> None:
    table = lopsided_table()
    turned = table.turned(70.0)
    assert turned.at(30.0, 110.0) == pytest.approx(table.at(30.0, 40.0))
    assert turned.flux == pytest.approx(table.flux)


def test_interpolation_closes_the_circle_between_the_last_plane_and_the_first() -> None:
    table = lopsided_table()
    middle = (table.at(20.0, 250.0) + table.at(20.0, 0.0)) / 2
    assert table.at(20.0, 305.0) == pytest.approx(middle)
    assert table.at(20.0, -55.0) == pytest.approx(middle)
    assert table.at(140.0, 10.0) == 0.0


def test_averaging_round_keeps_the_flux() -> None:
    assert lopsided_table().averaged_round().flux == pytest.approx(lopsided_table().flux)


@pytest.mark.parametrize(
    ("theta", "phi", "level"),
    [
        ([0.0], [0.0], [[1.0]]),
        ([0.0, 10.0, 5.0], [0.0], [[1.0, 1.0, 1.0]]),
        ([0.0, 190.0], [0.0], [[1.0, 1.0]]),
        ([0.0, 90.0], [0.0, 360.0], [[1.0, 1.0], [1.0, 1.0]]),
        ([0.0, 90.0], [0.0], [[1.0, 1.0, 1.0]]),
        ([0.0, 90.0], [0.0], [[1.0, float("nan")]]),
        ([0.0, 90.0], [0.0], [[1.0, -0.1]]),
        ([0.0, 90.0], [0.0], [[0.0, 0.0]]),
    ],
)
def test_a_table_that_makes_no_sense_is_refused(
    theta: list[float], phi: list[float], level: list[list[float]]
) -> None:
    with pytest.raises(ValueError):
        IntensityTable(theta_deg=np.array(theta), phi_deg=np.array(phi), intensity=np.array(level))


@pytest.mark.parametrize("beam", [0.0, 180.0, -5.0, 200.0])
def test_an_impossible_beam_angle_is_refused(beam: float) -> None:
    with pytest.raises(ValueError):
        cosine_power(beam)
