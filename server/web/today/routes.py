"""The first page: today for a member, a welcome for a visitor."""

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import club_day, loans, measured, members, meters, tanks
from server.models import Loan, Member, Meter
from server.web.page import page
from server.web.signed_in import Club, Visitor
from server.web.today import gather
from server.web.today import view as views

router = APIRouter(include_in_schema=False)

_MOST_TANKS = 6


@router.get("/")
def first_page(request: Request, who: Visitor, club: Club) -> Response:
    if who is None:
        with club.read() as db:
            view = views.WelcomeView(set_up=members.is_set_up(db))
        return page(request, "today/welcome.html", view=view)
    with club.read() as db:
        today = club_day.today(db)
        todos = gather.everything(db, who, today)
        rows = _tanks(db, who)
        held = _meters(db, today)
    return page(request, "today/today.html", view=views.today_page(todos, rows, held, who, today))


def _tanks(db: Session, who: Member) -> list[views.TankRows]:
    own = tanks.own_tanks(db, who.id)[:_MOST_TANKS]
    setups = tanks.current_setups(db, [tank.id for tank in own])
    found = []
    for tank in own:
        setup = setups.get(tank.id)
        lit = None if setup is None else measured.rows_of(db, tank, setup)
        animals = tanks.animals_of(db, tank.id)
        found.append(views.TankRows(tank=tank, lit=lit, animals=animals))
    return found


def _meters(db: Session, today: date) -> list[tuple[Meter, Loan | None, str]]:
    """Each meter with who has it today."""
    found = []
    for meter in meters.all_meters(db):
        loan = loans.holder_on(db, meter.id, today)
        names = loans.names(db, [loan.member_id] if loan else [])
        name = names.get(loan.member_id or 0, "a former member") if loan else ""
        found.append((meter, loan, name))
    return found
