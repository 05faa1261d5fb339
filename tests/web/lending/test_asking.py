"""Pages of meters: picking days, the queue, offers, giving back, the rule."""

from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import club_day, loans
from server.db.engine import Database
from server.models import Meter
from tests.conftest import Cast


@pytest.fixture
def today(club: Database) -> date:
    with club.read() as db:
        return club_day.today(db)


def book(browser: TestClient, meter: Meter, first: date, days: int) -> str:
    last = first + timedelta(days=days - 1)
    answer = browser.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{last}"})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def join(browser: TestClient, meter: Meter, earliest: date, days: int, **more: str) -> None:
    asked = {"purpose": "routine", "days": f"{days}", "earliest": f"{earliest}", "latest": ""}
    answer = browser.post(f"/meters/{meter.id}/join", data=asked | more)
    assert answer.status_code == 303, answer.text


def test_a_club_without_meters_is_told_what_comes_here(ivo: TestClient, mara: TestClient) -> None:
    assert "No meter yet" in ivo.get("/meters").text
    assert "Add a meter" in mara.get("/meters").text


def test_days_are_picked_shown_and_given_back_in_part(
    ivo: TestClient, meter: Meter, today: date
) -> None:
    first = today + timedelta(days=4)
    loan = book(ivo, meter, first, 3)
    assert "booked" in ivo.get(loan).text
    last = first + timedelta(days=2)
    given = ivo.post(f"{loan}/give-back", data={"days": f"{last}/{last}"})
    assert given.status_code == 303
    shown = ivo.get("/meters").text
    assert "You" in shown and "booked" in shown
    again = ivo.post(f"/meters/{meter.id}/book", data={"from": f"{last}", "to": f"{last}"})
    assert again.status_code == 303


def test_a_taken_day_is_409_keeps_what_was_typed_and_offers_the_nearest_days(
    ivo: TestClient, tess: TestClient, meter: Meter, today: date
) -> None:
    first = today + timedelta(days=4)
    book(ivo, meter, first, 3)
    typed = {"from": f"{first}", "to": f"{first + timedelta(days=1)}"}
    refused = tess.post(f"/meters/{meter.id}/book", data=typed)
    assert refused.status_code == 409
    assert f'value="{first}"' in refused.text
    assert "is taken" in refused.text and "instead</button>" in refused.text


def test_pressing_the_button_twice_books_once(ivo: TestClient, meter: Meter, today: date) -> None:
    first = today + timedelta(days=4)
    assert book(ivo, meter, first, 2) == book(ivo, meter, first, 2)


@pytest.mark.parametrize(
    "typed",
    [
        {},
        {"from": "", "to": ""},
        {"from": "tomorrow", "to": "later"},
        {"from": "2026-13-45", "to": "2026-12-01"},
        {"from": "99999999999-01-01", "to": "0000-00-00"},
        {"from": "1999-01-01", "to": "1999-01-02"},
        {"from": "2100-01-05", "to": "2100-01-01"},
        {"from": "<script>alert(1)</script>", "to": "∞"},
    ],
)
def test_days_that_make_no_sense_come_back_in_place(
    ivo: TestClient, meter: Meter, typed: dict[str, str]
) -> None:
    refused = ivo.post(f"/meters/{meter.id}/book", data=typed)
    assert refused.status_code == 422
    assert "There is a problem" in refused.text
    assert "<script>alert" not in refused.text


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("days", "0"),
        ("days", "NaN"),
        ("days", "1e9"),
        ("days", "2.5"),
        ("days", "8"),
        ("earliest", ""),
        ("earliest", "2020-01-01"),
        ("latest", "soon"),
        ("purpose", "because"),
    ],
)
def test_a_wish_that_makes_no_sense_comes_back_in_place(
    ivo: TestClient, meter: Meter, today: date, field: str, value: str
) -> None:
    asked = {"purpose": "routine", "days": "3", "earliest": f"{today}", "latest": ""}
    refused = ivo.post(f"/meters/{meter.id}/join", data=asked | {field: value})
    assert refused.status_code == 422
    assert f'id="{field}-wrong"' in refused.text or f'href="#{field}"' in refused.text


def test_the_queue_offers_days_and_says_why_one_goes_first(
    ivo: TestClient, tess: TestClient, meter: Meter, cast: Cast, club: Database, today: date
) -> None:
    # Ivo has had it; then he asks before Tess, and Tess goes first.
    book(ivo, meter, today + timedelta(days=1), 7)
    far = today + timedelta(days=30)
    join(ivo, meter, far, 3)
    join(tess, meter, far, 3)
    shown = tess.get(f"/meters/{meter.id}").text
    assert "You are number 1 in the queue" in shown
    assert "One asked before you and had it for 7 days in the last half year" in shown
    assert "You are number 2 in the queue" in ivo.get(f"/meters/{meter.id}").text


def test_an_offer_is_taken_from_the_meters_page_and_another_declined(
    ivo: TestClient, tess: TestClient, meter: Meter, cast: Cast, club: Database, today: date
) -> None:
    join(ivo, meter, today, 3)
    join(tess, meter, today, 2)
    with club.read() as db:
        assert cast.ivo.id is not None and cast.tess.id is not None
        [to_ivo] = loans.loans_of(db, cast.ivo.id, since=today)
        [to_tess] = loans.loans_of(db, cast.tess.id, since=today)
    assert "is offered to you" in ivo.get("/meters").text
    assert tess.post(f"/loans/{to_ivo.id}/take").status_code == 404
    assert ivo.post(f"/loans/{to_ivo.id}/take").status_code == 303
    assert ivo.post(f"/loans/{to_ivo.id}/take").status_code == 422
    assert tess.post(f"/loans/{to_tess.id}/decline").status_code == 303
    with club.read() as db:
        states = [loan.state for loan in loans.loans_of(db, cast.tess.id, since=today)]
    assert states == ["declined", "offered"]


def test_a_steward_moves_a_loan_with_a_reason_the_member_reads(
    ivo: TestClient, tess: TestClient, mara: TestClient, meter: Meter, today: date
) -> None:
    loan = book(ivo, meter, today + timedelta(days=3), 2)
    to = {
        "from": f"{today + timedelta(days=9)}",
        "to": f"{today + timedelta(days=10)}",
        "reason": "The club shows tanks that weekend.",
    }
    assert tess.post(f"{loan}/move", data=to).status_code == 403
    assert mara.post(f"{loan}/move", data=to | {"reason": ""}).status_code == 422
    assert mara.post(f"{loan}/move", data=to).status_code == 303
    assert "The club shows tanks that weekend." in ivo.get(loan).text
    assert "The club shows tanks that weekend." in ivo.get("/messages").text
    assert "The club shows tanks that weekend." not in tess.get("/messages").text


def test_only_stewards_set_the_rule_and_the_page_follows_it(
    ivo: TestClient, mara: TestClient
) -> None:
    numbers = {
        "longest_loan_days": "5",
        "grace_days": "1",
        "ahead_days": "60",
        "open_requests_each": "1",
        "picked_days_each": "10",
        "window_days": "60",
        "window_most_days": "9",
        "offer_ahead_days": "7",
        "answer_days": "3",
        "unanswered_offers": "2",
        "patience_days": "30",
        "trouble_days": "3",
    }
    assert ivo.post("/meters/rule", data=numbers).status_code == 403
    wrong = mara.post("/meters/rule", data=numbers | {"grace_days": "1e5"})
    assert wrong.status_code == 422 and 'value="1e5"' in wrong.text
    assert mara.post("/meters/rule", data=numbers).status_code == 303
    shown = ivo.get("/meters/rule").text
    assert "One loan lasts at most 5 days." in shown
    assert "1 day is kept free" in shown
    assert "Of any 60 days in a row one member holds the club&#39;s meters for at most 9" in shown
    assert "by Mara" in shown


def test_animals_in_trouble_go_ahead_when_a_steward_agrees(
    ivo: TestClient, tess: TestClient, mara: TestClient, meter: Meter, today: date, club: Database
) -> None:
    far = today + timedelta(days=30)
    join(ivo, meter, far, 3)
    join(tess, meter, far, 6, purpose="trouble")
    with club.read() as db:
        request_id = loans.open_requests(db)[1].id
    assert "You are number 2" in tess.get(f"/meters/{meter.id}").text
    assert ivo.post(f"/requests/{request_id}/agree", data={"agreed": "yes"}).status_code == 403
    assert mara.post(f"/requests/{request_id}/agree", data={"agreed": "yes"}).status_code == 303
    shown = tess.get(f"/meters/{meter.id}").text
    assert "You are number 1" in shown and "your animals are in trouble" in shown
    assert "4 days for animals in trouble" in shown


def test_history_says_where_the_meter_was(ivo: TestClient, meter: Meter, today: date) -> None:
    book(ivo, meter, today, 2)
    where = ivo.get(f"/meters/{meter.id}/history", params={"day": f"{today}"}).text
    assert "it was with Ivo" in where and "No handover is on record" in where
    before = f"{today - timedelta(days=3)}"
    nobody = ivo.get(f"/meters/{meter.id}/history", params={"day": before}).text
    assert "nobody had it on loan" in nobody
    assert ivo.get(f"/meters/{meter.id}/history", params={"day": "x"}).status_code == 422


def test_visitors_sign_in_first_and_unknown_things_are_not_there(
    client: TestClient, ivo: TestClient, meter: Meter
) -> None:
    for address in ("/meters", f"/meters/{meter.id}", "/meters/rule", "/loans/1"):
        assert client.get(address).status_code == 303
    for address in ("/meters/99", "/loans/99", "/meters/99/history", "/meters/9999999999999999999"):
        assert ivo.get(address).status_code == 404
