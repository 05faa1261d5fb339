"""The page that the label on the case opens: who has the meter, who is next, passing it on."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.db import books, loans, meters
from server.lending import handover
from server.lending.book import Book, out_loan
from server.lending.book import Loan as BookLoan
from server.lending.calendar import day_in_words, stretch_in_words
from server.lending.rules import No
from server.models import Handover, Member, Meter
from server.web.ask import Ask, Asked, OpenAsk
from server.web.forms import Filled
from server.web.lending import words
from server.web.lending.form import HANDOVER, NOTE, UNTIL, refuse
from server.web.open import ClubMeter
from server.web.page import see_other
from server.web.signed_in import NotFound

router = APIRouter(include_in_schema=False)

_NOT_HELD = "This is for the member who has the meter."


@dataclass(frozen=True, kw_only=True)
class HandoverView:
    """may_*: what the one who asks can do here; `waits_for` is the other side of a handover."""

    standing: str
    case: tuple[str, ...]
    holder: str
    next_who: str
    next_when: str
    may_give: bool
    may_receive: bool
    may_bring_back: bool
    may_collect: bool
    waits_for: str
    due: str
    told: tuple[tuple[str, str], ...]


@router.get("/m/{code}")
def by_label(ask: OpenAsk, code: str) -> Response:
    """The short address printed on the label. It tells visitors nothing: they sign in first."""
    with ask.read() as db:
        found = meters.meter_by_label(db, code[:16])
    if found is None:
        raise NotFound("No meter of this club has that label.")
    return see_other(f"/meters/{found.id}/handover")


@router.get("/meters/{meter_id}/handover")
def handover_page(ask: Ask, meter: ClubMeter) -> Response:
    return _page(ask, meter, HANDOVER.showing())


@router.post("/meters/{meter_id}/handover/give")
def give(ask: Ask, meter: ClubMeter) -> Response:
    """The one who has it says that it has been passed on."""
    return _confirm(ask, meter, giving=True)


@router.post("/meters/{meter_id}/handover/receive")
def receive(ask: Ask, meter: ClubMeter) -> Response:
    """The next one says that they have it: from the member before, or from the keeper."""
    return _confirm(ask, meter, giving=False)


@router.post("/meters/{meter_id}/handover/back")
def bring_back(ask: Ask, meter: ClubMeter) -> Response:
    """The one who has it, or a steward, says that it is back with its keeper."""
    form, today = _typed(ask, meter), ask.today
    with ask.write() as db:
        locked = _locked(db, meter)
        out = _held(db, locked, ask.who, today)
        answer = loans.act(
            db,
            locked,
            lambda book, rules: handover.bring_back(book, today=today),
            today=today,
            by_id=ask.who.id,
        )
        if not isinstance(answer, No):
            row = meters.start_handover(
                db, meter.id, from_loan_id=out.id if out else None, to_loan_id=None
            )
            _note(db, locked, row, ask, form)
            meters.sign_handover(db, row, given_by_id=ask.who.id)
            meters.finish_handover(db, row, on=today)
    if isinstance(answer, No):
        raise refuse(form, answer)
    return see_other(f"/meters/{meter.id}", notice="It is back. Thank you.")


@router.post("/meters/{meter_id}/handover/late")
def say_late(ask: Ask, meter: ClubMeter) -> Response:
    """The one who has it says until when; everyone who must move is told at once."""
    form, today = _typed(ask, meter), ask.today
    until = form[UNTIL]
    form.check()
    with ask.write() as db:
        locked = _locked(db, meter)
        _held(db, locked, ask.who, today)
        before = loans.last_act_id(db, meter.id)
        answer = loans.act(
            db,
            locked,
            lambda book, rules: handover.say_late(book, rules, until, today=today),
            today=today,
            by_id=ask.who.id,
        )
    if isinstance(answer, No):
        raise refuse(form, answer)
    notice = f"Noted: until {day_in_words(until)}. Who had to be told is listed below."
    return see_other(f"/meters/{meter.id}/handover?since={before}#told", notice=notice)


def _confirm(ask: Asked, meter: Meter, *, giving: bool) -> Response:
    """One side of a handover; the second side to confirm completes it."""
    form, today, who = _typed(ask, meter), ask.today, ask.who
    with ask.write() as db:
        locked = _locked(db, meter)
        # Today's lapses and late days first, so that the right two people meet.
        loans.act(db, locked, None, today=today, by_id=None)
        book = loans.book(db, locked, today=today)
        out, to = out_loan(book), handover.next_loan(book)
        mine = out if giving else to
        if mine is None or not _is(who, mine):
            raise NotFound("This is for the member who has the meter, and for the one who is next.")
        no = _cannot(book, to, today)
        done = False
        if no is None and to is not None:
            row = meters.start_handover(
                db, meter.id, from_loan_id=out.id if out else None, to_loan_id=to.id
            )
            _note(db, locked, row, ask, form)
            done = _sign(db, locked, row, to, who, giving=giving, today=today)
    if no is not None:
        raise refuse(form, no)
    here = f"/meters/{meter.id}/handover"
    if done:
        return see_other(here, notice="Handed over. Thank you both.")
    other = "the next member" if giving else "the one who gives it"
    return see_other(
        here, notice=f"Your side is noted. Now {other} scans the label and confirms too."
    )


def _cannot(book: Book, to: BookLoan | None, today: date) -> No | None:
    if to is None:
        return No(reason="Nobody is next. Bring the meter back to its keeper instead.")
    answer = handover.receive(book, to.id, today=today)
    return answer if isinstance(answer, No) else None


def _sign(
    db: Session,
    meter: Meter,
    row: Handover,
    to: BookLoan,
    who: Member,
    *,
    giving: bool,
    today: date,
) -> bool:
    """Notes one side; gives whether both have confirmed and the meter has changed hands."""
    if giving:
        meters.sign_handover(db, row, given_by_id=who.id)
    else:
        meters.sign_handover(db, row, received_by_id=who.id)
    both = row.received_by_id and (row.given_by_id or row.from_loan_id is None)
    if not both:
        return False
    loans.act(
        db,
        meter,
        lambda book, rules: handover.receive(book, to.id, today=today),
        today=today,
        by_id=who.id,
    )
    meters.finish_handover(db, row, on=today)
    return True


def _note(db: Session, meter: Meter, row: Handover, ask: Asked, form: Filled) -> None:
    """What was missing and what was seen; both go into the condition log, stewards are told."""
    here = {value for value in ask.form.getlist("here") if isinstance(value, str)}
    # Nothing ticked at all means that nobody looked, not that the case is empty.
    missing = [thing for n, thing in enumerate(_case(meter)) if here and str(n) not in here]
    note = form[NOTE][:900]
    meters.note_handover(db, row, missing=missing, note=note)
    sentences = [f"Missing from the case: {', '.join(missing)}."] if missing else []
    sentences += [note] if note else []
    if sentences:
        noted = " ".join(sentences)
        meters.note_condition(db, meter.id, noted, day=ask.today, by_id=ask.who.id)
        loans.tell_stewards(db, meter, subject="something was noted at a handover", words=noted)


def _typed(ask: Asked, meter: Meter) -> Filled:
    return HANDOVER.typed(ask, again=lambda form: _page(ask, meter, form))


def _page(ask: Asked, meter: Meter, form: Filled) -> Response:
    with ask.read() as db:
        view = _view(db, ask.who, meter, ask.query.get("since", ""), ask.today)
    return ask.page("lending/handover.html", form=form, meter=meter, view=view)


def _view(db: Session, who: Member, meter: Meter, since: str, today: date) -> HandoverView:
    book = loans.book(db, meter, today=today)
    out, to = out_loan(book), handover.next_loan(book)
    given, received = _signed(meters.open_handover(db, meter.id), out, to)
    names = loans.names(db, [loan.member_id for loan in book.loans])
    ready = _cannot(book, to, today) is None
    holds, next_one = out is not None and _is(who, out), to is not None and _is(who, to)
    waits_for = ""
    if given != received and out and to:
        waits_for = names.get(to.member_id if given else out.member_id, "")
    return HandoverView(
        standing=words.standing(meter, book, names, me=who.id, today=today),
        case=_case(meter),
        holder=names.get(out.member_id, "") if out else "",
        next_who=names.get(to.member_id, "") if to else "",
        next_when=stretch_in_words(to.stretch) if to else "",
        may_give=holds and ready and not given,
        may_receive=next_one and ready and not received and out is not None,
        may_bring_back=holds,
        may_collect=next_one and ready and out is None,
        waits_for=waits_for,
        due=day_in_words(out.stretch.last) if out else "",
        told=_told(db, meter.id, since),
    )


def _signed(row: Handover | None, out: BookLoan | None, to: BookLoan | None) -> tuple[bool, bool]:
    """Which sides of the handover between these two have confirmed: giver, receiver."""
    between = (out.id if out else None, to.id if to else None)
    if row is None or (row.from_loan_id, row.to_loan_id) != between:
        return False, False
    return bool(row.given_by_id), bool(row.received_by_id)


def _told(db: Session, meter_id: int, since: str) -> tuple[tuple[str, str], ...]:
    if not since.isascii() or not since.isdigit() or len(since) > 9:
        return ()
    acts = loans.told_after(db, meter_id, int(since))
    names = loans.names(db, [act.member_id for act in acts])
    return tuple((names.get(act.member_id or 0, "a former member"), act.words) for act in acts)


def _held(db: Session, meter: Meter, who: Member, today: date) -> BookLoan | None:
    """The loan that is out now. Raises NotFound where it is somebody else's."""
    out = out_loan(loans.book(db, meter, today=today))
    if out is not None and not _is(who, out):
        raise NotFound(_NOT_HELD)
    return out


def _is(who: Member, loan: BookLoan) -> bool:
    """Whether this is the member of that loan, or a steward standing in for them."""
    return who.id == loan.member_id or who.role == "steward"


def _case(meter: Meter) -> tuple[str, ...]:
    return tuple(line.strip() for line in meter.case_contents.splitlines() if line.strip())


def _locked(db: Session, meter: Meter) -> Meter:
    locked = books.locked(db, meter.id)
    if locked is None:
        raise NotFound("There is no such meter.")
    return locked
