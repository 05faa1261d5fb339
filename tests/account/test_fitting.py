"""Which lamp for this tank: found by the engine, checked against the engine and a ruler."""

from itertools import pairwise

import pytest

from server.account.ability import Ability, Dims
from server.account.fitting import Budget, Offered, fittings
from server.optics.emitters import Emitter
from server.optics.field import at_points
from server.optics.tank import Tank, Walls, Water
from server.surveys.plan import Animal

TANK = Tank(
    length_cm=90,
    width_cm=45,
    depth_cm=45,
    walls=Walls(left="clear", right="clear", front="clear", back="black"),
    floor_albedo=0.1,
    cover=False,
)
WATER = Water()


def wants(x: float, y: float, depth: float, low: float, high: float) -> Animal:
    return Animal(name="one", x_cm=x, y_cm=y, depth_cm=depth, low_ppfd=low, high_ppfd=high)


WANTED = [wants(30, 22, 15, 200, 350), wants(60, 22, 15, 200, 350), wants(45, 15, 40, 75, 150)]


def offered(
    key: int = 1,
    *,
    ppf: float = 150,
    watts: float = 60,
    long_cm: float = 15,
    dims: Dims = "smooth",
    highest_cm: float = 45,
) -> Offered:
    def hang(x_cm: float, y_cm: float, height_cm: float) -> list[Emitter]:
        return [
            Emitter(
                shape="tube", x_cm=x_cm, y_cm=y_cm, height_cm=height_cm,
                ppf_umol_s=ppf, beam_deg=100, length_cm=long_cm,
            )
        ]  # fmt: skip

    can = Ability(
        name=f"lamp {key}", dims=dims, size_cm=(long_cm, 12), lowest_cm=15, highest_cm=highest_cm
    )
    return Offered(key=key, watts=watts, price=300, ppf_umol_s=ppf, ability=can, hang=hang)


def test_what_it_advises_is_what_the_engine_then_says() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered()], budget=Budget())
    emitters = [e for x, y in fit.places for e in offered().hang(x, y, fit.height_cm)]
    ppfd = fit.power * at_points(
        TANK,
        WATER,
        emitters,
        x_cm=[w.x_cm for w in WANTED],
        y_cm=[w.y_cm for w in WANTED],
        depth_cm=[w.depth_cm for w in WANTED],
    )
    assert [one.ppfd for one in fit.animals] == pytest.approx(ppfd, rel=0.12)
    assert fit.watts_at_power == pytest.approx(60 * fit.count * fit.power)


def test_a_lamp_far_too_weak_says_so() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(ppf=5)], budget=Budget())
    assert "Not enough light" in fit.why_not


def test_a_lamp_far_too_strong_is_told_or_refused() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(ppf=900, watts=400)], budget=Budget())
    assert "Bigger than needed" in fit.note or "Too strong" in fit.why_not


def test_a_lamp_that_does_not_dim_stays_at_full_and_cannot_where_that_is_too_much() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(ppf=900, dims="no")], budget=Budget())
    assert fit.power == 1.0 and "does not dim" in fit.why_not


def test_two_long_lamps_never_lie_over_each_other_or_the_rim() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(ppf=60, long_cm=83)], budget=Budget())
    for x, y in fit.places:
        assert 41 <= x <= 49 and 6 <= y <= 39
    rows = sorted(y for _, y in fit.places)
    assert all(b - a >= 12 for a, b in pairwise(rows))


def test_a_lamp_longer_than_the_glass_is_refused() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(long_cm=120)], budget=Budget())
    assert "longer than the glass" in fit.why_not and fit.places == ()


def test_one_lamp_is_not_enough_where_the_ends_stay_dark() -> None:
    """145 cm over 240: the animal in the middle has its light, the ends have none to speak of."""
    long = Tank(
        length_cm=240,
        width_cm=60,
        depth_cm=60,
        walls=Walls(left="black", right="black", front="black", back="black"),
        floor_albedo=0.0,
        cover=False,
    )
    middle = [wants(120, 30, 20, 100, 300)]
    lamp = offered(ppf=260, long_cm=145, highest_cm=20)
    (fit,) = fittings(long, WATER, middle, [lamp], budget=Budget())
    assert fit.count == 1 and "ends of the tank stay dark" in fit.why_not


def test_the_budget_is_kept() -> None:
    found = fittings(
        TANK, WATER, WANTED, [offered(1), offered(2, watts=200)], budget=Budget(watts=130)
    )
    assert all(60 * fit.count <= 130 for fit in found if fit.key == 1)
    assert "more than the 130 W" in next(fit for fit in found if fit.key == 2).why_not


def test_no_room_above_the_water_is_told() -> None:
    (fit,) = fittings(TANK, WATER, WANTED, [offered(highest_cm=10)], budget=Budget())
    assert "15 cm above the water" in fit.why_not


def test_those_that_can_come_first() -> None:
    found = fittings(TANK, WATER, WANTED, [offered(1, ppf=5), offered(2)], budget=Budget())
    assert found[0].expected >= found[-1].expected


def test_nothing_wanted_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        fittings(TANK, WATER, [], [offered()], budget=Budget())
