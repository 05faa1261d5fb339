"""Colour of lights against colour-science."""

import numpy as np
import pytest

from server.optics.colour import MATCHING, appearance
from server.optics.spectrum import WAVELENGTH_NM, from_table
from server.optics.spectrum_shapes import READY, ready
from tests.optics.cie import colour

OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]


def exact_xy(power: np.ndarray) -> np.ndarray:
    matching = np.array([OBSERVER[nm] for nm in WAVELENGTH_NM])
    xyz = power @ matching
    return xyz[:2] / xyz.sum()


def test_the_fitted_matching_curves_stay_near_the_table() -> None:
    # CIE 1931 curves as distributed with colour-science; their peaks are 1.06, 1.00 and 1.78.
    listed = np.array([OBSERVER[nm] for nm in WAVELENGTH_NM]).T
    assert np.abs(MATCHING - listed).max() < 0.06


@pytest.mark.parametrize("name", ["A", "D65", "FL2", "FL11", "LED-B1", "LED-B5"])
def test_chromaticity_of_cie_illuminants_agrees_within_a_hundredth(name: str) -> None:
    listed = colour.SDS_ILLUMINANTS[name]
    light = from_table(listed.wavelengths, listed.values, name=name)
    seen = appearance(light)
    assert [seen.x, seen.y] == pytest.approx(exact_xy(light.power), abs=0.006)


def test_daylight_is_white_on_the_screen() -> None:
    listed = colour.SDS_ILLUMINANTS["D65"]
    seen = appearance(from_table(listed.wavelengths, listed.values, name="D65"))
    channels = [int(seen.swatch[k : k + 2], 16) for k in (1, 3, 5)]
    assert min(channels) >= 248


def test_a_screen_colour_has_the_swatch_colour_science_gives_it() -> None:
    light = ready("white_warm")
    matching = np.array([OBSERVER[nm] for nm in WAVELENGTH_NM])
    linear = colour.XYZ_to_sRGB(light.power @ matching, apply_cctf_encoding=False)
    coded = colour.cctf_encoding(linear / linear.max(), function="sRGB") * 255
    seen = appearance(light)
    channels = [int(seen.swatch[k : k + 2], 16) for k in (1, 3, 5)]
    assert seen.on_screen
    assert channels == pytest.approx(coded, abs=6)


@pytest.mark.parametrize("shape", READY, ids=[shape.key for shape in READY])
def test_every_ready_shape_has_a_swatch(shape: object) -> None:
    seen = appearance(shape.make())  # type: ignore[attr-defined] # one of READY
    assert len(seen.swatch) == 7 and int(seen.swatch[1:], 16) > 0


def test_a_pure_blue_is_said_to_lie_outside_the_screen() -> None:
    seen = appearance(ready("royal_blue"))
    assert not seen.on_screen
    assert int(seen.swatch[5:], 16) == 255
