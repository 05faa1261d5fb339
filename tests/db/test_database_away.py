"""PostgreSQL goes away and comes back: 503 meanwhile, and the server needs no restart."""

from contextlib import closing
from urllib.parse import urlsplit

import psycopg
import pytest
from fastapi.testclient import TestClient

from server.db import members, schema
from server.db.engine import open_database
from server.settings import Settings
from server.web import health
from server.web.app import create_app
from tests.conftest import OWN_ORIGIN


@pytest.mark.postgresql
def test_away_is_503_and_back_is_back(
    settings: Settings, postgresql: str, postgresql_server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "_KEPT_S", -1.0)
    there = settings.elsewhere(data=settings.data, address=postgresql)
    name = urlsplit(postgresql).path.lstrip("/")
    with closing(open_database(data=settings.data, url=postgresql)) as club:
        schema.migrate(club)
        with club.write() as db:
            members.make_club(db, name="Club", time_zone="UTC")
            ivo = members.add_member(db, name="Ivo", email="i@c.example", password_hash="-")
            token = members.sign_in(db, ivo, device="test")
        browser = TestClient(create_app(there, club=club), follow_redirects=False)
        browser.headers.update(OWN_ORIGIN)
        browser.cookies.set("underlamp_sign_in", token)
        assert browser.get("/account").status_code == 200
        with psycopg.connect(postgresql_server, autocommit=True) as server:
            server.execute(f'ALTER DATABASE "{name}" ALLOW_CONNECTIONS false')
            ours = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s"
            server.execute(ours, (name,))
            away = browser.get("/account")
            assert away.status_code == 503 and away.headers["retry-after"] == "30"
            assert "cannot be reached" in away.text
            assert browser.get("/healthz").status_code == 200
            assert set(browser.get("/readyz").json()["not_ready"]) == {"database", "schema"}
            server.execute(f'ALTER DATABASE "{name}" ALLOW_CONNECTIONS true')
        assert browser.get("/account").status_code == 200
        assert browser.get("/readyz").status_code == 200
