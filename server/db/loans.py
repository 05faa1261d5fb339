"""Asking for meters, lending them, and finding out who had them."""

from collections.abc import Sequence
from datetime import date

from sqlmodel import Session, col, select

from server.db import books, club_day, messages
from server.db.lending_rule import lending_rule
from server.db.members import now
from server.lending import moving, offers, queue, reminders
from server.lending.book import HOLDING, Book, Changed, LoanState, Purpose, RequestState, loan_of
from server.lending.calendar import Stretch
from server.lending.reminders import Calibration, Reminder
from server.lending.rules import No, Rules
from server.models import (
    LendingAct,
    Loan,
    LoanDay,
    LoanRequest,
    Member,
    Meter,
    MeterCalibration,
)


def pick(
    db: Session, meter_id: int, member_id: int, wanted: Stretch, *, today: date
) -> tuple[Loan | None, No | None]:
    """Book free days: the loan, or why not. (None, None) when there is no such meter."""
    meter = books.locked(db, meter_id)
    if meter is None:
        return None, None
    answer = books.change(
        db,
        meter,
        lambda book, rules: queue.pick(book, rules, member_id, wanted, today=today),
        today=today,
        by_id=member_id,
    )
    if isinstance(answer, No):
        return None, answer
    return db.get_one(Loan, answer.lines[0].loan_id), None


def why_taken(db: Session, meter_id: int, member_id: int, wanted: Stretch, *, today: date) -> No:
    """After the database refused a day: the reason and the nearest free stretch, read anew."""
    fallback = No(reason="Somebody took one of these days a moment ago.", taken=True)
    meter = db.get(Meter, meter_id)
    if meter is None:
        return fallback
    answer = queue.pick(
        books.book_of(db, meter, today=today),
        lending_rule(db),
        member_id,
        wanted,
        today=today,
    )
    return answer if isinstance(answer, No) and answer.taken else fallback


def join(
    db: Session,
    meter: Meter,
    member_id: int,
    *,
    earliest: date,
    latest: date | None,
    days: int,
    purpose: Purpose,
    today: date,
) -> Changed | No:
    """Take a place in the queue of a locked meter; a refusal leaves nothing behind."""
    refusal = queue.may_join(
        books.book_of(db, meter, today=today),
        lending_rule(db),
        member_id=member_id,
        earliest=earliest,
        latest=latest,
        days=days,
        today=today,
    )
    if refusal is not None:
        return refusal
    row = LoanRequest(
        meter_id=meter.id,
        member_id=member_id,
        asked_on=today,
        earliest=earliest,
        latest=latest,
        days=days,
        purpose=purpose,
        since=max(today, earliest),
        created_at=now(),
        # Not yet open while the book is read: joining is what opens it.
        state=RequestState.WITHDRAWN,
    )
    db.add(row)
    db.flush()
    asked = books.request_from(row)
    return books.change(
        db,
        meter,
        lambda book, rules: queue.join(book, rules, asked, today=today),
        today=today,
        by_id=member_id,
    )


def let_go(db: Session, row: Loan, *, today: date) -> No | None:
    """The member gives back what has not begun, or says no to an offer; why not, or None."""
    meter = books.locked(db, row.meter_id)
    loan_id = row.id
    assert meter is not None and loan_id is not None

    def act(book: Book, rules: Rules) -> Changed | No:
        offered = loan_of(book, loan_id)
        if offered is not None and offered.state is LoanState.OFFERED:
            return offers.decline(book, loan_id, today=today)
        return moving.give_back(book, loan_id, today=today)

    answer = books.change(db, meter, act, today=today, by_id=row.member_id)
    return answer if isinstance(answer, No) else None


def act(
    db: Session, meter: Meter, what: books.Act | None, *, today: date, by_id: int | None
) -> Changed | No:
    """Any other change to a locked meter's book."""
    return books.change(db, meter, what, today=today, by_id=by_id)


def book(db: Session, meter: Meter, *, today: date) -> Book:
    return books.book_of(db, meter, today=today)


# Looking


def loan(db: Session, loan_id: int) -> Loan | None:
    return db.get(Loan, loan_id)


def request(db: Session, request_id: int) -> LoanRequest | None:
    return db.get(LoanRequest, request_id)


def loans_between(db: Session, meter_ids: Sequence[int], first: date, last: date) -> list[Loan]:
    """Loans and standing offers that touch these days, in order."""
    statement = (
        select(Loan)
        .where(
            col(Loan.meter_id).in_(meter_ids),
            col(Loan.state).in_(tuple(HOLDING)),
            Loan.first_day <= last,
            Loan.last_day >= first,
        )
        .order_by(col(Loan.first_day), col(Loan.id))
    )
    return list(db.exec(statement))


def booked_already(db: Session, meter_id: int, member_id: int, wanted: Stretch) -> Loan | None:
    """The member's own booking of exactly these days."""
    statement = select(Loan).where(
        Loan.meter_id == meter_id,
        Loan.member_id == member_id,
        Loan.first_day == wanted.first,
        Loan.last_day == wanted.last,
        Loan.state == LoanState.BOOKED,
    )
    return db.exec(statement).first()


def loans_out(db: Session, meter_ids: Sequence[int]) -> list[Loan]:
    statement = select(Loan).where(col(Loan.meter_id).in_(meter_ids), Loan.state == LoanState.OUT)
    return list(db.exec(statement))


def loans_of(db: Session, member_id: int, *, since: date) -> list[Loan]:
    """All of a member's loans and offers that end on or after that day, also those given back."""
    statement = (
        select(Loan)
        .where(Loan.member_id == member_id, Loan.last_day >= since)
        .order_by(col(Loan.first_day), col(Loan.id))
    )
    return list(db.exec(statement))


def loans_of_meter(db: Session, meter_id: int, *, since: date) -> list[Loan]:
    statement = (
        select(Loan)
        .where(Loan.meter_id == meter_id, Loan.last_day >= since)
        .order_by(col(Loan.first_day), col(Loan.id))
    )
    return list(db.exec(statement))


def open_requests(db: Session, meter_id: int | None = None) -> list[LoanRequest]:
    statement = select(LoanRequest).where(LoanRequest.state == RequestState.OPEN)
    if meter_id is not None:
        statement = statement.where(LoanRequest.meter_id == meter_id)
    return list(db.exec(statement.order_by(col(LoanRequest.id))))


def offered_request_ids(db: Session) -> set[int]:
    """Requests to which days are offered at the moment."""
    statement = select(Loan.request_id).where(Loan.state == LoanState.OFFERED)
    return {one for one in db.exec(statement) if one is not None}


def holder_on(db: Session, meter_id: int, day: date) -> Loan | None:
    """Whose day it was, by the day rows themselves."""
    statement = (
        select(Loan)
        .join(LoanDay, col(LoanDay.loan_id) == col(Loan.id))
        .where(LoanDay.meter_id == meter_id, LoanDay.day == day)
    )
    found = db.exec(statement).first()
    return found if found is not None and found.state != LoanState.OFFERED else None


def names(db: Session, ids: Sequence[int | None]) -> dict[int, str]:
    """Names by member id; someone who left has none and is called a former member."""
    wanted = {one for one in ids if one is not None}
    rows = db.exec(select(Member.id, Member.name).where(col(Member.id).in_(wanted)))
    return {member_id: name or "a former member" for member_id, name in rows if member_id}


def acts_of_meter(db: Session, meter_id: int, *, most: int = 100) -> list[LendingAct]:
    statement = (
        select(LendingAct)
        .where(LendingAct.meter_id == meter_id)
        .order_by(col(LendingAct.id).desc())
        .limit(most)
    )
    return list(db.exec(statement))


def acts_of_loan(db: Session, loan_id: int) -> list[LendingAct]:
    statement = (
        select(LendingAct)
        .where(LendingAct.loan_id == loan_id)
        .order_by(col(LendingAct.id))
        .limit(200)
    )
    return list(db.exec(statement))


def told_after(db: Session, meter_id: int, act_id: int) -> list[LendingAct]:
    """Who was told of something since that line of the log."""
    statement = (
        select(LendingAct)
        .where(
            LendingAct.meter_id == meter_id,
            col(LendingAct.id) > act_id,
            col(LendingAct.told).is_(True),
        )
        .order_by(col(LendingAct.id))
    )
    return list(db.exec(statement))


def write_down(db: Session, meter: Meter, words: str, *, by_id: int | None) -> None:
    """A line of the log for what a steward changed outside the book."""
    day = club_day.today(db)
    act = LendingAct(
        meter_id=meter.id, at=now(), day=day, by_id=by_id, what="minded", words=words[:1000]
    )
    db.add(act)


def last_act_id(db: Session, meter_id: int) -> int:
    newest = acts_of_meter(db, meter_id, most=1)
    return newest[0].id if newest else 0


# What a new day brings


def settle_meter(db: Session, meter_id: int, *, today: date) -> None:
    """Bring one meter up to today and say what is to be said, once."""
    meter = books.locked(db, meter_id)
    if meter is None:
        return
    books.change(db, meter, None, today=today, by_id=None)
    calibrations = tuple(
        Calibration(id=row.id, due_on=row.due_on)
        for row in newest_calibrations(db, meter_id)
        if row.due_on is not None
    )
    current = books.book_of(db, meter, today=today)
    for reminder in reminders.due(current, today=today, calibrations=calibrations):
        _remind(db, meter, reminder)


def _remind(db: Session, meter: Meter, reminder: Reminder) -> None:
    ids = _stewards(db) if reminder.member_id is None else [reminder.member_id]
    for member_id in ids:
        messages.tell(
            db,
            member_id,
            subject=reminder.subject,
            words=reminder.words,
            link=f"/meters/{meter.id}",
            key=f"{reminder.key}:{member_id}",
        )


def tell_stewards(db: Session, meter: Meter, *, subject: str, words: str) -> None:
    for member_id in _stewards(db):
        messages.tell(
            db,
            member_id,
            subject=f"{meter.name}: {subject}",
            words=words,
            link=f"/meters/{meter.id}",
        )


def _stewards(db: Session) -> list[int]:
    statement = select(Member.id).where(Member.role == "steward", col(Member.left_at).is_(None))
    return [one for one in db.exec(statement) if one is not None]


def newest_calibrations(db: Session, meter_id: int) -> list[MeterCalibration]:
    """The calibration in force, as a list of one or none."""
    statement = (
        select(MeterCalibration)
        .where(MeterCalibration.meter_id == meter_id)
        .order_by(col(MeterCalibration.done_on).desc(), col(MeterCalibration.id).desc())
        .limit(1)
    )
    return list(db.exec(statement))
