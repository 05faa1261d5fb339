"""A lamp's own footprint against the closed form of one point source."""

import math

import pytest

from server.optics.emitters import Emitter
from server.optics.footprint import footprint
from server.optics.photometry import cosine_power
from server.optics.tank import Water

AIR = Water(refractive_index=1.0, absorption=((1.0, 0.0),))


def point(beam: float, height: float, **more: float) -> Emitter:
    return Emitter(
        x_cm=more.get("x_cm", 0.0),
        y_cm=0.0,
        height_cm=height,
        ppf_umol_s=100.0,
        beam_deg=beam,
    )


@pytest.mark.parametrize("beam", [40.0, 90.0, 120.0])
def test_a_point_without_water_has_the_width_of_its_closed_form(beam: float) -> None:
    # E = I₀ cosᵐ⁺³ θ / d²: half where cos θ = 0.5^(1/(m+3)) (generalised Lambertian point).
    m = cosine_power(beam)
    edge = math.tan(math.acos(0.5 ** (1 / (m + 3)))) * 50
    found = footprint((point(beam, 20),), AIR, depth_cm=30, height_cm=20)
    assert found.along_cm == pytest.approx(2 * edge, rel=0.01)
    assert found.across_cm == pytest.approx(found.along_cm, rel=1e-3)
    peak = 100 * (m + 1) / (2 * math.pi) / 0.5**2
    assert found.peak_ppfd == pytest.approx(peak, rel=0.01)


def test_water_draws_the_footprint_in_and_dims_it() -> None:
    water = Water(refractive_index=1.339, absorption=((1.0, 0.5),))
    dry = footprint((point(90, 20),), AIR, depth_cm=30, height_cm=20)
    wet = footprint((point(90, 20),), water, depth_cm=30, height_cm=20)
    assert wet.along_cm < dry.along_cm


def test_a_row_of_points_is_wider_along_than_across() -> None:
    row = tuple(point(90, 20, x_cm=x) for x in (-30.0, -10.0, 10.0, 30.0))
    found = footprint(row, AIR, depth_cm=20, height_cm=20)
    assert found.along_cm > found.across_cm + 20


def test_a_dark_lamp_has_no_footprint() -> None:
    dark = Emitter(x_cm=0, y_cm=0, height_cm=20, ppf_umol_s=0.0, beam_deg=90)
    with pytest.raises(ValueError):
        footprint((dark,), AIR, depth_cm=20, height_cm=20)
