"""What happens by itself while the server runs: each day's changes, reminders, mail.

Every server process does this, and may be stopped at any moment. What must happen once is
kept once by the database: a meter's row is locked while its book is settled, reminders have
unique keys, letters are claimed.
"""

import contextlib
import logging
import threading

from sqlalchemy.exc import SQLAlchemyError

from server.db import club_clock, club_day, daily, loans, members, meters, reserve
from server.db.engine import Database
from server.db.last_seen import LastSeen
from server.db.unwilling import Unwilling
from server.settings import Settings
from server.web.lending.mail import send_waiting

EVERY_S = 30.0

_log = logging.getLogger("underlamp")


def go_round(club: Database, settings: Settings) -> None:
    """Once: bring every meter up to today, remind who is to be reminded, send the mail."""
    with club.read() as db:
        if not members.is_set_up(db):
            return
    with club.write() as db:
        if not club_clock.go_on(db):
            _log.warning("the machine's clock has jumped; the club waits for a steward's word")
    with club.read() as db:
        today = club_day.today(db)
        ids = [meter.id for meter in meters.all_meters(db)]
    for meter_id in ids:
        with club.write() as db:
            loans.settle_meter(db, meter_id, today=today)
    send_waiting(club, settings)


def back_up(club: Database, settings: Settings) -> None:
    """Today's backup, once a day; while the clock is in doubt it is the last day believed."""
    with club.read() as db:
        if not members.is_set_up(db):
            return
        today = club_day.today(db)
    try:
        daily.keep_one(settings, today=today)
    except Unwilling as reason:
        _log.error("no backup was made: %s", reason)


class GoingRound:
    """Does it again and again in a thread, until it is stopped."""

    def __init__(
        self, club: Database, settings: Settings, seen: LastSeen, *, every_s: float = EVERY_S
    ) -> None:
        self._club, self._settings, self._seen, self._every_s = club, settings, seen, every_s
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._run, name="going-round", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopped.set()
        self._thread.join(timeout=5)
        with contextlib.suppress(SQLAlchemyError):
            self._seen.write(self._club)

    def _run(self) -> None:
        while not self._stopped.is_set():
            try:
                self._seen.write(self._club)
                go_round(self._club, self._settings)
                back_up(self._club, self._settings)
                reserve.lay_by(self._settings.data)
            except Exception:
                # Whatever it was, it is tried again; a thread that dies would tell nobody.
                _log.exception("the meters could not be brought up to date")
            self._stopped.wait(self._every_s)
