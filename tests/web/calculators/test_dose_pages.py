"""The open dose calculators: the address carries the inputs, and errors stand in place."""

from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from server.web.times import NotATime, read_time, shown_hours, shown_time


def test_the_empty_calculator_shows_a_worked_example(client: TestClient) -> None:
    answer = client.get("/calculators/dose")
    assert answer.status_code == 200
    # 200 · (10 − 1) h · 0.0036
    assert "6.48 mol m⁻² d⁻¹ in 10 h of light." in answer.text
    assert "1.2–1.9 mol m⁻² d⁻¹" in answer.text


def test_an_address_gives_the_same_answer_to_a_friend(client: TestClient) -> None:
    asked = {"peak": "250,5", "on": "9", "off": "7 pm", "ramp": "0", "group": "soft"}
    answer = client.get(f"/calculators/dose?{urlencode(asked)}")
    assert "9.02 mol m⁻² d⁻¹ in 10 h of light." in answer.text
    assert 'value="250,5"' in answer.text and 'value="7 pm"' in answer.text


def test_a_day_of_ones_own_points_replaces_the_times(client: TestClient) -> None:
    asked = {
        "peak": "200",
        "points": "08:00 0, 11:30 100, 16:30 100, 20:00 0",
        "group": "clam",
        "compensation": "60",
        "saturation": "250",
    }
    answer = client.get(f"/calculators/dose?{urlencode(asked)}")
    assert "6.12 mol m⁻² d⁻¹ in 12 h of light." in answer.text
    assert "9 h 54 min" in answer.text and "Jassby" in answer.text


def test_too_much_light_can_be_told_to_hold_back(client: TestClient) -> None:
    # Ek 143.05 and best light 479.58 are the worked case β/α = 0.1; at a steady 479.58 for all
    # lit hours the rate is the best one throughout
    asked = {
        "peak": "479.579",
        "points": "08:00 0, 08:00 100, 18:00 100, 18:00 0",
        "group": "soft",
        "saturation": "143.0534",
        "best": "479.579",
    }
    answer = client.get(f"/calculators/dose?{urlencode(asked)}")
    assert "100 % (Platt, Gallegos &amp; Harrison 1980)" in answer.text


def test_a_natural_day_has_the_length_of_its_latitude(client: TestClient) -> None:
    asked = {"peak": "400", "latitude": "18", "on_date": "2026-06-21", "group": "other"}
    answer = client.get(f"/calculators/dose?{urlencode(asked)}")
    # 13.21 h: the longest day at 18°, table of day lengths (derived)
    assert "in 13 h 12 min of light." in answer.text


def test_groups_without_published_figures_say_so(client: TestClient) -> None:
    answer = client.get("/calculators/dose?peak=100&on=10&off=20&ramp=60&group=mushroom")
    assert "no published value found" in answer.text


def test_a_dose_below_the_threshold_asks_for_more_light(client: TestClient) -> None:
    answer = client.get("/calculators/dose?peak=20&on=10&off=20&ramp=60&group=soft")
    assert "Raise the peak or lengthen the day" in answer.text


def test_a_night_with_too_little_dark_is_told(client: TestClient) -> None:
    asked = {"peak": "200", "points": "08:00 2, 12:00 100, 20:00 2", "group": "soft"}
    answer = client.get(f"/calculators/dose?{urlencode(asked)}")
    assert "leave the lamp fully off for at least 8 hours" in answer.text


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"peak": "nan"}, "peak"),
        ({"peak": ""}, "peak"),
        ({"peak": "1e9"}, "peak"),
        ({"on": "25:00"}, "on"),
        ({"on": "<script>"}, "on"),
        ({"ramp": "400"}, "ramp"),
        ({"ramp": "301"}, "ramp"),
        ({"group": "shark"}, "group"),
        ({"points": "08:00"}, "points"),
        ({"points": "08:00 0, 09:00 120"}, "points"),
        ({"points": "08:00 0, 20:00 9, 07:00 9, 09:00 9"}, "points"),
        ({"latitude": "90"}, "latitude"),
        ({"latitude": "18", "on_date": "yesterday"}, "on_date"),
        ({"saturation": "-3"}, "saturation"),
        ({"best": "400"}, "best"),
        ({"best": "400", "saturation": "200"}, "best"),
    ],
)
def test_bad_input_stays_where_it_was_typed(
    client: TestClient, changes: dict[str, str], field: str
) -> None:
    asked = {"peak": "200", "on": "10:00", "off": "20:00", "ramp": "60", "group": "soft"} | changes
    answer = client.get(f"/calculators/dose?{urlencode(asked)}")
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    assert "<script>" not in answer.text


def test_back_from_a_dose_proposes_a_day_within_the_peak(client: TestClient) -> None:
    answer = client.get("/calculators/day?dli=6&peak_limit=200&from=16:00&to=22:00&ramp=60")
    assert answer.status_code == 200
    # 12 h with 1 h ramps: 6 / (11 · 0.0036)
    assert "12 h of light with a peak of 152 µmol m⁻² s⁻¹ gives 6.00 mol m⁻² d⁻¹." in answer.text
    assert "over your peak" in answer.text  # the 8-hour day needs 238


def test_back_from_a_dose_with_a_length_asked_for(client: TestClient) -> None:
    asked = "/calculators/day?dli=6&peak_limit=250&from=16:00&to=22:00&ramp=60&hours=9,5"
    answer = client.get(asked)
    assert "9 h 30 min of light with a peak of 196" in answer.text


def test_no_day_within_the_peak_says_what_would_help(client: TestClient) -> None:
    answer = client.get("/calculators/day?dli=20&peak_limit=100&from=16:00&to=22:00&ramp=0")
    assert "Allow a higher peak" in answer.text


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"dli": "0"}, "dli"), ({"peak_limit": "inf"}, "peak_limit"), ({"from": "noonish"}, "from")],
)
def test_back_from_a_dose_refuses_in_place(
    client: TestClient, changes: dict[str, str], field: str
) -> None:
    asked = {"dli": "6", "peak_limit": "250", "from": "16", "to": "22", "ramp": "60"} | changes
    answer = client.get(f"/calculators/day?{urlencode(asked)}")
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text


@pytest.mark.parametrize(
    ("typed", "hour"),
    [
        ("8", 8),
        ("08:30", 8.5),
        ("20.15", 20.25),
        ("8 pm", 20),
        ("12 am", 0),
        ("12:30 p.m.", 12.5),
        ("24:00", 0),
    ],
)
def test_times_are_read_as_people_type_them(typed: str, hour: float) -> None:
    assert read_time(typed) == hour


@pytest.mark.parametrize("typed", ["", "25", "8:60", "13 pm", "24:30", "eight", "8:3", "-1"])
def test_what_is_no_time_is_refused(typed: str) -> None:
    with pytest.raises(NotATime):
        read_time(typed)


def test_times_are_shown_as_the_reader_writes_them() -> None:
    assert (shown_time(20.5), shown_time(20.5, "12")) == ("20:30", "8:30 pm")
    assert (shown_hours(8.5), shown_hours(0.25), shown_hours(10)) == (
        "8 h 30 min",
        "15 min",
        "10 h",
    )
