"""What stewards do: add and change meters, let them rest, lose and find them, the month."""

from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import club_day, loans, meters
from server.db.engine import Database
from server.models import Meter
from tests.conftest import Cast

PAPERS = {
    "name": "Old meter",
    "reads": "PPFD 400–700 nm",
    "immersion_factor": "1,32",
    "case_contents": "meter\ncable",
    "keeper": "Ivo",
}


@pytest.fixture
def today(club: Database) -> date:
    with club.read() as db:
        return club_day.today(db)


def test_a_steward_adds_a_meter_and_a_member_may_not(
    mara: TestClient, ivo: TestClient, club: Database
) -> None:
    assert ivo.post("/steward/meters/new", data=PAPERS).status_code == 403
    assert mara.post("/steward/meters/new", data=PAPERS).status_code == 303
    with club.read() as db:
        [found] = meters.all_meters(db)
    assert found.immersion_factor == 1.32
    assert found.label_code and found.feed_secret
    assert mara.get(f"/steward/meters/{found.id}").status_code == 200


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""),
        ("name", "x" * 100),
        ("reads", ""),
        ("immersion_factor", "NaN"),
        ("immersion_factor", "1e400"),
        ("immersion_factor", "-1"),
        ("immersion_factor", "lots"),
    ],
)
def test_papers_that_make_no_sense_come_back_as_typed(
    mara: TestClient, meter: Meter, field: str, value: str
) -> None:
    for address in ("/steward/meters/new", f"/steward/meters/{meter.id}/edit"):
        refused = mara.post(address, data=PAPERS | {field: value})
        assert refused.status_code == 422
        assert f'id="{field}-wrong"' in refused.text
        assert "PPFD 400–700 nm" in refused.text or field == "reads"


def test_calibrations_are_entered_and_their_dates_checked(
    mara: TestClient, meter: Meter, today: date, club: Database
) -> None:
    address = f"/steward/meters/{meter.id}/calibrations"
    done = {
        "done_on": f"{today}",
        "factor": "1,04",
        "due_on": f"{today + timedelta(days=10)}",
        "calibration_note": "by the maker",
    }
    future = mara.post(address, data=done | {"done_on": f"{today + timedelta(days=1)}"})
    assert future.status_code == 422
    before = mara.post(address, data=done | {"due_on": f"{today - timedelta(days=1)}"})
    assert before.status_code == 422
    assert mara.post(address, data=done).status_code == 303
    with club.read() as db:
        found = meters.calibration_on(db, meter.id or 0, today)
    assert found is not None and found.factor == 1.04
    assert "calibration is due" in mara.get("/steward/meters").text


def test_a_rest_moves_loans_and_tells_each_member(
    mara: TestClient, ivo: TestClient, meter: Meter, today: date
) -> None:
    first = today + timedelta(days=5)
    booked = ivo.post(
        f"/meters/{meter.id}/book",
        data={"from": f"{first}", "to": f"{first + timedelta(days=1)}"},
    )
    rest = {
        "rest_first": f"{first}",
        "rest_last": f"{first + timedelta(days=3)}",
        "rest_reason": "calibration",
        "rest_how": "move",
    }
    assert ivo.post(f"/steward/meters/{meter.id}/rest", data=rest).status_code == 403
    without = mara.post(f"/steward/meters/{meter.id}/rest", data=rest | {"rest_reason": ""})
    assert without.status_code == 422
    assert mara.post(f"/steward/meters/{meter.id}/rest", data=rest).status_code == 303
    assert "calibration" in ivo.get(booked.headers["location"]).text
    assert "rests from" in ivo.get("/messages").text
    taken = ivo.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{first}"})
    assert taken.status_code == 409


def test_the_month_lists_loans_and_rests_for_the_printer(
    mara: TestClient, ivo: TestClient, meter: Meter, today: date
) -> None:
    first = today + timedelta(days=5)
    ivo.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{first}"})
    rest = {"rest_first": f"{first + timedelta(days=2)}", "rest_last": "", "rest_reason": "mending"}
    mara.post(f"/steward/meters/{meter.id}/rest", data=rest)
    shown = mara.get("/steward/meters").text
    assert "resting: mending" in shown and ">Ivo</td>" in shown
    later = mara.get("/steward/meters", params={"from": f"{first + timedelta(days=40)}"}).text
    assert ">Ivo</td>" not in later


def test_a_steward_sends_a_test_message_to_nobody_else(mara: TestClient, ivo: TestClient) -> None:
    assert mara.post("/steward/mail/test").status_code == 303
    assert "A test of the club" in mara.get("/messages").text
    assert "A test of the club" not in ivo.get("/messages").text
    assert ivo.post("/steward/mail/test").status_code == 403


def test_each_meter_keeps_its_own_rests(
    mara: TestClient, meter: Meter, today: date, club: Database
) -> None:
    with club.write() as db:
        other = meters.add_meter(db, name="Old meter", reads="PPFD", immersion_factor=1.0)
    for which in (meter.id, other.id):
        rest = {"rest_first": f"{today}", "rest_last": "", "rest_reason": f"rest of {which}"}
        assert mara.post(f"/steward/meters/{which}/rest", data=rest).status_code == 303
    with club.read() as db:
        rests = meters.rests_of(db, [meter.id or 0, other.id or 0])
    assert {row.meter_id: row.reason for row in rests} == {
        meter.id: f"rest of {meter.id}",
        other.id: f"rest of {other.id}",
    }
    ended = mara.post(f"/steward/meters/{other.id}/rests/{rests[1].id}/end")
    assert ended.status_code == 303
    with club.read() as db:
        assert [row.meter_id for row in meters.rests_of(db, [1, 2])] == [meter.id]


def test_a_lost_meter_gives_everything_back_and_keeps_places(
    mara: TestClient, ivo: TestClient, meter: Meter, today: date, club: Database, cast: Cast
) -> None:
    first = today + timedelta(days=5)
    ivo.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{first}"})
    lost = mara.post(f"/steward/meters/{meter.id}/lost", data={"lost_reason": "left on a bus"})
    assert lost.status_code == 303
    assert "left on a bus" in ivo.get("/messages").text
    assert "It is lost" in ivo.get("/meters").text
    refused = ivo.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{first}"})
    assert refused.status_code == 409
    mara.post(f"/steward/meters/{meter.id}/found")
    again = ivo.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{first}"})
    assert again.status_code == 303
    with club.read() as db:
        states = [row.state for row in loans.loans_of(db, cast.ivo.id or 0, since=today)]
    assert sorted(states) == ["booked", "given_back"]


def test_members_do_not_see_the_stewards_pages(ivo: TestClient, meter: Meter) -> None:
    for address in (
        "/steward/meters",
        "/steward/meters/new",
        f"/steward/meters/{meter.id}",
        f"/steward/meters/{meter.id}/edit",
    ):
        assert ivo.get(address).status_code == 403
    assert ivo.post(f"/steward/meters/{meter.id}/lost").status_code == 403
    assert ivo.post("/steward/mail/1/again").status_code == 403
