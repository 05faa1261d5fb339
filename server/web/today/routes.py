"""The first page: today for a member, a welcome for a visitor."""

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import accounts, club_day, loans, members, meters, tanks
from server.models import Loan
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
        own = [accounts.rows_of(db, tank, today=today) for tank in tanks.own_tanks(db, who.id)]
        todos = gather.everything(db, gather.Desk(who=who, today=today, tanks=own))
        held = _meters(db, today)
    shown = [accounts.told(rows, unit=who.length_unit) for rows in own[:_MOST_TANKS]]
    return page(request, "today/today.html", view=views.today_page(todos, shown, held, who, today))


def _meters(db: Session, today: date) -> list[views.MeterNow]:
    """Each meter with who has it: who fetched it and kept it, else whose day it is."""
    every = meters.all_meters(db)
    out = {loan.meter_id: loan for loan in loans.loans_out(db, [meter.id for meter in every])}
    now = [(meter, out.get(meter.id) or loans.holder_on(db, meter.id, today)) for meter in every]
    names = loans.names(db, [loan.member_id for _, loan in now if loan is not None])
    return [
        views.MeterNow(meter=meter, loan=loan, holder=_holder(loan, names)) for meter, loan in now
    ]


def _holder(loan: Loan | None, names: dict[int, str]) -> str:
    return "" if loan is None else names.get(loan.member_id or 0, "a former member")
