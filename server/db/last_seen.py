"""When sign-ins and access tokens were last used, written in passing.

Asking for a page must not depend on a write: it would fail with a full disk and wait with a
busy database. So uses are noted in memory and written together every now and then; a server
that dies loses half a minute of them, which only makes a sign-in look idle that much longer.
"""

import threading
from datetime import datetime

from sqlalchemy import update
from sqlmodel import col

from server.db.engine import Database
from server.models import AccessToken, SignIn


class LastSeen:
    """Uses noted by any thread, written by one."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._sign_ins: dict[int, datetime] = {}
        self._tokens: dict[int, datetime] = {}

    def sign_in(self, sign_in_id: int, at: datetime) -> None:
        with self._lock:
            self._sign_ins[sign_in_id] = at

    def token(self, token_id: int, at: datetime) -> None:
        with self._lock:
            self._tokens[token_id] = at

    def write(self, club: Database) -> None:
        """Writes what was noted. When the database refuses, it stays noted for the next time."""
        with self._lock:
            sign_ins, tokens = dict(self._sign_ins), dict(self._tokens)
        if not sign_ins and not tokens:
            return
        with club.write() as db:
            for number, at in sign_ins.items():
                db.exec(update(SignIn).where(col(SignIn.id) == number).values(last_seen_at=at))
            for number, at in tokens.items():
                used = update(AccessToken).where(col(AccessToken.id) == number)
                db.exec(used.values(last_used_at=at))
        with self._lock:
            _drop(self._sign_ins, sign_ins)
            _drop(self._tokens, tokens)


def _drop(noted: dict[int, datetime], written: dict[int, datetime]) -> None:
    for number, at in written.items():
        if noted.get(number) == at:
            del noted[number]
