"""A meter for the cast, and a PostgreSQL server of the test's own."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from server.db import members, meters, schema
from server.db.engine import DATABASE_FILE, Database, open_database
from server.models import Meter
from server.settings import Settings
from tests.conftest import CAST

LONG = os.environ.get("UNDERLAMP_LONG") == "1"


@pytest.fixture(
    params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)]
    if LONG
    else ["sqlite"]
)
def club(
    request: pytest.FixtureRequest, settings: Settings, filled_file: Path
) -> Iterator[Database]:
    """The club with its cast; the long form runs every page on PostgreSQL as well."""
    settings.data.mkdir()
    if request.param == "sqlite":
        shutil.copyfile(filled_file, settings.data / DATABASE_FILE)
        opened = open_database(data=settings.data)
    else:
        opened = open_database(data=settings.data, url=request.getfixturevalue("postgresql"))
        schema.migrate(opened)
        with opened.write() as db:
            members.make_club(db, name="Test Reef Club", time_zone="Pacific/Apia")
            for name, email, role in CAST:
                members.add_member(db, name=name, email=email, password_hash="-", role=role)
    yield opened
    opened.close()


@pytest.fixture
def meter(club: Database) -> Meter:
    with club.write() as db:
        return meters.add_meter(
            db,
            name="Blue meter",
            reads="PPFD 400–700 nm",
            immersion_factor=1.08,
            case_contents="meter\nsensor on its cable\nspare battery",
            keeper="Mara, 5 Quay Lane",
        )


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """Address of a server: the one that is named, or one started from Debian's package."""
    named = os.environ.get("UNDERLAMP_TEST_POSTGRESQL")
    if named:
        yield named
        return
    programs = _programs()
    if programs is None:
        words = "no PostgreSQL found; install Debian's postgresql or name a server in "
        words += "UNDERLAMP_TEST_POSTGRESQL"
        if os.environ.get("UNDERLAMP_REQUIRE_POSTGRESQL") == "1":
            pytest.fail(words)
        pytest.skip(words)
    with _Server(programs) as address:
        yield address


@pytest.fixture
def postgresql(postgresql_server: str) -> Iterator[str]:
    """A fresh, empty database on that server, dropped afterwards."""
    name = f"underlamp_{os.getpid()}_{time.monotonic_ns()}"
    with psycopg.connect(postgresql_server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    yield postgresql_server.rsplit("/", 1)[0] + f"/{name}"
    with psycopg.connect(postgresql_server, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    if found:
        return found[-1].parent
    return Path(on_path).parent if on_path else None


class _Server:
    """PostgreSQL in a temporary folder, as a user without privileges (it refuses root)."""

    def __init__(self, programs: Path) -> None:
        self.programs = programs
        self.folder = Path(tempfile.mkdtemp(prefix="underlamp-postgresql-"))
        self.as_user: list[str] = []
        if os.geteuid() == 0:
            owner = pwd.getpwnam("postgres")
            os.chown(self.folder, owner.pw_uid, owner.pw_gid)
            self.as_user = ["runuser", "-u", "postgres", "--"]

    def __enter__(self) -> str:
        data = self.folder / "data"
        self._run("initdb", "-D", str(data), "-U", "club", "-A", "trust", "-N", "-E", "UTF8")
        port = _free_port()
        options = (
            f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder} "
            "-c max_connections=120 -c fsync=off"
        )
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", str(data), "-l", log, "-o", options, "-w", "start")
        return f"postgresql://club@127.0.0.1:{port}/postgres"

    def __exit__(self, *_: object) -> None:
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, program: str, *arguments: str) -> None:
        command = [*self.as_user, str(self.programs / program), *arguments]
        # The server keeps what it inherits, so its output must not be a pipe that we wait for.
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            cwd=self.folder,
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, f"{program} ended with {done.returncode}"


def _free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])
