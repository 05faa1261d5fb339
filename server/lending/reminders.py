"""Which reminders are due today, each with a key by which it is sent once only."""

from dataclasses import dataclass
from datetime import date, timedelta

from server.lending.book import Book, Loan, LoanState, out_loan
from server.lending.calendar import ONE_DAY, day_in_words, stretch_in_words
from server.lending.handover import next_loan

OVERDUE_EVERY_DAYS = 2
CALIBRATION_AHEAD_DAYS = 14


@dataclass(frozen=True, kw_only=True)
class Reminder:
    """One message to one member; `None` stands for every steward."""

    key: str
    member_id: int | None
    subject: str
    words: str


@dataclass(frozen=True, kw_only=True)
class Calibration:
    id: int
    due_on: date


def due(
    book: Book,
    *,
    today: date,
    calibrations: tuple[Calibration, ...] = (),
) -> tuple[Reminder, ...]:
    """All reminders for this meter today. The key holds the day a reminder is about, so a
    loan that was moved is announced anew and nothing else is said twice."""
    reminders = [one for loan in book.loans for one in _for_loan(book, loan, today=today)]
    reminders += [
        one for one in (_calibration(book, each, today=today) for each in calibrations) if one
    ]
    return tuple(reminders)


def _for_loan(book: Book, loan: Loan, *, today: date) -> list[Reminder]:
    if loan.state is LoanState.OFFERED:
        return _offer_ends(book, loan, today=today)
    if loan.state is LoanState.BOOKED:
        return _begins(book, loan, today=today)
    if loan.state is LoanState.OUT:
        return _ends(book, loan, today=today)
    return []


def _offer_ends(book: Book, loan: Loan, *, today: date) -> list[Reminder]:
    if loan.answer_by != today:
        return []
    return [
        Reminder(
            key=f"offer-ends:{loan.id}:{today}",
            member_id=loan.member_id,
            subject=f"{book.meter_name}: your offer ends today",
            words=f"{stretch_in_words(loan.stretch)} is held for you until the end of today. "
            "Take the days or say no; without an answer they go to the next member.",
        )
    ]


def _begins(book: Book, loan: Loan, *, today: date) -> list[Reminder]:
    if loan.stretch.first - today not in (timedelta(0), ONE_DAY):
        return []
    out = out_loan(book)
    where = "from its keeper" if out is None else "from the member who has it now"
    return [
        Reminder(
            key=f"begins:{loan.id}:{loan.stretch.first}",
            member_id=loan.member_id,
            subject=f"{book.meter_name}: yours from {day_in_words(loan.stretch.first)}",
            words=f"{book.meter_name} is yours {stretch_in_words(loan.stretch)}. "
            f"Collect it {where}, and scan the label on its case when you have it in your hands.",
        )
    ]


def _ends(book: Book, loan: Loan, *, today: date) -> list[Reminder]:
    late_days = (today - loan.stretch.last).days
    due_on = day_in_words(loan.stretch.last)
    if late_days in (-1, 0):
        who = "Somebody is waiting for it." if next_loan(book) else "Nobody has booked it next."
        return [
            Reminder(
                key=f"ends:{loan.id}:{loan.stretch.last}",
                member_id=loan.member_id,
                subject=f"{book.meter_name}: due back {due_on}",
                words=f"Your last day with {book.meter_name} is {due_on}. {who} "
                "Scan the label on the case when you pass it on.",
            )
        ]
    if late_days > 0 and (late_days - 1) % OVERDUE_EVERY_DAYS == 0:
        words = f"{book.meter_name} was due on {due_on} and others are waiting. Please pass it on."
        return [
            Reminder(
                key=f"overdue:{loan.id}:{today}",
                member_id=loan.member_id,
                subject=f"{book.meter_name}: overdue since {due_on}",
                words=words,
            ),
            Reminder(
                key=f"overdue-steward:{loan.id}:{today}",
                member_id=None,
                subject=f"{book.meter_name}: overdue since {due_on}",
                words=f"{book.meter_name} was due on {due_on} and no handover is on record.",
            ),
        ]
    return []


def _calibration(book: Book, calibration: Calibration, *, today: date) -> Reminder | None:
    if calibration.due_on - today > timedelta(days=CALIBRATION_AHEAD_DAYS):
        return None
    verb = "is due" if calibration.due_on >= today else "was due"
    return Reminder(
        key=f"calibration:{calibration.id}:{calibration.due_on}",
        member_id=None,
        subject=f"{book.meter_name}: calibration {verb} {day_in_words(calibration.due_on)}",
        words=f"The calibration of {book.meter_name} {verb} on {day_in_words(calibration.due_on)}. "
        "Let it rest for those days and enter the new factor when it is back.",
    )
