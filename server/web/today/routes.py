"""The first page: today for a member, a welcome for a visitor."""

from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.db import accounts, loans, members, meters, tanks
from server.models import Loan
from server.web.ask import Asked, OpenAsk
from server.web.today import gather
from server.web.today import view as views

router = APIRouter(include_in_schema=False)

_MOST_TANKS = 6


@router.get("/")
def first_page(ask: OpenAsk) -> Response:
    if ask.visitor is None:
        with ask.read() as db:
            set_up = members.is_set_up(db)
        return ask.page("today/welcome.html", set_up=set_up)
    return _today(ask)


def _today(ask: Asked) -> Response:
    who, today = ask.who, ask.today
    with ask.read() as db:
        own = [accounts.rows_of(db, tank, today=today) for tank in tanks.own_tanks(db, who.id)]
        todos = gather.everything(db, gather.Desk(who=who, today=today, tanks=own))
        held = _meters(db, ask)
    shown = [accounts.told(rows, unit=ask.unit) for rows in own[:_MOST_TANKS]]
    return ask.page("today/today.html", view=views.today_page(todos, shown, held))


def _meters(db: Session, ask: Asked) -> list[views.MeterNow]:
    """Each meter with who has it: who fetched it and kept it, else whose day it is."""
    every = meters.all_meters(db)
    out = {loan.meter_id: loan for loan in loans.loans_out(db, [meter.id for meter in every])}
    now = [
        (meter, out.get(meter.id) or loans.holder_on(db, meter.id, ask.today)) for meter in every
    ]
    names = loans.names(db, [loan.member_id for _, loan in now if loan is not None])
    names[ask.who.id] = "you"
    return [
        views.MeterNow(meter, views.where(meter, loan, _holder(loan, names), ask.today))
        for meter, loan in now
    ]


def _holder(loan: Loan | None, names: dict[int, str]) -> str:
    return "" if loan is None else names.get(loan.member_id or 0, "a former member")
