"""What a backup must survive, and what a restore must refuse before it touches the club."""

import random
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import httpx
import pytest
from sqlalchemy import text

from server.db import backup, folder_lock, members, schema
from server.db.engine import DATABASE_FILE, Database, open_database
from server.db.unwilling import Unwilling
from server.settings import Settings


@pytest.fixture
def copy(settings: Settings, club: Database, tmp_path: Path) -> Path:
    file = tmp_path / "club.backup"
    backup.backup(settings, file)
    club.close()
    return file


def names(settings: Settings) -> list[str]:
    with closing(open_database(data=settings.data)) as found, found.read() as db:
        return [person.name for person in members.all_members(db)]


@contextmanager
def server_of(folder: Path) -> Iterator[str]:
    command = [sys.executable, "-m", "server", "serve", "--port", "0", "--data", str(folder)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        assert process.stdout is not None
        yield process.stdout.readline().split()[-1]
    finally:
        process.terminate()
        process.communicate(timeout=20)


def test_a_running_server_keeps_restore_and_a_second_server_out(
    settings: Settings, copy: Path
) -> None:
    with server_of(settings.data) as address:
        with pytest.raises(Unwilling, match=r"in use by `underlamp serve` \(process \d+\)"):
            backup.restore(settings, copy, replace=True)
        second = [sys.executable, "-m", "server", "serve", "--port", "0"]
        refused = subprocess.run(
            [*second, "--data", str(settings.data)], capture_output=True, text=True, timeout=120
        )
        assert refused.returncode == 1 and "in use by" in refused.stderr
        assert "Traceback" not in refused.stderr
        assert httpx.get(address + "/healthz", timeout=60).status_code == 200
        backup.backup(settings, copy.with_name("while-it-runs.backup"))
    assert "Restored" in backup.restore(settings, copy, replace=True)
    assert names(settings) == ["Ivo", "Mara", "Tess"]


def test_a_lock_ends_with_its_process(tmp_path: Path) -> None:
    words = "from server.db import folder_lock as f; from pathlib import Path; import os, sys\n"
    words += "f.held(Path(sys.argv[1]), by='serve').__enter__(); os._exit(9)"
    subprocess.run([sys.executable, "-c", words, str(tmp_path)], check=False, timeout=30)
    with folder_lock.held(tmp_path, by="restore"):
        pass


def test_every_changed_byte_of_a_backup_is_refused(
    settings: Settings, copy: Path, tmp_path: Path
) -> None:
    whole = copy.read_bytes()
    drawn = random.Random(20261125)
    places = [*range(-92, 0, 7), 0, 18, 28, 92, *(drawn.randrange(len(whole)) for _ in range(60))]
    flipped = tmp_path / "flipped.backup"
    before = (settings.data / DATABASE_FILE).read_bytes()
    for place in places:
        changed = bytearray(whole)
        changed[place] ^= 1 << drawn.randrange(8)
        flipped.write_bytes(changed)
        with pytest.raises(Unwilling, match="not a whole Underlamp"):
            backup.restore(settings, flipped, replace=True)
    assert (settings.data / DATABASE_FILE).read_bytes() == before
    assert not list(settings.data.glob("restoring-*"))


@pytest.mark.parametrize("kept", [0, 50, 5000, -1])
def test_a_backup_cut_short_is_refused(settings: Settings, copy: Path, kept: int) -> None:
    copy.write_bytes(copy.read_bytes()[:kept])
    with pytest.raises(Unwilling, match="not a whole Underlamp"):
        backup.restore(settings, copy, replace=True)


def spoilt(settings: Settings, tmp_path: Path, statement: str) -> Path:
    """A plain copy of the club in which something was changed by hand."""
    file = tmp_path / "spoilt.sqlite3"
    file.write_bytes((settings.data / DATABASE_FILE).read_bytes())
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        connection.execute(statement)
        connection.commit()
    return file


@pytest.mark.parametrize(
    ("statement", "reason"),
    [
        ("INSERT INTO accesstoken VALUES (1, 99, 'x', 'y', '2026-01-01', NULL, NULL)", "nowhere"),
        ("UPDATE alembic_version SET version_num = '9999'", "does not know"),
        ("DROP TABLE message", "lacks"),
    ],
)
def test_what_would_not_work_is_refused_before_the_club_is_touched(
    settings: Settings, copy: Path, tmp_path: Path, statement: str, reason: str
) -> None:
    bad = spoilt(settings, tmp_path, statement)
    before = (settings.data / DATABASE_FILE).read_bytes()
    with pytest.raises(Unwilling, match=reason):
        backup.restore(settings, bad, replace=True)
    assert (settings.data / DATABASE_FILE).read_bytes() == before
    assert not list(settings.data.glob("*.before-restore-*"))


def test_a_plain_copy_is_taken_with_a_word_of_warning(
    settings: Settings, copy: Path, tmp_path: Path
) -> None:
    plain = spoilt(settings, tmp_path, "UPDATE member SET name = 'Ivo B' WHERE name = 'Ivo'")
    assert "no checksum" in backup.restore(settings, plain, replace=True)
    assert names(settings) == ["Ivo B", "Mara", "Tess"]


def test_a_damaged_club_is_set_aside_with_its_log_and_replaced(
    settings: Settings, copy: Path
) -> None:
    damaged = settings.data / DATABASE_FILE
    damaged.write_bytes(b"scratched" * 500)
    damaged.with_name(DATABASE_FILE + "-wal").write_bytes(b"log")
    backup.restore(settings, copy, replace=True)
    [kept] = settings.data.glob("*.before-restore-*[0-9]")
    assert kept.read_bytes().startswith(b"scratched")
    assert kept.with_name(kept.name + "-wal").read_bytes() == b"log"
    assert names(settings) == ["Ivo", "Mara", "Tess"]


def test_a_backup_that_cannot_be_written_is_refused_in_words(
    settings: Settings, club: Database, tmp_path: Path
) -> None:
    with pytest.raises(Unwilling, match="could not be written"):
        backup.backup(settings, tmp_path / "nowhere" / "club.backup")


def test_a_backup_of_a_broken_club_is_not_written(settings: Settings, club: Database) -> None:
    with club.engine.connect() as connection:
        driver = connection.connection.driver_connection
        driver.execute("PRAGMA foreign_keys=OFF")
        connection.execute(text("INSERT INTO accesstoken VALUES (1,99,'x','y','2026',NULL,NULL)"))
        connection.commit()
        driver.execute("PRAGMA foreign_keys=ON")
    with pytest.raises(Unwilling, match="lead nowhere"):
        backup.backup(settings, settings.data / "x.backup")
    assert not list(settings.data.glob("x.backup*"))


# Migrations


def older(folder: Path, *, broken: bool) -> Database:
    """A club at the first schema, with a reference that leads nowhere when asked."""
    database = open_database(data=folder)
    schema.upgrade(database, "0001")
    with database.write() as db:
        run = db.connection().execute
        run(text("INSERT INTO club VALUES (1, 'Old Club', 'UTC', 'EUR', 0.3, '2026-01-01')"))
    if broken:
        with database.engine.connect() as connection:
            driver = connection.connection.driver_connection
            driver.execute("PRAGMA foreign_keys=OFF")
            connection.execute(
                text("INSERT INTO accesstoken VALUES (1, 99, 'x', 'y', '2026-01-01', NULL, NULL)")
            )
            connection.commit()
            driver.execute("PRAGMA foreign_keys=ON")
    return database


def test_a_club_with_broken_references_is_refused_at_every_start_and_left_as_it_was(
    settings: Settings,
) -> None:
    with closing(older(settings.data, broken=True)) as database:
        before = shape(database)
    for _ in range(2):
        with pytest.raises(Unwilling, match=r"1 references .* \(in accesstoken\)"):
            backup.open_current(settings)
    with closing(open_database(data=settings.data)) as database:
        assert schema.revision(database) == "0001"
        assert shape(database) == before


def shape(database: Database) -> list[tuple[str, str]]:
    with database.read() as db:
        rows = db.connection().execute(text("SELECT name, sql FROM sqlite_master ORDER BY name"))
        return [(str(row[0]), str(row[1])) for row in rows]
