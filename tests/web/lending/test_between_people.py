"""What one member does to another's place, and the days on which something begins."""

from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import club_day, meters
from server.db.engine import Database
from server.models import LoanRequest, Meter


@pytest.fixture
def today(club: Database) -> date:
    with club.read() as db:
        return club_day.today(db)


def _join(browser: TestClient, meter: Meter, earliest: date) -> None:
    asked = {"purpose": "routine", "days": "2", "earliest": f"{earliest}", "latest": ""}
    assert browser.post(f"/meters/{meter.id}/join", data=asked).status_code == 303


def _state(club: Database, request_id: int) -> str:
    with club.read() as db:
        return db.get_one(LoanRequest, request_id).state


def test_nobody_takes_another_member_out_of_the_queue(
    ivo: TestClient, tess: TestClient, club: Database, meter: Meter, today: date
) -> None:
    _join(ivo, meter, today + timedelta(days=20))
    with club.read() as db:
        (request,) = db.exec(select(LoanRequest))
    before = request.state
    assert tess.post(f"/requests/{request.id}/leave").status_code == 404
    assert _state(club, request.id) == before
    assert ivo.post(f"/requests/{request.id}/leave").status_code == 303
    assert _state(club, request.id) == "withdrawn"


def test_a_meter_rests_from_its_first_day_to_its_last(
    ivo: TestClient, mara: TestClient, meter: Meter, today: date
) -> None:
    first, last = today + timedelta(days=3), today + timedelta(days=6)
    rest = {"rest_first": f"{first}", "rest_last": f"{last}", "rest_reason": "new cable"}
    assert mara.post(f"/steward/meters/{meter.id}/rest", data=rest).status_code == 303
    shown = {
        day: "it rested: new cable" in ivo.get(f"/meters/{meter.id}/history?day={day}").text
        for day in (first - timedelta(days=1), first, last, last + timedelta(days=1))
    }
    assert list(shown.values()) == [False, True, True, False]


def test_a_calibration_is_asked_for_when_due_and_not_before(
    mara: TestClient, club: Database, meter: Meter, today: date
) -> None:
    def calibrated(due_on: date) -> None:
        with club.write() as db:
            meters.add_calibration(
                db, meter.id, done_on=today, factor=0.97, due_on=due_on, note="", by_id=None
            )

    words = "Have the Blue meter calibrated"
    calibrated(today + timedelta(days=200))
    assert words not in mara.get("/").text
    calibrated(today + timedelta(days=5))
    assert words in mara.get("/").text
