"""Day length against pvlib's solar position (an independent computation) and a table."""

import csv
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from pvlib import solarposition

from server.dose.day import course, dli, lit_hours
from server.dose.sun import day_length_h, natural_day

TABLE = Path(__file__).parents[1] / "published" / "daylength_by_latitude.csv"


@pytest.mark.parametrize("latitude", [-45.0, -21.4, 0.0, 10.0, 23.44, 35.0, 52.0])
def test_day_length_agrees_with_pvlib_within_a_minute(latitude: float) -> None:
    # pvlib: NREL solar position algorithm; sunrise and sunset of the sun's centre at −0.8333°
    days = [date(2026, 1, 5) + timedelta(days=24 * n) for n in range(15)]
    times = pd.DatetimeIndex([pd.Timestamp(day).tz_localize("UTC") for day in days])
    found = solarposition.sun_rise_set_transit_spa(times, latitude, 0.0)
    for day, rise, fall in zip(days, found["sunrise"], found["sunset"], strict=True):
        reference = (fall - rise).total_seconds() / 3600
        assert day_length_h(latitude_deg=latitude, on=day) == pytest.approx(reference, abs=1 / 60)


def test_shortest_and_longest_days_are_those_of_the_table() -> None:
    lines = [line for line in TABLE.read_text("utf-8").splitlines() if line[0] != "#"]
    rows = list(csv.DictReader(lines))
    assert len(rows) == 9
    year = [date(2026, 1, 1) + timedelta(days=n) for n in range(365)]
    for row in rows:
        lengths = [
            day_length_h(latitude_deg=float(row["abs_latitude_deg"]), on=day) for day in year
        ]
        assert min(lengths) == pytest.approx(float(row["shortest_day_h"]), abs=0.02)
        assert max(lengths) == pytest.approx(float(row["longest_day_h"]), abs=0.02)


def test_polar_day_and_night_do_not_break_it() -> None:
    assert day_length_h(latitude_deg=85, on=date(2026, 6, 21)) == 24
    assert day_length_h(latitude_deg=85, on=date(2026, 12, 21)) == 0


def test_the_natural_day_is_nearly_a_half_sine() -> None:
    day = natural_day(latitude_deg=18, on=date(2026, 3, 20))
    one = course(day, peak_ppfd=400)
    length = day_length_h(latitude_deg=18, on=date(2026, 3, 20))
    assert lit_hours(one) == pytest.approx(length)
    # 2/π of a square day, less the 0.6 % that twelve straight lines cut off
    assert dli(one) == pytest.approx(0.63662 * 400 * length * 0.0036 * 0.9943, rel=5e-4)
