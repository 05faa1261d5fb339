"""Whatever is typed into the forms of meters is refused in place, and never breaks the server."""

from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import club_day
from server.db.engine import Database
from server.models import Meter

NASTY = (
    "",
    "0",
    "NaN",
    "1e999",
    "99999999999999999999999",
    "2026-02-30",
    "9999-12-31",
    "2199-12-31",
    "1/2/3/4",
    "2027-01-01/2026-01-01",
    "\x00",
    "\r\nBcc: x@y",
    "<script>alert(1)</script>",
    "٣",
    "🐠" * 500,
)
FORMS = {
    "/meters/1/book": ("from", "to"),
    "/meters/1/join": ("purpose", "days", "earliest", "latest"),
    "/meters/1/condition": ("condition",),
    "/meters/1/handover/give": ("here", "note"),
    "/meters/1/handover/receive": ("here", "note"),
    "/meters/1/handover/back": ("here", "note"),
    "/meters/1/handover/late": ("until",),
    "/loans/1/take": (),
    "/loans/1/decline": ("not_before",),
    "/loans/1/give-back": ("days",),
    "/loans/1/move": ("from", "to", "reason"),
    "/requests/1/leave": (),
    "/requests/1/agree": ("agreed",),
    "/meters/rule": ("longest_loan_days", "grace_days", "patience_days"),
    "/steward/meters/new": ("name", "reads", "immersion_factor", "case_contents", "keeper"),
    "/steward/meters/1/edit": ("name", "reads", "immersion_factor", "case_contents", "keeper"),
    "/steward/meters/1/calibrations": ("done_on", "factor", "due_on", "calibration_note"),
    "/steward/meters/1/rest": ("rest_first", "rest_last", "rest_reason", "rest_how"),
    "/steward/meters/1/rests/1/end": (),
    "/steward/meters/1/lost": ("lost_reason",),
}


@pytest.fixture
def today(club: Database) -> date:
    with club.read() as db:
        return club_day.today(db)


@pytest.mark.parametrize("address", FORMS)
def test_nasty_words_in_every_field_never_break_the_server(
    mara: TestClient, meter: Meter, today: date, address: str
) -> None:
    # Mara, who may do everything, has a loan in her hands and a place in the queue.
    last = today + timedelta(days=3)
    mara.post("/meters/1/book", data={"from": f"{today}", "to": f"{last}"})
    mara.post("/meters/1/handover/receive", data={"here": "0"})
    wish = {"purpose": "trouble", "days": "2", "earliest": f"{today + timedelta(days=30)}"}
    mara.post("/meters/1/join", data=wish)
    fields = FORMS[address]
    for nasty in NASTY:
        for field in fields or ("nothing",):
            sent = dict.fromkeys(fields, f"{last}") | {field: nasty}
            answer = mara.post(address, data=sent)
            assert answer.status_code in (303, 404, 409, 422), (field, nasty[:40])
            assert "<script>alert(1)" not in answer.text
    for page in ("/meters", "/meters/1", "/meters/1/handover", "/meters/1/history", "/messages"):
        shown = mara.get(page)
        assert shown.status_code == 200
        assert "<script>alert(1)" not in shown.text


@pytest.mark.parametrize("nasty", NASTY)
def test_nasty_words_in_addresses_never_break_the_server(
    mara: TestClient, meter: Meter, nasty: str
) -> None:
    for address, name in (
        ("/meters", "from"),
        ("/meters/1", "from"),
        ("/meters/1", "to"),
        ("/meters/1/history", "day"),
        ("/meters/1/handover", "since"),
        ("/steward/meters", "from"),
    ):
        assert mara.get(address, params={name: nasty[:2000]}).status_code in (200, 422)
