"""One loan: answering an offer, giving days back, and a steward's move."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import loans, meters
from server.lending import moving, offers, queue
from server.models import Loan
from server.web.ask import Ask, Asked
from server.web.forms import Filled
from server.web.lending import loan_view as views
from server.web.lending.acting import Rule, done_to
from server.web.lending.form import LOAN, NOT_BEFORE, read_given_back, read_move, refuse
from server.web.open import AnyRequest, OwnLoan, SeenLoan
from server.web.page import see_other
from server.web.signed_in import Steward

router = APIRouter(include_in_schema=False)


@router.get("/loans/{loan_id}")
def loan_page(ask: Ask, loan: SeenLoan) -> Response:
    return _page(ask, loan, LOAN.showing(_shown(loan)))


@router.post("/loans/{loan_id}/take")
def take(ask: Ask, loan: OwnLoan) -> Response:
    form, today = _typed(ask, loan), ask.today
    _do(ask, loan, form, lambda book, rules: offers.take(book, rules, loan.id, today=today))
    return see_other("/meters", notice="The days are yours.")


@router.post("/loans/{loan_id}/decline")
def decline(ask: Ask, loan: OwnLoan) -> Response:
    form, today = _typed(ask, loan), ask.today
    later = form[NOT_BEFORE]
    form.check()
    _do(
        ask,
        loan,
        form,
        lambda book, rules: offers.decline(book, loan.id, today=today, not_before=later),
    )
    return see_other("/meters", notice="Thank you for saying so. You keep your place.")


@router.post("/loans/{loan_id}/give-back")
def give_back(ask: Ask, loan: OwnLoan) -> Response:
    form, today = _typed(ask, loan), ask.today
    days = read_given_back(form)
    _do(
        ask, loan, form, lambda book, rules: moving.give_back(book, loan.id, days=days, today=today)
    )
    return see_other(f"/loans/{loan.id}", notice="Given back. Those behind you hear of it.")


@router.post("/loans/{loan_id}/move")
def move(ask: Ask, who: Steward, loan: SeenLoan) -> Response:
    form, today = _typed(ask, loan), ask.today
    typed = read_move(form)
    _do(
        ask,
        loan,
        form,
        lambda book, rules: moving.move(book, loan.id, typed.to, reason=typed.reason, today=today),
    )
    return see_other(f"/loans/{loan.id}", notice="Moved. The member reads your reason.")


@router.post("/requests/{request_id}/agree")
def agree(ask: Ask, who: Steward, asked: AnyRequest) -> Response:
    agreed = ask.text("agreed") == "yes"
    no = done_to(
        ask,
        asked.meter_id,
        lambda book, rules: queue.agree(book, rules, asked.id, agreed=agreed),
    )
    notice = no.reason if no else "The member is told."
    return see_other(f"/meters/{asked.meter_id}", notice=notice, tone="no" if no else "done")


def _typed(ask: Asked, loan: Loan) -> Filled:
    return LOAN.typed(ask, again=lambda form: _page(ask, loan, form), beside=_shown(loan))


def _shown(loan: Loan) -> dict[str, str]:
    return {"from": str(loan.first_day), "to": str(loan.last_day)}


def _do(ask: Asked, loan: Loan, form: Filled, rule: Rule) -> None:
    """Raises Refused where the club's rule says no."""
    no = done_to(ask, loan.meter_id, rule)
    if no is not None:
        raise refuse(form, no)


def _page(ask: Asked, loan: Loan, form: Filled) -> Response:
    with ask.read() as db:
        current = loans.loan(db, loan.id) or loan
        meter = meters.meter(db, loan.meter_id)
        acts = loans.acts_of_loan(db, loan.id)
        people = [act.by_id for act in acts] + [act.member_id for act in acts]
        names = loans.names(db, [*people, loan.member_id])
        instead = loans.loan(db, current.instead_of_id) if current.instead_of_id else None
    assert meter is not None
    view = views.loan_view(
        current,
        meter,
        who=ask.who,
        name=names.get(loan.member_id or 0, "A former member"),
        instead_of=instead,
        log=views.log_rows(acts, names, ask.zone, ask.clock),
        today=ask.today,
    )
    return ask.page("lending/loan.html", form=form, view=view)
