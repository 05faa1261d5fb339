"""Addresses of a tank's plan: the page, the part that follows a slider, and keeping it."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session

from server.db import accounts, tanks
from server.db.accounts import AccountRows
from server.db.club_day import today as club_today
from server.models import Member, Setup, Tank
from server.web.page import fragment, page, see_other
from server.web.planner import form as reading
from server.web.planner import view as views
from server.web.planner.look import Subject
from server.web.signed_in import Club, NotFound, Typed, Who, text
from server.web.tanks.open import own_tank, tank_to_see

router = APIRouter(include_in_schema=False)

SIZES = ("wide", "narrow")


@router.get("/tanks/{tank_id}/plan")
def plan_page(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    typed = dict(request.query_params)
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        loaded = _load(db, who, tank, typed.get("setup", ""))
    if loaded is None:
        return page(request, "planner/empty.html", view=tank)
    subject = _subject(loaded, who)
    asked = _asked(subject, typed, who)
    return page(
        request,
        "planner/plan.html",
        view=views.plan_page(subject, asked),
        status=422 if asked.errors else 200,
    )


@router.get("/tanks/{tank_id}/plan/drawn")
def drawn(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    """The charts and verdicts alone, in one size; `draft` draws them coarser and quicker."""
    typed = dict(request.query_params)
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        loaded = _load(db, who, tank, typed.get("setup", ""))
    if loaded is None:
        raise NotFound("Nothing hangs over this tank yet.")
    subject = _subject(loaded, who)
    asked = _asked(subject, typed, who)
    if asked.errors:
        return Response(status_code=422)
    size, draft = typed.get("size", ""), typed.get("draft") == "yes"
    found = views.drawn(
        subject,
        asked,
        sizes=(size,) if size in SIZES else SIZES,
        draft=draft,
    )
    return HTMLResponse(
        fragment("planner/_drawn.html", drawn=found, draft=draft),
        headers={"Cache-Control": "no-store"},
    )


@router.post("/tanks/{tank_id}/plan/keep")
def keep(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    """What was tried becomes a plan of its own; what hangs now stays as it is."""
    typed = {name: text(form, name, most=200) for name in form}
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
        loaded = _load(db, who, tank, typed.get("setup", ""))
    if loaded is None:
        raise NotFound("Nothing hangs over this tank yet.")
    subject = _subject(loaded, who)
    asked = _asked(subject, typed, who)
    name = typed.get("name", "")
    if len(name) > 80:
        asked.errors["name"] = f"Keep the name to 80 letters; it has {len(name)}."
    if asked.errors:
        asked.values["name"] = name
        return page(request, "planner/plan.html", view=views.plan_page(subject, asked), status=422)
    with club.write() as db:
        kept = tanks.save_setup(
            db,
            tank_id=tank_id,
            lamps=asked.lamps,
            since=club_today(db),
            reason="",
            name=name or "Tried on the plan",
            state="plan",
            by_id=who.id,
        )
    return see_other(
        f"/tanks/{tank_id}/plan?setup={kept.id}",
        notice="Kept as a plan. What hangs over the tank was not touched.",
    )


@dataclass(frozen=True, kw_only=True)
class _Loaded:
    rows: AccountRows
    setup: Setup
    is_current: bool


def _load(db: Session, who: Member, tank: Tank, setup_asked: str) -> _Loaded | None:
    """The setup asked for, else what hangs now; None where nothing was ever hung."""
    current = tanks.current_setup(db, tank.id)
    setup = _setup(db, who, tank, setup_asked) if setup_asked else current
    if setup is None:
        return None
    rows = accounts.rows_of(db, tank, today=club_today(db), setup=setup)
    is_current = current is not None and current.id == setup.id
    return _Loaded(rows=rows, setup=setup, is_current=is_current)


def _subject(loaded: _Loaded, who: Member) -> Subject:
    """Outside the transaction: the account of what was loaded."""
    return Subject(
        told=accounts.told(loaded.rows, unit=who.length_unit),
        setup=loaded.setup,
        own=loaded.rows.tank.owner_id == who.id,
        is_current=loaded.is_current,
    )


def _setup(db: Session, who: Member, tank: Tank, asked: str) -> Setup:
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 10 else 0
    found = tanks.setup_seen(db, number, who.id)
    if found is None or found[1].id != tank.id:
        raise NotFound("There is no such setup of this tank.")
    return found[0]


def _asked(subject: Subject, typed: dict[str, str], who: Member) -> reading.WhatIf:
    return reading.read(
        typed,
        tank=subject.tank,
        hung=[one.row for one in subject.hung],
        animals=subject.animals,
        reader_unit=who.length_unit,
    )
