"""What a steward should know at once, above every page: each as one sentence."""

from collections.abc import Iterator
from datetime import timedelta

from markupsafe import Markup
from sqlalchemy.exc import SQLAlchemyError

from server.db import club_clock, club_day, daily, members
from server.db.engine import Database, sqlite_is_sound
from server.settings import Settings, unsafe
from server.web import filters

_WITHOUT_BACKUP = timedelta(days=2)


class Warnings:
    """Looked up anew whenever a page lists them; only stewards' pages do."""

    def __init__(self, club: Database, settings: Settings) -> None:
        self._club, self._settings = club, settings
        self._at_start = unsafe(settings) + _of_sqlite(club)

    def __iter__(self) -> Iterator[str]:
        yield from self._at_start
        yield from _of_clock(self._club)
        yield from _of_backups(self._club, self._settings)


def _of_sqlite(club: Database) -> tuple[str, ...]:
    if club.embedded and not sqlite_is_sound():
        return ("This machine's SQLite has a known fault (before 3.51.3): update it.",)
    return ()


def _of_clock(club: Database) -> tuple[str, ...]:
    try:
        with club.read() as db:
            waiting = club_clock.waiting_at(db)
    except SQLAlchemyError:  # the page that lists this may be the one that says so
        return ()
    if waiting is None:
        return ()
    words = Markup(
        "The server's clock has jumped: the club waits at {} so that nothing runs out by mistake. "
        '<a href="/steward/clock">Say whether the clock is right</a>.'
    )
    return (words.format(filters.day(waiting.date())),)


def _of_backups(club: Database, settings: Settings) -> tuple[str, ...]:
    """Only once there was time for one."""
    try:
        with club.read() as db:
            found, today = members.club_of(db), club_day.today(db)
        kept = daily.kept(settings)
    except (SQLAlchemyError, OSError):
        return ()
    newest = kept[0].day if kept else found.created_at.date() if found else today
    if today - newest < _WITHOUT_BACKUP:
        return ()
    words = f"The last backup is of {filters.day(newest)}" if kept else "There is no backup yet"
    return (f"{words}: the server's log says why. “underlamp backup FILE” makes one at once.",)
