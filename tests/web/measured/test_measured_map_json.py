"""POST /api/measured-map as a script calls it."""

import copy
import json
import time
from typing import Any

import pytest
from fastapi.testclient import TestClient

ASKED: dict[str, Any] = {
    "tank": {
        "length_cm": 120,
        "width_cm": 50,
        "depth_cm": 55,
        "walls": {"left": "clear", "right": "clear", "front": "clear", "back": "black"},
        "floor_albedo": 0.1,
        "cover": False,
    },
    "water": {"refractive_index": 1.339, "absorption_per_m": 0.1},
    "emitters": [
        {
            "shape": "point",
            "x_cm": 60,
            "y_cm": 25,
            "height_cm": 25,
            "ppf_umol_s": 150,
            "beam_deg": 90,
        },
        {
            "shape": "tube",
            "x_cm": 60,
            "y_cm": 20,
            "height_cm": 12,
            "ppf_umol_s": 60,
            "beam_deg": 120,
            "length_cm": 110,
        },
    ],
    "readings": [],
    "at": [{"x_cm": 60, "y_cm": 25, "depth_cm": 30}, {"x_cm": 5, "y_cm": 45, "depth_cm": 50}],
}
ANIMAL = {
    "name": "Plate", "x_cm": 60, "y_cm": 25, "depth_cm": 30, "low_ppfd": 100, "high_ppfd": 200
}  # fmt: skip
PLACES = [(20, 10, 10), (60, 25, 20), (100, 40, 30), (30, 40, 45), (90, 10, 45), (60, 45, 10)]


def asked(**changed: Any) -> dict[str, Any]:
    return copy.deepcopy(ASKED) | changed


def with_readings(client: TestClient, factor: float) -> dict[str, Any]:
    """Readings that are all the same factor off the plan."""
    places = [{"x_cm": x, "y_cm": y, "depth_cm": d} for x, y, d in PLACES]
    planned = client.post("/api/measured-map", json=asked(at=places)).json()["at"]
    readings = [
        p | {"ppfd": factor * told["ppfd"]} for p, told in zip(places, planned, strict=True)
    ]
    return asked(readings=readings)


def test_without_readings_it_answers_from_the_plan_with_a_wide_interval(
    client: TestClient,
) -> None:
    answer = client.post("/api/measured-map", json=asked())
    assert answer.status_code == 200
    told = answer.json()
    for one in told["at"]:
        assert one["low"] < 0.75 * one["ppfd"] and one["high"] > 1.3 * one["ppfd"]
    assert told["fit"]["typical_error_percent"] is None
    assert 0.9 < told["fit"]["output_factor"] < 1.1
    assert {"x_cm", "y_cm", "depth_cm", "why"} <= told["next_reading"].keys()
    assert told["next_reading"]["worth_it"] is True


def test_readings_correct_the_plan_and_narrow_the_interval(client: TestClient) -> None:
    before = client.post("/api/measured-map", json=asked()).json()
    after = client.post("/api/measured-map", json=with_readings(client, 0.7)).json()
    for was, now in zip(before["at"], after["at"], strict=True):
        assert now["ppfd"] / was["ppfd"] == pytest.approx(0.7, abs=0.06)
        assert now["low"] < now["ppfd"] < now["high"]
        assert now["high"] - now["low"] < 0.4 * (was["high"] - was["low"])
    fit = after["fit"]
    low, high = fit["output_factor_interval"]
    assert low <= fit["output_factor"] <= high < 1
    assert fit["beam_deg_interval"][0] <= fit["beam_deg"] <= fit["beam_deg_interval"][1]
    assert fit["absorption_per_m_interval"][0] >= 0
    assert fit["typical_error_percent"] < 8
    assert any("lower than planned" in words for words in fit["explanation"])


def test_a_wild_reading_is_named_by_its_number(client: TestClient) -> None:
    body = with_readings(client, 1.0)
    body["readings"][2]["ppfd"] = 0
    told = client.post("/api/measured-map", json=body).json()
    assert [one["reading"] for one in told["misfits"]] == [2]
    assert "covered" in told["misfits"][0]["words"]


# The meter, the animals, the lamps by name, and what is found


def test_a_meter_in_doubt_widens_what_is_absolute(client: TestClient) -> None:
    body = with_readings(client, 0.9)
    sure = client.post("/api/measured-map", json=body).json()["at"]
    body["meter"] = {"factor_uncertainty": 0.08}
    unsure = client.post("/api/measured-map", json=body).json()["at"]
    for one, other in zip(sure, unsure, strict=True):
        assert other["high"] / other["low"] > 1.1 * one["high"] / one["low"]
        assert other["high"] / other["low"] > 1.2  # 80 % of ±8 % is ±10 %


def test_animals_get_a_verdict_with_its_chances(client: TestClient) -> None:
    body = with_readings(client, 1.0)
    light = client.post("/api/measured-map", json=body).json()["at"][0]["ppfd"]
    place = {"x_cm": 60, "y_cm": 25, "depth_cm": 30}
    ranges = {"in_range": (0.5, 2.0), "too_dim": (2.0, 3.0), "too_bright": (0.2, 0.5)}
    ranges["not_known"] = (1.0, 2.0)
    body["animals"] = [
        {"name": name, **place, "low_ppfd": low * light, "high_ppfd": high * light}
        for name, (low, high) in ranges.items()
    ]
    told = client.post("/api/measured-map", json=body).json()["animals"]
    assert [one["verdict"] for one in told] == list(ranges)
    for one in told:
        assert sum(one["chances"].values()) == pytest.approx(1.0)
        assert one["low"] < one["ppfd"] < one["high"]


def two_lamps(client: TestClient, *, second: float) -> dict[str, Any]:
    """Two lamps of one kind, read as if the second gave this share of its light."""
    lamp = {"shape": "square", "y_cm": 25, "height_cm": 25, "ppf_umol_s": 120, "beam_deg": 90}
    lamps = [lamp | {"x_cm": x, "side_cm": 10, "lamp": name} for x, name in ((30, "A"), (90, "B"))]
    real = [lamps[0], lamps[1] | {"ppf_umol_s": 120 * second}]
    spots = [(x, y, d) for x in (10, 45, 75, 110) for y in (8, 42) for d in (10, 40)]
    places = [{"x_cm": x, "y_cm": y, "depth_cm": d} for x, y, d in spots]
    light = client.post("/api/measured-map", json=asked(emitters=real, at=places)).json()["at"]
    readings = [p | {"ppfd": one["ppfd"]} for p, one in zip(places, light, strict=True)]
    return asked(emitters=lamps, readings=readings)


def test_a_lamp_that_is_out_is_named_by_its_label(client: TestClient) -> None:
    told = client.post("/api/measured-map", json=two_lamps(client, second=0.0)).json()["findings"]
    assert [(one["kind"], one["lamp"]) for one in told] == [("lamp", "B")]
    assert told[0]["chance"] > 0.9 and "out" in told[0]["words"] and "plug" in told[0]["words"]
    assert "wall" not in told[0] and "reading" not in told[0]


def test_nothing_is_found_where_nothing_is_wrong(client: TestClient) -> None:
    body = two_lamps(client, second=1.0)
    assert client.post("/api/measured-map", json=body).json()["findings"] == []


def test_emitters_of_one_label_are_one_lamp(client: TestClient) -> None:
    body = two_lamps(client, second=0.0)
    for one in body["emitters"]:
        one["lamp"] = "A"
    told = client.post("/api/measured-map", json=body).json()["findings"]
    assert all(one["kind"] != "lamp" or one["lamp"] == "A" for one in told)


def test_a_slipped_digit_is_named_with_the_number_of_its_reading(client: TestClient) -> None:
    body = two_lamps(client, second=1.0)
    body["readings"][5]["ppfd"] *= 10
    (told,) = client.post("/api/measured-map", json=body).json()["findings"]
    assert (told["kind"], told["reading"]) == ("reading", 5)


def test_no_places_asked_is_allowed(client: TestClient) -> None:
    told = client.post("/api/measured-map", json=asked(at=[])).json()
    assert told["at"] == [] and "the whole tank" in told["next_reading"]["why"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"readings": [{"x_cm": 1, "y_cm": 1, "depth_cm": 1}]}, "readings.0.ppfd"),
        (
            {"readings": [{"x_cm": 500, "y_cm": 1, "depth_cm": 1, "ppfd": 9}]},
            "readings.0.x_cm",
        ),
        ({"readings": [{"x_cm": 1, "y_cm": 1, "depth_cm": 1, "ppfd": -1}]}, "readings.0.ppfd"),
        ({"at": [{"x_cm": 1, "y_cm": 1, "depth_cm": 56}]}, "at.0.depth_cm"),
        ({"at": "everywhere"}, "at"),
        ({"emitters": []}, "emitters"),
        ({"colour": "blue"}, "colour"),
        ({"meter": {"factor_uncertainty": -0.1}}, "meter.factor_uncertainty"),
        ({"meter": {"factor_uncertainty": 3}}, "meter.factor_uncertainty"),
        ({"meter": {"factor": 0.1}}, "meter.factor"),
        ({"animals": [{**ANIMAL, "depth_cm": 56}]}, "animals.0.depth_cm"),
        ({"animals": [{**ANIMAL, "low_ppfd": -1}]}, "animals.0.low_ppfd"),
        ({"animals": [{**ANIMAL, "name": ""}]}, "animals.0.name"),
        ({"animals": [{**ANIMAL, "low_ppfd": 300}]}, "animals.0.high_ppfd"),
        ({"animals": [ANIMAL] * 61}, "animals"),
        ({"emitters": [{**ASKED["emitters"][0], "lamp": 7}]}, "emitters.0.lamp"),
        ({"water": {"refractive_index": 1.34, "absorption_per_m": [[0.5, 0.1]]}}, "water"),
        ({"tank": {**ASKED["tank"], "cover": "maybe"}}, "tank.cover"),
        ({"tank": {**ASKED["tank"], "length_cm": 0}}, "tank.length_cm"),
    ],
)
def test_what_cannot_be_taken_is_named(
    client: TestClient, change: dict[str, Any], field: str
) -> None:
    answer = client.post("/api/measured-map", json=asked(**change))
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert field in [error["field"] for error in answer.json()["errors"]]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999", "true", '"5"', "null", "[]"])
def test_numbers_that_are_none_are_refused_in_their_place(client: TestClient, number: str) -> None:
    body = json.dumps(ASKED).replace('"length_cm": 120', f'"length_cm": {number}', 1)
    headers = {"content-type": "application/json"}
    answer = client.post("/api/measured-map", content=body, headers=headers)
    assert answer.status_code == 422
    assert "tank.length_cm" in [error["field"] for error in answer.json()["errors"]]


def test_lamps_that_give_no_light_are_refused_with_a_reason(client: TestClient) -> None:
    dark = [{**one, "ppf_umol_s": 0} for one in ASKED["emitters"]]
    answer = client.post("/api/measured-map", json=asked(emitters=dark))
    assert answer.status_code == 422
    assert "give light" in answer.json()["errors"][0]["message"]


def test_thirty_readings_and_two_hundred_places_come_within_three_tenths_of_a_second(
    client: TestClient,
) -> None:
    """Time on one core, the tank asked about once before (its tables are then remembered)."""
    body = with_readings(client, 0.9)
    body["readings"] = [
        {"x_cm": 4 * n, "y_cm": 5 + n, "depth_cm": 5 + n, "ppfd": 100 + n} for n in range(1, 31)
    ]
    body["at"] = [{"x_cm": 0.6 * n, "y_cm": 0.25 * n, "depth_cm": 0.25 * n} for n in range(1, 201)]
    client.post("/api/measured-map", json=body)
    start = time.process_time()
    answer = client.post("/api/measured-map", json=body)
    assert time.process_time() - start < 0.3
    assert len(answer.json()["at"]) == 200


def test_what_would_keep_the_machine_busy_for_long_is_refused_before_it_is_begun(
    client: TestClient,
) -> None:
    """A sliver of a tank between mirrors, with lamps that have to be cut very small."""
    slit = {**ASKED["tank"], "length_cm": 1, "width_cm": 2, "depth_cm": 500}
    slit["walls"] = dict.fromkeys(("left", "right", "front", "back"), "clear")
    lamp = {
        "shape": "square",
        "x_cm": 0.5,
        "y_cm": 1,
        "height_cm": 0.1,
        "ppf_umol_s": 100,
        "beam_deg": 30,
        "side_cm": 100,
    }
    at = [{"x_cm": 0.5, "y_cm": 1, "depth_cm": 5}]
    body = asked(tank=slit, emitters=[lamp] * 40, at=at)
    start = time.process_time()
    answer = client.post("/api/measured-map", json=body)
    assert answer.status_code == 422
    assert "too long" in answer.json()["errors"][0]["message"]
    assert time.process_time() - start < 1


@pytest.mark.parametrize("beam_deg", [2, 5, 177, 178])
def test_beams_at_the_ends_of_their_range_get_a_map(client: TestClient, beam_deg: float) -> None:
    asked = copy.deepcopy(ASKED)
    for emitter in asked["emitters"]:
        emitter["beam_deg"] = beam_deg
    assert client.post("/api/measured-map", json=asked).status_code == 200
