"""Signing a browser in and out: the cookie, and the row behind it."""

from fastapi import Request
from fastapi.responses import RedirectResponse

from server.db import members, secrets
from server.models import Member
from server.web.ask import Asked
from server.web.page import see_other
from server.web.signed_in import browser_cookie_name, cookie_name


def cookie_of(request: Request) -> str:
    return cookie_name(request.app.state.settings.secure_cookies)


def start(
    ask: Asked, member: Member, come_back: str, *, notice: str = "", rehash_with: str = ""
) -> RedirectResponse:
    """Signs a member in on this browser, under a new token."""
    request, name = ask.request, cookie_of(ask.request)
    fresh = ""
    if rehash_with and member.password_hash and secrets.wants_rehash(member.password_hash):
        fresh = secrets.hash_password(rehash_with)
    with ask.write() as db:
        members.sign_out(db, request.cookies.get(name, ""))
        token = members.sign_in(db, member, device=request.headers.get("user-agent", ""))
        known_by = request.cookies.get(browser_cookie_name(request), "")
        known_by = members.know_browser(db, member.id, known_by)
        if fresh:
            members.set_password(db, member.id, fresh)
    response = see_other(come_back, notice=notice)
    response.set_cookie(
        name,
        token,
        max_age=int(members.SIGN_IN_LIFE.total_seconds()),
        httponly=True,
        secure=request.app.state.settings.secure_cookies,
        samesite="lax",
        path="/",
    )
    response.set_cookie(
        browser_cookie_name(request),
        known_by,
        max_age=int(members.BROWSER_LIFE.total_seconds()),
        httponly=True,
        secure=request.app.state.settings.secure_cookies,
        samesite="strict",
        path="/",
    )
    return response
