"""The upload call of the contract: 201, 422 with every refused line, 413, and reading back."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlmodel import func, select

from server.db.engine import Database
from server.models import MeasurementSession, Member, Reading
from tests.conftest import Cast
from tests.web.surveys.conftest import Scene

GOOD = "x_cm;y_cm;depth_cm;PPFD;note\n10,5;20;15;120,5;left\n60;25;10;1.120,5;under the lamp\n"
SPOILT = GOOD + "60;25;;90;\n60;25;10;abc;\n"


@pytest.fixture
def ivo_token(token_of: Callable[[Member], dict[str, str]], cast: Cast) -> dict[str, str]:
    return token_of(cast.ivo)


def send(
    client: TestClient, token: dict[str, str], tank: int, data: str | bytes, **fields: str
) -> Response:
    body = data.encode() if isinstance(data, str) else data
    return client.post(
        f"/api/tanks/{tank}/measurement-sessions",
        headers=token,
        files={"file": ("readings.csv", body, "text/csv")},
        data=fields,
    )


def sessions(club: Database) -> int:
    with club.read() as db:
        return db.exec(select(func.count()).select_from(MeasurementSession)).one()


def test_a_good_table_is_stored_as_typed_in_cm(
    client: TestClient, ivo_token: dict[str, str], scene: Scene
) -> None:
    answer = send(client, ivo_token, scene.tank, GOOD)
    assert answer.status_code == 201
    body = answer.json()
    assert body == {
        "id": body["id"],
        "stored": 2,
        "readings": [
            {"x_cm": 10.5, "y_cm": 20.0, "depth_cm": 15.0, "ppfd": 120.5},
            {"x_cm": 60.0, "y_cm": 25.0, "depth_cm": 10.0, "ppfd": 1120.5},
        ],
        "refused": [],
    }


def test_inches_become_cm(client: TestClient, ivo_token: dict[str, str], scene: Scene) -> None:
    answer = send(client, ivo_token, scene.tank, "PAR,depth in,y in,x in\n100,4,5.5,10\n")
    assert answer.json()["readings"] == [
        {"x_cm": 25.4, "y_cm": 13.97, "depth_cm": 10.16, "ppfd": 100.0}
    ]


def test_one_refused_row_stores_nothing_and_is_named(
    client: TestClient, ivo_token: dict[str, str], scene: Scene, club: Database
) -> None:
    answer = send(client, ivo_token, scene.tank, SPOILT)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    refused = answer.json()["refused"]
    assert [one["row"] for one in refused] == [4, 5]
    assert refused[0]["reason"] == "Depth is missing"
    assert sessions(club) == 0


def test_the_good_rows_are_stored_when_that_is_accepted(
    client: TestClient, ivo_token: dict[str, str], scene: Scene
) -> None:
    answer = send(client, ivo_token, scene.tank, SPOILT, accept_partial="true")
    assert answer.status_code == 201
    assert answer.json()["stored"] == 2
    assert [one["row"] for one in answer.json()["refused"]] == [4, 5]


def test_no_good_row_is_refused_even_when_partial_is_accepted(
    client: TestClient, ivo_token: dict[str, str], scene: Scene
) -> None:
    text = "x,y,depth,ppfd\n1,2,3,abc\n"
    answer = send(client, ivo_token, scene.tank, text, accept_partial="true")
    assert answer.status_code == 422
    assert [one["row"] for one in answer.json()["refused"]] == [2]


def test_a_header_alone_is_refused(
    client: TestClient, ivo_token: dict[str, str], scene: Scene
) -> None:
    answer = send(client, ivo_token, scene.tank, "x,y,depth,ppfd\n", accept_partial="true")
    assert answer.status_code == 422
    assert answer.json()["refused"]


def test_the_session_reads_back_raw_and_corrected_with_factors_used_once(
    client: TestClient, ivo_token: dict[str, str], scene: Scene
) -> None:
    answer = send(
        client, ivo_token, scene.tank, GOOD,
        meter_id=str(scene.meter), taken_on="2026-11-20", note="evening",
    )  # fmt: skip
    session_id = answer.json()["id"]
    found = client.get(f"/api/measurement-sessions/{session_id}", headers=ivo_token).json()
    assert found["taken_on"] == "2026-11-20"
    assert found["meter_id"] == scene.meter
    assert found["setup_id"] == scene.setup
    assert found["factors"] == {"immersion_factor": 1.25, "calibration_factor": 1.0}
    first = found["readings"][0]
    assert (first["raw_ppfd"], first["corrected_ppfd"]) == (120.5, 150.625)
    assert first["typed"] == {
        "x": "10,5", "y": "20", "depth": "15", "light": "120,5", "unit": "µmol",
    }  # fmt: skip
    assert first["note"] == "left" and first["row"] == 2


def test_a_log_is_stored_with_its_clock(
    client: TestClient, ivo_token: dict[str, str], scene: Scene
) -> None:
    text = "Time;PAR\n2026-11-20 10:00;100\n2026-11-20 10:30;120,5\n"
    answer = send(client, ivo_token, scene.tank, text, x_cm="60", y_cm="25", depth_cm="20")
    assert answer.status_code == 201
    assert answer.json()["readings"][1] == {
        "x_cm": 60.0, "y_cm": 25.0, "depth_cm": 20.0, "ppfd": 120.5, "at": "2026-11-20T10:30:00",
    }  # fmt: skip
    found = client.get(f"/api/measurement-sessions/{answer.json()['id']}", headers=ivo_token).json()
    assert found["kind"] == "log"
    assert found["log"][0] == {
        "row": 2, "at": "2026-11-20T10:00:00", "raw_ppfd": 100.0, "corrected_ppfd": 100.0,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ({"taken_on": "yesterday"}, "taken_on"),
        ({"taken_on": "2199-01-01"}, "taken_on"),
        ({"taken_on": "NaN"}, "taken_on"),
        ({"meter_id": "9999"}, "meter_id"),
        ({"meter_id": "1e3"}, "meter_id"),
        ({"accept_partial": "maybe"}, "accept_partial"),
        ({"note": "x" * 2001}, "note"),
        ({"immersion_factor": "nan"}, "immersion_factor"),
        ({"immersion_factor": "99"}, "immersion_factor"),
        ({"depth_cm": "56"}, "depth_cm"),
        ({"wall": "1"}, "wall"),
        ({"decimal": ";"}, "decimal"),
    ],
)
def test_a_field_that_is_not_right_is_named(
    client: TestClient,
    ivo_token: dict[str, str],
    scene: Scene,
    club: Database,
    fields: dict[str, str],
    name: str,
) -> None:
    answer = send(client, ivo_token, scene.tank, GOOD, **fields)
    assert answer.status_code == 422
    assert [one["field"] for one in answer.json()["errors"]] == [name]
    assert sessions(club) == 0


@pytest.mark.parametrize(
    "data",
    [
        b"", b"\n", b"\x1f\x8b\x08aaa", b"PK\x03\x04", b"x,y\x00", b"\xff\xfe\x00\xd8\x00\xd8",
        b"9" * 50_000, b"word", "x,y,depth,ppfd\n" + "1,2,3,4\n" * 3 + '"' * 99, b"\r" * 5000,
    ],
)  # fmt: skip
def test_hostile_files_are_refused_cleanly(
    client: TestClient, ivo_token: dict[str, str], scene: Scene, data: str | bytes, club: Database
) -> None:
    answer = send(client, ivo_token, scene.tank, data)
    assert answer.status_code == 422
    assert answer.json()["refused"] and answer.json()["refused"][0]["reason"]
    assert sessions(club) == 0


def test_a_request_without_a_file_says_so(
    client: TestClient, ivo_token: dict[str, str], scene: Scene
) -> None:
    address = f"/api/tanks/{scene.tank}/measurement-sessions"
    for answer in (
        client.post(address, headers=ivo_token),
        client.post(address, headers=ivo_token, json={"file": "x"}),
        client.post(address, headers=ivo_token, data={"file": "just text"}),
        client.post(
            address,
            headers=ivo_token | {"Content-Type": "multipart/form-data; boundary=x"},
            content=b"broken",
        ),
    ):
        assert answer.status_code == 422
        assert answer.headers["content-type"] == "application/problem+json"


def test_over_the_limit_is_413(client: TestClient, ivo_token: dict[str, str], scene: Scene) -> None:
    for size in (8 * 2**20 + 1, 10 * 2**20):
        assert send(client, ivo_token, scene.tank, b"1" * size).status_code == 413
    many = "x,y,depth,ppfd\n" + "1,2,3,4\n" * 50_001
    assert send(client, ivo_token, scene.tank, many).status_code == 413


def test_fifty_thousand_rows_fit(
    client: TestClient, ivo_token: dict[str, str], scene: Scene, club: Database
) -> None:
    rows = "".join(f"{n % 120},{n % 50},{n % 55},{n % 400}\n" for n in range(50_000))
    answer = send(client, ivo_token, scene.tank, "x,y,depth,ppfd\n" + rows)
    assert answer.json()["stored"] == 50_000
    with club.read() as db:
        assert db.exec(select(func.count()).select_from(Reading)).one() == 50_000


def test_the_same_file_may_be_sent_twice_by_script_and_makes_two_sessions(
    client: TestClient, ivo_token: dict[str, str], scene: Scene, club: Database
) -> None:
    assert send(client, ivo_token, scene.tank, GOOD).status_code == 201
    assert send(client, ivo_token, scene.tank, GOOD).status_code == 201
    assert sessions(club) == 2


def test_tanks_of_others_are_closed(
    client: TestClient, ivo_token: dict[str, str], scene: Scene, club: Database
) -> None:
    assert send(client, ivo_token, scene.tess_tank, GOOD).status_code == 404
    assert send(client, ivo_token, 999_999, GOOD).status_code == 404
    assert send(client, ivo_token, 2**70, GOOD).status_code == 404
    assert send(client, ivo_token, scene.shared_tank, GOOD).status_code == 404
    assert send(client, {}, scene.tank, GOOD).status_code == 401
    assert sessions(club) == 0


def test_a_session_of_a_private_tank_is_not_there_for_others(
    client: TestClient,
    ivo_token: dict[str, str],
    token_of: Callable[[Member], dict[str, str]],
    cast: Cast,
    scene: Scene,
) -> None:
    session_id = send(client, ivo_token, scene.tank, GOOD).json()["id"]
    address = f"/api/measurement-sessions/{session_id}"
    assert client.get(address, headers=token_of(cast.tess)).status_code == 404
    assert client.get("/api/measurement-sessions/99999", headers=ivo_token).status_code == 404
    assert client.get(address).status_code == 401


def test_openapi_tells_of_the_upload(client: TestClient) -> None:
    described = client.get("/openapi.json").json()
    call = described["paths"]["/api/tanks/{tank_id}/measurement-sessions"]["post"]
    fields = call["requestBody"]["content"]["multipart/form-data"]["schema"]["properties"]
    assert {"file", "taken_on", "meter_id", "note", "accept_partial"} <= set(fields)
    assert {"201", "401", "404", "413", "422"} <= set(call["responses"])
