"""Usable light: the averages the weights were published with, and the range kept in order."""

import numpy as np
import pytest

from server.optics.spectrum import WAVELENGTH_NM, from_table
from server.optics.spectrum_shapes import READY, gaussian
from server.optics.symbionts import usable_share


@pytest.mark.parametrize(
    ("peak", "low", "high"),
    [
        (420, 0.81, 0.95),
        (450, 0.85, 0.96),
        (470, 0.71, 0.90),
        (490, 0.57, 0.81),
        (525, 0.34, 0.57),
        (590, 0.14, 0.29),
        (630, 0.17, 0.33),
        (660, 0.33, 0.53),
    ],
)
def test_single_colours_average_as_derived_from_the_pigments(
    peak: float, low: float, high: float
) -> None:
    # Derived at 1 nm from Clementson & Wojtasiewicz 2019 for bands like these; ours is 10 nm.
    share = usable_share(gaussian(peak_nm=peak, width_nm=20.0))
    assert (share.low, share.high) == pytest.approx((low, high), abs=0.04)


def test_equal_photons_average_as_derived_from_the_pigments() -> None:
    even = from_table(WAVELENGTH_NM, 1 / WAVELENGTH_NM, name="equal photons")
    share = usable_share(even)
    assert (share.low, share.high) == pytest.approx((0.41, 0.58), abs=0.01)


@pytest.mark.parametrize("shape", READY, ids=[shape.key for shape in READY])
def test_more_pigment_never_uses_less(shape: object) -> None:
    share = usable_share(shape.make())  # type: ignore[attr-defined] # one of READY
    assert 0 < share.low < share.high <= 1
    assert np.isfinite(share.high)
