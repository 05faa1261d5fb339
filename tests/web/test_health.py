"""Alive and ready: two addresses for machines, answered whatever else goes on."""

import shutil
import time
from collections import namedtuple
from contextlib import closing
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event, text

from server.db import members, messages, reserve
from server.db.engine import Database, sqlite
from server.web import health
from server.web.app import create_app
from tests.conftest import Cast

Usage = namedtuple("Usage", "total used free")


def ready(app) -> tuple[int, dict[str, object]]:
    answer = TestClient(app).get("/readyz")
    return answer.status_code, answer.json()


@pytest.fixture(autouse=True)
def looked_at_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "_KEPT_S", -1.0)


def test_a_whole_club_is_alive_and_ready(app, client: TestClient) -> None:
    assert client.get("/healthz").json() == {"status": "ok"}
    assert ready(app) == (200, {"status": "ready"})


def test_alive_is_said_by_whatever_host_name(settings, club: Database) -> None:
    named = settings.model_copy(update={"allowed_hosts": ("light.example.org",)})
    client = TestClient(create_app(named, club=club), base_url="http://127.0.0.1")
    assert client.get("/healthz").status_code == 200
    assert client.get("/readyz").status_code == 200
    assert client.get("/help").status_code == 400
    assert client.get("/healthz").headers["x-content-type-options"] == "nosniff"


def test_a_database_that_is_gone_is_not_ready_but_alive(app, club: Database, settings) -> None:
    club.close()
    club.file.rename(settings.data / "elsewhere")
    (settings.data / "club.sqlite3").mkdir()
    status, told = ready(app)
    assert status == 503 and set(told["not_ready"]) == {"database", "schema"}
    assert TestClient(app).get("/healthz").status_code == 200


def test_a_full_disk_is_not_ready(app, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(10**9, 10**9, 0))
    assert ready(app) == (503, {"status": "not ready", "not_ready": ["disk"]})


def test_an_old_schema_is_not_ready(app, club: Database) -> None:
    with club.write() as db:
        db.connection().execute(text("UPDATE alembic_version SET version_num = '0001'"))
    assert ready(app)[1]["not_ready"] == ["schema"]


def test_letters_that_do_not_leave_are_not_ready(
    settings, club: Database, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    mailing = settings.model_copy(update={"smtp_host": "mail.example.org"})
    app = create_app(mailing, club=club)
    with club.write() as db:
        messages.tell(db, cast.ivo.id, subject="News", words="Hello.", link="")
        messages.put_into_post(db)
    assert ready(app)[0] == 200
    monkeypatch.setattr(health.club_clock, "now", lambda _: members.now() + timedelta(hours=2))
    assert ready(app)[1]["not_ready"] == ["mail queue"]


def test_a_look_that_hangs_is_not_ready(app, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "LONGEST_S", 0.1)
    monkeypatch.setitem(health.LOOKS, "disk", lambda *_: bool(time.sleep(0.5)))
    assert "disk" in ready(app)[1]["not_ready"]


# What members see when the database or the disk would not


@pytest.fixture
def impatient(settings, club: Database, monkeypatch: pytest.MonkeyPatch):
    """Another writer holds the database, and nobody waits ten seconds for it."""
    club.close()

    event.listen(club.engine, "connect", lambda c, _: c.execute("PRAGMA busy_timeout=100"))
    # The same library as the club's: locks of two libraries in one process are not seen.
    with closing(sqlite.connect(club.file, isolation_level=None)) as other:
        yield other


def test_a_locked_database_is_503_with_what_was_typed(
    ivo: TestClient, impatient, club: Database
) -> None:
    impatient.execute("BEGIN IMMEDIATE")
    typed = {"name": "Ivo <B>", "length_unit": "cm", "volume_unit": "L", "clock": "24"}
    answer = ivo.post("/account", data=typed)
    assert answer.status_code == 503 and answer.headers["retry-after"] == "5"
    assert "busy" in answer.text and "Ivo &lt;B&gt;" in answer.text
    assert ivo.get("/account").status_code == 200, "reading goes on"
    impatient.execute("ROLLBACK")
    assert ivo.post("/account", data=typed).status_code == 303


def test_a_password_is_never_given_back(client: TestClient, cast: Cast, impatient) -> None:
    impatient.execute("BEGIN IMMEDIATE")
    typed = {"email": "ivo@club.example", "password": "kelp sways in the tide"}
    answer = client.post("/sign-in", data=typed)
    assert answer.status_code == 503 and "kelp sways" not in answer.text


def test_json_gets_a_problem(client: TestClient, club: Database, token_of, cast: Cast, app) -> None:
    app.add_api_route("/api/write", lambda: writing(club), methods=["POST"])
    with closing(sqlite.connect(club.file, isolation_level=None)) as other:
        club.close()
        event.listen(club.engine, "connect", lambda c, _: c.execute("PRAGMA busy_timeout=100"))
        other.execute("BEGIN IMMEDIATE")
        answer = client.post("/api/write")
    assert answer.status_code == 503 and answer.headers["retry-after"] == "5"
    assert answer.headers["content-type"] == "application/problem+json"


def writing(club: Database) -> None:
    with club.write() as db:
        db.connection()
        raise AssertionError("it should never come here")


def test_a_full_database_is_503_and_reading_and_visits_go_on(
    ivo: TestClient, club: Database, settings
) -> None:
    with club.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    club.close()
    event.listen(club.engine, "connect", lambda c, _: c.execute(f"PRAGMA max_page_count={pages}"))
    reserve.lay_by(settings.data)
    assert (settings.data / reserve.FILE).stat().st_size == reserve.BYTES
    statuses = set()
    for number in range(400):
        answer = ivo.post("/account/tokens", data={"token_name": f"token {number}"})
        statuses.add(answer.status_code)
        if answer.status_code == 503:
            assert "disk is full" in answer.text and answer.headers["retry-after"] == "300"
            break
    assert 503 in statuses, statuses
    assert not (settings.data / reserve.FILE).exists(), "the room kept back is the club's now"
    assert ivo.get("/account").status_code == 200
    assert ivo.get("/tanks").status_code == 200
