"""503: what cannot be done at the moment, when to try again, and what was typed kept."""

import errno
import logging
from dataclasses import dataclass

from fastapi import Request
from fastapi.responses import Response
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnection
from starlette.datastructures import FormData

from server.db import reserve
from server.web.page import page
from server.web.problem import Refusal, problem_response

_log = logging.getLogger("underlamp")
_MOST_KEPT = 300_000


@dataclass(frozen=True)
class Reason:
    """Why not now, what to do, and in how many seconds it is worth another try."""

    title: str
    words: str
    retry_after_s: int


BUSY = Reason("The club is busy just now.", "Try again in a moment. Nothing was changed.", 5)
AWAY = Reason(
    "The club's database cannot be reached.", "Try again in a minute. Nothing was changed.", 30
)
DISK_FULL = Reason(
    "The club's disk is full.",
    "Nothing was changed. Reading still works; tell the steward that the server needs room.",
    300,
)
READ_ONLY = Reason(
    "The club's disk cannot be written to.",
    "Nothing was changed. Reading still works; tell the steward.",
    300,
)

# What SQLite says, in its own words; everything else it calls operational is a fault of ours.
_SQLITE = {
    "database is locked": BUSY,
    "database table is locked": BUSY,
    "database or disk is full": DISK_FULL,
    "disk I/O error": DISK_FULL,
    "attempt to write a readonly database": READ_ONLY,
    "unable to open database file": AWAY,
}
# SQLSTATEs (PostgreSQL, appendix A): locks and time limits, disk full; the rest is being away.
_POSTGRESQL = {"55P03": BUSY, "57014": BUSY, "40001": BUSY, "40P01": BUSY, "53100": DISK_FULL}
_FILES = {errno.ENOSPC: DISK_FULL, errno.EDQUOT: DISK_FULL, errno.EROFS: READ_ONLY}


def reason_of(error: Exception) -> Reason | None:
    """Why the database or the disk would not; None when the fault is ours."""
    if isinstance(error, NoConnection):
        return BUSY
    if isinstance(error, OSError):
        return _FILES.get(error.errno or 0)
    if not isinstance(error, DBAPIError):
        return None
    if hasattr(error.orig, "sqlstate"):
        state = str(getattr(error.orig, "sqlstate", None) or "")
        away = error.connection_invalidated or not state
        return _POSTGRESQL.get(state) or (AWAY if away else None)
    told = str(error.orig)
    return next((reason for words, reason in _SQLITE.items() if told.startswith(words)), None)


def unable(request: Request, error: Exception) -> Response:
    """The answer when the database or the disk would not; raises what is a fault."""
    reason = reason_of(error)
    if reason is None:
        raise error
    told = f"{type(error).__name__}: {getattr(error, 'orig', error)}".splitlines()[0]
    _log.error("not now at %s %s: %s", request.method, request.url.path, told)
    if reason is DISK_FULL and reserve.free(request.app.state.settings.data):
        _log.error("the disk is full: the room kept back for signing in was given to the club")
    return not_now(request, reason)


def not_now(request: Request, reason: Reason) -> Response:
    """Status 503 with Retry-After, as a page or as a problem."""
    headers = {"Retry-After": str(reason.retry_after_s)}
    if request.url.path.startswith("/api/"):
        refusal = Refusal(503, reason.title, detail=reason.words)
        return problem_response(refusal, headers=headers)
    query = f"?{request.url.query}" if request.url.query else ""
    return page(
        request,
        "not_now.html",
        view=reason,
        status=503,
        headers=headers,
        again=request.url.path + query,
        reading=request.method in ("GET", "HEAD"),
        typed=_typed(request),
    )


def _typed(request: Request) -> tuple[tuple[str, str], ...]:
    """The fields that were sent, to be sent once more; none where that would not be all."""
    form = getattr(request.state, "typed", None)
    if not isinstance(form, FormData):
        return ()
    fields = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
    secret = any("password" in name or name == "code" for name, _ in fields)
    whole = len(fields) == len(form.multi_items()) and not secret
    return tuple(fields) if whole and sum(len(v) for _, v in fields) < _MOST_KEPT else ()
