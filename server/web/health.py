"""Two addresses for machines that watch: alive (`/healthz`), and able to do its work (`/readyz`).

They are answered before anything else looks at the request: by whatever host name, and straight
from the event loop, so that no calculation and no waiting database delays "alive".
"""

import asyncio
import json
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta

from sqlalchemy import text
from starlette.types import ASGIApp, Receive, Scope, Send

from server.db import club_clock, messages, schema
from server.db.engine import Database
from server.settings import Settings

LEAST_FREE_BYTES = 32 * 2**20
OLDEST_MAIL = timedelta(hours=1)
LONGEST_S = 3.0
_KEPT_S = 1.0  # a visitor asking again and again costs one look a second


class Health:
    """Answers the two addresses and passes everything else on."""

    def __init__(self, app: ASGIApp, *, club: Database, settings: Settings) -> None:
        self.app = app
        self._club, self._settings = club, settings
        self._found: tuple[str, ...] = ()
        self._looked_at = -1e9
        self._looking: asyncio.Lock | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope.get("path") if scope["type"] == "http" else None
        if path not in ("/healthz", "/readyz") or scope["method"] not in ("GET", "HEAD"):
            await self.app(scope, receive, send)
        elif path == "/healthz":
            await _answer(send, 200, {"status": "ok"})
        else:
            missing = await self._missing()
            if missing:
                await _answer(send, 503, {"status": "not ready", "not_ready": list(missing)})
            else:
                await _answer(send, 200, {"status": "ready"})

    async def _missing(self) -> tuple[str, ...]:
        self._looking = self._looking or asyncio.Lock()
        async with self._looking:
            if time.monotonic() - self._looked_at > _KEPT_S:
                self._found = await self._look()
                self._looked_at = time.monotonic()
            return self._found

    async def _look(self) -> tuple[str, ...]:
        """What is not ready; a look that hangs counts as not ready."""
        looks = {
            name: asyncio.create_task(asyncio.to_thread(look, self._club, self._settings))
            for name, look in LOOKS.items()
        }
        await asyncio.wait(looks.values(), timeout=LONGEST_S)
        return tuple(
            name
            for name, look in looks.items()
            if not look.done() or look.exception() is not None or not look.result()
        )


def _database(club: Database, _settings: Settings) -> bool:
    with club.read() as db:
        return db.connection().execute(text("SELECT 1")).scalar() == 1


def _disk(_club: Database, settings: Settings) -> bool:
    """Room, and a file that can really be written."""
    if not settings.data.is_dir():  # a named database may need no folder here
        return bool(settings.database_url)
    if shutil.disk_usage(settings.data).free < LEAST_FREE_BYTES:
        return False
    with tempfile.TemporaryFile(dir=settings.data) as probe:
        probe.write(b"\0" * 4096)
        os.fsync(probe.fileno())
    return True


def _schema(club: Database, _settings: Settings) -> bool:
    return schema.is_current(club)


def _mail(club: Database, settings: Settings) -> bool:
    """Whether letters leave within the hour; a club without a mail server sends none."""
    if not settings.smtp_host:
        return True
    with club.read() as db:
        oldest = messages.oldest_waiting(db)
        return oldest is None or club_clock.now(db) - oldest < OLDEST_MAIL


LOOKS: dict[str, Callable[[Database, Settings], bool]] = {
    "database": _database,
    "disk": _disk,
    "schema": _schema,
    "mail queue": _mail,
}


async def _answer(send: Send, status: int, told: dict[str, object]) -> None:
    body = json.dumps(told).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
