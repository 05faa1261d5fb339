"""A mail server receives each message once, whatever runs beside it and whoever restarts."""

import os
import socket
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from sqlmodel import select

from server.db import club_day, loans, members, messages, meters, schema
from server.db.engine import Database, open_database
from server.lending.calendar import Stretch
from server.models import Member, OutgoingMail
from server.settings import Settings
from server.web.lending import mail as post
from server.web.lending.going_round import go_round

ROOT = Path(__file__).parents[3]


class Letterbox:
    """What arrived, and what the server answers: 250, or a refusal."""

    def __init__(self) -> None:
        self.letters: list[EmailMessage] = []
        self.answers: list[str] = []

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        answer = self.answers.pop(0) if self.answers else "250 taken"
        if answer.startswith("250"):
            assert isinstance(envelope.content, bytes)
            letter = message_from_bytes(envelope.content, policy=policy.default)
            assert isinstance(letter, EmailMessage)
            self.letters.append(letter)
        return answer

    def subjects(self) -> Counter[tuple[str, str]]:
        return Counter((str(one["to"]), str(one["subject"])) for one in self.letters)


@pytest.fixture
def letterbox() -> Letterbox:
    return Letterbox()


@pytest.fixture
def mail_port(letterbox: Letterbox) -> Iterator[int]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        port = int(listener.getsockname()[1])
    controller = Controller(letterbox, hostname="127.0.0.1", port=port)
    controller.start()
    yield port
    controller.stop()


both_engines = pytest.mark.parametrize(
    "address",
    ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)],
    indirect=True,
)


@pytest.fixture
def address(request: pytest.FixtureRequest) -> str | None:
    """Of the database; None is the embedded one."""
    if getattr(request, "param", "sqlite") == "sqlite":
        return None
    found = request.getfixturevalue("postgresql")
    assert isinstance(found, str)
    return found


@pytest.fixture
def mailing(tmp_path: Path, mail_port: int, address: str | None) -> Settings:
    return Settings(
        data=tmp_path / "data",
        database_url=address,  # type: ignore[arg-type]  # pydantic makes the secret of it
        smtp_host="127.0.0.1",
        smtp_port=mail_port,
        smtp_security="none",
        mail_from="meters@club.example",
        public_url="https://club.example",
    )


@pytest.fixture
def database(mailing: Settings) -> Iterator[Database]:
    opened = open_like(mailing)
    schema.migrate(opened)
    with opened.write() as db:
        members.make_club(db, name="Test Reef Club", time_zone="Europe/Lisbon")
        for name, role in (("Mara", "steward"), ("Ivo", "member"), ("Tess", "member")):
            email = f"{name.lower()}@club.example"
            members.add_member(db, name=name, email=email, password_hash="-", role=role)
        meters.add_meter(db, name="Blue meter", reads="PPFD", immersion_factor=1.0)
    yield opened
    opened.close()


def open_like(settings: Settings) -> Database:
    url = settings.database_url.get_secret_value() if settings.database_url else None
    return open_database(data=settings.data, url=url)


def book_for_tomorrow(database: Database, email: str) -> date:
    with database.write() as db:
        today = club_day.today(db)
        first = today + timedelta(days=1)
        who = members.member_by_email(db, email)
        assert who is not None and who.id is not None
        _, no = loans.pick(db, 1, who.id, Stretch(first, first), today=today)
    assert no is None
    return first


@both_engines
def test_two_servers_in_threads_and_a_restart_send_each_reminder_once(
    database: Database, mailing: Settings, letterbox: Letterbox
) -> None:
    book_for_tomorrow(database, "ivo@club.example")
    servers = [open_like(mailing) for _ in range(2)]
    with ThreadPoolExecutor(2) as pool:
        for _ in range(3):
            list(pool.map(lambda server: go_round(server, mailing), servers))
    for server in servers:
        server.close()
    restarted = open_like(mailing)
    go_round(restarted, mailing)
    restarted.close()
    assert len(letterbox.letters) == 1
    [letter] = letterbox.letters
    assert letter["to"] == "Ivo <ivo@club.example>"
    assert str(letter["subject"]).startswith("Blue meter: yours from ")
    assert letter["auto-submitted"] == "auto-generated"
    assert letter.get_content_type() == "text/plain"
    assert "https://club.example/meters/1" in letter.get_content()


RUN = """
import sys
from server.settings import Settings
from server.db.backup import open_current
from server.web.lending.going_round import go_round
settings = Settings()
club = open_current(settings)
for _ in range(3):
    go_round(club, settings)
club.close()
"""


@both_engines
def test_two_server_processes_at_once_send_each_reminder_once(
    database: Database, mailing: Settings, letterbox: Letterbox, address: str | None
) -> None:
    book_for_tomorrow(database, "ivo@club.example")
    with database.write() as db:
        for member in db.exec(select(Member)).all():
            for n in range(5):
                assert member.id is not None
                messages.tell(db, member.id, subject=f"News {n}", words="Hello.", link="")
    environment = os.environ | {
        "UNDERLAMP_DATA": str(mailing.data),
        "UNDERLAMP_SMTP_HOST": mailing.smtp_host,
        "UNDERLAMP_SMTP_PORT": str(mailing.smtp_port),
        "UNDERLAMP_SMTP_SECURITY": "none",
        "UNDERLAMP_MAIL_FROM": "meters@club.example",
    }
    if address:
        environment["UNDERLAMP_DATABASE_URL"] = address
    running = [
        subprocess.Popen([sys.executable, "-c", RUN], cwd=ROOT, env=environment) for _ in range(2)
    ]
    assert [one.wait(timeout=90) for one in running] == [0, 0]
    arrived = letterbox.subjects()
    assert set(arrived.values()) == {1}
    assert len(arrived) == 3 * 5 + 1


def test_a_busy_mail_server_is_tried_again_later_and_a_refusal_is_not(
    database: Database,
    mailing: Settings,
    letterbox: Letterbox,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    letterbox.answers = ["451 come back later"]
    with database.write() as db:
        messages.tell(db, 2, subject="News", words="Hello.", link="")
    assert post.send_waiting(database, mailing) == 0
    assert post.send_waiting(database, mailing) == 0, "not before its time"
    later = members.now() + timedelta(minutes=2)
    monkeypatch.setattr(messages, "now", lambda _db: later)
    assert post.send_waiting(database, mailing) == 1
    letterbox.answers = ["550 no such mailbox"]
    with database.write() as db:
        messages.tell(db, 3, subject="More news", words="Hello.", link="")
    assert post.send_waiting(database, mailing) == 0
    with database.read() as db:
        [(failed, message, member)] = messages.mail_needing_a_steward(db)
    assert (failed.state, message.subject, member.name) == ("failed", "More news", "Tess")
    assert "550" in failed.last_error
    with database.write() as db:
        assert messages.send_again(db, failed.id or 0)
    assert post.send_waiting(database, mailing) == 1
    assert set(letterbox.subjects().values()) == {1}


@both_engines
def test_a_server_that_died_before_handing_over_is_made_up_for_and_one_during_it_is_not(
    database: Database,
    mailing: Settings,
    letterbox: Letterbox,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with database.write() as db:
        for subject in ("One", "Two"):
            messages.tell(db, 2, subject=subject, words="Hello.", link="")
    with database.write() as db:
        messages.put_into_post(db)
    with database.write() as db:
        claimed = messages.claim_mail(db)  # and then this server dies
    with database.write() as db:
        handing = messages.claim_mail(db)
        assert handing is not None
        assert messages.begin_handing(db, handing)  # and so does this one
    assert claimed is not None
    assert post.send_waiting(database, mailing) == 0, "both are still claimed"
    later = members.now() + messages.CLAIM_FOR + timedelta(minutes=1)
    monkeypatch.setattr(messages, "now", lambda _db: later)
    assert post.send_waiting(database, mailing) == 1
    assert [str(one["subject"]) for one in letterbox.letters] == ["One"]
    with database.read() as db:
        states = {row.id: row.state for row in db.exec(select(OutgoingMail)).all()}
    assert states == {claimed.id: "sent", handing.id: "unsure"}


def test_a_mail_server_that_is_away_loses_nothing(
    database: Database, mailing: Settings, letterbox: Letterbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    away = mailing.model_copy(update={"smtp_port": 1})
    with database.write() as db:
        messages.tell(db, 2, subject="News", words="Hello.", link="")
    assert post.send_waiting(database, away) == 0
    later = members.now() + timedelta(minutes=2)
    monkeypatch.setattr(messages, "now", lambda _db: later)
    assert post.send_waiting(database, mailing) == 1


def test_nothing_of_last_month_is_sent_when_mail_is_set_up_today(
    database: Database, mailing: Settings, letterbox: Letterbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    with database.write() as db:
        messages.tell(db, 2, subject="Old news", words="Hello.", link="")
    later = members.now() + timedelta(days=30)
    monkeypatch.setattr(messages, "now", lambda _db: later)
    assert post.send_waiting(database, mailing) == 0
    assert letterbox.letters == []


def test_line_breaks_in_names_cannot_add_headers(
    database: Database, mailing: Settings, letterbox: Letterbox
) -> None:
    with database.write() as db:
        messages.tell(db, 2, subject="News\r\nBcc: all@club.example", words="Hi.", link="")
    assert post.send_waiting(database, mailing) == 1
    [letter] = letterbox.letters
    assert letter["bcc"] is None
    assert letter["subject"] == "News Bcc: all@club.example"
