"""Entering readings by the tank: the page, the plain form, the phone's queue, the sheet."""

import json
from typing import Annotated, Any
from uuid import uuid4

from fastapi import APIRouter, Depends, Request
from fastapi.responses import FileResponse, JSONResponse, Response
from sqlmodel import Session
from starlette.exceptions import HTTPException

from server import places
from server.db import measured, surveys, tanks
from server.models import MeasurementSession, Member, PlannedPoint, Reading, Setup, Tank
from server.web.entry import anew
from server.web.entry import form as reading
from server.web.entry import plan as planning
from server.web.entry import view as views
from server.web.page import page, see_other
from server.web.signed_in import Club, Typed, Who, text
from server.web.surveys.open import own_session
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/sessions/worker.js")
def worker() -> Response:
    """The service worker; it stands here because it may only mind pages below its own address."""
    return FileResponse(
        places.STATIC / "entry-worker.js",
        media_type="text/javascript",
        headers={"Cache-Control": "no-cache"},
    )


@router.get("/sessions/{session_id}/enter")
def entry_page(request: Request, who: Who, club: Club, session_id: int) -> Response:
    asked = request.query_params
    with club.read() as db:
        session, tank, planned, readings = _load(db, who, session_id)
    place = reading.read_place(_as_form(request), tank, who.length_unit) if "x" in asked else None
    view = views.entry_page(
        who,
        session,
        tank,
        planned=planned,
        readings=readings,
        point_id=_number(asked.get("point")),
        own_place=place if isinstance(place, tuple) else None,
        new_client_id=str(uuid4()),
        question=_question(planned, readings, _number(asked.get("ask"))),
        place_values={name: asked.get(name, "")[:40] for name in ("x", "y", "depth")},
        place_errors=place.errors if isinstance(place, Refused) else None,
    )
    status = 422 if isinstance(place, Refused) else 200
    return page(request, "entry/enter.html", view=view, status=status)


def _load(
    db: Session, who: Member, session_id: int
) -> tuple[MeasurementSession, Tank, list[PlannedPoint], list[Reading]]:
    session, tank = own_session(db, who, session_id)
    if session.kind == "log":
        raise HTTPException(404, "This session is a sensor's log; it takes no single readings.")
    return session, tank, surveys.plan_of(db, session_id), surveys.readings_of(db, session_id)


def _as_form(request: Request) -> Any:
    return request.query_params


def _number(asked: str | None) -> int | None:
    good = asked is not None and asked.isascii() and asked.isdigit() and len(asked) < 10
    return int(asked) if good and asked else None


def _question(
    planned: list[PlannedPoint], readings: list[Reading], reading_id: int | None
) -> views.Question | None:
    found = next((one for one in readings if one.id == reading_id), None)
    if found is None:
        return None
    expected = next((p.expected_ppfd for p in planned if p.id == found.point_id), None)
    scale = views.plan_scale(planned, [one for one in readings if one.id != reading_id])
    return views.question_about(found, readings, expected and expected * (scale or 1.0))


@router.post("/sessions/{session_id}/enter")
def enter(request: Request, who: Who, club: Club, form: Typed, session_id: int) -> Response:
    """One value from the plain form: stored, then on to the next point."""
    with club.read() as db:
        session, tank, planned, readings = _load(db, who, session_id)
    point = next((p for p in planned if p.id == _number(text(form, "point_id", most=10))), None)
    if text(form, "do") == "skip" and point is not None:
        return _skip(club, who, session_id, tank, point)
    place = (
        (point.x_cm, point.y_cm, point.depth_cm)
        if point
        else reading.read_place(form, tank, who.length_unit)
    )
    entry = (
        "Say where this was read."
        if isinstance(place, Refused)
        else reading.read_entry(form, point, place)
    )
    if isinstance(entry, str):
        view = views.entry_page(
            who,
            session,
            tank,
            planned=planned,
            readings=readings,
            point_id=point.id if point else None,
            own_place=place if point is None and isinstance(place, tuple) else None,
            new_client_id=text(form, "client_id", most=64) or str(uuid4()),
            value=text(form, "value", most=60),
            error=entry,
            place_values={name: text(form, name, most=40) for name in ("x", "y", "depth")},
            place_errors=place.errors if isinstance(place, Refused) else None,
        )
        return page(request, "entry/enter.html", view=view, status=422)
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        stored = surveys.record(db, session, [entry], by_id=who.id)[0]
    return _go_on(club, who, session_id, stored, again=text(form, "do") == "again")


def _skip(club: Club, who: Member, session_id: int, tank: Tank, point: PlannedPoint) -> Response:
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        surveys.skip_point(db, session, point.id, (point.x_cm, point.y_cm, point.depth_cm))
    return see_other(f"/sessions/{session_id}/enter" + _next(club, who, session_id, point.id))


def _go_on(club: Club, who: Member, session_id: int, stored: Reading, *, again: bool) -> Response:
    with club.read() as db:
        _, _, planned, readings = _load(db, who, session_id)
    asked = _question(planned, readings, stored.id)
    ask = f"ask={stored.id}" if asked else ""
    if again and stored.point_id:
        where = f"?point={stored.point_id}" + (f"&{ask}" if ask else "")
    else:
        where = _next(club, who, session_id, stored.point_id)
        where += (("&" if where else "?") + ask) if ask else ""
    return see_other(f"/sessions/{session_id}/enter{where}", notice=f"{stored.typed_light} kept.")


def _next(club: Club, who: Member, session_id: int, after: int | None) -> str:
    with club.read() as db:
        _, tank, planned, readings = _load(db, who, session_id)
    points = views.points_of(tank, planned, readings, who.length_unit, None)
    found = views.next_open(points, after)
    return f"?point={found.id}" if found else ""


@router.post("/sessions/{session_id}/plan")
def plan_anew(who: Who, club: Club, session_id: int) -> Response:
    """Puts the points that would settle most in the place of those not read yet."""
    with club.read() as db:
        session, tank, planned, readings = _load(db, who, session_id)
        setup = db.get(Setup, session.setup_id) if session.setup_id else None
        rows = measured.rows_of(db, tank, setup) if setup else None
        animals = tanks.animals_of(db, tank.id)
    found = measured.measured(rows) if rows else None
    address = f"/sessions/{session_id}/enter"
    if found is None:
        words = "No lamp is on record for that day, so there is no telling which point says most."
        return see_other(address, notice=words)
    points = views.points_of(tank, planned, readings, who.length_unit, None)
    still_open = sum(one.state == "open" for one in points)
    chosen = anew.chosen_anew(found.map, tank, animals, max(still_open, 1))
    if not chosen.points:
        return see_other(address, notice=chosen.why)
    factor = session.immersion_factor * session.calibration_factor
    expected = planning.expected(found, chosen.points, factor)
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        surveys.set_open_points(db, session, chosen.points, expected)
    return see_other(address, notice=f"{_chosen(len(chosen.points))} {chosen.why}")


def _chosen(count: int) -> str:
    return "One point chosen anew." if count == 1 else f"{count} points chosen anew."


# The phone's queue


async def _body(request: Request) -> Any:
    """The JSON that came; None when it is none."""
    try:
        return json.loads(await request.body())
    except (ValueError, RecursionError):
        return None


@router.post("/sessions/{session_id}/entries")
def take_entries(
    who: Who, club: Club, told: Annotated[Any, Depends(_body)], session_id: int
) -> JSONResponse:
    """Values kept on a phone, each stored exactly once however often it is sent."""
    with club.read() as db:
        _, tank, _, _ = _load(db, who, session_id)
    sent = reading.read_sent(told, tank)
    if isinstance(sent, str):
        raise HTTPException(422, sent)
    entries = [one for one in sent if isinstance(one, reading.Entry)]
    skips = [one for one in sent if isinstance(one, reading.Skip)]
    refused = [one for one in sent if isinstance(one, reading.NotTaken)]
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        stored = surveys.record(db, session, entries, by_id=who.id)
        for one in skips:
            surveys.skip_point(db, session, one.point_id, one.place)
        everything = surveys.readings_of(db, session_id, struck=False)
    return JSONResponse(
        {
            "stored": [one.client_id for one in stored] + [one.client_id for one in skips],
            "refused": [{"client_id": r.client_id, "reason": r.reason} for r in refused],
            "readings": [
                {
                    "client_id": one.client_id,
                    "point": one.point_id,
                    "at": [one.x_cm, one.y_cm, one.depth_cm],
                    "value": one.raw_ppfd,
                }
                for one in everything
            ],
        }
    )


# The sheet


@router.get("/sessions/{session_id}/sheet")
def sheet(request: Request, who: Who, club: Club, session_id: int) -> Response:
    with club.read() as db:
        session, tank, planned, readings = _load(db, who, session_id)
    view = views.sheet(who, session, tank, planned, readings)
    return page(request, "entry/sheet.html", view=view)
