"""Opening the club's database: embedded SQLite by default, PostgreSQL when named.

SQLite is opened as measured for a server with many threads: WAL, full sync, foreign
keys, one writer at a time behind a lock of this process, `BEGIN IMMEDIATE` for every
transaction that may write (a deferred one that turns into a writer fails at once when
somebody wrote in between), and the driver's own transaction handling switched off.
"""

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType

import sqlalchemy
from sqlalchemy import Connection, Engine, event
from sqlalchemy.exc import ArgumentError
from sqlmodel import Session

try:  # carries a SQLite without the WAL-reset race that distributions still ship
    import pysqlite3.dbapi2 as sqlite
except ImportError:  # no wheel for this system: the standard library's will do
    import sqlite3 as sqlite

__all__ = ["DATABASE_FILE", "Database", "open_database", "sqlite"]

DATABASE_FILE = "club.sqlite3"
_PRAGMAS = (
    "journal_mode=WAL",
    "synchronous=FULL",
    "foreign_keys=ON",
    "busy_timeout=10000",
    "trusted_schema=OFF",
)
_POOL_SIZE = 40  # not below the server's thread tokens, or threads wait for connections


def sqlite_version() -> tuple[int, int, int]:
    """Version of the SQLite library in use."""
    major, minor, patch = (int(part) for part in sqlite.sqlite_version.split("."))
    return major, minor, patch


def sqlite_is_sound() -> bool:
    """Whether the library is past the WAL-reset fault (3.51.3, 3.50.7, 3.44.6)."""
    version = sqlite_version()
    return (
        version >= (3, 51, 3)
        or (3, 50, 7) <= version < (3, 51, 0)
        or (3, 44, 6) <= version < (3, 45, 0)
    )


@dataclass(frozen=True)
class Database:
    """One club's database. Read and write blocks give a session; write commits at its end."""

    engine: Engine
    file: Path | None
    _one_writer: threading.Lock = field(default_factory=threading.Lock, repr=False)

    @property
    def embedded(self) -> bool:
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for looking. Loaded rows stay usable after the block."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session that commits when the block ends and rolls back when it raises.

        Keep it short: no rendering, mail or computing inside, others wait for it.
        """
        with self._turn(), Session(self._writing_engine(), expire_on_commit=False) as session:
            yield session
            session.commit()

    @contextmanager
    def _turn(self) -> Iterator[None]:
        if not self.embedded:
            yield
            return
        with self._one_writer:
            yield

    def _writing_engine(self) -> Engine:
        return self.engine.execution_options(write=True)

    def close(self) -> None:
        self.engine.dispose()


def open_database(*, data: Path, url: str | None = None) -> Database:
    """The club's database in folder `data`, or at `url` when one is named."""
    if url:
        return Database(engine=_open_postgresql(url), file=None)
    data.mkdir(mode=0o700, parents=True, exist_ok=True)
    file = data / DATABASE_FILE
    _keep_private(file)
    return Database(engine=_open_sqlite(file), file=file)


def _keep_private(file: Path) -> None:
    """Only the server's own user reads a club's file; SQLite gives its logs the same rights."""
    os.close(os.open(file, os.O_RDWR | os.O_CREAT, 0o600))
    for one in (file, *(file.with_name(file.name + end) for end in ("-wal", "-shm"))):
        if one.exists() and one.stat().st_mode & 0o077:
            one.chmod(0o600)


def _open_postgresql(url: str) -> Engine:
    address = sqlalchemy.make_url(url)
    if address.drivername in ("postgresql", "postgres"):
        address = address.set(drivername="postgresql+psycopg")
    if not address.drivername.startswith("postgresql+"):
        raise ArgumentError(f"no such kind of database: {address.drivername}")
    return sqlalchemy.create_engine(
        address,
        pool_size=_POOL_SIZE,
        max_overflow=0,
        pool_timeout=10,
        pool_pre_ping=True,  # connections of a database that was away and came back are dead
        hide_parameters=True,
        connect_args={
            "connect_timeout": 5,
            "options": "-c lock_timeout=5s -c statement_timeout=15s",
        },
    )


def _open_sqlite(file: Path) -> Engine:
    engine = sqlalchemy.create_engine(
        f"sqlite:///{file}",
        module=_driver(),
        pool_size=_POOL_SIZE,
        max_overflow=0,
        hide_parameters=True,
        connect_args={"timeout": 10, "check_same_thread": False},
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _driver() -> ModuleType:
    driver: ModuleType = sqlite  # named, because the library carries no types
    return driver


def _prepare(connection: sqlite.Connection, _record: object) -> None:
    connection.isolation_level = None
    for pragma in _PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("write")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
