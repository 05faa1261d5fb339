"""Keeping a club's database: opening it current, backing it up, bringing it back, checking it."""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from server.db import club_clock, copying, folder_lock, members, schema, sealed
from server.db.engine import DATABASE_FILE, Database, open_database, sqlite
from server.db.unwilling import Unwilling, database_trouble
from server.settings import Settings


def open_current(settings: Settings) -> Database:
    """The club's database at this version's schema."""
    try:
        database = open_database(data=settings.data, url=settings.database_address)
        schema.migrate(database)
    except OSError as reason:
        raise _unusable(settings.data, reason) from reason
    except ImportError as reason:
        raise Unwilling(
            "PostgreSQL needs a driver: pip install 'underlamp[postgresql]'."
        ) from reason
    except SQLAlchemyError as reason:
        raise database_trouble(reason) from reason
    return database


def backup(settings: Settings, file: Path) -> str:
    """Writes a consistent copy of the club, checked and sealed before it gets its name."""
    if file.exists():
        raise Unwilling(f"{file} is there already; choose another name.")
    partial = file.with_name(f"{file.name}.{os.getpid()}.partial")
    try:
        partial.unlink(missing_ok=True)
        if settings.database_address:
            _write_tables(settings, partial)
        else:
            with closing(sqlite.connect(_embedded_file(settings))) as connection:
                connection.execute("VACUUM INTO ?", (str(partial),))
        partial.chmod(0o600)
        _refuse_broken(partial, told=settings.data / DATABASE_FILE)
        sealed.seal(partial)
        os.replace(partial, file)
    except (OSError, sqlite.Error) as reason:
        raise Unwilling(f"The backup could not be written: {reason}.") from reason
    finally:
        partial.unlink(missing_ok=True)
    return f"Wrote {file} ({file.stat().st_size / 1e6:.1f} MB), checked whole."


def _write_tables(settings: Settings, file: Path) -> None:
    """A club on PostgreSQL as the embedded database it could be."""
    with tempfile.TemporaryDirectory(prefix="underlamp-", dir=file.parent) as beside:
        made = Path(beside)
        with (
            closing(_named(settings)) as source,
            closing(open_database(data=made)) as target,
        ):
            schema.migrate(target)
            copying.copy_all(source, target)
        with closing(sqlite.connect(made / DATABASE_FILE)) as connection:
            connection.execute("VACUUM INTO ?", (str(file),))


def _named(settings: Settings) -> Database:
    """The named database, which must be at this version's schema. Raises Unwilling."""
    database = open_database(data=settings.data, url=settings.database_address)
    try:
        at, wanted = schema.revision(database), schema.newest_revision()
    except SQLAlchemyError as reason:
        raise database_trouble(reason) from reason
    if at != wanted:
        raise Unwilling(f"The schema is at {at or 'nothing'}, this version wants {wanted}.")
    return database


def restore(settings: Settings, file: Path, *, replace: bool) -> str:
    """Puts a backup in the place of the club; what was there is set aside, never lost.

    The backup is copied, judged and brought to this version's schema beside the club first, so
    that a bad one changes nothing.
    """
    if not file.is_file():
        raise Unwilling(f"There is no file {file}.")
    if settings.database_address:
        return _restore_tables(settings, file, replace=replace)
    target = settings.data / DATABASE_FILE
    if target.exists() and not replace:
        raise Unwilling(
            f"There is a club in {settings.data}. Say --replace to put the backup there."
        )
    try:
        with folder_lock.held(settings.data, by="restore"):
            return _restore(file, target)
    except OSError as reason:
        raise _unusable(settings.data, reason) from reason
    except SQLAlchemyError as reason:
        raise database_trouble(reason) from reason


def _restore(file: Path, target: Path) -> str:
    beside = Path(tempfile.mkdtemp(prefix="restoring-", dir=target.parent))
    try:
        copy = beside / DATABASE_FILE
        had_seal = sealed.unsealed_copy(file, copy)
        copy.chmod(0o600)
        _refuse_broken(copy, told=file)
        _bring_up(beside)
        kept = _set_aside(target) if target.exists() else None
        os.replace(copy, target)
        _settle(target.parent)
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    words = f"Restored {file} into {target.parent}."
    words += "" if had_seal else " It had no checksum, so only its structure was judged."
    return words + (f" The old club is {kept}." if kept else "")


def _restore_tables(settings: Settings, file: Path, *, replace: bool) -> str:
    """Into PostgreSQL: all or nothing, and the club that was there goes into a backup first."""
    try:
        with (
            tempfile.TemporaryDirectory(prefix="underlamp-") as beside,
            closing(open_current(settings)) as target,
            target.engine.connect() as held,
        ):
            if not copying.alone(held):
                raise Unwilling("The club's database is being served. Stop the servers first.")
            had_seal = sealed.unsealed_copy(file, Path(beside) / DATABASE_FILE)
            _refuse_broken(Path(beside) / DATABASE_FILE, told=file)
            _bring_up(Path(beside))
            kept = _keep_tables(settings, target, replace=replace)
            with closing(open_database(data=Path(beside))) as source:
                rows = copying.copy_all(source, target, replace=replace)
    except SQLAlchemyError as reason:
        raise database_trouble(reason) from reason
    words = f"Restored {file} ({rows} rows) into PostgreSQL."
    words += "" if had_seal else " It had no checksum, so only its structure was judged."
    return words + (f" The old club is {kept}." if kept else "")


def _keep_tables(settings: Settings, target: Database, *, replace: bool) -> Path | None:
    with target.read() as db:
        if members.club_of(db) is None:
            return None
    if not replace:
        raise Unwilling("There is a club in that database. Say --replace to put the backup there.")
    settings.data.mkdir(mode=0o700, parents=True, exist_ok=True)
    kept = settings.data / f"before-restore-{datetime.now(UTC):%Y%m%dT%H%M%S%f}.backup"
    backup(settings, kept)
    return kept


def move(settings: Settings, to: str) -> str:
    """Carries the club into another, empty database: an address of PostgreSQL, or a folder."""
    address = to if "://" in to else None
    goal = settings.elsewhere(data=settings.data if address else Path(to), address=address)
    if goal.database_address == settings.database_address and goal.data == settings.data:
        raise Unwilling("That is where the club is already.")
    try:
        with (
            _only_one(settings),
            closing(open_current(settings)) as source,
            closing(open_current(goal)) as target,
        ):
            rows = copying.copy_all(source, target)
    except SQLAlchemyError as reason:
        raise database_trouble(reason) from reason
    where = "UNDERLAMP_DATABASE_URL at that address" if address else f"UNDERLAMP_DATA={to}"
    return f"Moved {rows} rows, every table equal. Start the server with {where} from now on."


@contextlib.contextmanager
def _only_one(settings: Settings) -> Iterator[None]:
    """Nobody serves the club for the length of the block. Raises Unwilling."""
    if not settings.database_address:
        with folder_lock.held(settings.data, by="move"):
            yield
        return
    with closing(_named(settings)) as database, database.engine.connect() as held:
        if not copying.alone(held):
            raise Unwilling("The club's database is being served. Stop the servers first.")
        yield


@contextlib.contextmanager
def served(settings: Settings) -> Iterator[None]:
    """Held by `serve`: alone on an embedded database, together with others on PostgreSQL."""
    if not settings.database_address:
        with folder_lock.held(settings.data, by="serve"):
            yield
        return
    with closing(open_current(settings)) as database, database.engine.connect() as held:
        if not copying.serving(held):
            raise Unwilling("The club's database is being replaced. Wait for that to end.")
        held.commit()  # the lock belongs to the connection; a transaction would stay open
        yield


def check(settings: Settings) -> str:
    """Raises Unwilling unless the database is whole and its schema current."""
    if not settings.database_url:
        _embedded_file(settings)
    try:
        with closing(open_database(data=settings.data, url=settings.database_address)) as database:
            faults = _faults(database)
            at, wanted = schema.revision(database), schema.newest_revision()
    except SQLAlchemyError as reason:
        raise database_trouble(reason) from reason
    except OSError as reason:
        raise _unusable(settings.data, reason) from reason
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
    file = settings.data / DATABASE_FILE
    if not file.is_file():
        raise Unwilling(f"There is no club in {settings.data}.")
    return file


def _refuse_broken(file: Path, *, told: Path) -> None:
    """Raises Unwilling unless the file is a whole database of a club; `told` names it."""
    try:
        with closing(sqlite.connect(f"file:{file}?mode=ro", uri=True)) as connection:
            whole = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            broken = len(connection.execute("PRAGMA foreign_key_check").fetchall())
            at = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite.Error:
        whole, broken, at = False, 0, None
    if not whole or at is None:
        raise Unwilling(f"{told} is not a whole Underlamp database.")
    if broken:
        raise Unwilling(f"{told} is damaged: {broken} references in it lead nowhere.")
    schema.refuse_unknown(str(at[0]))


def _bring_up(folder: Path) -> None:
    """The copy at this version's schema, with every table there; else it was no club's."""
    with closing(open_database(data=folder)) as database:
        schema.migrate(database)
        schema.refuse_incomplete(database)
        with database.write() as db:
            club_clock.forget(db)


def _set_aside(target: Path) -> Path:
    """Keeps the club under another name; only the last step of a restore takes its place."""
    mark = f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}"
    kept = target.with_name(f"{target.name}.before-restore-{mark}")
    log, kept_log = (file.with_name(file.name + "-wal") for file in (target, kept))
    if log.exists():  # before SQLite looks: it would throw the log of a damaged club away
        shutil.copyfile(log, kept_log)
        kept_log.chmod(0o600)
    with contextlib.suppress(sqlite.Error), closing(sqlite.connect(target)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        kept_log.unlink(missing_ok=True)
    try:
        os.link(target, kept)
    except OSError:  # a file system without links
        shutil.copyfile(target, kept)
        kept.chmod(0o600)
    # A log left behind would be replayed onto the restored file.
    for ending in ("-wal", "-shm"):
        target.with_name(target.name + ending).unlink(missing_ok=True)
    return kept


def _settle(folder: Path) -> None:
    """Brings the new name to the disk, where the system can do that for folders."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _unusable(folder: Path, reason: OSError) -> Unwilling:
    return Unwilling(f"The folder {folder} cannot be used: {reason.strerror}.")
