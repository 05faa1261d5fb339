"""The club's time: the machine's clock, or the last time it was believed when it has jumped.

Offers lapse, bookings and sign-ins end, letters are given up by the clock; none of it can be
taken back. So a machine whose clock leaps must not do it: as long as the clock is far from the
time last written down, the club stays at that time. It goes on by itself once the clock is sane
again, or when a steward says that the clock is right (a server that was off for weeks).
"""

from contextlib import suppress
from datetime import UTC, datetime, timedelta

from sqlalchemy import update
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.models import BelievedTime

MOST_AHEAD = timedelta(days=3)  # a small computer may be off over a long weekend
MOST_BACK = timedelta(minutes=10)  # a clock that drifted and was set right
WRITTEN_EVERY = timedelta(minutes=5)  # not a write for every look


def machine_time() -> datetime:
    return datetime.now(UTC)


def now(db: Session) -> datetime:
    """The time that may be acted upon."""
    waiting = waiting_at(db)
    return machine_time() if waiting is None else waiting


def waiting_at(db: Session) -> datetime | None:
    """The time at which the club waits because the clock has jumped since; None: it does not."""
    row = db.get(BelievedTime, 1)
    if row is None or -MOST_BACK <= machine_time() - row.at <= MOST_AHEAD:
        return None
    return row.at


def go_on(db: Session) -> bool:
    """Writes the time down now and then while the clock is sane; whether it is."""
    row, here = db.get(BelievedTime, 1), machine_time()
    if waiting_at(db) is not None:
        return False
    if row is None or here - row.at > WRITTEN_EVERY:
        believe(db)
    return True


def believe(db: Session) -> None:
    """From here on the machine's clock counts: a steward said so, or it never was in doubt."""
    if db.exec(update(BelievedTime).values(at=machine_time())).rowcount == 0:
        with suppress(IntegrityError), db.begin_nested():  # another server was first
            db.add(BelievedTime(id=1, at=machine_time()))


def forget(db: Session) -> None:
    """After a restore the time in the backup is old, and that is no jump."""
    row = db.get(BelievedTime, 1)
    if row is not None:
        db.delete(row)
