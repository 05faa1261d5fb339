"""Pages of leaving a tank alone: history, two moments compared, chores of tank, member, club."""

from collections.abc import Mapping
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.db import chores, history
from server.db.club_day import today as club_today
from server.db.moments import moment
from server.models import Member
from server.web.history import form as reading
from server.web.history import view as views
from server.web.page import own_path, page, see_other
from server.web.signed_in import Club, Typed, Who, text
from server.web.tanks.open import own_tank, tank_to_see
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)

SOON_DAYS = 28


# History


@router.get("/tanks/{tank_id}/history")
def history_page(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    first, second = _day(request, "first"), _day(request, "second")
    if first and second and first != second:
        return _compare(request, who, club, tank_id, min(first, second), max(first, second))
    return _history(request, who, club, tank_id)


@router.post("/tanks/{tank_id}/history")
def add_note(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    with club.read() as db:
        own_tank(db, who, tank_id)
        today = club_today(db)
    note = reading.read_note(form, today=today)
    if isinstance(note, Refused):
        return _history(request, who, club, tank_id, note)
    with club.write() as db:
        own_tank(db, who, tank_id)
        history.add_note(db, tank_id=tank_id, on=note.on, words=note.words, by_id=who.id)
    return see_other(f"/tanks/{tank_id}/history", notice="Noted.")


def _history(
    request: Request, who: Member, club: Club, tank_id: int, refused: Refused | None = None
) -> Response:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        today = club_today(db)
        entries, now = history.timeline(db, tank_id), moment(db, tank_id, today)
    view = views.history_page(
        who,
        tank,
        entries,
        now,
        today,
        values=refused.values if refused else {},
        errors=refused.errors if refused else {},
    )
    return page(request, "history/history.html", view=view, status=422 if refused else 200)


def _compare(
    request: Request, who: Member, club: Club, tank_id: int, first: date, second: date
) -> Response:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        moments = moment(db, tank_id, first), moment(db, tank_id, second)
        entries = history.timeline(db, tank_id)
    view = views.compare_page(who, tank, *moments, entries)
    return page(request, "history/compare.html", view=view)


def _day(request: Request, name: str) -> date | None:
    """A date of the address; what is none counts as not asked for."""
    try:
        found = date.fromisoformat(request.query_params.get(name, ""))
    except ValueError:
        return None
    return found if date(1990, 1, 1) <= found <= date(2200, 1, 1) else None


# Chores


@router.get("/chores")
def due_chores(request: Request, who: Who, club: Club) -> Response:
    """A member's chores; with `of=club` those of all tanks shown to the club."""
    of_club = request.query_params.get("of") == "club"
    with club.read() as db:
        today = club_today(db)
        if of_club:
            found = chores.due_of_club(db, today=today, within_days=0)
        else:
            found = chores.due_of_member(db, who.id, today=today, within_days=SOON_DAYS)
    return page(request, "history/due.html", view=views.due_page(found, club=of_club))


@router.get("/tanks/{tank_id}/chores")
def chores_page(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    return _chores(request, who, club, tank_id, {}, {})


@router.post("/tanks/{tank_id}/chores")
def chore_done(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    with club.read() as db:
        own_tank(db, who, tank_id)
        today = club_today(db)
    typed = reading.read_done(form, today=today)
    if isinstance(typed, Refused):
        return _chores(request, who, club, tank_id, typed.errors, typed.values)
    chore, on = typed
    with club.write() as db:
        own_tank(db, who, tank_id)
        chores.mark_done(db, tank_id=tank_id, chore=chore, on=on, by_id=who.id)
    back = own_path(text(form, "back"), f"/tanks/{tank_id}/chores")
    return see_other(back, notice="Written down.")


@router.post("/tanks/{tank_id}/chores/every")
def chores_every(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    with club.read() as db:
        own_tank(db, who, tank_id)
    typed = reading.read_every(form)
    if isinstance(typed, Refused):
        return _chores(request, who, club, tank_id, typed.errors, typed.values)
    with club.write() as db:
        own_tank(db, who, tank_id)
        for chore, days in typed.items():
            chores.set_every(db, tank_id=tank_id, chore=chore, days=days)
    return see_other(f"/tanks/{tank_id}/chores", notice="Saved.")


def _chores(
    request: Request,
    who: Member,
    club: Club,
    tank_id: int,
    errors: Mapping[str, str],
    values: Mapping[str, str],
) -> Response:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        dues = chores.chores_of(db, tank, today=club_today(db))
        every = chores.every_of(db, tank_id)
        jumps = chores.jumps_of(db, tank_id, today=club_today(db))
    view = views.chores_page(who, tank, dues, every, jumps, errors=errors, values=values)
    return page(request, "history/chores.html", view=view, status=422 if errors else 200)
