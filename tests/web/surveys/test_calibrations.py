"""The calibration in force on the day of a reading is used on every way in, and shown."""

import re
from datetime import date

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import meters, surveys
from server.db.engine import Database
from server.models import MeasurementSession
from tests.conftest import Cast
from tests.web.surveys.conftest import Scene

TABLE = "x_cm,y_cm,depth_cm,ppfd\n10,20,15,100\n"
# The meter's book: 0.97 from 10 October, 0.95 from 2 November; its immersion factor is 1.25.
EARLY, LATE = date(2026, 10, 10), date(2026, 11, 2)


@pytest.fixture
def booked(club: Database, scene: Scene) -> Scene:
    with club.write() as db:
        for done_on, factor in ((EARLY, 0.97), (LATE, 0.95)):
            meters.add_calibration(
                db, scene.meter, done_on=done_on, factor=factor, due_on=None, note="", by_id=None
            )
    return scene


def newest(club: Database) -> MeasurementSession:
    with club.read() as db:
        return db.exec(select(MeasurementSession)).all()[-1]


def begin(ivo: TestClient, scene: Scene, way: str, **fields: str) -> str:
    answer = ivo.post(
        f"/tanks/{scene.tank}/sessions/new",
        data={"way": way, "meter_id": str(scene.meter), "taken_on": "2026-11-20"} | fields,
        files={"file": ("a.csv", TABLE.encode() if way == "table" else b"", "text/csv")},
    )
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


@pytest.mark.parametrize(
    ("day", "factor"), [("2026-10-09", 1.0), ("2026-10-20", 0.97), ("2026-11-02", 0.95)]
)
def test_by_the_tank_the_factor_of_the_day_is_used(
    ivo: TestClient, booked: Scene, club: Database, day: str, factor: float
) -> None:
    enter = begin(ivo, booked, "entry", taken_on=day)
    assert newest(club).calibration_factor == factor
    page = ivo.get(enter).text
    assert f"immersion factor 1.25 times calibration factor {factor:g}" in page
    sent = re.search(r'name="client_id" value="([^"]+)"', page)
    point = re.search(r'name="point_id" value="(\d+)"', page)
    assert sent and point
    ivo.post(enter, data={"client_id": sent[1], "point_id": point[1], "value": "100"})
    with club.read() as db:
        (reading,) = surveys.readings_of(db, newest(club).id)
    assert (reading.raw_ppfd, reading.ppfd) == (100, pytest.approx(125 * factor))


def test_a_file_says_the_factor_before_it_is_stored_and_uses_it(
    ivo: TestClient, booked: Scene, club: Database
) -> None:
    waiting = begin(ivo, booked, "table")
    preview = ivo.get(waiting).text
    assert "calibration factor 0.95" in preview and "in force since 2 November 2026" in preview
    stored = ivo.post(f"{waiting}/store", data={"refused_count": "0"}).headers["location"]
    assert newest(club).calibration_factor == 0.95
    assert "0.95, in force since 2 November 2026" in ivo.get(stored).text


def test_a_log_uses_the_factor_of_its_own_day(
    ivo: TestClient, booked: Scene, club: Database
) -> None:
    log = b"time,ppfd\n2026-10-15 10:00,100\n2026-10-15 11:00,90\n"
    answer = ivo.post(
        f"/tanks/{booked.tank}/sessions/new",
        data={"way": "table", "meter_id": str(booked.meter), "taken_on": "2026-11-20"},
        files={"file": ("log.csv", log, "text/csv")},
    )
    ivo.post(answer.headers["location"] + "/store", data={"refused_count": "0"})
    assert newest(club).calibration_factor == 0.97


def test_by_script_the_factor_of_the_day_is_used_and_shown(
    client: TestClient, booked: Scene, club: Database, cast: Cast, token_of
) -> None:
    token = token_of(cast.ivo)
    fields = {"meter_id": str(booked.meter), "taken_on": "2026-10-20"}
    for typed, factor in (({}, 0.97), ({"calibration_factor": "1"}, 1.0)):
        sent = client.post(
            f"/api/tanks/{booked.tank}/measurement-sessions",
            headers=token, data=fields | typed, files={"file": ("a.csv", TABLE, "text/csv")},
        )  # fmt: skip
        read = client.get(f"/api/measurement-sessions/{sent.json()['id']}", headers=token).json()
        assert read["factors"] == {"immersion_factor": 1.25, "calibration_factor": factor}
        assert read["readings"][0]["corrected_ppfd"] == pytest.approx(125 * factor)


def test_a_factor_that_was_typed_stands_and_is_told_beside_the_book(
    ivo: TestClient, booked: Scene, club: Database
) -> None:
    waiting = begin(ivo, booked, "table", calibration_factor="1")
    stored = ivo.post(f"{waiting}/store", data={"refused_count": "0"}).headers["location"]
    assert newest(club).calibration_factor == 1
    assert "as typed; in force on that day was 0.95" in ivo.get(stored).text
    assert 'name="calibration_factor" type="text" value="1"' in ivo.get(f"{stored}/correct").text


def test_another_day_brings_its_own_factor_and_never_both(
    ivo: TestClient, booked: Scene, club: Database
) -> None:
    waiting = begin(ivo, booked, "table")
    stored = ivo.post(f"{waiting}/store", data={"refused_count": "0"}).headers["location"]
    assert 'name="calibration_factor" type="text" value=""' in ivo.get(f"{stored}/correct").text
    again = {"taken_on": "2026-10-20", "meter_id": str(booked.meter), "immersion_factor": "1.25"}
    assert ivo.post(f"{stored}/correct", data=again).status_code == 303
    with club.read() as db:
        (reading,) = surveys.readings_of(db, newest(club).id)
    assert reading.ppfd == pytest.approx(125 * 0.97)


def test_the_form_says_what_is_in_force(ivo: TestClient, booked: Scene) -> None:
    page = ivo.get(f"/tanks/{booked.tank}/sessions/new").text
    assert "immersion factor 1.25, calibration 0.95 since 2 November 2026" in page


def test_a_date_column_is_told_in_the_preview(ivo: TestClient, booked: Scene) -> None:
    answer = ivo.post(
        f"/tanks/{booked.tank}/sessions/new",
        data={"way": "table", "taken_on": "2026-11-20"},
        files={"file": ("a.csv", b"date,x,y,depth,ppfd\n2026-11-02,1,1,1,9\n", "text/csv")},
    )
    assert "is not kept" in ivo.get(answer.headers["location"]).text
