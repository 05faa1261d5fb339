"""A private tank never shows: every page and JSON address is walked as another member.

Ivo keeps a private tank full of marks, beside a shared one. Tess and the steward Mara walk
every route there is, with the private tank's own numbers in the address, and look for the marks.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from server.db import tanks
from server.db.engine import Database
from server.models import (
    Animal,
    HungLamp,
    LampModel,
    Member,
    Reading,
    Schedule,
    Setup,
    SQLModel,
    Tank,
    TankNote,
    Upload,
)
from server.web.app import ROUTERS
from tests.conftest import Cast
from tests.db.bundle.test_bundle import make_tank

MARK = "qzxvprivate"
NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)

# What each name in an address stands for; a new name must say so here.
NOT_A_TANKS = {
    "mail_id",
    "meter_id",
    "invitation_id",
    "sign_in_id",
    "token_id",
    "request_id",
    "rest_id",
    "member_id",
    "loan_id",
    "token",
    "secret",
    "code",
    "key",
    "move",
    "model_id",
    "lamp_id",
    "channel_id",
}


@dataclass(frozen=True)
class Private:
    """Numbers of a private tank's things, by their name in addresses."""

    ids: dict[str, int]
    plan_id: int


@pytest.fixture
def private(club: Database, cast: Cast) -> Private:
    with club.write() as db:
        shared = db.get_one(Tank, make_tank(db, cast.ivo))
        shared.shared = True
        tank_id = make_tank(db, cast.ivo)
        _mark(db, tank_id)
        plan = tanks.save_setup(
            db,
            tank_id=tank_id,
            lamps=[],
            since=date(2026, 3, 1),
            reason=MARK,
            name=MARK,
            state="plan",
        )
        own = _ids(db, tank_id)
    assert plan.id is not None
    return Private(ids=own, plan_id=plan.id)


def _mark(db: Session, tank_id: int) -> None:
    """The mark in everything the keeper typed."""
    tank = db.get_one(Tank, tank_id)
    tank.name = tank.note = MARK
    for animal in db.exec(select(Animal).where(Animal.tank_id == tank_id)):
        animal.name = animal.note = animal.range_source = MARK
        db.add(animal)
    for setup in db.exec(select(Setup).where(Setup.tank_id == tank_id)):
        setup.name = setup.reason = MARK
        db.add(setup)
    table = SQLModel.metadata.tables["measurementsession"]
    db.connection().execute(
        table.update().where(table.columns["tank_id"] == tank_id).values(note=MARK)
    )
    for upload in db.exec(select(Upload).where(Upload.tank_id == tank_id)):
        upload.file_name = MARK
        db.add(upload)
    db.add(TankNote(tank_id=tank_id, noted_on=date(2026, 3, 1), words=MARK, created_at=NOW))
    db.flush()


def _ids(db: Session, tank_id: int) -> dict[str, int]:
    def one(model: type[SQLModel], **where: int) -> int:
        asked = select(model)
        for name, value in where.items():
            asked = asked.where(getattr(model, name) == value)
        found = db.exec(asked).first()
        assert found is not None
        return int(getattr(found, "id"))  # noqa: B009 - the base class knows no id

    session_id = _first(db, "measurementsession", tank_id)
    return {
        "tank_id": tank_id,
        "setup_id": one(Setup, tank_id=tank_id),
        "animal_id": one(Animal, tank_id=tank_id),
        "session_id": session_id,
        "reading_id": one(Reading, session_id=session_id),
        "upload_id": one(Upload, tank_id=tank_id),
        "schedule_id": one(Schedule, tank_id=tank_id),
        "hung_id": one(HungLamp, setup_id=one(Setup, tank_id=tank_id)),
    }


def _first(db: Session, name: str, tank_id: int) -> int:
    table = SQLModel.metadata.tables[name]
    asked = table.select().where(table.columns["tank_id"] == tank_id)
    row = db.connection().execute(asked).first()
    assert row is not None
    return int(row.id)


def routes() -> list[tuple[str, str]]:
    return sorted(
        (method, route.path)
        for router in ROUTERS
        for route in router.routes
        for method in route.methods
        if method != "HEAD"
    )


def address(path: str, ids: dict[str, int]) -> str:
    """The route's path with the private tank's numbers, and 1 for what is not a tank's."""
    return re.sub(r"{(\w+)(?::\w+)?}", lambda name: str(ids.get(name[1], 1)), path)


def names_in(path: str) -> set[str]:
    return set(re.findall(r"{(\w+)", path))


def test_every_name_in_an_address_is_known_here(private: Private) -> None:
    known = set(private.ids) | NOT_A_TANKS
    assert {name for _, path in routes() for name in names_in(path)} <= known


@pytest.mark.parametrize("walker", ["tess", "mara"])
def test_no_page_shows_a_mark(
    walker: str, request: pytest.FixtureRequest, private: Private
) -> None:
    browser: TestClient = request.getfixturevalue(walker)
    for method, path in routes():
        if method != "GET":
            continue
        here = address(path, private.ids)
        answer = browser.get(here)
        assert answer.status_code < 500, here
        assert MARK not in answer.text, here
        assert MARK not in str(answer.headers), here
        if names_in(path) & set(private.ids) and not path.startswith("/api/"):
            assert answer.status_code == 404, f"{here}: {answer.status_code}"


def test_no_question_brings_a_mark(tess: TestClient, private: Private) -> None:
    setup_id, tank_id = private.ids["setup_id"], private.ids["tank_id"]
    for here in (
        f"/compare?s={setup_id}",
        f"/compare?s={private.plan_id}",
        f"/compare?q={MARK}",
        f"/tanks/{tank_id}/what-if?from={setup_id}",
        f"/tanks/{tank_id - 1}/what-if?from={setup_id}",
        f"/tanks/{tank_id - 1}/plan?setup={setup_id}",
        f"/tanks/{tank_id - 1}/verdict?setup={setup_id}",
        f"/tanks/{tank_id - 1}/history?from=2026-01-01",
        f"/setups/{private.plan_id}",
        f"/tanks?q={MARK}",
    ):
        answer = tess.get(here)
        assert answer.status_code < 500, here
        text = answer.text.replace(f'value="{MARK}"', "")  # what she typed herself comes back
        assert MARK not in text, here


def test_no_json_address_shows_a_mark(
    client: TestClient, token_of: Callable[[Member], dict[str, str]], cast: Cast, private: Private
) -> None:
    headers = token_of(cast.tess)
    for method, path in routes():
        if not path.startswith("/api/"):
            continue
        here = address(path, private.ids)
        answer = client.request(method, here, headers=headers)
        assert answer.status_code < 500, here
        assert MARK not in answer.text, here
        if names_in(path) & set(private.ids):
            assert answer.status_code in (404, 422), f"{here}: {answer.status_code}"
    assert [tank["id"] for tank in client.get("/api/tanks", headers=headers).json()] != []


def test_no_form_of_hers_changes_it(tess: TestClient, club: Database, private: Private) -> None:
    before = _everything(club)
    for method, path in routes():
        if method == "GET" or not names_in(path) & set(private.ids) or path.startswith("/api/"):
            continue
        here = address(path, private.ids)
        answer = tess.request(method, here, data={"name": "mine now", "reason": "x"})
        assert answer.status_code == 404, f"{here}: {answer.status_code}"
        assert MARK not in answer.text, here
    assert _everything(club) == before


def test_the_same_walk_sees_the_marks_as_the_keeper(ivo: TestClient, private: Private) -> None:
    """Otherwise the walk above would find nothing whatever the pages showed."""
    seen = [
        here
        for method, path in routes()
        if method == "GET" and names_in(path) & set(private.ids)
        for here in [address(path, private.ids)]
        if MARK in ivo.get(here).text
    ]
    assert len(seen) >= 8, seen


def test_the_shelf_and_the_club_count_no_private_tank(
    tess: TestClient, club: Database, private: Private
) -> None:
    page = tess.get("/club").text
    assert re.search(r"knows 1 tank\b", page)
    with club.read() as db:
        lamp = db.exec(select(LampModel)).first()
    assert lamp is not None


def _everything(club: Database) -> dict[str, list[tuple[object, ...]]]:
    with club.read() as db:
        return {
            name: sorted((tuple(row) for row in db.connection().execute(table.select())), key=repr)
            for name, table in SQLModel.metadata.tables.items()
            if name not in ("signin",)
        }
