"""The first page: a welcome for visitors, what waits for a member."""

from datetime import timedelta

from fastapi.testclient import TestClient

from server.db import club_day, meters
from server.db.engine import Database
from server.db.members import now
from server.models import Loan, LoanDay
from tests.conftest import Cast

TYPED = {"name": "Lagoon", "length": "90", "width": "45", "depth": "45"}


def lend(club: Database, member_id: int | None, *, first: int, last: int, state: str) -> None:
    with club.write() as db:
        meter = next(iter(meters.all_meters(db)), None) or meters.add_meter(
            db, name="Green case", reads="PPFD", immersion_factor=1
        )
        today = club_day.today(db)
        loan = Loan(
            meter_id=meter.id or 0,
            member_id=member_id,
            first_day=today + timedelta(days=first),
            last_day=today + timedelta(days=last),
            state=state,
            created_at=now(),
        )
        db.add(loan)
        db.flush()
        for day in range(first, last + 1):
            taken = today + timedelta(days=day)
            db.add(LoanDay(meter_id=meter.id or 0, day=taken, loan_id=loan.id or 0))


def test_a_visitor_reads_what_this_is_and_may_use_the_calculators(client: TestClient) -> None:
    answer = client.get("/")
    assert answer.status_code == 200
    assert 'href="/calculators"' in answer.text and 'href="/sign-in"' in answer.text


def test_a_new_member_is_led_to_their_first_tank(ivo: TestClient) -> None:
    answer = ivo.get("/").text
    assert "Start with your tank" in answer and 'href="/tanks/new"' in answer


def test_an_unfinished_tank_asks_for_what_it_lacks(ivo: TestClient, tess: TestClient) -> None:
    ivo.post("/tanks/new", data=TYPED)
    answer = ivo.get("/").text
    assert "1 thing to do." in answer and "Hang a lamp over Lagoon" in answer
    assert "Lagoon" not in tess.get("/").text


def test_a_loan_in_hand_says_until_when_and_an_overdue_one_comes_first(
    ivo: TestClient, mara: TestClient, club: Database, cast: Cast
) -> None:
    lend(club, cast.ivo.id, first=-5, last=-1, state="out")
    lend(club, cast.ivo.id, first=6, last=8, state="booked")
    page = ivo.get("/").text
    assert page.index("Give the Green case back") < page.index("Fetch the Green case")
    assert "Ask after the Green case" in mara.get("/").text


def test_who_has_the_meter_today_is_said(ivo: TestClient, tess: TestClient, club, cast) -> None:
    lend(club, cast.tess.id, first=-1, last=1, state="out")
    assert "is with Tess until" in ivo.get("/").text
    assert "is with you until" in tess.get("/").text


def test_a_meter_kept_past_its_day_is_not_called_free(
    ivo: TestClient, tess: TestClient, club, cast
) -> None:
    """Seen: a meter that is with me "is free today"."""
    lend(club, cast.ivo.id, first=-5, last=-1, state="out")
    assert "is still with you; it was due back on" in ivo.get("/").text
    page = tess.get("/").text
    assert "is still with Ivo; it was due back on" in page and "is free today" not in page
