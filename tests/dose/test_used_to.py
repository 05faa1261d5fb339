"""What an animal is used to, against the closed form and a solver of differential equations."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from server.dose.used_to import (
    SETTLED_DAYS,
    TIME_CONSTANT_DAYS,
    Lived,
    UsedTo,
    followed,
    lagged,
    rise_over,
)

SHOP = UsedTo(name="Staghorn", peak_ppfd=100, dli_mol_m2_d=3)


def _lived(days: float, share: float) -> Lived:
    """So many days under a share of 200 µmol m⁻² s⁻¹ and 6 mol m⁻² d⁻¹."""
    return Lived(days=days, peak_ppfd=200 * share, dli_mol_m2_d=6 * share)


def test_one_time_constant_makes_up_sixty_three_percent() -> None:
    assert lagged(100, 200, TIME_CONSTANT_DAYS) == pytest.approx(200 - 100 / math.e)
    assert lagged(100, 200, 0) == 100


def test_three_time_constants_are_the_published_three_weeks() -> None:
    # Acropora muricata adjusts within 21 days: J Exp Biol 222:jeb195982 (abstract); taken as 3 τ
    left = (200 - lagged(100, 200, 21)) / 100
    assert left == pytest.approx(math.exp(-3)) and left < 0.05


@given(
    days=st.lists(st.floats(0.5, 19), min_size=1, max_size=6),
    shares=st.lists(st.floats(0.0, 3.0), min_size=6, max_size=6),
)
def test_any_history_agrees_with_a_solver_of_the_differential_equation(
    days: list[float], shares: list[float]
) -> None:
    # neighbours are kept apart, so that no three weeks pass under one light
    levels = [share + (1.0 if place % 2 else 4.0) for place, share in enumerate(shares)]
    lived = [_lived(length, level) for length, level in zip(days, levels, strict=False)]
    found = followed(lived, start=SHOP, start_known=True).used_to
    peak = SHOP.peak_ppfd
    for one in lived:
        solved = solve_ivp(
            lambda _, a, light=one.peak_ppfd: (light - a) / TIME_CONSTANT_DAYS,
            (0, one.days), [peak], rtol=1e-10, atol=1e-10,
        )  # fmt: skip
        peak = float(solved.y[0, -1])
    assert found.peak_ppfd == pytest.approx(peak, rel=1e-6)


@given(cut=st.floats(0.01, 0.99), days=st.floats(1, 20))
def test_cutting_a_stretch_in_two_changes_nothing(cut: float, days: float) -> None:
    whole = followed([_lived(days, 1)], start=SHOP, start_known=True)
    parts = [_lived(days * cut, 1), _lived(days * (1 - cut), 1)]
    cut_up = followed(parts, start=SHOP, start_known=True)
    assert cut_up.used_to.dli_mol_m2_d == pytest.approx(whole.used_to.dli_mol_m2_d, rel=1e-12)


@pytest.mark.parametrize("days", [21, 36, 180, 400])
def test_after_three_weeks_a_light_is_what_an_animal_is_used_to(days: int) -> None:
    for share in (0.1, 1, 13.86):  # also after a rise of 1286 %, thirteen months ago
        found = followed([_lived(days, share)], start=SHOP, start_known=False)
        assert found.basis == "settled" and found.known
        assert rise_over(found.used_to, peak_ppfd=200 * share, dli_mol_m2_d=6 * share) == 0


def test_settings_written_anew_with_the_same_light_are_one_stretch() -> None:
    lived = [_lived(9, 1), _lived(9, 1.005), _lived(4, 1)]
    assert followed(lived, start=SHOP, start_known=False).basis == "settled"


def test_before_three_weeks_it_is_on_its_way_and_rests_on_what_was_known() -> None:
    lived = [_lived(SETTLED_DAYS - 1, 1)]
    unknown = followed(lived, start=SHOP, start_known=False)
    assert unknown.basis == "assumed" and not unknown.known
    assert 100 < unknown.used_to.peak_ppfd < 200
    assert followed(lived, start=SHOP, start_known=True).basis == "followed"


def test_three_weeks_of_changes_leave_nothing_of_an_unknown_past() -> None:
    lived = [_lived(7, 1), _lived(7, 1.15), _lived(7, 1.3)]
    assert followed(lived, start=SHOP, start_known=False).basis == "followed"


def test_dark_days_are_counted_down_and_nobody_settles_into_darkness() -> None:
    # closed form: after years at 200, ten days without light leave 200 · exp(−10/7)
    after = followed([_lived(700, 1), _lived(10, 0)], start=SHOP, start_known=False)
    assert after.used_to.peak_ppfd == pytest.approx(200 * math.exp(-10 / 7))
    month = followed([_lived(700, 1), _lived(30, 0)], start=SHOP, start_known=False)
    assert month.used_to.peak_ppfd == pytest.approx(200 * math.exp(-30 / 7)) and month.known


def test_light_after_none_is_a_rise_without_end() -> None:
    dark = UsedTo(name="x", peak_ppfd=0, dli_mol_m2_d=0)
    assert rise_over(dark, peak_ppfd=1, dli_mol_m2_d=1) == math.inf
    assert rise_over(dark, peak_ppfd=0, dli_mol_m2_d=0) == 0


def test_a_steady_rise_is_followed_at_the_derived_distance() -> None:
    # closed form of the lag behind an exponential ramp: E/A → 1 + rate · τ
    days, rate = 0.01, math.log(1.15) / 7
    lived = [
        Lived(days=days, peak_ppfd=math.exp(rate * days * n), dli_mol_m2_d=1.0 + n)
        for n in range(12000)
    ]
    start = UsedTo(name="x", peak_ppfd=1, dli_mol_m2_d=1)
    peak = start.peak_ppfd
    for one in lived:
        peak = lagged(peak, one.peak_ppfd, one.days)
    assert lived[-1].peak_ppfd / peak == pytest.approx(1 + rate * TIME_CONSTANT_DAYS, rel=2e-3)
