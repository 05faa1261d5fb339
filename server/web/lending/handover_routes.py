"""The page that the label on the case opens: who has the meter, who is next, passing it on."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import books, club_day, loans, meters
from server.db.members import now
from server.lending import handover
from server.lending.book import Book, out_loan
from server.lending.book import Loan as BookLoan
from server.lending.calendar import day_in_words, stretch_in_words
from server.lending.rules import No
from server.models import Handover, Member, Meter
from server.web.lending import form as reading
from server.web.lending import words
from server.web.lending.numbers import Id
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Typed, Who, text
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class HandoverView:
    """may_*: what the one who asks can do here; `waits_for` is the other side of a handover."""

    meter_id: int
    name: str
    standing: str
    case: tuple[str, ...]
    holder: str
    next_who: str
    next_when: str
    may_give: bool
    may_receive: bool
    may_bring_back: bool
    may_collect: bool
    may_be_late: bool
    given: bool
    received: bool
    waits_for: str
    due: str
    told: tuple[tuple[str, str], ...]
    values: dict[str, str]
    errors: dict[str, str]


@router.get("/m/{code}")
def by_label(club: Club, code: str) -> Response:
    """The short address printed on the label. It tells visitors nothing: they sign in first."""
    with club.read() as db:
        found = meters.meter_by_label(db, code[:16])
    if found is None:
        raise NotFound("No meter of this club has that label.")
    return see_other(f"/meters/{found.id}/handover")


@router.get("/meters/{meter_id}/handover")
def handover_page(request: Request, who: Who, club: Club, meter_id: Id) -> Response:
    return _page(request, who, club, meter_id)


@router.post("/meters/{meter_id}/handover/give")
def give(request: Request, who: Who, club: Club, form: Typed, meter_id: Id) -> Response:
    """The one who has it says that it has been passed on."""
    return _confirm(request, who, club, form, meter_id, giving=True)


@router.post("/meters/{meter_id}/handover/receive")
def receive(request: Request, who: Who, club: Club, form: Typed, meter_id: Id) -> Response:
    """The next one says that they have it: from the member before, or from the keeper."""
    return _confirm(request, who, club, form, meter_id, giving=False)


@router.post("/meters/{meter_id}/handover/back")
def bring_back(request: Request, who: Who, club: Club, form: Typed, meter_id: Id) -> Response:
    """The one who has it, or a steward, says that it is back with its keeper."""
    with club.write() as db:
        meter = _locked(db, meter_id)
        today = club_day.today(db)
        out = out_loan(loans.book(db, meter, today=today))
        if out is not None and not _is(who, out):
            raise NotFound("This is for the member who has the meter.")
        answer = loans.act(
            db,
            meter,
            lambda book, rules: handover.bring_back(book, today=today),
            today=today,
            by_id=who.id,
        )
        if not isinstance(answer, No):
            row = meters.start_handover(
                db, meter_id, from_loan_id=out.id if out else None, to_loan_id=None
            )
            _note(db, meter, row, form, who, today)
            row.given_by_id = who.id
            _done(db, row, today)
    if isinstance(answer, No):
        return _page(request, who, club, meter_id, refused=_refused(form, answer))
    return see_other(f"/meters/{meter_id}", notice="It is back. Thank you.")


@router.post("/meters/{meter_id}/handover/late")
def say_late(request: Request, who: Who, club: Club, form: Typed, meter_id: Id) -> Response:
    """The one who has it says until when; everyone who must move is told at once."""
    typed = text(form, "until", most=40)
    until = reading.read_day(typed)
    if until is None:
        errors = {"until": "Enter a day, like 2026-12-01."}
        return _page(request, who, club, meter_id, refused=Refused({"until": typed}, errors))
    with club.write() as db:
        meter = _locked(db, meter_id)
        today = club_day.today(db)
        out = out_loan(loans.book(db, meter, today=today))
        if out is not None and not _is(who, out):
            raise NotFound("This is for the member who has the meter.")
        before = loans.last_act_id(db, meter_id)
        answer = loans.act(
            db,
            meter,
            lambda book, rules: handover.say_late(book, rules, until, today=today),
            today=today,
            by_id=who.id,
        )
    if isinstance(answer, No):
        refused = Refused({"until": typed}, reading.errors_of(answer))
        return _page(request, who, club, meter_id, refused=refused)
    notice = f"Noted: until {day_in_words(until)}. Who had to be told is listed below."
    return see_other(f"/meters/{meter_id}/handover?since={before}#told", notice=notice)


def _confirm(
    request: Request, who: Member, club: Club, form: Typed, meter_id: int, *, giving: bool
) -> Response:
    """One side of a handover; the second side to confirm completes it."""
    with club.write() as db:
        meter = _locked(db, meter_id)
        today = club_day.today(db)
        # Today's lapses and late days first, so that the right two people meet.
        loans.act(db, meter, None, today=today, by_id=None)
        book = loans.book(db, meter, today=today)
        out, to = out_loan(book), handover.next_loan(book)
        mine = out if giving else to
        if mine is None or not _is(who, mine):
            raise NotFound("This is for the member who has the meter, and for the one who is next.")
        no = _cannot(book, to, today)
        done = False
        if no is None and to is not None:
            row = meters.start_handover(
                db, meter_id, from_loan_id=out.id if out else None, to_loan_id=to.id
            )
            _note(db, meter, row, form, who, today)
            done = _sign(db, meter, row, to, who, giving=giving, today=today)
    if no is not None:
        return _page(request, who, club, meter_id, refused=_refused(form, no))
    if done:
        return see_other(f"/meters/{meter_id}/handover", notice="Handed over. Thank you both.")
    other = "the next member" if giving else "the one who gives it"
    return see_other(
        f"/meters/{meter_id}/handover",
        notice=f"Your side is noted. Now {other} scans the label and confirms too.",
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
        row.given_by_id = who.id
    else:
        row.received_by_id = who.id
    db.add(row)
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
    _done(db, row, today)
    return True


def _done(db: Session, row: Handover, today: date) -> None:
    row.done_at, row.done_on = now(), today
    db.add(row)


def _note(db: Session, meter: Meter, row: Handover, form: Typed, who: Member, today: date) -> None:
    """What was missing and what was seen; both go into the condition log, stewards are told."""
    here = {value for value in form.getlist("here") if isinstance(value, str)}
    case = _case(meter)
    # Nothing ticked at all means that nobody looked, not that the case is empty.
    missing = [thing for n, thing in enumerate(case) if here and str(n) not in here]
    note = text(form, "note", most=900)
    row.missing, row.note = "\n".join(missing), note or row.note
    db.add(row)
    sentences = [f"Missing from the case: {', '.join(missing)}."] if missing else []
    sentences += [note] if note else []
    if sentences:
        noted = " ".join(sentences)
        meters.note_condition(db, meter.id, noted, day=today, by_id=who.id)
        loans.tell_stewards(db, meter, subject="something was noted at a handover", words=noted)


def _page(
    request: Request,
    who: Member,
    club: Club,
    meter_id: int,
    *,
    refused: Refused | None = None,
) -> Response:
    since = request.query_params.get("since", "")
    with club.read() as db:
        meter = meters.meter(db, meter_id)
        if meter is None:
            raise NotFound("There is no such meter.")
        view = _view(db, who, meter, refused, since)
    return page(request, "lending/handover.html", view=view, status=422 if refused else 200)


def _view(
    db: Session, who: Member, meter: Meter, refused: Refused | None, since: str
) -> HandoverView:
    today = club_day.today(db)
    book = loans.book(db, meter, today=today)
    out, to = out_loan(book), handover.next_loan(book)
    row = meters.open_handover(db, meter.id)
    fits = row is not None and (row.from_loan_id, row.to_loan_id) == (
        out.id if out else None,
        to.id if to else None,
    )
    given = bool(fits and row and row.given_by_id)
    received = bool(fits and row and row.received_by_id)
    names = loans.names(db, [loan.member_id for loan in book.loans])
    ready = _cannot(book, to, today) is None
    holds, next_one = out is not None and _is(who, out), to is not None and _is(who, to)
    waits_for = ""
    if given != received and out and to:
        waits_for = names.get(to.member_id if given else out.member_id, "")
    return HandoverView(
        meter_id=meter.id,
        name=meter.name,
        standing=words.standing(meter, book, names, me=who.id, today=today),
        case=_case(meter),
        holder=names.get(out.member_id, "") if out else "",
        next_who=names.get(to.member_id, "") if to else "",
        next_when=stretch_in_words(to.stretch) if to else "",
        may_give=holds and ready and not given,
        may_receive=next_one and ready and not received and out is not None,
        may_bring_back=holds,
        may_collect=next_one and ready and out is None,
        may_be_late=holds,
        given=given,
        received=received,
        waits_for=waits_for,
        due=day_in_words(out.stretch.last) if out else "",
        told=_told(db, meter.id, since),
        values={"until": "", "note": ""} | (refused.values if refused else {}),
        errors=refused.errors if refused else {},
    )


def _told(db: Session, meter_id: int, since: str) -> tuple[tuple[str, str], ...]:
    if not since.isascii() or not since.isdigit() or len(since) > 9:
        return ()
    acts = loans.told_after(db, meter_id, int(since))
    names = loans.names(db, [act.member_id for act in acts])
    return tuple((names.get(act.member_id or 0, "a former member"), act.words) for act in acts)


def _is(who: Member, loan: BookLoan) -> bool:
    """Whether this is the member of that loan, or a steward standing in for them."""
    return who.id == loan.member_id or who.role == "steward"


def _case(meter: Meter) -> tuple[str, ...]:
    return tuple(line.strip() for line in meter.case_contents.splitlines() if line.strip())


def _refused(form: Typed, no: No) -> Refused:
    return Refused({"note": text(form, "note", most=900)}, reading.errors_of(no))


def _locked(db: Session, meter_id: int) -> Meter:
    meter = books.locked(db, meter_id)
    if meter is None:
        raise NotFound("There is no such meter.")
    return meter
