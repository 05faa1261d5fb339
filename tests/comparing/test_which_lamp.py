"""Which lamp for this tank: found by the engine, checked against the engine."""

import numpy as np
import pytest

from server.comparing.which_lamp import (
    Budget,
    Offered,
    Wanted,
    best_power,
    fittings,
    places_along,
)
from server.optics.emitters import Emitter
from server.optics.field import at_points
from server.optics.tank import Tank, Walls, Water

TANK = Tank(
    length_cm=90,
    width_cm=45,
    depth_cm=45,
    walls=Walls(left="clear", right="clear", front="clear", back="black"),
    floor_albedo=0.1,
    cover=False,
)
WATER = Water()
WANTED = [
    Wanted(x_cm=30, y_cm=22, depth_cm=15, low_ppfd=200, high_ppfd=350),
    Wanted(x_cm=60, y_cm=22, depth_cm=15, low_ppfd=200, high_ppfd=350),
    Wanted(x_cm=45, y_cm=15, depth_cm=40, low_ppfd=75, high_ppfd=150),
]


def offered(key: int = 1, *, ppf: float = 150, watts: float = 60, price: float | None = 300):
    def hang(x_cm: float, y_cm: float, height_cm: float) -> list[Emitter]:
        return [
            Emitter(
                shape="square", x_cm=x_cm, y_cm=y_cm, height_cm=height_cm,
                ppf_umol_s=ppf, beam_deg=100, side_cm=8,
            )
        ]  # fmt: skip

    return Offered(
        key=key, name=f"lamp {key}", watts=watts, price=price, ppf_umol_s=ppf,
        min_height_cm=15, max_height_cm=45, hang=hang, long_cm=15,
    )  # fmt: skip


def test_what_it_advises_is_what_the_engine_then_says() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered()], budget=Budget())
    emitters = [
        emitter
        for x, y in places_along(TANK, fit.count)
        for emitter in offered().hang(x, y, fit.height_cm)
    ]
    ppfd = fit.power * at_points(
        TANK,
        WATER,
        emitters,
        x_cm=[w.x_cm for w in WANTED],
        y_cm=[w.y_cm for w in WANTED],
        depth_cm=[w.depth_cm for w in WANTED],
    )
    inside = [w.low_ppfd <= e <= w.high_ppfd for w, e in zip(WANTED, ppfd, strict=True)]
    assert sum(inside) == fit.in_range
    assert fit.watts_at_power == pytest.approx(60 * fit.count * fit.power)


def test_a_lamp_far_too_weak_says_so() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(ppf=5)], budget=Budget())
    assert fit.in_range == 0 and "Not enough light" in fit.why_not


def test_a_lamp_far_too_strong_is_told_or_refused() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(ppf=900, watts=400)], budget=Budget())
    assert "Bigger than needed" in fit.note or "Too strong" in fit.why_not


def test_the_budget_is_kept() -> None:
    found = fittings(
        TANK, WATER, WANTED, [offered(1), offered(2, watts=200)], budget=Budget(watts=130)
    )
    assert all(60 * fit.count <= 130 for fit in found if fit.key == 1)
    assert "more than the 130 W" in next(fit for fit in found if fit.key == 2).why_not


def test_no_room_above_the_water_is_told() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered()], budget=Budget(), headroom_cm=10)
    assert "15 cm above the water" in fit.why_not


def test_those_that_can_come_first() -> None:
    found = fittings(TANK, WATER, WANTED, [offered(1, ppf=5), offered(2)], budget=Budget())
    assert found[0].in_range >= found[-1].in_range


@pytest.mark.parametrize("seed", range(20))
def test_the_best_power_beats_every_power_tried(seed: int) -> None:
    draw = np.random.default_rng(seed)
    full = draw.uniform(20, 900, 7)
    low = draw.uniform(20, 300, 7)
    high = low * draw.uniform(1.2, 3, 7)

    def inside(power: float) -> int:
        return int(((power * full >= low * (1 - 1e-6)) & (power * full <= high * (1 + 1e-6))).sum())

    best = best_power(full, low, high)
    assert 0.1 <= best <= 1
    assert inside(best) >= max(inside(p) for p in np.linspace(0.1, 1, 500))


def test_nothing_wanted_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        fittings(TANK, WATER, [], [offered()], budget=Budget())
