"""One loan: answering an offer, giving days back, and a steward's move."""

from collections.abc import Callable
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import books, club_day, loans, meters
from server.lending import moving, offers, queue
from server.lending.book import Book, Changed
from server.lending.calendar import Stretch
from server.lending.rules import No, Rules
from server.models import Loan, Member
from server.web.lending import form as reading
from server.web.lending import view as views
from server.web.lending.numbers import Id
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Steward, Typed, Who, text
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/loans/{loan_id}")
def loan_page(request: Request, who: Who, club: Club, loan_id: Id) -> Response:
    return _loan(request, who, club, loan_id)


@router.post("/loans/{loan_id}/take")
def take(request: Request, who: Who, club: Club, loan_id: Id) -> Response:
    def act(book: Book, rules: Rules, today: date) -> Changed | No:
        return offers.take(book, rules, loan_id, today=today)

    no = _act(club, who, loan_id, act)
    if no is not None:
        return _loan(request, who, club, loan_id, refused=Refused({}, reading.errors_of(no)))
    return see_other("/meters", notice="The days are yours.")


@router.post("/loans/{loan_id}/decline")
def decline(request: Request, who: Who, club: Club, form: Typed, loan_id: Id) -> Response:
    typed = text(form, "not_before", most=40)
    later = reading.read_day(typed) if typed else None
    if typed and later is None:
        errors = {"not_before": "Enter a day, like 2026-12-01, or leave it empty."}
        return _loan(request, who, club, loan_id, refused=Refused({"not_before": typed}, errors))

    def act(book: Book, rules: Rules, today: date) -> Changed | No:
        return offers.decline(book, loan_id, today=today, not_before=later)

    no = _act(club, who, loan_id, act)
    if no is not None:
        refused = Refused({"not_before": typed}, reading.errors_of(no))
        return _loan(request, who, club, loan_id, refused=refused)
    return see_other("/meters", notice="Thank you for saying so. You keep your place.")


@router.post("/loans/{loan_id}/give-back")
def give_back(request: Request, who: Who, club: Club, form: Typed, loan_id: Id) -> Response:
    first, _, last = text(form, "days", most=40).partition("/")
    begins, ends = reading.read_day(first), reading.read_day(last or first)
    if begins is None or ends is None or ends < begins:
        errors = {"days": "Choose which days to give back."}
        return _loan(request, who, club, loan_id, refused=Refused({}, errors))
    days = Stretch(begins, ends)

    def act(book: Book, rules: Rules, today: date) -> Changed | No:
        return moving.give_back(book, loan_id, days=days, today=today)

    no = _act(club, who, loan_id, act)
    if no is not None:
        return _loan(request, who, club, loan_id, refused=Refused({}, reading.errors_of(no)))
    return see_other(f"/loans/{loan_id}", notice="Given back. Those behind you hear of it.")


@router.post("/loans/{loan_id}/move")
def move(request: Request, who: Steward, club: Club, form: Typed, loan_id: Id) -> Response:
    typed = reading.read_move(form)
    if isinstance(typed, Refused):
        return _loan(request, who, club, loan_id, refused=typed)

    def act(book: Book, rules: Rules, today: date) -> Changed | No:
        return moving.move(book, loan_id, typed.to, reason=typed.reason, today=today)

    no = _act(club, who, loan_id, act, as_steward=True)
    if no is not None:
        values = {
            "from": typed.to.first.isoformat(),
            "to": typed.to.last.isoformat(),
            "reason": typed.reason,
        }
        refused = Refused(values, reading.errors_of(no))
        return _loan(request, who, club, loan_id, refused=refused)
    return see_other(f"/loans/{loan_id}", notice="Moved. The member reads your reason.")


@router.post("/requests/{request_id}/agree")
def agree(who: Steward, club: Club, form: Typed, request_id: Id) -> Response:
    agreed = text(form, "agreed") == "yes"
    with club.write() as db:
        found = loans.request(db, request_id)
        meter = books.locked(db, found.meter_id) if found else None
        if meter is None:
            raise NotFound
        answer = loans.act(
            db,
            meter,
            lambda book, rules: queue.agree(book, rules, request_id, agreed=agreed),
            today=club_day.today(db),
            by_id=who.id,
        )
        back = f"/meters/{meter.id}"
    if isinstance(answer, No):
        return see_other(back, notice=answer.reason, tone="no")
    return see_other(back, notice="The member is told.")


def _act(
    club: Club,
    who: Member,
    loan_id: int,
    act: Callable[[Book, Rules, date], Changed | No],
    *,
    as_steward: bool = False,
) -> No | None:
    """Does it to the book of the loan's meter; a loan that is not the member's is not there."""
    with club.write() as db:
        found = loans.loan(db, loan_id)
        if found is None or (found.member_id != who.id and not as_steward):
            raise NotFound("There is no such loan, or it is not yours.")
        meter = books.locked(db, found.meter_id)
        assert meter is not None
        today = club_day.today(db)
        answer = loans.act(
            db, meter, lambda book, rules: act(book, rules, today), today=today, by_id=who.id
        )
    return answer if isinstance(answer, No) else None


def _loan(
    request: Request, who: Member, club: Club, loan_id: int, *, refused: Refused | None = None
) -> Response:
    with club.read() as db:
        view = _loan_view(db, who, loan_id, refused)
    return page(request, "lending/loan.html", view=view, status=422 if refused else 200)


def _loan_view(db: Session, who: Member, loan_id: int, refused: Refused | None) -> views.LoanView:
    loan = loans.loan(db, loan_id)
    meter = meters.meter(db, loan.meter_id) if loan else None
    if loan is None or meter is None:
        raise NotFound("There is no such loan.")
    acts = loans.acts_of_loan(db, loan_id)
    people = [act.by_id for act in acts] + [act.member_id for act in acts] + [loan.member_id]
    names = loans.names(db, people)
    instead: Loan | None = loans.loan(db, loan.instead_of_id) if loan.instead_of_id else None
    return views.loan_view(
        loan,
        meter,
        who=who,
        name=names.get(loan.member_id or 0, "A former member"),
        instead_of=instead,
        log=views.log_rows(acts, names, club_day.zone(db), who.clock),
        today=club_day.today(db),
        values=refused.values if refused else {},
        errors=refused.errors if refused else {},
    )
