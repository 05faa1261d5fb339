"""Entering readings by the tank: the page, the plain form, the phone's queue, the sheet."""

import json
from dataclasses import dataclass
from typing import Annotated, Any
from uuid import uuid4

from fastapi import APIRouter, Depends, Request
from fastapi.responses import FileResponse, JSONResponse, Response
from starlette.exceptions import HTTPException

from server import places
from server.db import measured, planned_points, points_anew, surveys, tanks
from server.db.surveys import Entry
from server.models import MeasurementSession, PlannedPoint, Reading, Tank
from server.web.ask import Ask, Asked
from server.web.entry import form as reading
from server.web.entry import sheet_view
from server.web.entry import view as views
from server.web.forms import Filled
from server.web.open import OwnSession, SessionOfTank
from server.web.page import see_other

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class _Round:
    """A session by the tank: its points, and what was read so far."""

    session: MeasurementSession
    tank: Tank
    planned: list[PlannedPoint]
    readings: list[Reading]

    @property
    def address(self) -> str:
        return f"/sessions/{self.session.id}/enter"

    def point(self, point_id: int | None) -> PlannedPoint | None:
        return next((one for one in self.planned if one.id == point_id), None)


def _round(ask: Asked, opened: SessionOfTank) -> _Round:
    session, tank = opened
    if session.kind == "log":
        raise HTTPException(404, "This session is a sensor's log; it takes no single readings.")
    with ask.read() as db:
        planned, readings = surveys.plan_of(db, session.id), surveys.readings_of(db, session.id)
    return _Round(session, tank, planned, readings)


@router.get("/sessions/worker.js")
def worker() -> Response:
    """The service worker; it stands here because it may only mind pages below its own address."""
    return FileResponse(
        places.STATIC / "entry-worker.js",
        media_type="text/javascript",
        headers={"Cache-Control": "no-cache"},
    )


@router.get("/sessions/{session_id}/enter")
def entry_page(ask: Ask, opened: OwnSession) -> Response:
    at = _round(ask, opened)
    form = reading.entry_form(at.tank).in_address(ask)
    place = reading.read_place(form, at.tank) if "x" in ask.query else None
    question = _question(at, _number(ask.query.get("ask")))
    return _page(ask, at, form, _number(ask.query.get("point")), place, question)


def _page(
    ask: Asked,
    at: _Round,
    form: Filled,
    point_id: int | None,
    own_place: reading.Place | None,
    question: views.Question | None = None,
) -> Response:
    view = views.entry_page(
        ask.who,
        at.session,
        at.tank,
        planned=at.planned,
        readings=at.readings,
        point_id=point_id,
        own_place=own_place,
        question=question,
    )
    client_id = ask.text("client_id", most=64) or str(uuid4())
    return ask.page("entry/enter.html", form=form, view=view, client_id=client_id)


def _number(asked: str | None) -> int | None:
    good = asked is not None and asked.isascii() and asked.isdigit() and len(asked) < 10
    return int(asked) if good and asked else None


def _question(at: _Round, reading_id: int | None) -> views.Question | None:
    found = next((one for one in at.readings if one.id == reading_id), None)
    if found is None:
        return None
    point = at.point(found.point_id)
    expected = point.expected_ppfd if point else None
    scale = views.plan_scale(at.planned, [one for one in at.readings if one.id != reading_id])
    return views.question_about(found, at.readings, expected and expected * (scale or 1.0))


@router.post("/sessions/{session_id}/enter")
def enter(ask: Ask, opened: OwnSession) -> Response:
    """One value from the plain form: stored, then on to the next point."""
    at = _round(ask, opened)
    point = at.point(_number(ask.text("point_id", most=10)))
    if ask.text("do") == "skip" and point is not None:
        return _skip(ask, opened, point)
    form = reading.entry_form(at.tank).typed(ask)
    if point is not None:
        place: reading.Place | None = (point.x_cm, point.y_cm, point.depth_cm)
        form.again = lambda form: _page(ask, at, form, point.id, None)
    else:
        place = reading.read_place(form, at.tank)
        form.again = lambda form: _page(ask, at, form, None, place)
    entry = reading.read_entry(ask, form, point, place)
    with ask.write() as db:
        session = surveys.again(db, at.session)
        stored = surveys.record(db, session, [entry], by_id=ask.who.id)[0]
    return _go_on(ask, opened, stored, again=ask.text("do") == "again")


def _skip(ask: Asked, opened: SessionOfTank, point: PlannedPoint) -> Response:
    with ask.write() as db:
        session = surveys.again(db, opened.session)
        surveys.skip_point(db, session, point.id, (point.x_cm, point.y_cm, point.depth_cm))
    at = _round(ask, opened)
    return see_other(at.address + _next(ask, at, point.id))


def _go_on(ask: Asked, opened: SessionOfTank, stored: Reading, *, again: bool) -> Response:
    at = _round(ask, opened)
    asked = f"ask={stored.id}" if _question(at, stored.id) else ""
    if again and stored.point_id:
        where = f"?point={stored.point_id}" + (f"&{asked}" if asked else "")
    else:
        where = _next(ask, at, stored.point_id)
        where += (("&" if where else "?") + asked) if asked else ""
    return see_other(f"{at.address}{where}", notice=f"{stored.typed_light} kept.")


def _next(ask: Asked, at: _Round, after: int | None) -> str:
    points = views.points_of(at.tank, at.planned, at.readings, ask.unit, None)
    found = views.next_open(points, after)
    return f"?point={found.id}" if found else ""


@router.post("/sessions/{session_id}/plan")
def plan_anew(ask: Ask, opened: OwnSession) -> Response:
    """Puts the points that would settle most in the place of those not read yet."""
    at = _round(ask, opened)
    with ask.read() as db:
        setup = tanks.setup(db, at.session.setup_id)
        rows = measured.rows_of(db, at.tank, setup) if setup else None
        animals = tanks.animals_of(db, at.tank.id)
    found = measured.measured(rows) if rows else None
    if found is None:
        words = "No lamp is on record for that day, so there is no telling which point says most."
        return see_other(at.address, notice=words)
    points = views.points_of(at.tank, at.planned, at.readings, ask.unit, None)
    still_open = sum(one.state == "open" for one in points)
    chosen = points_anew.chosen_anew(found.map, at.tank, animals, max(still_open, 1))
    if not chosen.points:
        return see_other(at.address, notice=chosen.why)
    factor = at.session.immersion_factor * at.session.calibration_factor
    expected = planned_points.expected(found, chosen.points, factor)
    with ask.write() as db:
        session = surveys.again(db, at.session)
        surveys.set_open_points(db, session, chosen.points, expected)
    return see_other(at.address, notice=f"{_chosen(len(chosen.points))} {chosen.why}")


def _chosen(count: int) -> str:
    return "One point chosen anew." if count == 1 else f"{count} points chosen anew."


# The phone's queue


async def _body(request: Request) -> Any:
    """The JSON that came; None when it is none, or a form, which was read before."""
    try:
        return json.loads(await request.body())
    except (ValueError, RecursionError, RuntimeError):
        return None


@router.post("/sessions/{session_id}/entries")
def take_entries(
    ask: Ask, told: Annotated[Any, Depends(_body)], opened: OwnSession
) -> JSONResponse:
    """Values kept on a phone, each stored exactly once however often it is sent."""
    at = _round(ask, opened)
    sent = reading.read_sent(told, at.tank)
    if isinstance(sent, str):
        raise HTTPException(422, sent)
    entries = [one for one in sent if isinstance(one, Entry)]
    skips = [one for one in sent if isinstance(one, reading.Skip)]
    refused = [one for one in sent if isinstance(one, reading.NotTaken)]
    with ask.write() as db:
        session = surveys.again(db, at.session)
        stored = surveys.record(db, session, entries, by_id=ask.who.id)
        for one in skips:
            surveys.skip_point(db, session, one.point_id, one.place)
        everything = surveys.readings_of(db, session.id, struck=False)
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
def sheet(ask: Ask, opened: OwnSession) -> Response:
    at = _round(ask, opened)
    view = sheet_view.sheet(ask.who, at.session, at.tank, at.planned, at.readings)
    return ask.page("entry/sheet.html", view=view)
