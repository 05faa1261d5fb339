"""The engine against published closed forms, in air where they are meant for air.

Source: tests/published/closed_form_checks.csv (generalised Lambertian point after Kahn & Barry
1997; Lambertian line, IES Lighting Handbook; disc; rectangle factors B-3 and B-4 of Howell's
catalogue; point through a flat surface, derived). Asked: 0.5 %.
"""

import json
from typing import Any

import numpy as np
import pytest

from server.optics.emitters import Emitter
from server.optics.field import at_points
from server.optics.patches import Face, Receivers, transfer
from server.optics.photometry import IntensityTable
from server.optics.tank import Tank, Walls, Water
from tests.optics.published import rows

CHECKS = rows("closed_form_checks")
BLACK = Walls(left="black", right="black", front="black", back="black")
AIR = Water(refractive_index=1.0, absorption=((1.0, 0.0),))
WIDE = Tank(length_cm=1000, width_cm=1000, depth_cm=200, walls=BLACK, floor_albedo=0.0)
MIDDLE = 500.0
WITHIN = 0.005


def of(family: str) -> list[Any]:
    return [
        pytest.param(json.loads(row["params_json"]), float(row["closed_form"]), id=row["case"])
        for row in CHECKS
        if row["family"] == family
    ]


def level(emitter: Emitter, *, x_cm: float, y_cm: float, depth_cm: float, water: Water) -> float:
    found = at_points(
        WIDE, water, [emitter], x_cm=MIDDLE + x_cm, y_cm=MIDDLE + y_cm, depth_cm=depth_cm
    )
    return float(found[0])


@pytest.mark.parametrize(("told", "expected"), of("generalised_lambertian_point"))
def test_a_point_lights_a_level_as_its_closed_form(told: dict[str, float], expected: float) -> None:
    height = 100 * told["h_m"] - 1  # a depth of 1 cm in a water that is air
    lamp = Emitter(
        x_cm=MIDDLE,
        y_cm=MIDDLE,
        height_cm=height,
        ppf_umol_s=told["total_flux_umol_s"],
        beam_deg=told["FWHM_deg"],
    )
    found = level(lamp, x_cm=100 * told["r_m"], y_cm=0, depth_cm=1, water=AIR)
    assert found == pytest.approx(expected, rel=WITHIN)


def lambertian_square(told: dict[str, float], *, height_cm: float) -> Emitter:
    """A Lambertian panel of radiance L that faces down: flux π L A, beam 120°."""
    side_m = told["x2"] - told["x1"]
    return Emitter(
        shape="square",
        x_cm=MIDDLE,
        y_cm=MIDDLE,
        height_cm=height_cm,
        ppf_umol_s=np.pi * told["L"] * side_m**2,
        beam_deg=120,
        side_cm=100 * side_m,
    )


@pytest.mark.parametrize(("told", "expected"), of("rect_panel_irradiance_piLF"))
def test_a_panel_of_squares_lights_a_level_as_its_closed_form(
    told: dict[str, float], expected: float
) -> None:
    # The published panels are rectangles of 0.6 m by 0.2 m: three squares beside each other.
    side = told["y2"] - told["y1"]
    count = round((told["x2"] - told["x1"]) / side)
    total = 0.0
    for k in range(count):
        left = told["x1"] + k * side
        lamp = lambertian_square(
            {**told, "x1": left, "x2": left + side}, height_cm=100 * told["c"] - 1
        )
        total += level(
            lamp,
            x_cm=-100 * (left + side / 2),
            y_cm=-100 * (told["y1"] + side / 2),
            depth_cm=1,
            water=AIR,
        )
    assert total == pytest.approx(expected, rel=WITHIN)


@pytest.mark.parametrize(
    ("told", "expected"), of("lambertian_disc_on_axis") + of("lambertian_disc_off_axis_parallel")
)
def test_a_disc_made_of_small_squares_lights_a_level_as_its_closed_form(
    told: dict[str, float], expected: float
) -> None:
    radius = 100 * told["R_m"]
    steps = 24
    side = 2 * radius / steps
    centres = (np.arange(steps) + 0.5) * side - radius
    x, y = (v.ravel() for v in np.meshgrid(centres, centres))
    inside = x**2 + y**2 <= radius**2
    flux = np.pi * told["L"] * np.pi * told["R_m"] ** 2 / inside.sum()
    lamps = [
        Emitter(
            shape="square",
            x_cm=MIDDLE + a,
            y_cm=MIDDLE + b,
            height_cm=100 * told["h_m"] - 1,
            ppf_umol_s=flux,
            beam_deg=120,
            side_cm=side,
        )
        for a, b in zip(x[inside], y[inside], strict=True)
    ]
    at = MIDDLE + 100 * told.get("x_m", 0.0)
    found = at_points(WIDE, AIR, lamps, x_cm=at, y_cm=MIDDLE, depth_cm=1.0)
    # The staircase rim of the squares, not the engine, is what is off by up to half a percent.
    assert found[0] == pytest.approx(expected, rel=WITHIN)


def tube_pattern() -> IntensityTable:
    """A thin diffuse tube along x shines with the sine of the angle to its axis, all round."""
    theta, phi = np.linspace(0, 180, 181), np.arange(0, 360, 2.0)
    along = np.sin(np.radians(theta))[None, :] * np.cos(np.radians(phi))[:, None]
    return IntensityTable(
        theta_deg=theta, phi_deg=phi, intensity=np.sqrt(np.maximum(1 - along**2, 0))
    )


@pytest.mark.parametrize(("told", "expected"), of("lambertian_line_parallel_plane"))
def test_a_diffuse_tube_lights_a_level_as_its_closed_form(
    told: dict[str, float], expected: float
) -> None:
    length = told["x2_m"] - told["x1_m"]
    lamp = Emitter(
        shape="tube",
        x_cm=MIDDLE,
        y_cm=MIDDLE,
        height_cm=100 * told["h_m"] - 1,
        ppf_umol_s=told["flux_per_m"] * length,
        length_cm=100 * length,
        intensity=tube_pattern(),
    )
    found = level(
        lamp,
        x_cm=-100 * (told["x1_m"] + told["x2_m"]) / 2,
        y_cm=100 * told["y_m"],
        depth_cm=1,
        water=AIR,
    )
    assert found == pytest.approx(expected, rel=WITHIN)


@pytest.mark.parametrize(("told", "expected"), of("point_through_flat_interface_n1.34"))
def test_a_point_shines_through_the_surface_as_the_exact_ray_relation(
    told: dict[str, float], expected: float
) -> None:
    lamp = Emitter(
        x_cm=MIDDLE,
        y_cm=MIDDLE,
        height_cm=100 * told["H_air_m"],
        ppf_umol_s=told["total_flux"],
        beam_deg=told["FWHM_deg"],
    )
    water = Water(refractive_index=1.34, absorption=((1.0, 0.0),))
    found = level(
        lamp, x_cm=100 * told["r_m"], y_cm=0, depth_cm=100 * told["z_water_m"], water=water
    )
    assert found == pytest.approx(expected, rel=WITHIN)


def one_piece(axis: int, at: float, extent: tuple[float, float]) -> Face:
    return Face(
        axis=axis,
        at_cm=at,
        inward=1,
        albedo=1.0,
        nodes=(np.array([0.0, extent[0]]), np.array([0.0, extent[1]])),
    )


@pytest.mark.parametrize(("told", "expected"), of("rect_corner_to_parallel_element_B3"))
def test_scattered_light_between_parallel_faces_has_the_published_factor(
    told: dict[str, float], expected: float
) -> None:
    # One rectangle a by b at the distance c over a small face under its corner.
    face = one_piece(2, 0.0, (100 * told["a"], 100 * told["b"]))
    sensor = Receivers(points=np.array([[0.0, 0.0, 100 * told["c"]]]), axis=2, looks=-1)
    found = transfer(WIDE, 1.0, (0.0,), receivers=sensor, face=face)
    assert found[0, 0, 0] == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(("told", "expected"), of("rect_corner_to_perpendicular_element"))
def test_scattered_light_between_perpendicular_faces_has_the_published_factor(
    told: dict[str, float], expected: float
) -> None:
    # A wall of width W and height H at the distance S from a small face that looks along it.
    face = one_piece(0, 0.0, (100 * told["W"], 100 * told["H"]))
    depth = 100 * told["H"]
    sensor = Receivers(points=np.array([[100 * told["S"], 0.0, depth]]), axis=2, looks=-1)
    found = transfer(WIDE, 1.0, (0.0,), receivers=sensor, face=face)
    assert found[0, 0, 0] == pytest.approx(expected, rel=1e-4)
