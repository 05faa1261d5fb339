"""Bringing a database to this version's schema, after a copy was set aside."""

from datetime import UTC, datetime
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect

from server import places
from server.db.engine import Database
from server.db.unwilling import Unwilling
from server.models import SQLModel

_COPIES_KEPT = 10


class SchemaTooNew(Unwilling):
    """The database was written by a newer version of the program."""


def migrate(database: Database) -> None:
    """Upgrade to the newest schema; a database with data is copied aside first.

    Raises SchemaTooNew when the database knows a revision that this version does not.
    """
    at = revision(database)
    if at == newest_revision():
        return
    if at is not None:
        refuse_unknown(at)
        set_copy_aside(database)
    upgrade(database, "head")


def upgrade(database: Database, to: str) -> None:
    """All steps up to a revision in one transaction: all of them or none."""
    with database.engine.connect() as connection:
        config = alembic_config()
        config.attributes["connection"] = connection
        command.upgrade(config, to)


def revision(database: Database) -> str | None:
    """The schema revision a database is at; None when it is empty."""
    with database.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def newest_revision() -> str:
    """The revision this version of the program wants."""
    head = ScriptDirectory.from_config(alembic_config()).get_current_head()
    if head is None:
        raise LookupError("no migrations were shipped with the program")
    return head


def is_current(database: Database) -> bool:
    return revision(database) == newest_revision()


def alembic_config() -> Config:
    """Alembic's settings, made here so that no file of its stands at the top level."""
    config = Config()
    config.set_main_option("script_location", str(places.MIGRATIONS))
    config.set_main_option("path_separator", "os")
    return config


def set_copy_aside(database: Database) -> Path | None:
    """A consistent copy beside the embedded database; PostgreSQL is copied by its own tools."""
    if database.file is None:
        return None
    folder = database.file.parent / "copies"
    folder.mkdir(exist_ok=True)
    copy = folder / f"before-{newest_revision()}-{datetime.now(UTC):%Y%m%dT%H%M%S%f}.sqlite3"
    with database.engine.connect() as connection:
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute("VACUUM INTO ?", (str(copy),))
    copy.chmod(0o600)
    for old in sorted(folder.glob("before-*.sqlite3"), key=lambda f: f.stat().st_mtime)[
        :-_COPIES_KEPT
    ]:
        old.unlink()
    return copy


def refuse_unknown(at: str) -> None:
    """Raises SchemaTooNew for a revision that this version's migrations do not hold."""
    known = {
        script.revision for script in ScriptDirectory.from_config(alembic_config()).walk_revisions()
    }
    if at not in known:
        raise SchemaTooNew(
            f"The database is at revision {at}, which this version does not know. "
            "Install the version that wrote it, or a newer one."
        )


def refuse_incomplete(database: Database) -> None:
    """Raises Unwilling when a table or column that the program needs is not there."""
    found = inspect(database.engine)
    tables = set(found.get_table_names())
    for name, table in SQLModel.metadata.tables.items():
        there = {column["name"] for column in found.get_columns(name)} if name in tables else set()
        if missing := {column.name for column in table.columns} - there:
            raise Unwilling(f"This is no club's database: {name} lacks {', '.join(missing)}.")
