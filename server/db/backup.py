"""Keeping a club's database: opening it current, backing it up, bringing it back, checking it."""

import os
import shutil
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from server.db import schema
from server.db.engine import DATABASE_FILE, Database, open_database, sqlite
from server.settings import Settings


class Unwilling(Exception):
    """The command will not go on; the words say why and what would help."""


def open_current(settings: Settings) -> Database:
    """The club's database at this version's schema."""
    url = settings.database_url.get_secret_value() if settings.database_url else None
    try:
        database = open_database(data=settings.data, url=url)
        schema.migrate(database)
    except schema.SchemaTooNew as reason:
        raise Unwilling(str(reason)) from reason
    except OSError as reason:
        raise Unwilling(
            f"The folder {settings.data} cannot be used: {reason.strerror}."
        ) from reason
    return database


def backup(settings: Settings, file: Path) -> str:
    """Writes a consistent copy of the embedded database, checked before it gets its name."""
    source = _embedded_file(settings)
    if file.exists():
        raise Unwilling(f"{file} is there already; choose another name.")
    partial = file.with_name(file.name + ".partial")
    partial.unlink(missing_ok=True)
    with closing(sqlite.connect(source)) as connection:
        connection.execute("VACUUM INTO ?", (str(partial),))
    _refuse_broken(partial)
    partial.chmod(0o600)
    os.replace(partial, file)
    return f"Wrote {file} ({file.stat().st_size / 1e6:.1f} MB), checked whole."


def restore(settings: Settings, file: Path, *, replace: bool) -> str:
    """Puts a backup in the place of the club; what was there is set aside, never lost."""
    if settings.database_url:
        raise Unwilling("This club is on PostgreSQL: restore it with pg_restore.")
    if not file.is_file():
        raise Unwilling(f"There is no file {file}.")
    _refuse_broken(file)
    target = settings.data / DATABASE_FILE
    if target.exists() and not replace:
        raise Unwilling(
            f"There is a club in {settings.data}. Say --replace to put the backup there."
        )
    settings.data.mkdir(parents=True, exist_ok=True)
    kept = _set_aside(target) if target.exists() else None
    partial = target.with_name(target.name + ".partial")
    shutil.copyfile(file, partial)
    partial.chmod(0o600)
    os.replace(partial, target)
    return f"Restored {file} into {settings.data}." + (f" The old club is {kept}." if kept else "")


def check(settings: Settings) -> str:
    """Raises Unwilling unless the database is whole and its schema current."""
    if not settings.database_url:
        _embedded_file(settings)
    url = settings.database_url.get_secret_value() if settings.database_url else None
    try:
        with closing(open_database(data=settings.data, url=url)) as database:
            faults = _faults(database)
            at, wanted = schema.revision(database), schema.newest_revision()
    except SQLAlchemyError as error:
        raise Unwilling(f"The database cannot be read: {type(error).__name__}.") from error
    if faults:
        raise Unwilling("The database is damaged: " + "; ".join(faults))
    if at != wanted:
        raise Unwilling(f"The schema is at {at or 'nothing'}, this version wants {wanted}.")
    return f"The database is whole and its schema is current ({at})."


def _faults(database: Database) -> list[str]:
    if not database.embedded:
        return []
    with database.read() as db:
        whole = [str(row[0]) for row in db.connection().execute(text("PRAGMA integrity_check"))]
        broken = db.connection().execute(text("PRAGMA foreign_key_check")).fetchall()
    faults = [] if whole == ["ok"] else whole[:5]
    return faults + ([f"{len(broken)} references lead nowhere"] if broken else [])


def _embedded_file(settings: Settings) -> Path:
    if settings.database_url:
        raise Unwilling("This club is on PostgreSQL: use pg_dump for a backup.")
    file = settings.data / DATABASE_FILE
    if not file.is_file():
        raise Unwilling(f"There is no club in {settings.data}.")
    return file


def _refuse_broken(file: Path) -> None:
    try:
        with closing(sqlite.connect(f"file:{file}?mode=ro", uri=True)) as connection:
            whole = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            known = connection.execute(
                "SELECT count(*) FROM sqlite_master WHERE name = 'alembic_version'"
            ).fetchone()[0]
    except sqlite.DatabaseError:
        whole, known = False, 0
    if not (whole and known):
        raise Unwilling(f"{file} is not a whole Underlamp database.")


def _set_aside(target: Path) -> Path:
    """Moves a database and its log files away together."""
    mark = f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}"
    kept = target.with_name(f"{target.name}.before-restore-{mark}")
    with closing(sqlite.connect(target)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    for ending in ("-wal", "-shm"):
        target.with_name(target.name + ending).unlink(missing_ok=True)
    os.replace(target, kept)
    return kept
