"""Pages of leaving a tank alone: history, two moments compared, chores of tank, member, club."""

from datetime import date

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import chores, history
from server.db.moments import moment
from server.models import Tank
from server.web.ask import Ask, Asked
from server.web.forms import Filled
from server.web.history import view as views
from server.web.history.form import DONE, EVERY, NOTE, read_done, read_every, read_note
from server.web.open import OwnTank, SeenTank
from server.web.page import own_path, see_other
from server.web.times import EARLIEST, LATEST

router = APIRouter(include_in_schema=False)

SOON_DAYS = 28


# History


@router.get("/tanks/{tank_id}/history")
def history_page(ask: Ask, tank: SeenTank) -> Response:
    first, second = _day(ask, "first"), _day(ask, "second")
    if first and second and first != second:
        return _compare(ask, tank, min(first, second), max(first, second))
    return _history(ask, tank, NOTE.showing({"on": ask.today.isoformat()}))


@router.post("/tanks/{tank_id}/history")
def add_note(ask: Ask, tank: OwnTank) -> Response:
    form = NOTE.typed(ask, again=lambda form: _history(ask, tank, form))
    note = read_note(form, today=ask.today)
    with ask.write() as db:
        history.add_note(db, tank_id=tank.id, on=note.on, words=note.words, by_id=ask.who.id)
    return see_other(f"/tanks/{tank.id}/history", notice="Noted.")


def _history(ask: Asked, tank: Tank, form: Filled) -> Response:
    with ask.read() as db:
        entries, now = history.timeline(db, tank.id), moment(db, tank.id, ask.today)
    view = views.history_page(ask.who, tank, entries, now, ask.today)
    return ask.page("history/history.html", form=form, view=view)


def _compare(ask: Asked, tank: Tank, first: date, second: date) -> Response:
    with ask.read() as db:
        moments = moment(db, tank.id, first), moment(db, tank.id, second)
        entries = history.timeline(db, tank.id)
    view = views.compare_page(ask.who, tank, *moments, entries)
    return ask.page("history/compare.html", view=view)


def _day(ask: Asked, name: str) -> date | None:
    """A date of the address; what is none counts as not asked for."""
    try:
        found = date.fromisoformat(ask.query.get(name, ""))
    except ValueError:
        return None
    return found if EARLIEST <= found <= LATEST else None


# Chores


@router.get("/chores")
def due_chores(ask: Ask) -> Response:
    """A member's chores; with `of=club` those of all tanks shown to the club."""
    of_club = ask.query.get("of") == "club"
    with ask.read() as db:
        if of_club:
            found = chores.due_of_club(db, today=ask.today, within_days=0)
        else:
            found = chores.due_of_member(db, ask.who.id, today=ask.today, within_days=SOON_DAYS)
    return ask.page("history/due.html", view=views.due_page(found, club=of_club))


@router.get("/tanks/{tank_id}/chores")
def chores_page(ask: Ask, tank: SeenTank) -> Response:
    return _chores(ask, tank)


@router.post("/tanks/{tank_id}/chores")
def chore_done(ask: Ask, tank: OwnTank) -> Response:
    form = DONE.typed(ask, again=lambda form: _chores(ask, tank, wrong=form))
    chore, on = read_done(form, today=ask.today)
    with ask.write() as db:
        chores.mark_done(db, tank_id=tank.id, chore=chore, on=on, by_id=ask.who.id)
    back = own_path(ask.text("back"), f"/tanks/{tank.id}/chores")
    return see_other(back, notice="Written down.")


@router.post("/tanks/{tank_id}/chores/every")
def chores_every(ask: Ask, tank: OwnTank) -> Response:
    every = read_every(EVERY.typed(ask, again=lambda form: _chores(ask, tank, every=form)))
    with ask.write() as db:
        for chore, days in every.items():
            chores.set_every(db, tank_id=tank.id, chore=chore, days=days)
    return see_other(f"/tanks/{tank.id}/chores", notice="Saved.")


def _chores(
    ask: Asked, tank: Tank, *, every: Filled | None = None, wrong: Filled | None = None
) -> Response:
    """every: how often, as typed. wrong: another form of the page that was refused."""
    with ask.read() as db:
        dues = chores.chores_of(db, tank, today=ask.today)
        stored = chores.every_of(db, tank.id)
        jumps = chores.jumps_of(db, tank.id, today=ask.today)
    every = every or EVERY.showing(views.every_values(stored))
    view = views.chores_page(ask.who, tank, dues, jumps)
    return ask.page("history/chores.html", form=wrong or every, view=view, every=every)
