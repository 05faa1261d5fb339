"""Running cost by hand-worked figures (arithmetic, no source needed)."""

import pytest

from server.dose.cost import Load, running_cost
from server.dose.day import Day, course
from server.dose.shapes import Trapezoid


def _load(**changes: float) -> Load:
    values = {"watts": 120.0, "ppf_umol_s": 250.0, "share_into_water": 0.6, **changes}
    levels = course(Trapezoid(on_h=10, lit_hours=10, ramp_hours=2).day, peak_ppfd=100)
    return Load(levels=levels, **values)


def test_a_year_of_eight_full_hours_at_120_watts() -> None:
    cost = running_cost((_load(),), price_per_kwh=0.30)
    assert cost.kwh_per_day == pytest.approx(0.96)
    assert cost.kwh_per_year == pytest.approx(0.96 * 365.25)
    assert cost.money_per_year == pytest.approx(0.96 * 365.25 * 0.30)
    assert cost.mol_per_day == pytest.approx(250 * 0.6 * 8 * 3600e-6)
    assert cost.kwh_per_mol == pytest.approx(0.96 / 4.32)
    assert cost.money_per_mol == pytest.approx(0.96 * 0.30 / 4.32)


def test_standby_flows_all_day_and_lamps_add_up() -> None:
    one = running_cost((_load(standby_watts=5),), price_per_kwh=0.2)
    two = running_cost((_load(), _load(standby_watts=5)), price_per_kwh=0.2)
    assert one.kwh_per_day == pytest.approx(0.96 + 0.12)
    assert two.kwh_per_day == pytest.approx(2 * 0.96 + 0.12)


def test_a_lamp_that_misses_the_water_has_no_price_per_mol() -> None:
    dark = Load(
        levels=course(Day(hours=(0,), levels=(0,)), peak_ppfd=100),
        watts=100,
        ppf_umol_s=200,
        share_into_water=0.5,
    )
    cost = running_cost((dark,), price_per_kwh=0.3)
    assert (cost.kwh_per_mol, cost.money_per_mol, cost.money_per_year) == (None, None, 0)
