"""Kills a process again and again while it writes or migrates, and looks at what is left.

Run as `python -m tests.db.kill_rounds write|migrate FOLDER ROUNDS SEED`; prints one line of JSON
with what was acknowledged, lost and found. A process of its own, because it forks: everything is
imported once, and no connection is open while it does.
"""

import json
import os
import random
import signal
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

from sqlalchemy import text
from sqlmodel import select

from server.db import backup, members, messages, schema
from server.db.engine import DATABASE_FILE, Database, open_database
from server.models import Message
from server.settings import Settings

WRITERS = 2


def main(what: str, folder: str, rounds: str, seed: str) -> None:
    drawn = random.Random(int(seed))
    found = {"write": writes, "migrate": migrations}[what](Path(folder), int(rounds), drawn)
    print(json.dumps(found))


def writes(folder: Path, rounds: int, drawn: random.Random) -> dict[str, int]:
    """Acknowledged writes, and how many of them are missing after all rounds."""
    made = backup.open_current(Settings(data=folder, database_url=None))
    with closing(made), made.write() as db:
        members.make_club(db, name="Club", time_zone="UTC")
        members.add_member(db, name="Ivo", email="i@c.example", password_hash="-")
    acknowledged: set[str] = set()
    for number in range(rounds):
        acknowledged |= killed(lambda out, n=number: write_on(folder, n, out), drawn, 0.12)
        with closing(open_database(data=folder)) as database:
            assert whole(database), f"damaged after round {number}"
    with closing(open_database(data=folder)) as database, database.read() as db:
        there = set(db.exec(select(Message.words)))
    return {"acknowledged": len(acknowledged), "lost": len(acknowledged - there)}


def write_on(folder: Path, number: int, out: int) -> None:
    database = open_database(data=folder)

    def one(writer: int) -> None:
        for count in range(100_000):
            words = f"{number}.{writer}.{count}"
            with database.write() as db:
                messages.tell(db, 1, subject="s", words=words, link="")
            os.write(out, f"{words}\n".encode())

    threads = [threading.Thread(target=one, args=(n,), daemon=True) for n in range(WRITERS)]
    for thread in threads:
        thread.start()
    threads[0].join()


def migrations(folder: Path, rounds: int, drawn: random.Random) -> dict[str, int]:
    """How often the old and how often the new schema was there after a kill."""
    found = {"old": 0, "new": 0}
    for number in range(rounds):
        here = folder / str(number)
        with closing(open_database(data=here)) as database:
            schema.upgrade(database, "0001")
            old = shape(database)
        killed(lambda _out, at=here: schema.migrate(open_database(data=at)), drawn, 0.5)
        with closing(open_database(data=here)) as database:
            assert whole(database)
            current = schema.revision(database) == schema.newest_revision()
            assert current or (schema.revision(database) == "0001" and shape(database) == old)
            found["new" if current else "old"] += 1
            schema.migrate(database)
            schema.refuse_incomplete(database)
        (here / DATABASE_FILE).unlink()
    return found


def killed(work, drawn: random.Random, most_s: float) -> set[str]:
    """Runs `work` in a child, kills it after a random while; gives the lines it wrote."""
    reader, out = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        work(out)
        os._exit(0)
    os.close(out)
    lines = bytearray()
    collecting = threading.Thread(target=lambda: lines.extend(read_all(reader)))
    collecting.start()
    time.sleep(drawn.uniform(0.005, most_s))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    collecting.join()
    return set(bytes(lines).decode().split("\n")[:-1])


def read_all(reader: int) -> bytes:
    with os.fdopen(reader, "rb") as pipe:
        return pipe.read()


def whole(database: Database) -> bool:
    with database.read() as db:
        run = db.connection().execute
        broken = run(text("PRAGMA foreign_key_check")).fetchall()
        return run(text("PRAGMA integrity_check")).scalar() == "ok" and not broken


def shape(database: Database) -> list[tuple[str, str]]:
    with database.read() as db:
        rows = db.connection().execute(text("SELECT name, sql FROM sqlite_master ORDER BY name"))
        return [(str(row[0]), str(row[1])) for row in rows]


if __name__ == "__main__":
    main(*sys.argv[1:])
