"""The label's page: from hand to hand, back to the keeper, and late."""

import re
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import club_day, loans, meters
from server.db.engine import Database
from server.models import Meter


class Clock:
    """The club's day, moved by the test."""

    def __init__(self, day: date) -> None:
        self.day = day

    def go_on(self, days: int) -> date:
        self.day += timedelta(days=days)
        return self.day


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    found = Clock(date(2027, 3, 1))
    monkeypatch.setattr(club_day, "today", lambda db: found.day)
    return found


@pytest.fixture
def settle(club: Database, meter: Meter, clock: Clock) -> Callable[[], None]:
    def day_begins() -> None:
        assert meter.id is not None
        with club.write() as db:
            loans.settle_meter(db, meter.id, today=clock.day)

    return day_begins


def book(browser: TestClient, meter: Meter, first: date, days: int) -> str:
    last = first + timedelta(days=days - 1)
    answer = browser.post(f"/meters/{meter.id}/book", data={"from": f"{first}", "to": f"{last}"})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


ALL_HERE = {"here": ["0", "1", "2"], "note": ""}


def test_the_label_leads_to_the_handover_page_and_tells_visitors_nothing(
    client: TestClient, ivo: TestClient, meter: Meter
) -> None:
    there = client.get(f"/m/{meter.label_code}")
    assert there.headers["location"] == f"/meters/{meter.id}/handover"
    assert client.get(there.headers["location"]).headers["location"].startswith("/sign-in")
    assert "Blue meter" in ivo.get(there.headers["location"]).text
    assert client.get("/m/nothing").status_code == 404


def test_the_printed_label_carries_a_code_and_the_same_short_address(
    ivo: TestClient, meter: Meter
) -> None:
    shown = ivo.get(f"/meters/{meter.id}/label").text
    assert f"127.0.0.1:8000/m/{meter.label_code}" in shown  # nobody names the server here
    path = re.search(r'<path d="(M[^"]+)"', shown)
    assert path is not None and len(path.group(1)) > 500


def test_a_meter_goes_from_keeper_to_member_to_member_when_both_confirm(
    ivo: TestClient, tess: TestClient, meter: Meter, clock: Clock, club: Database
) -> None:
    address = f"/meters/{meter.id}/handover"
    book(ivo, meter, clock.day, 3)
    book(tess, meter, clock.day + timedelta(days=3), 2)
    assert tess.post(f"{address}/receive", data=ALL_HERE).status_code == 404
    assert ivo.post(f"{address}/receive", data=ALL_HERE).status_code == 303
    assert "Ivo has it" in tess.get("/meters").text
    clock.go_on(3)
    assert ivo.post(f"{address}/give", data=ALL_HERE).status_code == 303
    assert "Waiting for Tess" in ivo.get(address).text
    assert "Tess has it, due" not in ivo.get("/meters").text
    missing = {"here": ["0", "1"], "note": "Scratch on the display."}
    assert tess.post(f"{address}/receive", data=missing).status_code == 303
    assert "Tess has it, due" in ivo.get("/meters").text
    with club.read() as db:
        [noted] = meters.condition_of(db, meter.id or 0)
        [last, first] = meters.handovers_of(db, meter.id or 0)
    assert noted.words == "Missing from the case: spare battery. Scratch on the display."
    assert (last.missing, last.done_on) == ("spare battery", clock.day)
    assert first.from_loan_id is None


def test_a_stranger_cannot_confirm_for_others_and_a_steward_can(
    ivo: TestClient, tess: TestClient, mara: TestClient, meter: Meter, clock: Clock
) -> None:
    address = f"/meters/{meter.id}/handover"
    book(ivo, meter, clock.day, 2)
    for side in ("give", "receive"):
        assert tess.post(f"{address}/{side}", data=ALL_HERE).status_code == 404
    assert mara.post(f"{address}/receive", data=ALL_HERE).status_code == 303
    for side in ("give", "back"):
        assert tess.post(f"{address}/{side}", data=ALL_HERE).status_code == 404
    late = tess.post(f"{address}/late", data={"until": f"{clock.day + timedelta(days=5)}"})
    assert late.status_code == 404


def test_being_late_moves_those_behind_only_as_far_as_needed_and_tells_them(
    ivo: TestClient, tess: TestClient, mara: TestClient, meter: Meter, clock: Clock
) -> None:
    address = f"/meters/{meter.id}/handover"
    start = clock.day
    book(ivo, meter, start, 2)
    behind = book(tess, meter, start + timedelta(days=2), 2)
    untouched = book(mara, meter, start + timedelta(days=10), 2)
    ivo.post(f"{address}/receive", data=ALL_HERE)
    until = start + timedelta(days=3)
    said = ivo.post(f"{address}/late", data={"until": f"{until}"})
    assert said.status_code == 303
    told = ivo.get(said.headers["location"].split("#")[0]).text
    assert "Who was told" in told and "<strong>Tess</strong>" in told
    assert "<strong>Mara</strong>" not in told
    assert "Fri 5 March to Sat 6 March" in tess.get(behind).text
    assert "Thu 11 March to Fri 12 March" in mara.get(untouched).text
    assert "Your days with Blue meter move" in tess.get("/messages").text
    again = ivo.post(f"{address}/late", data={"until": "soon"})
    assert again.status_code == 422 and 'value="soon"' in again.text


def test_a_meter_that_does_not_come_back_pushes_day_by_day(
    ivo: TestClient,
    tess: TestClient,
    meter: Meter,
    clock: Clock,
    settle: Callable[[], None],
) -> None:
    address = f"/meters/{meter.id}/handover"
    book(ivo, meter, clock.day, 2)
    behind = book(tess, meter, clock.day + timedelta(days=2), 2)
    ivo.post(f"{address}/receive", data=ALL_HERE)
    clock.go_on(2)
    settle()
    assert "Wed 3 March to Thu 4 March" in tess.get(behind).text
    clock.go_on(1)
    settle()
    settle()
    assert "Thu 4 March to Fri 5 March" in tess.get(behind).text
    assert tess.get("/messages").text.count("your days have moved") == 1
    assert "overdue" in ivo.get("/meters").text


def test_bringing_it_back_early_offers_the_free_days_to_whoever_waits(
    ivo: TestClient, tess: TestClient, meter: Meter, clock: Clock
) -> None:
    address = f"/meters/{meter.id}/handover"
    book(ivo, meter, clock.day, 7)
    ivo.post(f"{address}/receive", data=ALL_HERE)
    asked = {
        "purpose": "routine",
        "days": "3",
        "earliest": f"{clock.day}",
        "latest": f"{clock.day + timedelta(days=6)}",
    }
    tess.post(f"/meters/{meter.id}/join", data=asked)
    assert "there are no days by" in tess.get(f"/meters/{meter.id}").text
    clock.go_on(1)
    assert ivo.post(f"{address}/back", data=ALL_HERE).status_code == 303
    assert "is offered to you, Wed 3 March to Fri 5 March" in tess.get("/meters").text


def test_history_follows_who_really_had_it(
    ivo: TestClient, tess: TestClient, meter: Meter, clock: Clock
) -> None:
    address = f"/meters/{meter.id}/handover"
    day_one = clock.day
    book(ivo, meter, day_one, 3)
    ivo.post(f"{address}/receive", data=ALL_HERE)
    clock.go_on(1)
    ivo.post(f"{address}/back", data=ALL_HERE)
    history = f"/meters/{meter.id}/history"
    assert "it was with Ivo" in tess.get(history, params={"day": f"{clock.day}"}).text
    free = tess.get(history, params={"day": f"{clock.day + timedelta(days=1)}"}).text
    assert "nobody had it on loan" in free
