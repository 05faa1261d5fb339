"""Rows to the lending room's books and back, one meter at a time and under its lock."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

from sqlalchemy import text
from sqlmodel import Session, col, delete, or_, select

from server.db import messages
from server.db.lending_rule import calendar_name, lending_rule
from server.db.members import now
from server.lending import book as books
from server.lending import offers
from server.lending.book import Book, Changed, Had, Line, LoanState, Purpose, RequestState
from server.lending.calendar import Stretch
from server.lending.rules import HALF_A_YEAR_DAYS, LIMITS, No, Rules
from server.models import LendingAct, Loan, LoanDay, LoanRequest, Meter, MeterRest

# Days beyond what counts (half a year, or the club's window), so that a loan across its edge
# is whole.
_KEPT_DAYS = max(HALF_A_YEAR_DAYS, LIMITS["window_days"][1]) + 90
_LIVE = (LoanState.OFFERED, LoanState.BOOKED, LoanState.OUT)

Act = Callable[[Book, Rules], Changed | No]


def locked(db: Session, meter_id: int) -> Meter | None:
    """The meter, kept from other writers until this transaction ends.

    On PostgreSQL that is a row lock; the embedded database has one writer at a time anyway.
    """
    if db.get_bind().dialect.name == "postgresql":
        # Many may want the same days at once; waiting in line is better than an error.
        db.execute(text("SET LOCAL lock_timeout = '14s'"))
    statement = select(Meter).where(Meter.id == meter_id).with_for_update()
    return db.exec(statement.execution_options(populate_existing=True)).first()


def book_of(db: Session, meter: Meter, *, today: date) -> Book:
    """The meter's book as the rules want it: what is live, and the half year that counts.

    Rows that this session saw before the meter was locked are read anew: on PostgreSQL
    somebody may have changed them while it waited for the lock.
    """
    anew = {"populate_existing": True}
    loans = db.exec(
        select(Loan).where(
            Loan.meter_id == meter.id,
            or_(
                col(Loan.state).in_(_LIVE),
                (col(Loan.state) == LoanState.ENDED)
                & (col(Loan.last_day) >= today - timedelta(days=_KEPT_DAYS)),
            ),
        ),
        execution_options=anew,
    ).all()
    asked = {loan.request_id for loan in loans if loan.request_id is not None}
    requests = db.exec(
        select(LoanRequest).where(
            LoanRequest.meter_id == meter.id,
            or_(LoanRequest.state == RequestState.OPEN, col(LoanRequest.id).in_(asked)),
        ),
        execution_options=anew,
    ).all()
    rests = db.exec(
        select(MeterRest).where(MeterRest.meter_id == meter.id), execution_options=anew
    ).all()
    return Book(
        meter_name=meter.name,
        loans=tuple(loan_from(row) for row in loans),
        requests=tuple(request_from(row) for row in requests),
        rests=tuple(rest_from(row) for row in rests),
        elsewhere=_had_elsewhere(db, meter, today=today),
        requests_elsewhere=tuple(
            db.exec(
                select(LoanRequest.member_id).where(
                    LoanRequest.meter_id != meter.id, LoanRequest.state == RequestState.OPEN
                )
            )
        ),
        lost=meter.state == "lost",
    )


def _had_elsewhere(db: Session, meter: Meter, *, today: date) -> tuple[Had, ...]:
    rows = db.exec(
        select(col(Loan.member_id), col(Loan.first_day), col(Loan.last_day), col(Loan.state)).where(
            Loan.meter_id != meter.id,
            col(Loan.state).in_(books.HOLDING),
            col(Loan.instead_of_id).is_(None),
            Loan.last_day >= today - timedelta(days=_KEPT_DAYS),
        )
    )
    return tuple(
        Had(
            member_id=member_id,
            stretch=Stretch(first, last),
            offered=state == LoanState.OFFERED,
        )
        for member_id, first, last, state in rows
        if member_id is not None
    )


def loan_from(row: Loan) -> books.Loan:
    return books.Loan(
        id=row.id,
        member_id=row.member_id or 0,
        stretch=Stretch(row.first_day, row.last_day),
        state=LoanState(row.state),
        earliest=row.earliest or row.first_day,
        request_id=row.request_id,
        answer_by=row.answer_by,
        instead_of=row.instead_of_id,
        taken_on=row.taken_on,
        returned_on=row.returned_on,
        sequence=row.sequence,
    )


def request_from(row: LoanRequest) -> books.Request:
    return books.Request(
        id=row.id,
        number=row.id,
        member_id=row.member_id,
        asked_on=row.asked_on,
        earliest=row.earliest,
        latest=row.latest,
        days=row.days,
        purpose=Purpose(row.purpose),
        since=row.since,
        agreed=row.agreed,
        unanswered=row.unanswered,
        state=RequestState(row.state),
    )


def rest_from(row: MeterRest) -> books.Rest:
    return books.Rest(id=row.id, first=row.first_day, last=row.last_day, reason=row.reason)


def change(
    db: Session, meter: Meter, act: Act | None, *, today: date, by_id: int | None
) -> Changed | No:
    """Bring the book up to today, do `act` to it, let the rule follow, and keep all of it.

    The meter must be locked. After a refusal, what the day brought is kept all the same.
    """
    rules = lending_rule(db)
    before = book_of(db, meter, today=today)
    settled = offers.settle(before, rules, today=today)
    answer = act(settled.book, rules) if act else Changed(book=settled.book)
    if isinstance(answer, No):
        _keep(db, meter, before, settled, (), today=today, by_id=by_id)
        return answer
    followed = offers.settle(answer.book, rules, today=today)
    by_the_rule = replace(settled, book=followed.book, lines=settled.lines + followed.lines)
    ids = _keep(db, meter, before, by_the_rule, answer.lines, today=today, by_id=by_id)
    return Changed(book=_with_ids(followed.book, ids), lines=_lines_with_ids(answer.lines, ids))


def _keep(
    db: Session,
    meter: Meter,
    before: Book,
    by_the_rule: Changed,
    by_hand: tuple[Line, ...],
    *,
    today: date,
    by_id: int | None,
) -> dict[int, int]:
    after = by_the_rule.book
    _keep_requests(db, before, after)
    _keep_rests(db, meter, before, after)
    ids = _keep_loans(db, meter, before, after)
    calendar_name(db)  # made with the first loan, so that feeds never change their ids
    _keep_days(db, meter, before, after, ids)
    meter.state = _state(after, today=today)
    db.add(meter)
    for line in _lines_with_ids(by_hand, ids):
        _write_down(db, meter, line, today=today, by_id=by_id)
    for line in _lines_with_ids(by_the_rule.lines, ids):
        _write_down(db, meter, line, today=today, by_id=None)
    db.flush()
    return ids


def _state(book: Book, *, today: date) -> str:
    if book.lost:
        return "lost"
    if books.out_loan(book) is not None:
        return "out"
    resting = any(one.first <= today and (one.last or today) >= today for one in book.rests)
    return "resting" if resting else "ready"


def _keep_requests(db: Session, before: Book, after: Book) -> None:
    known = {one.id: one for one in before.requests}
    for request in after.requests:
        if known.get(request.id) == request:
            continue
        row = db.get_one(LoanRequest, request.id)
        row.earliest, row.since, row.days = request.earliest, request.since, request.days
        row.agreed, row.unanswered, row.state = request.agreed, request.unanswered, request.state
        db.add(row)


def _keep_rests(db: Session, meter: Meter, before: Book, after: Book) -> None:
    kept = {one.id: one for one in after.rests}
    for rest in before.rests:
        if rest.id not in kept:
            db.delete(db.get_one(MeterRest, rest.id))
    known = {one.id for one in before.rests}
    for rest in after.rests:
        row = (
            db.get_one(MeterRest, rest.id)
            if rest.id in known
            else MeterRest(meter_id=meter.id, first_day=rest.first, reason=rest.reason[:200])
        )
        row.first_day, row.last_day = rest.first, rest.last
        db.add(row)


def _keep_loans(db: Session, meter: Meter, before: Book, after: Book) -> dict[int, int]:
    """Writes loans that are new or changed; gives the ids of the new ones."""
    known = {one.id: one for one in before.loans}
    ids = {one.id: one.id for one in before.loans}
    for loan in sorted(after.loans, key=lambda one: -one.id):
        if known.get(loan.id) == loan:
            continue
        row = _row_of(db, meter, loan)
        row.first_day, row.last_day = loan.stretch.first, loan.stretch.last
        row.state, row.earliest, row.answer_by = loan.state, loan.earliest, loan.answer_by
        row.taken_on, row.returned_on = loan.taken_on, loan.returned_on
        row.sequence, row.changed_at = loan.sequence, now()
        db.add(row)
        db.flush()
        ids[loan.id] = row.id
    return ids


def _row_of(db: Session, meter: Meter, loan: books.Loan) -> Loan:
    if loan.id > 0:
        return db.get_one(Loan, loan.id)
    request = db.get(LoanRequest, loan.request_id) if loan.request_id else None
    return Loan(
        meter_id=meter.id,
        member_id=loan.member_id,
        first_day=loan.stretch.first,
        last_day=loan.stretch.last,
        purpose=request.purpose if request else "",
        request_id=loan.request_id,
        instead_of_id=loan.instead_of,
        created_at=now(),
    )


def _keep_days(db: Session, meter: Meter, before: Book, after: Book, ids: dict[int, int]) -> None:
    """The day rows follow the loans. Their key refuses a second holder whatever came before.

    Days go in ascending order, so that two writers on PostgreSQL cannot lock each other out.
    """
    were, are = _whose_days(before), _whose_days(after)
    for day, loan_id in sorted(were - are):
        db.exec(
            delete(LoanDay).where(
                col(LoanDay.meter_id) == meter.id,
                col(LoanDay.day) == day,
                col(LoanDay.loan_id) == loan_id,
            )
        )
    for day, loan_id in sorted(are - were):
        db.add(LoanDay(meter_id=meter.id, day=day, loan_id=ids[loan_id]))
        db.flush()


def _whose_days(book: Book) -> set[tuple[date, int]]:
    """Pairs, so that two loans on one day would both be written, and refused."""
    return {
        (day, loan.id)
        for loan in book.loans
        if loan.state in books.HOLDING
        for day in books.days_of(book, loan)
    }


def _with_ids(book: Book, ids: dict[int, int]) -> Book:
    loans = tuple(replace(loan, id=ids.get(loan.id, loan.id)) for loan in book.loans)
    return replace(book, loans=loans)


def _lines_with_ids(lines: tuple[Line, ...], ids: dict[int, int]) -> tuple[Line, ...]:
    return tuple(
        line if line.loan_id is None else replace(line, loan_id=ids.get(line.loan_id, line.loan_id))
        for line in lines
    )


def _write_down(db: Session, meter: Meter, line: Line, *, today: date, by_id: int | None) -> None:
    told = line.told and line.member_id is not None and line.member_id != by_id
    db.add(
        LendingAct(
            meter_id=meter.id,
            at=now(),
            day=today,
            by_id=by_id,
            what=line.what,
            words=line.words[:1000],
            member_id=line.member_id,
            loan_id=line.loan_id,
            request_id=line.request_id,
            told=told,
        )
    )
    if told and line.member_id is not None:
        subject = f"{meter.name}: {messages.SUBJECTS.get(line.what, 'news of your days')}"
        link = f"/loans/{line.loan_id}" if line.loan_id else f"/meters/{meter.id}"
        messages.tell(db, line.member_id, subject=subject, words=line.words, link=link)
