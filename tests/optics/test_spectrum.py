"""Spectra against CIE illuminants, SI constants and colour-science."""

import json

import numpy as np
import pytest
from scipy import constants

from server.optics.spectrum import (
    PHOTOPIC,
    UMOL_PER_J_AND_NM,
    WAVELENGTH_NM,
    Spectrum,
    blend,
    from_table,
    transmitted_share,
)
from server.optics.spectrum_shapes import READY, gaussian, phosphor_white, ready
from tests.optics.cie import colour
from tests.optics.published import FOLDER, rows

CIE = rows("lux_ppfd_from_cie_spds")
FROM_CIE = [row for row in CIE if row["source"] in colour.SDS_ILLUMINANTS]


def illuminant(name: str) -> Spectrum:
    distribution = colour.SDS_ILLUMINANTS[name]
    return from_table(distribution.wavelengths, distribution.values, name=name)


@pytest.mark.parametrize("row", FROM_CIE, ids=[row["source"] for row in FROM_CIE])
def test_each_cie_illuminant_gives_its_lux_photons_and_thirds(row: dict[str, str]) -> None:
    # CIE illuminants by colour-science; the published V(λ) every 5 nm lets lux differ by 0.1 %.
    light = illuminant(row["source"])
    assert light.lux_per_ppfd == pytest.approx(float(row["lux_per_umol_m2_s"]), rel=1e-3)
    assert light.umol_per_par_joule == pytest.approx(float(row["umol_per_J_400_700"]), rel=1e-4)
    assert light.third_shares == pytest.approx(
        [float(row[f"frac_{band}"]) for band in ("400_500", "500_600", "600_700")], abs=2e-4
    )


def test_enough_illuminants_were_compared() -> None:
    assert len(FROM_CIE) >= 30


def test_the_photon_constant_is_that_of_the_si() -> None:
    # SI 2019 constants by scipy: h c N_A.
    exact = constants.h * constants.c * constants.N_A
    assert UMOL_PER_J_AND_NM * exact == pytest.approx(1e-3, rel=1e-10)


@pytest.mark.parametrize("nm", ["450", "550", "600", "660"])
def test_a_narrow_line_holds_the_photons_per_joule_of_its_wavelength(nm: str) -> None:
    listed = json.loads((FOLDER / "light_constants.json").read_text())["umol_per_J"][nm]
    line = gaussian(peak_nm=float(nm), width_nm=2.0)
    assert line.umol_per_par_joule == pytest.approx(listed, rel=2e-5)


def test_an_even_energy_spectrum_holds_what_the_closed_form_says() -> None:
    # 550 / 119.6266 µmol/J for constant power over 400–700 nm.
    even = ready("even")
    assert even.umol_per_par_joule == pytest.approx(4.597641, rel=1e-6)
    assert even.par_share == pytest.approx(300 / 400)


def test_the_eyes_curve_agrees_with_colour_science_between_the_tabulated_rows() -> None:
    standard = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    listed = np.array([standard[nm] for nm in WAVELENGTH_NM])
    assert np.abs(PHOTOPIC - listed).max() < 6e-4


@pytest.mark.parametrize(
    ("shape", "row_name", "tolerance"),
    [
        ("white_cool", "LED-B5", 0.01),
        ("white_neutral", "LED-B3", 0.01),
        ("white_warm", "LED-B1", 0.01),
        ("tube_white", "FL11", 0.02),
        ("halide_daylight", "HP4", 0.02),
    ],
)
def test_a_fitted_shape_comes_near_its_cie_lamp(
    shape: str, row_name: str, tolerance: float
) -> None:
    row = next(row for row in CIE if row["source"] == row_name)
    light = ready(shape)
    assert light.lux_per_ppfd == pytest.approx(float(row["lux_per_umol_m2_s"]), rel=tolerance)
    assert light.umol_per_par_joule == pytest.approx(
        float(row["umol_per_J_400_700"]), rel=tolerance
    )
    thirds = [float(row[f"frac_{band}"]) for band in ("400_500", "500_600", "600_700")]
    assert light.third_shares == pytest.approx(thirds, abs=0.02)


@pytest.mark.parametrize("shape", READY, ids=[shape.key for shape in READY])
def test_every_ready_shape_is_a_sound_spectrum(shape: object) -> None:
    light = shape.make()  # type: ignore[attr-defined] # one of READY
    assert sum(share for _, share in light.band_shares) == pytest.approx(1.0)
    assert sum(light.third_shares) == pytest.approx(1.0)
    assert 0 < light.par_share <= 1
    assert 400 < light.mean_wavelength_nm < 700
    assert light.umol_per_light_joule == pytest.approx(light.umol_per_par_joule * light.par_share)


def test_only_the_shape_counts_not_the_scale() -> None:
    nm = np.array([400.0, 500.0, 700.0])
    weak, strong = (from_table(nm, level * np.array([1.0, 2.0, 0.5]), name="t") for level in (1, 9))
    assert weak.lux_per_ppfd == pytest.approx(strong.lux_per_ppfd)
    assert np.trapezoid(weak.photons[20:321], WAVELENGTH_NM[20:321]) == pytest.approx(1.0)


def test_a_mix_weighs_by_photons() -> None:
    blue, red = ready("royal_blue"), ready("deep_red")
    mixed = blend([(blue, 3.0), (red, 1.0)])
    assert mixed.lux_per_ppfd == pytest.approx(0.75 * blue.lux_per_ppfd + 0.25 * red.lux_per_ppfd)
    assert mixed.photon_share(400, 500) == pytest.approx(0.75, abs=1e-6)


def test_a_grey_filter_takes_its_share_and_leaves_the_shape() -> None:
    light = ready("white_cool")
    grey = np.full(WAVELENGTH_NM.size, 0.3)
    assert transmitted_share(light, grey) == pytest.approx(0.3)
    assert np.allclose(light.through(grey).power, light.power)


@pytest.mark.parametrize(
    "power",
    [
        np.ones(400),
        np.full(401, np.nan),
        np.full(401, -1.0),
        np.zeros(401),
        np.where(WAVELENGTH_NM < 395, 1.0, 0.0),
    ],
)
def test_what_is_no_light_is_refused(power: np.ndarray) -> None:
    with pytest.raises(ValueError):
        Spectrum(name="x", power=power)


def test_odd_numbers_for_a_shape_are_refused() -> None:
    with pytest.raises(ValueError):
        gaussian(peak_nm=200.0, width_nm=20.0)
    with pytest.raises(ValueError):
        gaussian(peak_nm=450.0, width_nm=float("nan"))
    with pytest.raises(ValueError):
        phosphor_white(blue_share=1.0)
    with pytest.raises(ValueError):
        ready("moonlight")
    with pytest.raises(ValueError):
        blend([])
    with pytest.raises(ValueError):
        blend([(ready("blue"), 0.0)])
    with pytest.raises(ValueError):
        from_table(np.array([500.0, 400.0]), np.array([1.0, 1.0]), name="falling")
