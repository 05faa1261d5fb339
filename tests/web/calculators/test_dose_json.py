"""POST /api/dose as the contract says, and what it refuses."""

import json
import math
from typing import Any

import pytest
from fastapi.testclient import TestClient

CONTRACT = {
    "peak_ppfd": 200,
    "day": [["08:00", 0], ["11:30", 100], ["16:30", 100], ["20:00", 0]],
    "compensation_ppfd": 60,
    "saturation_ppfd": 250,
}


def _asked(**changes: Any) -> dict[str, Any]:
    return {**CONTRACT, **changes}


def test_the_contracts_day_gives_6_12_mol_and_its_hours(client: TestClient) -> None:
    # closed form: 200 · (5 + 3.5) · 0.0036; feeding 12 − 2 · 3.5 · 60/200
    answer = client.post("/api/dose", json=CONTRACT)
    assert answer.status_code == 200
    body = answer.json()
    assert set(body) == {
        "dli_mol_m2_d",
        "lit_hours",
        "full_hours",
        "feeding_hours",
        "saturated_hours",
        "saturation_share",
    }
    assert body["dli_mol_m2_d"] == pytest.approx(6.12)
    assert (body["lit_hours"], body["full_hours"]) == (12, 5)
    assert body["feeding_hours"] == pytest.approx(9.9)
    assert body["saturated_hours"] == 0
    ramp = 3.5 * math.log(math.cosh(0.8)) / 0.8
    assert body["saturation_share"] == pytest.approx((2 * ramp + 5 * math.tanh(0.8)) / 12)


def test_a_night_of_light_runs_through_midnight(client: TestClient) -> None:
    asked = _asked(day=[["20:00", 0], ["23:30", 100], ["04:30", 100], ["08:00", 0]])
    assert client.post("/api/dose", json=asked).json()["dli_mol_m2_d"] == pytest.approx(6.12)


def test_two_points_at_one_time_are_a_switch(client: TestClient) -> None:
    asked = _asked(day=[["09:00", 0], ["09:00", 100], ["19:00", 100], ["19:00", 0]])
    body = client.post("/api/dose", json=asked).json()
    assert body["dli_mol_m2_d"] == pytest.approx(7.2)
    assert (body["lit_hours"], body["full_hours"]) == (10, 10)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"peak_ppfd": None}, "peak_ppfd"),
        ({"peak_ppfd": "200"}, "peak_ppfd"),
        ({"peak_ppfd": True}, "peak_ppfd"),
        ({"peak_ppfd": -1}, "peak_ppfd"),
        ({"peak_ppfd": 1e9}, "peak_ppfd"),
        ({"saturation_ppfd": 0}, "saturation_ppfd"),
        ({"compensation_ppfd": -5}, "compensation_ppfd"),
        ({"day": []}, "day"),
        ({"day": "08:00"}, "day"),
        ({"day": [["8:00", 0]]}, "day.0.0"),
        ({"day": [["24:00", 0]]}, "day.0.0"),
        ({"day": [[800, 0]]}, "day.0.0"),
        ({"day": [["08:00"]]}, "day.0.1"),
        ({"day": [["08:00", 0], ["09:00", 101]]}, "day.1"),
        ({"day": [["08:00", 0], ["20:00", 5], ["07:00", 5], ["09:00", 5]]}, "day.3"),
        ({"day": [["08:00", 0], ["08:00", 5], ["08:00", 9]]}, "day.2"),
        ({"day": [["08:00", 0]] * 97}, "day"),
        ({"colour": "blue"}, "colour"),
    ],
)
def test_what_cannot_be_is_refused_by_field(
    client: TestClient, changes: dict[str, Any], field: str
) -> None:
    answer = client.post("/api/dose", json=_asked(**changes))
    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("application/problem+json")
    errors = answer.json()["errors"]
    assert field in [error["field"] for error in errors]
    assert all(error["message"] for error in errors)


@pytest.mark.parametrize("missing", list(CONTRACT))
def test_a_missing_field_is_named(client: TestClient, missing: str) -> None:
    asked = {name: value for name, value in CONTRACT.items() if name != missing}
    answer = client.post("/api/dose", json=asked)
    assert answer.status_code == 422
    assert [error["field"] for error in answer.json()["errors"]] == [missing]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_none_are_refused(client: TestClient, number: str) -> None:
    body = json.dumps(CONTRACT).replace('"peak_ppfd": 200', f'"peak_ppfd": {number}')
    answer = client.post("/api/dose", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert [error["field"] for error in answer.json()["errors"]] == ["peak_ppfd"]


def test_a_body_that_is_no_json_is_refused(client: TestClient) -> None:
    answer = client.post(
        "/api/dose", content=b"\xff\x00{", headers={"content-type": "application/json"}
    )
    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("application/problem+json")


def test_a_saturation_next_to_nothing_is_refused(client: TestClient) -> None:
    assert client.post("/api/dose", json=_asked(saturation_ppfd=1e-320)).status_code == 422
