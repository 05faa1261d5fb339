"""Before light is raised: the worse of peak and dose counts, and the room above the water caps."""

import math
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from server.account.cautions import Hanging, cautions
from server.db.abilities import ability_of
from server.db.light import lamp_of
from server.dose import acclimation
from server.dose.acclimation import NoWayUp
from server.dose.ladder import Means
from server.dose.shapes import Trapezoid
from server.dose.used_to import UsedTo, rise_over
from server.models import LampModel, Tank

KEPT = UsedTo(name="Grove", peak_ppfd=100, dli_mol_m2_d=4)


def test_the_worse_of_peak_and_dose_is_what_an_animal_has_to_bear() -> None:
    """Worked by hand: +20 % of peak with +5 % of dose, and the other way round."""
    assert rise_over(KEPT, peak_ppfd=120, dli_mol_m2_d=4.2) == pytest.approx(0.20)
    assert rise_over(KEPT, peak_ppfd=105, dli_mol_m2_d=5.2) == pytest.approx(0.30)
    assert rise_over(KEPT, peak_ppfd=50, dli_mol_m2_d=3) == pytest.approx(-0.25)


def test_light_after_none_is_never_a_small_rise() -> None:
    dark = replace(KEPT, peak_ppfd=0, dli_mol_m2_d=0)
    assert rise_over(dark, peak_ppfd=1, dli_mol_m2_d=0) == math.inf


@pytest.mark.parametrize(("hours_before", "peak_before"), [(20.0, 60.0), (5.0, 120.0)])
def test_a_way_up_is_refused_where_only_one_of_peak_and_dose_would_leap(
    hours_before: float, peak_before: float
) -> None:
    """The lamp does one level only. First the peak doubles and the dose stays, then the dose
    doubles under the same peak."""
    day = Trapezoid(on_h=9, lit_hours=10, ramp_hours=0).day
    before = UsedTo(
        name="Grove",
        peak_ppfd=peak_before,
        dli_mol_m2_d=peak_before * hours_before * 3600 / 1e6,
    )
    with pytest.raises(NoWayUp, match="Grove"):
        acclimation.plan(
            used_to=[before],
            field=lambda raised_cm, power: np.array([[120.0]]) * power,
            days=(day,),
            means=Means(least_power=0.999, power_step=0.001),
            start=date(2026, 3, 2),
            weekly=0.15,
        )


HUNG = Hanging(
    name="Flatlight", kind="led_panel", control="full", x_cm=40, y_cm=20, height_cm=25,
    power=1.0, sides_cm=(90, 45), least_height_cm=10, most_height_cm=60, headroom_cm=32,
    estimated=False, low_ppf_umol_s=180, high_ppf_umol_s=180,
)  # fmt: skip


def test_a_lamp_higher_than_the_room_is_told_and_one_below_is_not() -> None:
    assert cautions(HUNG, "cm") == ()
    assert cautions(replace(HUNG, height_cm=32), "cm") == ()
    (told,) = cautions(replace(HUNG, height_cm=41), "cm")
    assert "41" in told and "32" in told and "room above the water" in told


@pytest.mark.parametrize(("room_cm", "highest_cm"), [(32.0, 32.0), (None, 55.0), (80.0, 55.0)])
def test_a_lamp_can_be_raised_to_the_lower_of_its_papers_and_the_room(
    room_cm: float | None, highest_cm: float
) -> None:
    model = LampModel(
        name="Flatlight", kind="led_panel", beam_deg=110, watts=90, ppf_umol_s=180, side_cm=20,
        min_height_cm=12, max_height_cm=55, created_at=datetime(2026, 1, 1, tzinfo=UTC),
    )  # fmt: skip
    tank = Tank(owner_id=1, name="T", length_cm=90, width_cm=45, depth_cm=45, headroom_cm=room_cm)
    able = ability_of(lamp_of(model, []), tank)
    assert (able.lowest_cm, able.highest_cm) == (12, highest_cm)
