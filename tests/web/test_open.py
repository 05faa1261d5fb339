"""Openers: what is not yours is not there, whether it is shared to look at or not."""

from collections.abc import Callable
from datetime import date

import pytest
from fastapi.testclient import TestClient

from server.db import members, surveys, tanks
from server.db.engine import Database
from server.db.surveys import SessionWords
from server.models import Member, Tank
from tests.conftest import Cast


@pytest.fixture
def shared(club: Database, cast: Cast) -> Tank:
    """Ivo's tank, shown to the club."""
    words = tanks.TankWords(
        name="Shown", length_cm=90, width_cm=45, depth_cm=45, water="usual", wall_left="clear",
        wall_right="clear", wall_front="clear", wall_back="black", floor="light_sand", cover=False,
        headroom_cm=None, shared=True, note="",
    )  # fmt: skip
    with club.write() as db:
        return tanks.add_tank(db, owner_id=cast.ivo.id, words=words)


def test_a_shared_tank_is_looked_at_and_changed_by_its_keeper_only(
    tess: TestClient, ivo: TestClient, shared: Tank
) -> None:
    assert tess.get(f"/tanks/{shared.id}/sessions").status_code == 200
    for address in ("sessions/new", "bundle.zip", "edit"):
        assert ivo.get(f"/tanks/{shared.id}/{address}").status_code == 200
        refused = tess.get(f"/tanks/{shared.id}/{address}")
        assert refused.status_code == 404
        assert "Only its keeper" in refused.text


def test_a_shared_session_is_read_by_all_and_written_by_its_keeper(
    tess: TestClient, ivo: TestClient, shared: Tank, club: Database, cast: Cast
) -> None:
    words = SessionWords(taken_on=date(2026, 11, 20), setup_id=None, meter_id=None)
    with club.write() as db:
        session = surveys.add_session(db, tank_id=shared.id, words=words, by_id=cast.ivo.id)
    here = f"/sessions/{session.id}"
    assert tess.get(here).status_code == 200
    assert tess.get(f"{here}/readings.csv").status_code == 200
    for address in ("correct", "enter", "sheet", "file"):
        assert tess.get(f"{here}/{address}").status_code == 404
        assert ivo.get(f"{here}/{address}").status_code in (200, 303)
    assert tess.post(f"{here}/set-aside").status_code == 404
    assert tess.post(f"{here}/readings/1/strike").status_code == 404


def test_sign_ins_and_tokens_of_others_are_not_there(
    tess: TestClient, ivo: TestClient, club: Database, cast: Cast
) -> None:
    with club.write() as db:
        members.make_access_token(db, member_id=cast.ivo.id, name="logger")
        token = members.access_tokens_of(db, cast.ivo.id)[0]
        entry = members.sign_ins_of(db, cast.ivo.id)[0]
    assert tess.post(f"/account/tokens/{token.id}/revoke").status_code == 404
    assert tess.post(f"/account/sign-ins/{entry.id}/end").status_code == 404
    assert ivo.get("/account").status_code == 200
    assert ivo.post(f"/account/tokens/{token.id}/revoke").status_code == 303


@pytest.mark.parametrize("number", ["0", "-1", "99999999999999999999", "one", "1e3"])
def test_a_number_no_database_holds_is_a_404(
    number: str, ivo: TestClient, token_of: Callable[[Member], dict[str, str]], cast: Cast
) -> None:
    for address in ("tanks", "sessions", "meters", "loans", "lamps", "uploads"):
        assert ivo.get(f"/{address}/{number}").status_code == 404
    asked = ivo.get(f"/api/measurement-sessions/{number}", headers=token_of(cast.ivo))
    assert asked.status_code in (404, 422)
