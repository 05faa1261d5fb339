"""The shimmer model against a direct ray trace through a rippled surface."""

import numpy as np
import pytest
from scipy import special

from server.optics.emitters import Emitter
from server.optics.interface import reflectance
from server.optics.lamp import LampModel, Layout, lamp_emitters
from server.optics.photometry import cosine_power
from server.optics.shimmer import Ripple, Swing, _bessel, shimmer

N = 1.339
TARGET = (10.0, 4.0)
WINDOW = 0.35


def point(x: float = 10.0, y: float = 4.0, height: float = 25.0, beam: float = 90.0) -> Emitter:
    return Emitter(shape="point", x_cm=x, y_cm=y, height_cm=height, ppf_umol_s=50.0, beam_deg=beam)


def layout(layout: Layout, height: float = 25.0) -> tuple[Emitter, ...]:
    lamp = LampModel(kind="led_panel", beam_deg=100.0, ppf_umol_s=100.0, layout=layout)
    return lamp_emitters(lamp, x_cm=10.0, y_cm=4.0, height_cm=height, power=1.0)


def traced_contrast(
    emitters: tuple[Emitter, ...], *, depth: float, ripple: Ripple, direction_deg: float
) -> float:
    """Standard deviation over mean of the PPFD in a small window while the ripple runs by.

    Nothing shared with the model: rays are aimed at a fine grid on the mean surface, meet the true
    rippled surface, are refracted by the vector form of Snell's law at its true normal with Fresnel
    transmission at the true angle, and are counted where they land.
    """
    swing = [
        sum(_landed(e, depth, ripple, direction_deg, phase) for e in emitters)
        for phase in np.arange(8) * 2 * np.pi / 8
    ]
    return float(np.std(swing) / np.mean(swing))


def _landed(e: Emitter, depth: float, r: Ripple, direction_deg: float, phase: float) -> float:
    a, k = r.height_cm / 2, 2 * np.pi / r.length_cm
    u = np.array([np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg))])
    shrink = N * e.height_cm / (N * e.height_cm + depth)
    middle = np.array([e.x_cm, e.y_cm])
    middle = middle + (np.array(TARGET) - middle) * shrink
    half = WINDOW + depth * a * k * 0.4 + 0.35 * np.hypot(*(np.array(TARGET) - (e.x_cm, e.y_cm)))
    step = half / 110
    line = np.arange(-110, 111) * step
    gx, gy = np.meshgrid(middle[0] + line, middle[1] + line)
    way = np.stack([gx - e.x_cm, gy - e.y_cm, np.full(gx.shape, e.height_cm)], axis=-1)
    way /= np.linalg.norm(way, axis=-1, keepdims=True)
    start = np.array([e.x_cm, e.y_cm, -e.height_cm])
    t = e.height_cm / way[..., 2]
    for _ in range(6):
        along = (start[:2] + t[..., None] * way[..., :2]) @ u
        t = (e.height_cm - a * np.cos(k * along - phase)) / way[..., 2]
    at = start + t[..., None] * way
    slope = -a * k * np.sin(k * (at[..., :2] @ u) - phase)
    normal = np.stack([slope * u[0], slope * u[1], np.ones_like(slope)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    cos_in = np.sum(way * normal, axis=-1)
    down = (way + (np.sqrt(N**2 - 1 + cos_in**2) - cos_in)[..., None] * normal) / N
    end = at + ((depth - at[..., 2]) / down[..., 2])[..., None] * down
    m = cosine_power(e.beam_deg or 120.0)
    cos_out = way[..., 2]
    solid = cos_out**3 / e.height_cm**2 * step**2
    flux = e.ppf_umol_s * (m + 1) / (2 * np.pi) * cos_out**m * solid
    flux = flux * (1 - reflectance(cos_in, n_from=1.0, n_to=N))
    # A soft window (raised cosine both ways) counts grid points without edge noise.
    off = np.abs(end[..., :2] - np.array(TARGET)) / (2 * WINDOW)
    inside = np.where(off < 0.5, np.cos(np.pi * off) ** 2, 0.0).prod(axis=-1)
    return float(np.sum(flux * inside))


SMALL_PANEL = layout(Layout(count_x=3, count_y=1, pitch_x_cm=4.0))
CASES = {
    "one above": ((point(),), 30.0, 0.0),
    "one aside": ((point(x=22.0, y=-3.0),), 20.0, 50.0),
    "two high": ((point(height=60.0), point(x=14.0, height=60.0)), 45.0, 0.0),
    "a row, ripples along it": (SMALL_PANEL, 20.0, 0.0),
    "a row, ripples across it": (SMALL_PANEL, 20.0, 90.0),
    "two heights": ((point(x=4.0), point(x=13.0, y=9.0, height=40.0)), 25.0, 0.0),
}


@pytest.mark.parametrize("height_cm", [0.05, 0.3])
@pytest.mark.parametrize("case", CASES)
def test_ripples_swing_the_light_as_traced(case: str, height_cm: float) -> None:
    emitters, depth, direction = CASES[case]
    ripple = Ripple(length_cm=8.0, height_cm=height_cm)
    traced = traced_contrast(emitters, depth=depth, ripple=ripple, direction_deg=direction)
    assert swing(emitters, depth, ripple, direction).contrast == pytest.approx(traced, rel=0.03)


def swing(emitters: tuple[Emitter, ...], depth: float, ripple: Ripple, direction: float) -> Swing:
    model = shimmer(
        emitters, x_cm=TARGET[0], y_cm=TARGET[1], depth_cm=depth, ripple=ripple, directions=18
    )
    return next(s for s in model.by_direction if s.direction_deg == direction)


def test_right_under_one_emitter_a_gentle_ripple_is_the_plain_lens() -> None:
    # δE/E = a k² z (1 − 1/n) nH/(nH + z): paraxial optics of a weak cylindrical lens.
    ripple = Ripple(length_cm=20.0, height_cm=0.01)
    a, k, lens = 0.005, 2 * np.pi / 20.0, 30 * (1 - 1 / N) * N * 25 / (N * 25 + 30)
    got = swing((point(),), 30.0, ripple, 0.0).contrast
    assert got == pytest.approx(a * k**2 * lens / np.sqrt(2), rel=2e-3)


@pytest.mark.parametrize("side", [2.0, 6.0, 12.0])
def test_a_square_leaves_the_sinc_of_its_copies(side: float) -> None:
    high = Emitter(
        shape="square",
        x_cm=10.0,
        y_cm=4.0,
        height_cm=400.0,
        ppf_umol_s=50.0,
        beam_deg=120.0,
        side_cm=side,
    )
    ripple, depth = Ripple(length_cm=1.0, height_cm=0.001), 60.0
    paraxial = abs(np.sinc(side * depth / ((N * 400 + depth) * 1.0)))
    got = swing((high,), depth, ripple, 0.0).survives
    assert got == pytest.approx(paraxial, abs=0.01)


def test_a_tube_keeps_the_ripples_that_run_across_it_and_loses_those_along_it() -> None:
    tube = Emitter(
        shape="tube",
        x_cm=10.0,
        y_cm=4.0,
        height_cm=20.0,
        ppf_umol_s=50.0,
        beam_deg=120.0,
        length_cm=100.0,
    )
    ripple = Ripple(length_cm=8.0, height_cm=0.2)
    assert swing((tube,), 30.0, ripple, 90.0).survives > 0.7
    assert swing((tube,), 30.0, ripple, 0.0).survives < 0.1


def test_the_wider_the_lamp_the_less_dances() -> None:
    ripple = Ripple(length_cm=8.0, height_cm=0.2)
    left = [
        shimmer(
            layout(Layout(count_x=5, count_y=5, pitch_x_cm=pitch, pitch_y_cm=pitch)),
            x_cm=10.0,
            y_cm=4.0,
            depth_cm=25.0,
            ripple=ripple,
        ).survives
        for pitch in (0.2, 1.0, 2.0, 4.0)
    ]
    assert left == sorted(left, reverse=True)
    assert left[0] > 0.9 and left[-1] < 0.3


def test_words_follow_what_survives() -> None:
    ripple = Ripple(length_cm=8.0, height_cm=0.2)
    compact = shimmer((point(),), x_cm=10.0, y_cm=4.0, depth_cm=25.0, ripple=ripple)
    wide = shimmer(
        layout(Layout(count_x=6, count_y=6, pitch_x_cm=6.0, pitch_y_cm=6.0)),
        x_cm=10.0,
        y_cm=4.0,
        depth_cm=25.0,
        ripple=ripple,
    )
    assert (compact.word, wide.word) == ("strong", "washed out")


@pytest.mark.parametrize("order", [1, 3, 12])
def test_the_bessel_functions_are_scipys(order: int) -> None:
    x = np.linspace(0, 15, 77)
    assert np.allclose(_bessel(order, x), special.jv(order, x), atol=2e-4)


def test_a_flat_surface_does_not_dance() -> None:
    flat = Ripple(length_cm=8.0, height_cm=0.0)
    assert swing((point(),), 30.0, flat, 0.0).contrast == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    "facts",
    [
        {"length_cm": 0.0, "height_cm": 0.1},
        {"length_cm": 8.0, "height_cm": 4.0},
        {"length_cm": float("nan"), "height_cm": 0.1},
        {"length_cm": 8.0, "height_cm": -1.0},
    ],
)
def test_ripples_that_cannot_be_are_refused(facts: dict[str, float]) -> None:
    with pytest.raises(ValueError):
        Ripple(**facts)


def test_a_target_without_light_is_refused() -> None:
    dark = Emitter(x_cm=0, y_cm=0, height_cm=20, ppf_umol_s=0.0, beam_deg=90)
    with pytest.raises(ValueError):
        shimmer((dark,), x_cm=0, y_cm=0, depth_cm=20, ripple=Ripple(length_cm=8, height_cm=0.2))
