"""Many want the same days at once, over real HTTP: a day has one holder on either engine."""

import threading
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import text

from server.db import club_day, loans, members, meters, schema
from server.db.engine import Database, open_database
from server.lending import queue
from server.settings import Settings
from server.web.app import create_app
from tests.conftest import serving

CLIENTS = 64
FOUGHT_DAYS = 20


@pytest.fixture(
    params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)],
)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    url = request.getfixturevalue("postgresql") if request.param == "postgresql" else None
    opened = open_database(data=tmp_path / "race", url=url)
    schema.migrate(opened)
    yield opened
    opened.close()


@pytest.fixture
def tokens(database: Database) -> list[str]:
    with database.write() as db:
        members.make_club(db, name="Race Club", time_zone="Pacific/Apia")
        meters.add_meter(db, name="Blue meter", reads="PPFD", immersion_factor=1.0)
        found = []
        for n in range(CLIENTS):
            member = members.add_member(
                db, name=f"M{n}", email=f"m{n}@club.example", password_hash="-", role="member"
            )
            assert member.id is not None
            found.append(members.make_access_token(db, member_id=member.id, name="race"))
    return found


@pytest.fixture
def race_app(database: Database, tmp_path: Path) -> FastAPI:
    return create_app(Settings(data=tmp_path / "race"), club=database)


@pytest.fixture
def first_day(database: Database) -> date:
    with database.read() as db:
        return club_day.today(db) + timedelta(days=5)


def fight(
    address: str, tokens: list[str], wanted: dict[str, list[date]]
) -> list[tuple[date, httpx.Response]]:
    """Every client starts on the same signal and asks for its days one after the other."""
    start = threading.Barrier(len(tokens))

    def client(token: str) -> list[tuple[date, httpx.Response]]:
        headers = {"Authorization": f"Bearer {token}"}
        with httpx.Client(base_url=address, headers=headers, timeout=60) as http:
            start.wait()
            return [
                (day, http.post("/api/meters/1/loans", json={"from": f"{day}", "to": f"{day}"}))
                for day in wanted[token]
            ]

    with ThreadPoolExecutor(len(tokens)) as pool:
        return [each for answers in pool.map(client, tokens) for each in answers]


def at_once(address: str, cookie: str, path: str, data: dict[str, str], times: int) -> Counter[int]:
    """The same form sent so many times on one signal; counts the answers."""
    start = threading.Barrier(times)

    def send(_: int) -> int:
        with httpx.Client(
            base_url=address, cookies={"underlamp_sign_in": cookie}, headers={"Origin": address}
        ) as http:
            start.wait()
            return http.post(path, data=data, timeout=60).status_code

    with ThreadPoolExecutor(times) as pool:
        return Counter(pool.map(send, range(times)))


def holders(database: Database) -> Counter[str]:
    with database.read() as db:
        rows = db.execute(text("SELECT day FROM loanday")).all()
    return Counter(str(day) for (day,) in rows)


def test_32_clients_want_one_day_and_one_gets_it(
    race_app: FastAPI, database: Database, tokens: list[str], first_day: date
) -> None:
    some = tokens[:32]
    with serving(race_app) as address:
        answers = fight(address, some, {token: [first_day] for token in some})
    statuses = Counter(answer.status_code for _, answer in answers)
    assert statuses == {201: 1, 409: 31}
    assert holders(database) == {str(first_day): 1}


def test_64_clients_fight_for_20_days_and_each_day_has_one_holder(
    race_app: FastAPI, database: Database, tokens: list[str], first_day: date
) -> None:
    fought = [first_day + timedelta(days=n) for n in range(FOUGHT_DAYS)]
    wanted = {
        token: [fought[(n + 7 * k) % FOUGHT_DAYS] for k in range(3)]
        for n, token in enumerate(tokens)
    }
    with serving(race_app) as address:
        answers = fight(address, tokens, wanted)
    won = Counter(day for day, answer in answers if answer.status_code == 201)
    assert won == dict.fromkeys(fought, 1)
    assert holders(database) == {str(day): 1 for day in fought}
    lost = [answer for _, answer in answers if answer.status_code != 201]
    assert len(lost) == 3 * CLIENTS - FOUGHT_DAYS
    for answer in lost:
        assert answer.status_code == 409
        nearest = answer.json()["nearest_free"]
        assert nearest["from"] == nearest["to"]


def test_the_key_of_the_day_rows_holds_when_the_rules_are_blind(
    race_app: FastAPI,
    database: Database,
    tokens: list[str],
    first_day: date,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def see_nothing(*_: object, **__: object) -> None:
        return None

    monkeypatch.setattr(queue, "_taken", see_nothing)
    some = tokens[:16]
    with serving(race_app) as address:
        answers = fight(address, some, {token: [first_day] for token in some})
    assert Counter(answer.status_code for _, answer in answers) == {201: 1, 409: 15}
    assert holders(database) == {str(first_day): 1}


def test_one_member_sending_everything_eight_times_joins_once_and_takes_once(
    race_app: FastAPI, database: Database, tokens: list[str], first_day: date
) -> None:
    with database.write() as db:
        member = members.member_by_email(db, "m0@club.example")
        assert member is not None and member.id is not None
        cookie = members.sign_in(db, member, device="race")
        member_id = member.id
    wish = {"purpose": "routine", "days": "2", "earliest": f"{first_day}", "latest": ""}
    with serving(race_app) as address:
        joined = at_once(address, cookie, "/meters/1/join", wish, 8)
        with database.read() as db:
            [offer] = loans.loans_of(db, member_id, since=first_day)
            assert len(loans.open_requests(db)) == 1
        taken = at_once(address, cookie, f"/loans/{offer.id}/take", {}, 8)
        whole = {"days": f"{offer.first_day}/{offer.last_day}"}
        given = at_once(address, cookie, f"/loans/{offer.id}/give-back", whole, 8)
    assert joined == {303: 1, 422: 7}
    assert taken == {303: 1, 422: 7}
    assert given == {303: 1, 422: 7}
    assert holders(database) == {}


def test_days_given_back_while_others_want_them_never_have_two_holders(
    race_app: FastAPI, database: Database, tokens: list[str], first_day: date
) -> None:
    wanted = {"from": f"{first_day}", "to": f"{first_day}"}
    first, *others = tokens[:9]
    with serving(race_app) as address:

        def headers(token: str) -> dict[str, str]:
            return {"Authorization": f"Bearer {token}"}

        book = f"{address}/api/meters/1/loans"
        loan = httpx.post(book, json=wanted, headers=headers(first)).json()
        start = threading.Barrier(len(others) + 1)

        def give_back() -> int:
            start.wait()
            gone = httpx.delete(f"{address}/api/loans/{loan['id']}", headers=headers(first))
            return gone.status_code

        def want(token: str) -> int:
            start.wait()
            return httpx.post(book, json=wanted, headers=headers(token), timeout=60).status_code

        with ThreadPoolExecutor(len(others) + 1) as pool:
            given = pool.submit(give_back)
            answers = Counter(pool.map(want, others))
    assert given.result() == 204
    assert answers[201] <= 1 and answers[201] + answers[409] == len(others)
    assert sum(holders(database).values()) == answers[201]
