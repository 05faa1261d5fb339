"""Who is asking: by the cookie on pages, by the access token in JSON; and what they typed."""

from collections.abc import AsyncIterator
from typing import Annotated
from urllib.parse import quote

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException

from server.db import club_clock, members
from server.db.engine import Database
from server.models import Member, SignIn
from server.web.guard import COOKIE
from server.web.problem import Refusal

_MAX_FIELDS = 4000
_MAX_TEXT = 4 * 2**20


class NotSignedIn(Exception):
    """A page that wants a member was asked for by a visitor."""

    def __init__(self, come_back_to: str) -> None:
        super().__init__("sign in first")
        self.come_back_to = come_back_to
        self.address = f"/sign-in?next={quote(come_back_to)}"


def is_member(request: Request) -> bool:
    """Whether the cookie or the token that came along is some member's."""
    cookie = request.cookies.get(cookie_name(request.app.state.settings.secure_cookies))
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    with club(request).read() as db:
        found = members.signed_in(db, cookie) if cookie else None
        if found is not None:
            _note(request, db, found[1])
            return True
        return scheme.lower() == "bearer" and members.bearer(db, token) is not None


def _note(request: Request, db: Session, entry: SignIn) -> None:
    """That a sign-in is being used; written later, in passing."""
    if members.wants_touch(db, entry):
        request.app.state.seen.sign_in(entry.id, club_clock.now(db))


class NotFound(HTTPException):
    """There is no such thing, or it is not this member's to see: the answer is the same."""

    def __init__(self, words: str = "There is no such page.") -> None:
        super().__init__(404, words)


def cookie_name(secure: bool) -> str:
    return f"__Host-{COOKIE}" if secure else COOKIE


def browser_cookie_name(request: Request) -> str:
    """Of the cookie by which a browser is known that a member signed in on before."""
    secure = request.app.state.settings.secure_cookies
    return "__Host-underlamp_browser" if secure else "underlamp_browser"


def club(request: Request) -> Database:
    """The club's database."""
    database = request.app.state.club
    assert isinstance(database, Database)
    return database


Club = Annotated[Database, Depends(club)]


def visitor(request: Request, club: Club) -> Member | None:
    """The signed-in member, or None. Pages open to everybody take this."""
    token = request.cookies.get(cookie_name(request.app.state.settings.secure_cookies))
    if not token:
        return None
    with club.read() as db:
        found = members.signed_in(db, token)
        if found is None:
            return None
        member, entry = found
        _note(request, db, entry)
    request.state.who = member
    return member


Visitor = Annotated[Member | None, Depends(visitor)]


def member(request: Request, found: Visitor) -> Member:
    """The signed-in member; a visitor is sent to sign in and comes back."""
    if found is None:
        here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        raise NotSignedIn(here if request.method in ("GET", "HEAD") else _referring(request))
    return found


Who = Annotated[Member, Depends(member)]


def steward(who: Who) -> Member:
    """The signed-in member, who must be a steward."""
    if who.role != "steward":
        raise HTTPException(403, "Only stewards of the club can do this.")
    return who


Steward = Annotated[Member, Depends(steward)]

_bearer = HTTPBearer(auto_error=False, description="A personal access token of a member.")


def bearer(
    request: Request,
    club: Club,
    sent: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)],
) -> Member:
    """The member whose access token came with the request (JSON addresses)."""
    if sent is not None:
        with club.read() as db:
            found = members.bearer(db, sent.credentials)
            if found is not None and members.wants_token_touch(db, found[1]):
                request.app.state.seen.token(found[1].id, club_clock.now(db))
        if found is not None:
            request.state.who = found[0]
            return found[0]
    raise Refusal(
        401,
        "An access token is needed.",
        detail="Send 'Authorization: Bearer <token>' with a token made on your account page.",
    )


Bearer = Annotated[Member, Depends(bearer)]


async def typed(request: Request) -> FormData:
    """What was typed into a form, as text; the family's form.py reads it."""
    form = await request.form(max_files=8, max_fields=_MAX_FIELDS, max_part_size=_MAX_TEXT)
    request.state.typed = form  # an error page may have to give it back
    return form


async def _typed_and_closed(request: Request) -> AsyncIterator[FormData]:
    """As `typed`; the files that came with it are closed once the answer was sent."""
    form = await typed(request)
    try:
        yield form
    finally:
        await form.close()


Typed = Annotated[FormData, Depends(_typed_and_closed)]


def text(form: FormData, name: str, *, most: int = 10_000) -> str:
    """One typed field, stripped; a missing one, a file or an overlong one reads as empty or cut."""
    value = form.get(name)
    return value.replace("\x00", "").strip()[:most] if isinstance(value, str) else ""


def _referring(request: Request) -> str:
    """The page a form stood on, so that signing in again leads back to it."""
    referrer = request.headers.get("referer", "")
    host = request.headers.get("host", "")
    _, found, path = referrer.partition(f"//{host}")
    return path if found and path.startswith("/") else "/"
