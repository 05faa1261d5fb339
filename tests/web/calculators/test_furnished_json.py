"""Rocks, braces, film, lid, leaning lamps and intensity tables in the JSON of the light."""

import copy
import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.optics.scenes import FURNISHED, FURNISHED_NAMES, furnished
from tests.web.calculators.test_spread_json import REQUEST, changed, mounting, send

ROCK = {"left_cm": 18, "right_cm": 48, "front_cm": 14, "back_cm": 40, "top_cm": 20, "bottom_cm": 50}
BRACE = {"left_cm": 54, "right_cm": 66, "front_cm": 0, "back_cm": 50}
TABLE = [[0, 0.36], [45, 0.82], [55, 1], [76, 0]]


def with_everything(request: dict[str, Any]) -> dict[str, Any]:
    full = copy.deepcopy(request)
    full["tank"] |= {
        "rocks": [{**ROCK, "albedo": 0.3}, {**ROCK, "left_cm": 70, "right_cm": 90}],
        "braces": [BRACE],
        "film": {"left": 0.8, "back": 0.5},
        "lid": 0.85,
    }
    full["emitters"][0] |= {"intensity": TABLE, "tilt_deg": 20, "toward_deg": 45}
    full["emitters"][1] |= {"tilt_deg": 5, "toward_deg": 90}
    full["emitters"][2] |= {"tilt_deg": 30, "toward_deg": -120}
    return full


FULL = with_everything(REQUEST)


@pytest.mark.parametrize("name", [n for n in FURNISHED_NAMES if "rocks" not in n])
def test_a_published_request_gives_the_published_light(client: TestClient, name: str) -> None:
    case = furnished(name)
    request = json.loads((FURNISHED / f"{name}.json").read_text(encoding="utf-8"))["request"]
    answer = send(client, "/api/spread", request)
    assert answer.status_code == 200
    told = answer.json()
    assert told["share_into_water"] == pytest.approx(case.share_into_water, rel=1e-3)
    for plane, mean in zip(told["planes"], case.means, strict=True):
        assert plane["mean"] == pytest.approx(mean, rel=0.02)


def test_cells_in_a_rock_are_null_and_left_out(client: TestClient) -> None:
    answer = send(client, "/api/spread", FULL)
    assert answer.status_code == 200
    top, middle, bottom = answer.json()["planes"]
    assert all(value is not None for row in top["ppfd"] for value in row)
    assert sum(value is None for row in bottom["ppfd"] for value in row) == 0
    null = {(i, j) for j, row in enumerate(middle["ppfd"]) for i, v in enumerate(row) if v is None}
    expected = {
        (i, j)
        for i, x in enumerate(middle["x_cm"])
        for j, y in enumerate(middle["y_cm"])
        if (18 <= x <= 48 or 70 <= x <= 90) and 14 <= y <= 40
    }
    assert null == expected
    kept = [value for row in middle["ppfd"] for value in row if value is not None]
    assert middle["mean"] == pytest.approx(sum(kept) / len(kept))
    assert middle["min"] == min(kept)
    assert middle["max"] == max(kept)


def test_a_plane_wholly_in_rock_has_no_light_and_no_fault(client: TestClient) -> None:
    whole = {"left_cm": 0, "right_cm": 120, "front_cm": 0, "back_cm": 50, "top_cm": 20}
    answer = send(client, "/api/spread", changed(FULL, "tank.rocks", [whole]))
    assert answer.status_code == 200
    bottom = answer.json()["planes"][2]
    assert {value for row in bottom["ppfd"] for value in row} == {None}
    assert (bottom["mean"], bottom["uniformity"]) == (0, 0)


def test_mounting_takes_the_same_tank(client: TestClient) -> None:
    request = mounting() | {"cell_cm": 8, "height_range_cm": [20, 24]}
    answer = send(client, "/api/mounting-height", with_everything(request))
    assert answer.status_code == 200
    empty = send(client, "/api/mounting-height", request).json()
    assert answer.json()["share_into_water"] < 0.95 * empty["share_into_water"]
    assert answer.json()["mean_ppfd"] / answer.json()["power"] < 0.9 * (
        empty["mean_ppfd"] / empty["power"]
    )


def test_a_table_takes_the_place_of_the_beam(client: TestClient) -> None:
    request = changed(REQUEST, "emitters.0.intensity", TABLE)
    both = send(client, "/api/spread", request).json()
    alone = send(client, "/api/spread", changed(request, "emitters.0.beam_deg", ...))
    assert alone.status_code == 200
    assert alone.json() == both
    assert both != send(client, "/api/spread", REQUEST).json()


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("tank.rocks.0.right_cm", 121, None),
        ("tank.rocks.0.left_cm", -1, None),
        ("tank.rocks.0.front_cm", -0.5, None),
        ("tank.rocks.0.back_cm", 51, None),
        ("tank.rocks.0.top_cm", -3, None),
        ("tank.rocks.0.bottom_cm", 56, None),
        ("tank.rocks.0.right_cm", 18, None),
        ("tank.rocks.0.back_cm", 3, None),
        ("tank.rocks.0.bottom_cm", 20, None),
        ("tank.rocks.0.albedo", 1.5, None),
        ("tank.rocks.0.albedo", float("nan"), None),
        ("tank.rocks.0.left_cm", float("inf"), None),
        ("tank.rocks.1.left_cm", "18", None),
        ("tank.rocks.0.top_cm", ..., None),
        ("tank.rocks.0.colour", "pink", None),
        ("tank.rocks", [ROCK] * 41, None),
        ("tank.rocks", [{k: v for k, v in ROCK.items() if k != "bottom_cm"} | {"top_cm": 55}],
         "tank.rocks.0.top_cm"),
        ("tank.braces", [BRACE] * 13, None),
        ("tank.braces.0.right_cm", 130, None),
        ("tank.braces.0.back_cm", 0, None),
        ("tank.braces.0.front_cm", ..., None),
        ("tank.film.left", 1.2, None),
        ("tank.film.top", 0.5, None),
        ("tank.lid", -0.1, None),
        ("tank.lid", None, None),
        ("emitters.0.tilt_deg", 61, None),
        ("emitters.0.tilt_deg", -1, None),
        ("emitters.0.toward_deg", 1e9, None),
        ("emitters.2.tilt_deg", 60, "emitters.2.tilt_deg"),
        ("emitters.0.intensity", [[0, 1]], None),
        ("emitters.0.intensity", [[k, 1] for k in range(92)], None),
        ("emitters.0.intensity", [[0, 1], [0, 2]], None),
        ("emitters.0.intensity", [[30, 1], [10, 2]], None),
        ("emitters.0.intensity", [[0, 0], [90, 0]], None),
        ("emitters.0.intensity", [[0, -1], [90, 1]], "emitters.0.intensity.0.1"),
        ("emitters.0.intensity", [[0, 1], [91, 1]], "emitters.0.intensity.1.0"),
    ],
)  # fmt: skip
def test_what_cannot_stand_or_hang_is_refused_by_name(
    client: TestClient, path: str, value: object, field: str | None
) -> None:
    request = changed(FULL, path, value)
    if path == "emitters.2.tilt_deg":
        request["emitters"][2]["height_cm"] = 3
    answer = send(client, "/api/spread", request)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    errors = answer.json()["errors"]
    assert (field or path) in [one["field"] for one in errors]
    assert all(one["message"] for one in errors)


def test_neither_beam_nor_table_is_refused_by_name(client: TestClient) -> None:
    for address, request in (("/api/spread", REQUEST), ("/api/mounting-height", mounting())):
        answer = send(client, address, changed(request, "emitters.1.beam_deg", ...))
        assert answer.status_code == 422
        assert [one["field"] for one in answer.json()["errors"]] == ["emitters.1.beam_deg"]


def test_a_point_asked_inside_a_rock_is_refused_by_name(client: TestClient) -> None:
    request = {key: FULL[key] for key in ("tank", "water", "emitters")}
    free = {"x_cm": 10, "y_cm": 10, "depth_cm": 30}
    request |= {"readings": [], "at": [free, {"x_cm": 30, "y_cm": 30, "depth_cm": 30}]}
    answer = send(client, "/api/measured-map", request)
    assert answer.status_code == 422
    assert [one["field"] for one in answer.json()["errors"]] == ["at.1.depth_cm"]
    assert "rock" in answer.json()["errors"][0]["message"]


def test_the_measured_map_takes_a_furnished_tank(client: TestClient) -> None:
    request = {key: FULL[key] for key in ("tank", "water", "emitters")}
    request |= {"readings": [], "at": [{"x_cm": 30, "y_cm": 30, "depth_cm": 19}]}
    answer = send(client, "/api/measured-map", request)
    assert answer.status_code == 200
    (there,) = answer.json()["at"]
    assert 0 < there["low"] < there["ppfd"] < there["high"]
