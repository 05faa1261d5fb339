"""A tank as a bundle, out and in; everything a member has; leaving the club."""

import re

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import leaving, tanks
from server.db.bundle import pack, unpack
from server.web.ask import Ask, Asked
from server.web.fields import file, password
from server.web.forms import Filled, Form
from server.web.guessing import is_right
from server.web.open import OwnTank
from server.web.page import see_other
from server.web.signed_in import cookie_name

router = APIRouter(include_in_schema=False)

BUNDLE = file(
    "bundle", "The saved file", extra={"accept": ".zip,application/zip"},
    hint="A zip that was saved from an Underlamp.",
)  # fmt: skip
TAKE_IN = Form(BUNDLE)
PASSWORD_NOW = password("password_now", "Your password", extra={"autocomplete": "current-password"})
LEAVE = Form(PASSWORD_NOW)


@router.get("/tanks/{tank_id}/bundle.zip")
def tank_bundle(ask: Ask, tank: OwnTank) -> Response:
    with ask.read() as db:
        packed = pack.pack(db, tank.id)
    return _download(packed, f"tank-{_plain(tank.name)}.zip")


@router.get("/travel")
def bundles_page(ask: Ask) -> Response:
    return _page(ask, TAKE_IN.showing())


@router.post("/travel/take-in")
def take_in(ask: Ask) -> Response:
    form = TAKE_IN.typed(ask, again=lambda form: _page(ask, form))
    raw = ask.file("bundle", most=unpack.MOST_BYTES)[1]
    if not raw:
        raise form.refuse(BUNDLE, "Choose the file that was saved from a club.")
    try:
        found = unpack.read(raw)
        with ask.write() as db:
            tank_id = unpack.put_in(db, found, keeper_id=ask.who.id)
            tank = tanks.keep_to_oneself(db, tank_id)
    except unpack.Refused as why:
        raise form.refuse(BUNDLE, f"Nothing was taken in. {why}") from why
    return see_other(f"/tanks/{tank_id}", notice=f"{tank.name} is here, and only you see it.")


@router.get("/travel/everything.zip")
def everything(ask: Ask) -> Response:
    with ask.read() as db:
        packed = leaving.everything_of(db, ask.who)
    return _download(packed, "everything-of-mine.zip")


@router.get("/account/leave")
def leave_page(ask: Ask) -> Response:
    return _leave_page(ask, LEAVE.showing())


@router.post("/account/leave")
def leave(ask: Ask) -> Response:
    form = LEAVE.typed(ask, again=lambda form: _leave_page(ask, form))
    if not is_right(ask, ask.who.email or "", ask.who, form[PASSWORD_NOW]):
        raise form.refuse(PASSWORD_NOW, "This is not your password.")
    try:
        with ask.write() as db:
            leaving.leave(db, ask.who.id)
    except leaving.OnlySteward as alone:
        words = "You are the only steward. Make somebody else a steward first."
        raise form.refuse("form", words) from alone
    except leaving.StillHolds as holds:
        raise form.refuse("form", "You have the meter. Hand it over first.") from holds
    response = see_other("/sign-in", notice="You have left the club. Your account is gone.")
    response.delete_cookie(cookie_name(ask.request.app.state.settings.secure_cookies), path="/")
    return response


def _page(ask: Asked, form: Filled) -> Response:
    with ask.read() as db:
        own = tanks.own_tanks(db, ask.who.id)
    return ask.page("bundles/bundles.html", form=form, tanks=own)


def _leave_page(ask: Asked, form: Filled) -> Response:
    with ask.read() as db:
        own = tanks.own_tanks(db, ask.who.id) + tanks.own_tanks(db, ask.who.id, archived=True)
    return ask.page("bundles/leave.html", form=form, tanks=own)


def _plain(name: str) -> str:
    """A file name any system takes."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower()[:60] or "bundle"


def _download(packed: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(packed, media_type="application/zip", headers=headers)
