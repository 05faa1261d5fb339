"""Counting tries at a password, exactly, whoever tries at once and however many servers run.

A try takes its place in the count before it is judged, in one transaction; a right password
gives the place back. So sixty tries sent at once are sixty tries.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import text
from sqlmodel import Session, col, delete, func, select

from server.db import club_clock
from server.models import Attempt

LONGEST = timedelta(days=1)


@dataclass(frozen=True)
class Limit:
    """At most so many tries within a time, for one thing that is counted."""

    what: tuple[str, ...]
    most: int
    within: timedelta

    @property
    def key(self) -> str:
        """A hash: the table tells nobody which addresses were tried."""
        return hashlib.sha256("\0".join(self.what).encode("utf-8", "replace")).hexdigest()


class TooMany(Exception):
    """A limit is reached; `wait` is when the next try is free."""

    def __init__(self, limit: Limit, wait: timedelta) -> None:
        super().__init__(limit.what[0])
        self.limit, self.wait = limit, wait


def begin(db: Session, limits: Sequence[Limit]) -> tuple[int, ...]:
    """Takes a place under every limit, or under none. Raises TooMany.

    Needs a writing session: on SQLite one writes at a time; on PostgreSQL each key is locked.
    """
    now = club_clock.now(db)
    for limit in sorted(limits, key=lambda one: one.key):
        _lock(db, limit.key)
    db.exec(delete(Attempt).where(col(Attempt.at) < now - LONGEST))
    for limit in limits:
        _refuse_beyond(db, limit, now)
    rows = [Attempt(key=limit.key, at=now) for limit in limits]
    db.add_all(rows)
    db.flush()
    return tuple(row.id for row in rows)


def give_back(db: Session, places: Sequence[int]) -> None:
    """The password was right: it was no guess."""
    db.exec(delete(Attempt).where(col(Attempt.id).in_(places)))


def _refuse_beyond(db: Session, limit: Limit, now: datetime) -> None:
    counted = select(func.count(), func.min(Attempt.at)).where(
        Attempt.key == limit.key, Attempt.at > now - limit.within
    )
    count, oldest = db.exec(counted).one()
    if count >= limit.most:
        raise TooMany(limit, max(oldest + limit.within - now, timedelta(seconds=1)))


def _lock(db: Session, key: str) -> None:
    if db.get_bind().dialect.name == "postgresql":
        number = int(key[:15], 16)
        db.connection().execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": number})
