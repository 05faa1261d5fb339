"""Models and migrations agree, and a database is copied aside before it is changed."""

from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import text
from sqlmodel import select

from server.db import schema
from server.db.engine import Database, open_database
from server.db.members import now
from server.models import Member


@pytest.fixture
def empty(tmp_path: Path) -> Database:
    return open_database(data=tmp_path)


def test_models_and_migrations_agree(empty: Database) -> None:
    schema.migrate(empty)
    with empty.engine.connect() as connection:
        config = schema.alembic_config()
        config.attributes["connection"] = connection
        command.check(config)  # raises when a model has what no migration makes


def test_a_fresh_database_needs_no_copy(empty: Database, tmp_path: Path) -> None:
    schema.migrate(empty)
    assert not (tmp_path / "copies").exists()


def test_an_older_database_is_copied_aside_first(empty: Database, tmp_path: Path) -> None:
    with empty.engine.connect() as connection:
        config = schema.alembic_config()
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    schema.migrate(empty)
    copies = list(tmp_path.glob("copies/*"))
    assert len(copies) == (0 if schema.newest_revision() == "0001" else 1)


def test_a_newer_database_is_refused_in_words(empty: Database) -> None:
    schema.migrate(empty)
    with empty.write() as db:
        db.connection().execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(schema.SchemaTooNew, match="9999"):
        schema.migrate(empty)


def test_a_failing_write_leaves_nothing(club: Database) -> None:
    with pytest.raises(RuntimeError), club.write() as db:
        db.add(Member(name="Nobody", email="nobody@club.example", created_at=now()))
        db.flush()
        raise RuntimeError
    with club.read() as db:
        assert db.exec(select(Member).where(Member.email == "nobody@club.example")).first() is None


def test_foreign_keys_and_wal_are_on(club: Database) -> None:
    with club.read() as db:
        assert db.connection().execute(text("PRAGMA foreign_keys")).scalar() == 1
        assert db.connection().execute(text("PRAGMA journal_mode")).scalar() == "wal"
        assert db.connection().execute(text("PRAGMA synchronous")).scalar() == 2
