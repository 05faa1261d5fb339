"""The club's particulars: stewards change them, others may not."""

from fastapi.testclient import TestClient

from server.db import members
from server.db.engine import Database

TYPED = {"name": "Halfmoon", "time_zone": "Asia/Manila", "currency": "PHP", "price_per_kwh": "11,5"}


def test_a_steward_changes_the_club(mara: TestClient, club: Database) -> None:
    assert mara.post("/steward/club", data=TYPED).status_code == 303
    with club.read() as db:
        found = members.club_of(db)
    assert found is not None
    assert (found.name, found.time_zone, found.price_per_kwh) == ("Halfmoon", "Asia/Manila", 11.5)


def test_what_cannot_be_taken_comes_back_as_typed(mara: TestClient) -> None:
    answer = mara.post("/steward/club", data=TYPED | {"price_per_kwh": "dear", "time_zone": "Mars"})
    assert answer.status_code == 422
    assert 'value="dear"' in answer.text and "Choose the club&#39;s time zone" in answer.text


def test_a_member_may_not(ivo: TestClient, client: TestClient) -> None:
    assert ivo.get("/steward").status_code == 403
    assert ivo.post("/steward/club", data=TYPED).status_code == 403
    assert client.get("/steward/club").status_code == 303
