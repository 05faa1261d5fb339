"""Minutes, faint light and the natural day, where one room hands them to the next."""

from datetime import date

import pytest
from fastapi.testclient import TestClient

from server.dose.day import Day, course, faint_hours
from server.dose.sun import day_length_h, natural_day


def test_the_dose_address_reads_minutes_as_sixtieths_of_an_hour(client: TestClient) -> None:
    """No time of this day lies on the hour or mirrors another, so a wrong minute shows."""
    asked = {
        "peak_ppfd": 180,
        "day": [["07:40", 0], ["10:10", 100], ["14:55", 100], ["15:45", 0]],
        "compensation_ppfd": 60,
        "saturation_ppfd": 250,
    }
    body = client.post("/api/dose", json=asked).json()
    up, full, down = 2.5, 4.75, 50 / 60  # hours: closed form of a trapezoid
    assert body["lit_hours"] == pytest.approx(up + full + down)
    assert body["full_hours"] == pytest.approx(full)
    assert body["dli_mol_m2_d"] == pytest.approx(180 * (up / 2 + full + down / 2) * 0.0036)
    assert body["feeding_hours"] == pytest.approx(full + (up + down) * (1 - 60 / 180))


@pytest.mark.parametrize(("level", "hours"), [(4.0, 3.0), (5.0, 3.0), (8.0, 0.0), (30.0, 0.0)])
def test_faint_light_ends_at_a_twentieth_of_the_peak(level: float, hours: float) -> None:
    day = Day(hours=(9, 9, 17, 17, 20, 20), levels=(0, 100, 100, level, level, 0))
    assert faint_hours(course(day, peak_ppfd=240)) == pytest.approx(hours)


def test_the_natural_day_lies_evenly_around_its_noon() -> None:
    on = date(2026, 6, 21)
    length = day_length_h(latitude_deg=-21, on=on)
    day = natural_day(latitude_deg=-21, on=on, noon_h=12.5)
    assert day.hours[0] == pytest.approx(12.5 - length / 2)
    assert day.hours[-1] == pytest.approx(12.5 + length / 2)
    assert day.hours[day.levels.index(100.0)] == pytest.approx(12.5)
