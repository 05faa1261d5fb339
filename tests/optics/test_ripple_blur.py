"""The smear of an edge by moving water, against rays refracted exactly at a sine surface."""

import numpy as np
import pytest

from server.optics.ripple_blur import USUAL, edge_width_cm, slope
from server.optics.shimmer import Ripple


@pytest.mark.parametrize("ripple", [USUAL, Ripple(length_cm=6, height_cm=0.5)])
def test_it_is_twice_the_swing_of_rays_refracted_exactly(ripple: Ripple) -> None:
    phase = np.linspace(0, 2 * np.pi, 10_001)[:-1]
    tilt = np.arctan(np.pi * ripple.height_cm / ripple.length_cm * np.cos(phase))
    # Straight down onto a tilted surface: n sin(inside) = sin(tilt), measured from its normal.
    turned = tilt - np.arcsin(np.sin(tilt) / 1.339)
    swing = 30 * np.tan(turned)
    assert edge_width_cm(30, ripple=ripple) == pytest.approx(2 * swing.std(), rel=0.05)


def test_usual_ripples_tilt_by_five_degrees_and_smear_with_depth() -> None:
    assert np.degrees(slope(USUAL)) == pytest.approx(5.3, abs=0.1)
    assert edge_width_cm(0) == 0
    assert edge_width_cm(40) == pytest.approx(2 * edge_width_cm(20))
    assert 0.5 < edge_width_cm(20) < 2
    still = Ripple(length_cm=10, height_cm=0)
    assert edge_width_cm(40, ripple=still) == 0
    assert edge_width_cm(40, refractive_index=1.0) == 0


@pytest.mark.parametrize("height", [-1.0, float("nan"), float("inf")])
def test_a_height_that_is_none_is_refused(height: float) -> None:
    with pytest.raises(ValueError, match="below_edge_cm must"):
        edge_width_cm(height)
