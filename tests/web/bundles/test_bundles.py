"""Tanks go out and come in; members take everything and leave."""

import io
import zipfile
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import loans, meters, tanks
from server.db.bundle import contents, pack
from server.db.engine import Database
from server.db.leaving import NAMELESS, remove_tank
from server.db.members import now
from server.lending.calendar import Stretch
from server.models import Loan, Member, Tank
from tests.conftest import PASSWORD, Cast
from tests.db.bundle.test_bundle import make_tank


@pytest.fixture
def tank_id(club: Database, cast: Cast) -> int:
    with club.write() as db:
        return make_tank(db, cast.ivo)


def share(club: Database, tank_id: int) -> None:
    with club.write() as db:
        tank = db.get_one(Tank, tank_id)
        tank.shared = True
        db.add(tank)


def take_in(browser: TestClient, raw: bytes):
    return browser.post("/travel/take-in", files={"bundle": ("b.zip", raw, "application/zip")})


def test_a_tank_goes_out_and_comes_in_as_a_private_copy(
    ivo: TestClient, tess: TestClient, club: Database, tank_id: int
) -> None:
    share(club, tank_id)
    saved = ivo.get(f"/tanks/{tank_id}/bundle.zip")
    assert saved.headers["content-disposition"] == 'attachment; filename="tank-sum-a1.zip"'
    answer = take_in(tess, saved.content)
    assert answer.status_code == 303
    new_id = int(answer.headers["location"].rsplit("/", 1)[1])
    assert ivo.get(f"/tanks/{new_id}").status_code == 404
    assert tess.get(f"/tanks/{new_id}").status_code == 200


def test_only_the_keeper_saves_a_tank(ivo, tess, mara, club: Database, tank_id: int) -> None:
    assert tess.get(f"/tanks/{tank_id}/bundle.zip").status_code == 404
    share(club, tank_id)
    assert tess.get(f"/tanks/{tank_id}/bundle.zip").status_code == 404


@pytest.mark.parametrize("raw", [b"", b"nonsense", b"PK\x05\x06" + b"\0" * 18])
def test_what_is_no_bundle_is_refused_in_words(
    tess: TestClient, club: Database, raw: bytes
) -> None:
    answer = take_in(tess, raw)
    assert answer.status_code == 422 and "There is a problem" in answer.text
    with club.read() as db:
        assert not db.exec(select(Tank)).all()


def test_everything_of_a_member_is_in_one_file(ivo: TestClient, tank_id: int) -> None:
    with zipfile.ZipFile(io.BytesIO(ivo.get("/travel/everything.zip").content)) as bundle:
        names = bundle.namelist()
        assert "ivo@club.example" in bundle.read("account.json").decode()
    assert {"account.json", "loans.csv", "messages.csv"} <= set(names)
    assert any(name.startswith(f"tanks/{tank_id}-") for name in names)


def test_leaving_removes_the_person_and_what_is_private(
    ivo: TestClient, club: Database, cast: Cast, tank_id: int
) -> None:
    with club.write() as db:
        shared_id = make_tank(db, cast.ivo)
    share(club, shared_id)
    answer = ivo.post("/account/leave", data={"password_now": PASSWORD})
    assert answer.status_code == 303
    assert ivo.get("/account").status_code == 303
    with club.read() as db:
        left = db.get_one(Member, cast.ivo.id)
        assert (left.name, left.email, left.password_hash) == (NAMELESS, None, None)
        assert db.get(Tank, tank_id) is None
        assert db.get(Tank, shared_id) is not None


def test_past_loans_stay_and_days_to_come_go_back(
    ivo: TestClient, club: Database, cast: Cast
) -> None:
    assert cast.ivo.id is not None
    with club.write() as db:
        meter = meters.add_meter(db, name="Meter", reads="PPFD", immersion_factor=1.0)
        assert meter.id is not None
        today = now().date() + timedelta(days=1)
        db.add(
            Loan(
                meter_id=meter.id,
                member_id=cast.ivo.id,
                first_day=today - timedelta(days=90),
                last_day=today - timedelta(days=88),
                state="ended",
                created_at=now(),
            )
        )
        wanted = Stretch(today + timedelta(days=9), today + timedelta(days=10))
        loan, refusal = loans.pick(db, meter.id, cast.ivo.id, wanted, today=today)
        assert loan is not None, refusal
    ivo.post("/account/leave", data={"password_now": PASSWORD})
    with club.read() as db:
        states = sorted(loan.state for loan in db.exec(select(Loan)))
        assert states == ["ended", "given_back"]
        assert loans.holder_on(db, meter.id, today + timedelta(days=9)) is None


def test_a_wrong_password_and_the_only_steward_stay(ivo, mara: TestClient) -> None:
    assert ivo.post("/account/leave", data={"password_now": "no"}).status_code == 422
    answer = mara.post("/account/leave", data={"password_now": PASSWORD})
    assert answer.status_code == 422 and "only steward" in answer.text


def test_a_visitor_gets_nothing(client: TestClient) -> None:
    for address in ("/travel", "/travel/everything.zip", "/account/leave"):
        assert client.get(address).headers["location"].startswith("/sign-in")


def test_removing_a_tank_leaves_no_row_behind(club: Database, cast: Cast, tank_id: int) -> None:
    with club.write() as db:
        assert tanks.setups_of(db, tank_id)
        remove_tank(db, tank_id)
        found = pack.gather(db, tank_id)
    assert all(not found[name] for name in contents.TABLES)
