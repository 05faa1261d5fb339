"""POST /api/spread and POST /api/mounting-height."""

import copy
import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from server.optics.field import _cells, cell_count
from server.optics.tank import Tank

REQUEST: dict[str, Any] = {
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
        {"shape": "point", "x_cm": 60, "y_cm": 25, "height_cm": 25, "ppf_umol_s": 150,
         "beam_deg": 90},
        {"shape": "tube", "x_cm": 60, "y_cm": 20, "height_cm": 12, "ppf_umol_s": 60,
         "beam_deg": 120, "length_cm": 110},
        {"shape": "square", "x_cm": 30, "y_cm": 25, "height_cm": 20, "ppf_umol_s": 80,
         "beam_deg": 120, "side_cm": 10},
    ],
    "depths_cm": [5, 27, 53],
    "cell_cm": 4,
}  # fmt: skip


def mounting() -> dict[str, Any]:
    request = copy.deepcopy(REQUEST)
    for emitter in request["emitters"]:
        del emitter["height_cm"]
    request["target"] = {"low_ppfd": 200, "high_ppfd": 350, "depths_cm": [10, 25]}
    request["height_range_cm"] = [15, 60]
    request["power_range"] = [0.1, 1.0]
    return request


def changed(request: dict[str, Any], path: str, value: object) -> dict[str, Any]:
    """The request with the field at a dotted path set, or removed where value is `...`."""
    found = copy.deepcopy(request)
    *way, last = path.split(".")
    at: Any = found
    for step in way:
        at = at[int(step)] if step.isdigit() else at[step]
    key: Any = int(last) if last.isdigit() else last
    if value is ...:
        del at[key]
    else:
        at[key] = value
    return found


def send(client: TestClient, address: str, body: dict[str, Any]) -> Any:
    return client.post(
        address, content=json.dumps(body), headers={"content-type": "application/json"}
    )


def test_spread_answers_as_the_contract_says(client: TestClient) -> None:
    answer = send(client, "/api/spread", REQUEST)
    assert answer.status_code == 200
    told = answer.json()
    assert 0 < told["share_into_water"] < 1
    assert [plane["depth_cm"] for plane in told["planes"]] == [5, 27, 53]
    for plane in told["planes"]:
        assert len(plane["x_cm"]) == cell_count(120, 4) == 30
        assert len(plane["y_cm"]) == cell_count(50, 4) == 12
        assert plane["x_cm"][0] == pytest.approx(2.0)
        rows = plane["ppfd"]
        assert len(rows) == 12
        assert {len(row) for row in rows} == {30}
        cells = [value for row in rows for value in row]
        assert plane["mean"] == pytest.approx(sum(cells) / len(cells))
        assert plane["min"] == min(cells)
        assert plane["max"] == max(cells)
        assert plane["uniformity"] == pytest.approx(plane["min"] / plane["mean"])


def test_absorption_may_be_a_list_of_parts(client: TestClient) -> None:
    parts = changed(REQUEST, "water.absorption_per_m", [[0.25, 0.1], [0.75, 0.1]])
    one, two = (send(client, "/api/spread", body).json() for body in (REQUEST, parts))
    assert two["planes"][1]["mean"] == pytest.approx(one["planes"][1]["mean"])


@pytest.mark.parametrize("dropped", [(), ("depths_cm", "cell_cm")])
def test_mounting_height_answers_as_the_contract_says(
    client: TestClient, dropped: tuple[str, ...]
) -> None:
    body = {key: value for key, value in mounting().items() if key not in dropped}
    answer = send(client, "/api/mounting-height", body)
    assert answer.status_code == 200
    told = answer.json()
    assert 15 <= told["height_cm"] <= 60
    assert 0.1 <= told["power"] <= 1.0
    assert 0 <= told["share_in_range"] <= 1
    assert told["min_ppfd"] <= told["mean_ppfd"] <= told["max_ppfd"]
    assert [one["height_cm"] for one in told["curve"]] == list(range(15, 61))
    assert all({"height_cm", "power", "share_in_range"} <= set(one) for one in told["curve"])


WRONG = [
    ("tank.length_cm", 0),
    ("tank.length_cm", 1e9),
    ("tank.length_cm", float("nan")),
    ("tank.depth_cm", float("inf")),
    ("tank.walls.left", "mirror"),
    ("tank.walls.left", 1.5),
    ("tank.floor_albedo", -0.1),
    ("tank.cover", "no"),
    ("tank.colour", "blue"),
    ("tank", ...),
    ("water.refractive_index", 0.5),
    ("water.absorption_per_m", -1),
    ("water.absorption_per_m", [[0.5, 0.1], [0.4, 0.1]]),
    ("water.absorption_per_m", []),
    ("emitters", []),
    ("emitters.0.shape", "ring"),
    ("emitters.0.beam_deg", 180),
    ("emitters.0.beam_deg", ...),
    ("emitters.0.ppf_umol_s", "150"),
    ("emitters.1.length_cm", ...),
    ("emitters.2.side_cm", 0),
    ("emitters.0.side_cm", 5),
]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        *WRONG,
        ("depths_cm", []),
        ("depths_cm", [60]),
        ("depths_cm", [-1]),
        ("cell_cm", 0),
        ("cell_cm", None),
        ("cell_cm", 0.2),
        ("emitters.0.height_cm", ...),
        ("emitters.0.height_cm", -5),
        ("target", {}),
    ],
)
def test_spread_refuses_by_field_what_cannot_be(
    client: TestClient, path: str, value: object
) -> None:
    answer = send(client, "/api/spread", changed(REQUEST, path, value))
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    fields = [error["field"] for error in answer.json()["errors"]]
    assert any(field.startswith(path.split(".")[0]) for field in fields), fields
    assert all(error["message"] for error in answer.json()["errors"])


@pytest.mark.parametrize(
    ("path", "value"),
    [
        *WRONG,
        ("emitters.0.height_cm", 20),
        ("target.low_ppfd", 400),
        ("target.depths_cm", [70]),
        ("target", ...),
        ("height_range_cm", [60, 15]),
        ("height_range_cm", [15]),
        ("height_range_cm", [0, 15]),
        ("power_range", [0.5, 1.2]),
        ("power_range", [0.9, 0.1]),
    ],
)
def test_mounting_height_refuses_by_field_what_cannot_be(
    client: TestClient, path: str, value: object
) -> None:
    answer = send(client, "/api/mounting-height", changed(mounting(), path, value))
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["errors"]


@pytest.mark.parametrize("address", ["/api/spread", "/api/mounting-height"])
@pytest.mark.parametrize("body", [b"", b"[]", b"{", b"null", b"\xff\xfe", b'{"tank": 1}'])
def test_a_body_that_is_no_request_is_refused(
    client: TestClient, address: str, body: bytes
) -> None:
    answer = client.post(address, content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_work_that_would_keep_the_machine_busy_is_refused_at_once(client: TestClient) -> None:
    tube = REQUEST["emitters"][1] | {"height_cm": 0.5, "beam_deg": 20}
    many = REQUEST | {"emitters": [tube] * 300, "cell_cm": 1}
    answer = send(client, "/api/spread", many)
    assert answer.status_code == 422
    assert "cell_cm" in {error["field"] for error in answer.json()["errors"]}


@pytest.mark.parametrize("heights", [[0.1, 1000], [60, 900], [15, 1000]])
def test_every_accepted_range_of_heights_is_answered(
    client: TestClient, heights: list[float]
) -> None:
    request = {**mounting(), "height_range_cm": heights, "cell_cm": 20}
    assert client.post("/api/mounting-height", json=request).status_code == 200


def test_cells_are_counted_alike_where_they_are_allowed_and_worked_out() -> None:
    tank = Tank(length_cm=2000, width_cm=2000, depth_cm=50)
    assert _cells(tank, 3.998) == (500, 500)
