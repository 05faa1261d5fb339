"""A tank as a bundle, out and in; everything a member has; leaving the club."""

import re

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.datastructures import UploadFile

from server.db import leaving, secrets, tanks
from server.db.bundle import pack, unpack
from server.models import Tank
from server.web.bundles import view as views
from server.web.page import page, see_other
from server.web.signed_in import Club, Typed, Who, cookie_name
from server.web.tanks.open import own_tank

router = APIRouter(include_in_schema=False)


@router.get("/tanks/{tank_id}/bundle.zip")
def tank_bundle(who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
        packed = pack.pack(db, tank_id)
    return _download(packed, f"tank-{_plain(tank.name)}.zip")


@router.get("/travel")
def bundles_page(request: Request, who: Who, club: Club) -> Response:
    return _page(request, who, club)


@router.post("/travel/take-in")
def take_in(request: Request, who: Who, club: Club, form: Typed) -> Response:
    sent = form.get("bundle")
    raw = sent.file.read() if isinstance(sent, UploadFile) else b""
    if not raw:
        return _page(request, who, club, {"bundle": "Choose the file that was saved from a club."})
    try:
        found = unpack.read(raw)
        with club.write() as db:
            tank_id = unpack.put_in(db, found, keeper_id=who.id)
            tank = db.get_one(Tank, tank_id)
            tank.shared, tank.archived_at = False, None  # shown to this club only when they say so
            db.add(tank)
    except unpack.Refused as why:
        return _page(request, who, club, {"bundle": f"Nothing was taken in. {why}"})
    return see_other(f"/tanks/{tank_id}", notice=f"{tank.name} is here, and only you see it.")


@router.get("/travel/everything.zip")
def everything(who: Who, club: Club) -> Response:
    with club.read() as db:
        packed = leaving.everything_of(db, who)
    return _download(packed, "everything-of-mine.zip")


@router.get("/account/leave")
def leave_page(request: Request, who: Who, club: Club) -> Response:
    return _leave(request, who, club)


@router.post("/account/leave")
def leave(request: Request, who: Who, club: Club, form: Typed) -> Response:
    password = form.get("password_now")
    if not isinstance(password, str) or not secrets.password_matches(password, who.password_hash):
        return _leave(request, who, club, {"password_now": "This is not your password."})
    try:
        with club.write() as db:
            leaving.leave(db, who.id)
    except leaving.OnlySteward:
        words = "You are the only steward. Make somebody else a steward first."
        return _leave(request, who, club, {"form": words})
    except leaving.StillHolds:
        words = "You have the meter. Hand it over first."
        return _leave(request, who, club, {"form": words})
    response = see_other("/sign-in", notice="You have left the club. Your account is gone.")
    response.delete_cookie(cookie_name(request.app.state.settings.secure_cookies), path="/")
    return response


def _page(request: Request, who: Who, club: Club, errors: dict[str, str] | None = None) -> Response:
    with club.read() as db:
        own = tanks.own_tanks(db, who.id)
    view = views.bundles(own, errors or {})
    return page(request, "bundles/bundles.html", view=view, status=422 if errors else 200)


def _leave(
    request: Request, who: Who, club: Club, errors: dict[str, str] | None = None
) -> Response:
    with club.read() as db:
        own = tanks.own_tanks(db, who.id) + tanks.own_tanks(db, who.id, archived=True)
    view = views.leaving(own, errors or {})
    return page(request, "bundles/leave.html", view=view, status=422 if errors else 200)


def _plain(name: str) -> str:
    """A file name any system takes."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower()[:60] or "bundle"


def _download(packed: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(packed, media_type="application/zip", headers=headers)
