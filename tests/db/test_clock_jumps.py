"""A clock that jumps ends nothing: the club waits for a sane clock or a steward's word."""

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text
from sqlmodel import select

from server.db import club_clock, club_day, loans, members, messages, meters
from server.db.engine import Database
from server.lending.book import Purpose
from server.lending.calendar import Stretch
from server.models import BelievedTime, Loan, OutgoingMail, SQLModel
from server.settings import Settings
from server.web.lending.going_round import go_round
from tests.conftest import Cast

START = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


class Clock:
    """The machine's clock, set by hand."""

    def __init__(self) -> None:
        self.at = START

    def jump(self, **by: float) -> None:
        self.at += timedelta(**by)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch, club: Database, settings: Settings) -> Clock:
    made = Clock()
    monkeypatch.setattr(club_clock, "machine_time", lambda: made.at)
    go_round(club, settings)
    return made


@pytest.fixture
def lending(club: Database, cast: Cast, clock: Clock, settings: Settings) -> int:
    """A meter out with Ivo, offered to Tess afterwards, booked by Mara later."""
    with club.write() as db:
        meter = meters.add_meter(db, name="Blue meter", reads="PPFD", immersion_factor=1.0)
        today = club_day.today(db)
        first = today + timedelta(days=1)
        two_days = Stretch(first, first + timedelta(days=1))
        loans.pick(db, meter.id, cast.ivo.id, two_days, today=today)
        loans.join(
            db,
            meter,
            cast.tess.id,
            earliest=today,
            latest=None,
            days=2,
            purpose=Purpose.ROUTINE,
            today=today,
        )
    go_round(club, settings)
    return meter.id


def everything(club: Database) -> dict[str, list[tuple[object, ...]]]:
    with club.read() as db:
        return {
            name: sorted((tuple(row) for row in db.connection().execute(table.select())), key=repr)
            for name, table in SQLModel.metadata.tables.items()
        }


@pytest.mark.parametrize("days", [400, 4, -1, -400])
def test_a_jump_changes_nothing_and_ends_nothing(
    club: Database, settings: Settings, lending: int, clock: Clock, ivo: TestClient, days: int
) -> None:
    before = everything(club)
    assert before["loan"] and before["loanrequest"]
    clock.jump(days=days)
    go_round(club, settings)
    assert everything(club) == before
    assert ivo.get("/account").status_code == 200, "still signed in"
    assert ivo.get(f"/meters/{lending}").status_code == 200
    clock.jump(days=-days)
    go_round(club, settings)
    assert everything(club) == before


def test_without_the_wait_the_same_jump_would_have_ended_the_loan(
    club: Database, settings: Settings, lending: int, clock: Clock, monkeypatch
) -> None:
    before = everything(club)["loan"]
    monkeypatch.setattr(club_clock, "MOST_AHEAD", timedelta(days=9999))
    clock.jump(days=400)
    go_round(club, settings)
    assert everything(club)["loan"] != before


def test_a_hundred_jumps_there_and_back_leave_the_club_as_it_was(
    club: Database, settings: Settings, lending: int, clock: Clock, ivo: TestClient
) -> None:
    drawn = random.Random(400)
    before = everything(club)
    for _ in range(100):
        there = drawn.choice((-1, 1)) * drawn.uniform(3.01, 4000)
        clock.jump(days=there)
        go_round(club, settings)
        clock.jump(days=-there)
    assert everything(club) == before
    assert ivo.get("/account").status_code == 200


def test_a_stewards_word_lets_the_club_go_on(
    club: Database, settings: Settings, lending: int, clock: Clock, mara: TestClient
) -> None:
    assert "clock has jumped" not in mara.get("/steward").text
    clock.jump(days=20)
    assert "clock has jumped" in mara.get("/steward").text
    page = mara.get("/steward/clock").text
    assert "22 March 2026" in page and "2 March 2026" in page
    assert mara.post("/steward/clock", data={"shown": "2026-03-20"}).status_code == 409
    assert mara.post("/steward/clock", data={"shown": "2026-03-22"}).status_code == 303
    with club.read() as db:
        assert str(club_day.today(db)) == "2026-03-22"


def test_only_a_steward_may_say_so(ivo: TestClient, clock: Clock, club: Database) -> None:
    clock.jump(days=20)
    assert ivo.post("/steward/clock", data={"shown": "2026-03-22"}).status_code == 403
    with club.read() as db:
        assert club_clock.waiting_at(db) == START


def test_time_that_passes_is_no_jump(club: Database, settings: Settings, clock: Clock) -> None:
    for _ in range(40):
        clock.jump(days=2.5)
        go_round(club, settings)
    with club.read() as db:
        assert club_clock.waiting_at(db) is None
        assert club_clock.now(db) == START + timedelta(days=100)


def test_letters_are_neither_dropped_nor_put_off_by_a_jump(
    club: Database, clock: Clock, cast: Cast
) -> None:
    with club.write() as db:
        messages.tell(db, cast.ivo.id, subject="News", words="Hello.", link="")
        messages.put_into_post(db)
    clock.jump(days=400)
    with club.write() as db:
        mail = messages.claim_mail(db)
        assert mail is not None
        messages.mail_failed(db, mail, "no answer")
    with club.read() as db:
        [waiting] = db.exec(select(OutgoingMail)).all()
    assert waiting.next_try_at < START + timedelta(hours=1)


def test_the_time_in_a_backup_is_no_jump(club: Database, clock: Clock) -> None:
    with club.write() as db:
        club_clock.forget(db)
    with club.read() as db:
        assert db.get(BelievedTime, 1) is None
    clock.jump(days=400)
    with club.write() as db:
        assert club_clock.go_on(db)


def test_a_visit_writes_nothing_and_is_noted_all_the_same(
    club: Database, clock: Clock, app, ivo: TestClient, token_of: Callable, cast: Cast
) -> None:
    bearer = token_of(cast.ivo)
    clock.jump(minutes=20)
    before = everything(club)
    assert ivo.get("/account").status_code == 200
    assert TestClient(app).get("/api/tanks", headers=bearer).status_code == 200
    assert everything(club) == before
    app.state.seen.write(club)
    with club.read() as db:
        run = db.connection().execute
        asked = "SELECT last_seen_at FROM signin UNION SELECT last_used_at FROM accesstoken"
        seen = run(text(asked))
        assert {str(row[0])[:16] for row in seen} == {"2026-03-01 12:20"}
        assert db.exec(select(Loan)).all() == [] and members.is_set_up(db)
