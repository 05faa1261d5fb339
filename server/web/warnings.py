"""What a steward should know at once, above every page: each as one sentence."""

from collections.abc import Iterator

from markupsafe import Markup
from sqlalchemy.exc import SQLAlchemyError

from server.db import club_clock
from server.db.engine import Database, sqlite_is_sound
from server.web import filters


class Warnings:
    """Looked up anew whenever a page lists them; only stewards' pages do."""

    def __init__(self, club: Database, *, at_start: tuple[str, ...] = ()) -> None:
        self._club = club
        self._at_start = at_start + _of_sqlite(club)

    def __iter__(self) -> Iterator[str]:
        yield from self._at_start
        yield from _of_clock(self._club)


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
