"""Tinted water against wavelength-by-wavelength sums and published absorption."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.optics.spectrum import Spectrum, from_table
from server.optics.spectrum_shapes import READY, gaussian, ready
from server.optics.tint import (
    TINTS,
    Tint,
    absorption_bands,
    absorption_per_m,
    at_path,
    left_after,
    mean_absorption_per_m,
    pure_water_per_m,
)
from tests.optics.cie import colour
from tests.optics.published import rows

WATERS = {
    "pure water PF97": Tint(yellow_440_per_m=0.0),
    "PF97 + CDOM a440=0.02 S=0.014": Tint(yellow_440_per_m=0.02),
    "PF97 + CDOM a440=0.10 S=0.014": Tint(yellow_440_per_m=0.10),
    "PF97 + CDOM a440=0.50 S=0.014": Tint(yellow_440_per_m=0.50),
}
CHECKS = [row for row in rows("par_transmission_checks") if row["attenuation"] in WATERS]


def light_named(name: str) -> Spectrum:
    if name == "equal-photon 400-700":
        nm = np.arange(380.0, 781.0)
        return from_table(nm, 1 / nm, name=name)
    if name.startswith("gaussian"):
        return gaussian(peak_nm=float(name.split()[1]), width_nm=20.0)
    listed = colour.SDS_ILLUMINANTS[name]
    return from_table(listed.wavelengths, listed.values, name=name)


@pytest.mark.parametrize(
    "row", CHECKS, ids=[f"{row['attenuation']}/{row['spectrum']}" for row in CHECKS]
)
def test_transmitted_par_and_k_agree_with_the_listed_sums(row: dict[str, str]) -> None:
    # Pope & Fry 1997 with Bricaud, Morel & Prieur 1981, summed independently at 1 nm.
    tint, light = WATERS[row["attenuation"]], light_named(row["spectrum"])
    for metres in ("0.1", "0.3", "0.5", "0.6", "1", "5"):
        listed = float(row[f"T_{metres}m"])
        assert left_after(light, tint, 100 * float(metres)) == pytest.approx(listed, abs=2e-5)
    for metres in ("0.5", "1", "5"):
        listed = float(row[f"Keff_{metres}m"])
        k = mean_absorption_per_m(light, tint, 100 * float(metres))
        assert k == pytest.approx(listed, abs=4e-5)


def test_all_the_listed_sums_were_compared() -> None:
    assert len(CHECKS) == 28


@pytest.mark.parametrize(
    ("nm", "left"),
    [
        (400, 0.99669),
        (450, 0.99540),
        (500, 0.98985),
        (550, 0.97215),
        (600, 0.89476),
        (650, 0.84366),
        (700, 0.73198),
    ],
)
def test_half_a_metre_of_pure_water_leaves_what_pope_and_fry_measured(
    nm: float, left: float
) -> None:
    # exp(−a·0.5 m) from Pope & Fry 1997, Applied Optics 36:8710, Table 3.
    assert np.exp(-0.5 * pure_water_per_m(nm)) == pytest.approx(left, abs=1e-5)


@pytest.mark.parametrize("row", rows("cdom_examples"), ids=lambda row: row["wavelength_nm"])
def test_yellow_substance_falls_as_bricaud_morel_and_prieur_say(row: dict[str, str]) -> None:
    tint = Tint(yellow_440_per_m=1.0)
    nm = float(row["wavelength_nm"])
    yellow = absorption_per_m(tint)[int(nm) - 380] - float(pure_water_per_m(nm))
    assert yellow == pytest.approx(float(row["a_g_rel_S0.014"]), abs=1e-6)


@pytest.mark.parametrize("water", TINTS)
@pytest.mark.parametrize("shape", READY, ids=[shape.key for shape in READY])
def test_two_bands_lose_as_much_as_all_the_wavelengths_do(water: str, shape: object) -> None:
    light = shape.make()  # type: ignore[attr-defined] # one of READY
    bands = absorption_bands(light, TINTS[water])
    assert sum(share for share, _ in bands) == pytest.approx(1.0)
    for path_cm in (5, 20, 50, 100):
        by_bands = sum(share * np.exp(-k * path_cm / 100) for share, k in bands)
        assert by_bands == pytest.approx(left_after(light, TINTS[water], path_cm), rel=1e-3)


def test_more_bands_come_closer_over_a_long_path() -> None:
    light, tint = ready("white_warm"), TINTS["yellowed"]
    exact = left_after(light, tint, 500)
    errors = [
        abs(sum(s * np.exp(-k * 5) for s, k in absorption_bands(light, tint, bands=n)) - exact)
        for n in (1, 2, 3, 4)
    ]
    assert errors == sorted(errors, reverse=True)
    assert errors[3] < 1e-4


@settings(max_examples=40, deadline=None)
@given(
    peak=st.floats(395, 710),
    width=st.floats(2, 150),
    yellow=st.floats(0, 5),
    bands=st.integers(1, 4),
)
def test_bands_are_always_sound(peak: float, width: float, yellow: float, bands: int) -> None:
    found = absorption_bands(
        gaussian(peak_nm=peak, width_nm=width), Tint(yellow_440_per_m=yellow), bands=bands
    )
    assert sum(share for share, _ in found) == pytest.approx(1.0)
    assert all(share > 0 and np.isfinite(k) and 0 <= k < 20 for share, k in found)


@pytest.mark.parametrize("water", TINTS)
def test_k_falls_with_the_path_because_the_red_goes_first(water: str) -> None:
    light = ready("even")
    k = [mean_absorption_per_m(light, TINTS[water], path) for path in (0, 10, 50, 200, 1000)]
    assert k == sorted(k, reverse=True)
    assert k[0] == pytest.approx(mean_absorption_per_m(light, TINTS[water], 1e-3), rel=1e-4)


def test_clear_water_turns_light_bluer_and_yellowed_water_greener() -> None:
    light = ready("even")
    clear, yellow = (
        at_path(light, WATERS["pure water PF97"], 300),
        at_path(light, TINTS["yellowed"], 300),
    )
    assert clear.photon_share(400, 500) > light.photon_share(400, 500)
    assert yellow.photon_share(400, 500) < light.photon_share(400, 500)
    assert yellow.photon_share(510, 570) > light.photon_share(510, 570)


@pytest.mark.parametrize(
    "facts",
    [
        {"yellow_440_per_m": -0.1},
        {"yellow_440_per_m": float("nan")},
        {"yellow_440_per_m": 0.1, "slope_per_nm": 1.0},
    ],
)
def test_water_that_cannot_be_is_refused(facts: dict[str, float]) -> None:
    with pytest.raises(ValueError):
        Tint(**facts)
