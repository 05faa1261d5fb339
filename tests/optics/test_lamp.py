"""A lamp model turned into emitters: nothing is lost, everything lies where it should."""

import numpy as np
import pytest

from server.optics.emitters import Emitter
from server.optics.lamp import Channel, LampModel, Layout, lamp_emitters
from server.optics.photometry import IntensityTable
from server.optics.spectrum_shapes import ready
from server.optics.tint import TINTS, absorption_bands


def panel(**changes: object) -> LampModel:
    facts: dict[str, object] = {
        "kind": "led_panel",
        "beam_deg": 90.0,
        "ppf_umol_s": 240.0,
        "layout": Layout(count_x=4, count_y=3, pitch_x_cm=10.0, pitch_y_cm=5.0),
        "channels": (
            Channel(name="blue", share=0.6, spectrum=ready("royal_blue")),
            Channel(name="white", share=0.4, spectrum=ready("white_cool")),
        ),
    }
    return LampModel(**(facts | changes))  # type: ignore[arg-type] # a bag of keywords


def hung(lamp: LampModel, **changes: object) -> tuple[Emitter, ...]:
    facts: dict[str, object] = {"x_cm": 60.0, "y_cm": 25.0, "height_cm": 30.0, "power": 1.0}
    return lamp_emitters(lamp, **(facts | changes))  # type: ignore[arg-type] # a bag of keywords


def flux(emitters: tuple[Emitter, ...]) -> float:
    return sum(emitter.ppf_umol_s for emitter in emitters)


def test_a_panel_hangs_as_its_grid_and_keeps_its_flux() -> None:
    emitters = hung(panel())
    assert len(emitters) == 12
    assert flux(emitters) == pytest.approx(240.0)
    assert {round(e.x_cm, 6) for e in emitters} == {45.0, 55.0, 65.0, 75.0}
    assert {round(e.y_cm, 6) for e in emitters} == {20.0, 25.0, 30.0}
    assert all(e.shape == "point" and e.height_cm == 30.0 for e in emitters)


def test_turning_a_lamp_lays_its_long_side_along_y() -> None:
    emitters = hung(panel(), turned=True)
    assert {round(e.y_cm, 6) for e in emitters} == {10.0, 20.0, 30.0, 40.0}
    assert {round(e.x_cm, 6) for e in emitters} == {55.0, 60.0, 65.0}


def test_power_and_levels_scale_the_flux_by_channel() -> None:
    emitters = hung(panel(), power=0.5, levels={"white": 0.25})
    assert flux(emitters) == pytest.approx(240 * 0.5 * (0.6 + 0.4 * 0.25))
    assert flux(hung(panel(), levels={"blue": 0.0, "white": 0.0})) == 0.0
    assert hung(panel(), power=0.0) == ()


def test_a_channel_with_its_own_lens_gets_emitters_of_its_own() -> None:
    channels = (
        Channel(name="spot", share=0.3, spectrum=ready("blue"), beam_deg=40.0),
        Channel(name="wide", share=0.7, spectrum=ready("white_cool")),
    )
    emitters = hung(panel(channels=channels))
    assert len(emitters) == 24
    assert flux(tuple(e for e in emitters if e.beam_deg == 40.0)) == pytest.approx(72.0)


def test_a_mixed_lamp_is_tubes_beside_leds() -> None:
    tubes = Layout(count_y=2, pitch_y_cm=20.0, tube_length_cm=85.0)
    lamp = panel(
        kind="mixed",
        channels=(
            Channel(name="LEDs", share=0.5, spectrum=ready("royal_blue")),
            Channel(name="tubes", share=0.5, spectrum=ready("tube_white"), layout=tubes),
        ),
    )
    shapes = [e.shape for e in hung(lamp, turned=True)]
    assert shapes.count("tube") == 2 and shapes.count("point") == 12
    assert all(e.along == "y" and e.length_cm == 85.0 for e in hung(lamp, turned=True)[12:])


def test_squares_carry_their_side() -> None:
    (only,) = hung(panel(kind="led_cluster", layout=Layout(side_cm=6.0)))
    assert (only.shape, only.side_cm) == ("square", 6.0)


def test_the_tint_gives_each_emitter_the_fading_of_its_own_colours() -> None:
    lamp = panel()
    emitters = hung(lamp, tint=TINTS["usual"])
    assert emitters[0].absorption == absorption_bands(lamp.spectrum(), TINTS["usual"])
    assert hung(lamp)[0].absorption is None


def test_a_measured_table_points_its_c0_across_the_lamps_length() -> None:
    theta, phi = np.linspace(0, 90, 10), np.array([0.0, 90.0, 180.0, 270.0])
    level = np.outer([3.0, 1.0, 3.0, 1.0], np.cos(np.radians(theta)).clip(0))
    table = IntensityTable(theta_deg=theta, phi_deg=phi, intensity=level)
    straight = hung(panel(intensity=table))[0].intensity
    turned = hung(panel(intensity=table), turned=True)[0].intensity
    assert straight is not None and turned is not None
    assert straight.at(40, 90) == pytest.approx(table.at(40, 0))
    assert turned.at(40, 0) == pytest.approx(table.at(40, 0))
    assert straight is hung(panel(intensity=table))[1].intensity


def test_a_lamp_without_channels_shines_as_its_kind_is_assumed_to() -> None:
    lamp = panel(channels=())
    assert flux(hung(lamp)) == pytest.approx(240.0)
    assert lamp.spectrum().third_shares[0] > 0.5


@pytest.mark.parametrize(
    "changes",
    [
        {"beam_deg": 200.0},
        {"ppf_umol_s": float("nan")},
        {"ppf_umol_s": 0.0},
        {"channels": (Channel(name="a", share=1.0, spectrum=ready("blue")),) * 2},
    ],
)
def test_a_lamp_that_cannot_be_is_refused(changes: dict[str, object]) -> None:
    with pytest.raises(ValueError):
        panel(**changes)


@pytest.mark.parametrize(
    "layout",
    [
        {"count_x": 0},
        {"count_x": 60, "count_y": 40},
        {"pitch_x_cm": -1.0},
        {"side_cm": 5.0, "tube_length_cm": 60.0},
    ],
)
def test_a_layout_that_cannot_be_is_refused(layout: dict[str, float]) -> None:
    with pytest.raises(ValueError):
        Layout(**layout)  # type: ignore[arg-type] # a bag of keywords


@pytest.mark.parametrize("changes", [{"power": 1.2}, {"power": -0.1}, {"levels": {"blue": 2.0}}])
def test_power_and_levels_outside_zero_to_one_are_refused(changes: dict[str, object]) -> None:
    with pytest.raises(ValueError):
        hung(panel(), **changes)
