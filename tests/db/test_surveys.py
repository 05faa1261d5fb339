"""Readings in the database, on both engines: exactly once, factors once, nothing deleted."""

import threading
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest

from server.db import members, schema, surveys, tanks, uploads
from server.db.engine import Database, open_database
from server.models import LoggedLight, MeasurementSession
from server.surveys.reading_order import Point
from server.surveys.table import read
from server.surveys.table_words import Meaning
from tests.web.lending.conftest import postgresql, postgresql_server

__all__ = ["postgresql", "postgresql_server"]


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def either(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    url = request.getfixturevalue("postgresql") if request.param == "postgresql" else None
    database = open_database(data=tmp_path, url=url)
    schema.migrate(database)
    yield database
    database.close()


@pytest.fixture
def session(either: Database) -> MeasurementSession:
    with either.write() as db:
        ivo = members.add_member(db, name="Ivo", email="ivo@club.example", password_hash="x")
        words = tanks.TankWords(name="Reef", length_cm=120, width_cm=50, depth_cm=55)
        tank = tanks.add_tank(db, owner_id=ivo.id or 0, words=words)
        told = surveys.SessionWords(taken_on=date(2026, 11, 1), immersion_factor=1.25)
        return surveys.add_session(db, tank_id=tank.id or 0, words=told, by_id=ivo.id)


def entry(client_id: str, value: float = 100.0, **more: str) -> surveys.Entry:
    return surveys.Entry(
        client_id=client_id, x_cm=1, y_cm=2, depth_cm=3, raw_ppfd=value, typed_light=f"{value}",
        **more,
    )  # fmt: skip


def test_eight_phones_sending_the_same_values_store_each_once(
    either: Database, session: MeasurementSession
) -> None:
    found: list[list[int | None]] = []
    failures: list[BaseException] = []

    def send() -> None:
        try:
            with either.write() as db:
                stored = surveys.record(
                    db, session, [entry(f"client-{n:04d}", n) for n in range(25)], by_id=1
                )
            found.append([one.id for one in stored])
        except BaseException as error:  # told to the test below
            failures.append(error)

    threads = [threading.Thread(target=send) for _ in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert failures == []
    assert all(ids == found[0] for ids in found), "each phone gets the first answer"
    with either.read() as db:
        assert surveys.reading_count(db, session.id or 0) == (25, 0)


def test_a_corrected_value_strikes_the_wrong_one_out(
    either: Database, session: MeasurementSession
) -> None:
    with either.write() as db:
        surveys.record(db, session, [entry("client-wrong", 1150)], by_id=1)
        right = entry("client-right", 115, instead_of="client-wrong")
        surveys.record(db, session, [right], by_id=1)
        surveys.record(db, session, [right], by_id=1)
    with either.read() as db:
        assert surveys.reading_count(db, session.id or 0) == (2, 1)
        (kept,) = surveys.readings_of(db, session.id or 0, struck=False)
        acts = [act.what for act, _ in surveys.acts_of(db, session.id or 0)]
    assert (kept.raw_ppfd, kept.ppfd) == (115, 143.75)
    assert acts == ["struck_out"]


def test_other_factors_start_from_the_raw_values(
    either: Database, session: MeasurementSession
) -> None:
    table = read("x,y,depth,ppfd\n1,2,3,100\n4,5,6,200\n")
    log = read("time,ppfd\n2026-11-01 10:00,80\n2026-11-01 10:10,90\n")
    with either.write() as db:
        surveys.add_table(db, session, table, by_id=1)
        surveys.add_table(db, session, log, by_id=1)
    for factor in (2.0, 1.1):
        told = surveys.SessionWords(taken_on=date(2026, 11, 1), calibration_factor=factor)
        with either.write() as db:
            kept = db.get_one(MeasurementSession, session.id)
            surveys.correct_session(db, kept, told, 1)
    with either.read() as db:
        assert [r.ppfd for r in surveys.readings_of(db, session.id or 0)] == [110, 220]
        assert surveys.log_of(db, session.id or 0) == [
            (datetime(2026, 11, 1, 10, 0), 88.0),
            (datetime(2026, 11, 1, 10, 10), 99.0),
        ]
        assert surveys.light_range(db, session.id or 0) == (110, 220)
        assert db.get_one(LoggedLight, (session.id, 2)).raw_ppfd == 80


def test_points_read_or_skipped_stay_when_the_rest_is_chosen_anew(
    either: Database, session: MeasurementSession
) -> None:
    def at(x: float) -> Point:
        return Point(x_cm=x, y_cm=2, depth_cm=3)

    with either.write() as db:
        surveys.set_open_points(db, session, [at(1), at(2), at(3)], [10, 20, 30])
        first, second, _ = surveys.plan_of(db, session.id or 0)
        surveys.record(
            db,
            session,
            [surveys.Entry(client_id="client-0001", x_cm=1, y_cm=2, depth_cm=3, raw_ppfd=5,
                           typed_light="5", point_id=first.id)],
            by_id=1,
        )  # fmt: skip
        surveys.skip_point(db, session, second.id or 0, (2, 2, 3))
        surveys.set_open_points(db, session, [at(7)], None)
        planned = surveys.plan_of(db, session.id or 0)
    assert [one.x_cm for one in planned] == [1, 2, 7]
    assert [one.expected_ppfd for one in planned] == [10, 20, None]


def test_a_waiting_file_is_kept_byte_for_byte_and_old_ones_make_room(
    either: Database, session: MeasurementSession
) -> None:
    data = bytes(range(256)) * 100
    with either.write() as db:
        for n in range(12):
            kept = uploads.keep_upload(
                db, tank_id=session.tank_id, member_id=1, data=data + bytes([n]),
                file_name="a.csv", pasted=False, session_words="{}",
            )  # fmt: skip
        waiting = [uploads.waiting_upload(db, n, 1) for n in range(1, 13)]
        assert sum(one is not None for one in waiting) == uploads.WAITING_MOST
        kept.session_id = session.id
        db.add(kept)
        db.flush()
        assert uploads.file_named(db, session.id or 0) == ("a.csv", False, len(data) + 1)
        assert uploads.waiting_upload(db, kept.id or 0, 1) is None
        again = uploads.sessions_from(db, session.tank_id, data + bytes([11]))
    assert [one.id for one in again] == [session.id]


def test_a_mapping_is_remembered_for_its_member_only(
    either: Database, session: MeasurementSession
) -> None:
    columns = (Meaning("x", "mm"), Meaning(None), Meaning("ppfd", "µmol", "2"))
    with either.write() as db:
        for _ in range(2):
            uploads.remember_columns(db, member_id=1, signature="a|b|c", columns=columns)
        assert uploads.remembered_columns(db, member_id=1, signature="a|b|c") == columns
        assert uploads.remembered_columns(db, member_id=2, signature="a|b|c") is None
        assert uploads.remembered_columns(db, member_id=1, signature="a|b") is None
