"""A club carried from one database to another, and a PostgreSQL club backed up and restored."""

from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import select

from server import cli
from server.db import backup, copying, members, messages
from server.db.engine import Database, open_database
from server.db.unwilling import Unwilling
from server.models import LampModel, Member, SQLModel
from server.settings import Settings
from tests.conftest import Cast
from tests.db.bundle.test_bundle import NOW, make_tank


@pytest.fixture
def full(settings: Settings, club: Database, cast: Cast) -> Settings:
    """A club with a tank of everything, a letter, and a row that names a later one."""
    with club.write() as db:
        make_tank(db, cast.ivo)
        messages.tell(db, cast.ivo.id, subject="News – “µ”", words="Hello.\n", link="")
        first = db.exec(select(LampModel)).one()
        other = LampModel(
            name="Merged", kind="led_cluster", beam_deg=80, watts=60, side_cm=8, created_at=NOW
        )
        db.add(other)
        db.flush()
        first.merged_into_id = other.id
        db.add(first)
    club.close()
    return settings


def contents(settings: Settings) -> dict[str, str]:
    url = settings.database_address
    found = open_database(data=settings.data, url=url)
    with closing(found), found.engine.connect() as connection:
        tables = SQLModel.metadata.sorted_tables
        return {table.name: copying.digest(connection, table) for table in tables}


def test_a_club_moves_to_another_folder_equal_in_every_table(
    full: Settings, tmp_path: Path, capsys
) -> None:
    there = tmp_path / "there"
    assert cli.main(["move", str(there), "--data", str(full.data)]) == 0
    assert "every table equal" in capsys.readouterr().out
    assert contents(full.elsewhere(data=there, address=None)) == contents(full)
    assert cli.main(["move", str(there), "--data", str(full.data)]) == 1
    assert "a club in the other database already" in capsys.readouterr().err


def test_a_club_is_not_moved_onto_itself_or_while_it_is_served(
    full: Settings, tmp_path: Path
) -> None:
    with pytest.raises(Unwilling, match="already"):
        backup.move(full, str(full.data))
    with backup.served(full), pytest.raises(Unwilling, match="in use by"):
        backup.move(full, str(tmp_path / "there"))


def test_a_rehearsal_says_what_came_back_and_what_changed(
    full: Settings, tmp_path: Path, capsys
) -> None:
    assert cli.main(["rehearse", "--data", str(full.data)]) == 0
    told = capsys.readouterr().out
    assert "3 members, 1 tanks, 3 readings" in told and "Every table is as in the club" in told
    file = tmp_path / "old.backup"
    backup.backup(full, file)
    with closing(open_database(data=full.data)) as database, database.write() as db:
        db.connection().execute(text("UPDATE member SET name = 'Changed' WHERE id = 1"))
    assert cli.main(["rehearse", str(file), "--data", str(full.data)]) == 0
    assert "Changed since it was made: member." in capsys.readouterr().out
    file.write_bytes(file.read_bytes().replace(b"Changed", b"Chanced").replace(b"Tess", b"Toss"))
    assert cli.main(["rehearse", str(file), "--data", str(full.data)]) == 1
    assert "not a whole" in capsys.readouterr().err


def test_a_difference_is_noticed(full: Settings, tmp_path: Path, monkeypatch) -> None:
    real = copying.digest
    monkeypatch.setattr(
        copying, "digest", lambda c, t: real(c, t) + ("x" if "there" in str(c.engine.url) else "")
    )
    with pytest.raises(Unwilling, match="did not arrive"):
        backup.move(full, str(tmp_path / "there"))
    with closing(open_database(data=tmp_path / "there")) as target, target.read() as db:
        assert members.club_of(db) is None, "all or nothing"


@pytest.mark.postgresql
def test_there_and_back_and_by_way_of_a_backup(
    full: Settings, tmp_path: Path, postgresql: str
) -> None:
    sent = contents(full)
    backup.move(full, postgresql)
    there = full.elsewhere(data=tmp_path / "pg", address=postgresql)
    assert contents(there) == sent

    with closing(backup.open_current(there)) as database, database.write() as db:
        before = max(one.id for one in db.exec(select(Member)).all())
        added = members.add_member(db, name="Ola", email="ola@c.example", password_hash="-")
        assert added.id == before + 1, "new rows are numbered on"
        db.delete(added)

    file = tmp_path / "pg.backup"
    backup.backup(there, file)
    with closing(backup.open_current(there)) as database, database.write() as db:
        db.connection().execute(text("UPDATE member SET name = 'Changed'"))
    with pytest.raises(Unwilling, match="--replace"):
        backup.restore(there, file, replace=False)
    with backup.served(there), pytest.raises(Unwilling, match="being served"):
        backup.restore(there, file, replace=True)
    told = backup.restore(there, file, replace=True)
    assert contents(there) | {"believedtime": ""} == sent | {"believedtime": ""}
    [kept] = (tmp_path / "pg").glob("before-restore-*.backup")
    assert str(kept) in told and "whole" in backup.check(there)

    home = full.elsewhere(data=tmp_path / "home", address=None)
    backup.move(there, str(home.data))
    assert contents(home) == contents(there)
    fresh = full.elsewhere(data=tmp_path / "fresh", address=None)
    backup.restore(fresh, kept, replace=False)
    with closing(open_database(data=fresh.data)) as database, database.read() as db:
        assert {one.name for one in members.all_members(db)} == {"Changed"}
