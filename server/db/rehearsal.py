"""Restoring a backup where it harms nobody, to know before the day that it is needed."""

import tempfile
import time
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, Table, func, select

from server.db import backup, copying
from server.db.engine import Database, open_database
from server.models import Member, Reading, SQLModel, Tank
from server.settings import Settings


def rehearse(settings: Settings, file: Path | None) -> str:
    """Restores a backup, a fresh one when none is named, into an empty folder and looks at it.

    Says what came back and which tables are not as in the club now. Raises Unwilling when the
    backup would not have helped.
    """
    with tempfile.TemporaryDirectory(prefix="underlamp-rehearsal-") as made:
        beside = Path(made)
        fresh = file is None
        if file is None:
            file = beside / "fresh.backup"
            backup.backup(settings, file)
        began = time.monotonic()
        there = settings.elsewhere(data=beside / "club", address=None)
        backup.restore(there, file, replace=False)
        backup.check(there)
        took_s = time.monotonic() - began
        with closing(open_database(data=there.data)) as restored:
            words = f"The backup came back whole in {took_s:.1f} s: {_counted(restored)}."
            return f"{words} {_compared(settings, restored, fresh=fresh)}"


def _counted(restored: Database) -> str:
    counted = []
    with restored.read() as db:
        for words, model in (("members", Member), ("tanks", Tank), ("readings", Reading)):
            count = db.connection().execute(select(func.count()).select_from(model)).scalar()
            counted.append(f"{count} {words}")
    return ", ".join(counted)


def _compared(settings: Settings, restored: Database, *, fresh: bool) -> str:
    """Tables that differ; a club that is being used goes on changing, an old backup is older."""
    opened = open_database(data=settings.data, url=settings.database_address)
    with closing(opened) as club, club.engine.connect() as now, restored.engine.connect() as then:
        tables = SQLModel.metadata.sorted_tables
        other = [table.name for table in tables if _differs(now, then, table)]
    if not other:
        return "Every table is as in the club now."
    since = "while this ran" if fresh else "since it was made"
    return f"Changed {since}: {', '.join(other)}."


def _differs(now: Connection, then: Connection, table: Table) -> bool:
    if table.name == "believedtime":  # starts anew with every restore
        return False
    return copying.digest(now, table) != copying.digest(then, table)
