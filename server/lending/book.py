"""One meter's book: its loans, who is waiting for it, and when it rests.

Everything else in this room takes a book and gives back another one together with lines
for the log; nothing here is ever changed in place.
"""

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from server.lending.calendar import FreeDays, Stretch, stretch_in_words


class Purpose(StrEnum):
    """What the meter is wanted for."""

    NEW_LAMP = "new_lamp"
    TROUBLE = "trouble"
    ROUTINE = "routine"
    CURIOSITY = "curiosity"


class LoanState(StrEnum):
    OFFERED = "offered"
    BOOKED = "booked"
    OUT = "out"
    ENDED = "ended"
    GIVEN_BACK = "given_back"
    DECLINED = "declined"
    LAPSED = "lapsed"


class RequestState(StrEnum):
    OPEN = "open"
    SERVED = "served"
    WITHDRAWN = "withdrawn"
    CLOSED = "closed"


HOLDING = frozenset({LoanState.OFFERED, LoanState.BOOKED, LoanState.OUT, LoanState.ENDED})
COMING = frozenset({LoanState.OFFERED, LoanState.BOOKED})


@dataclass(frozen=True, kw_only=True)
class Loan:
    """Days of one meter that belong to one member, or are held for an offer.

    request_id: the request it answers; None when the days were picked
    earliest: the member wants nothing before this day
    answer_by: last day for answering, when it is an offer
    instead_of: the loan it would replace, when earlier days are offered
    taken_on, returned_on: days of the handovers, where they were recorded
    sequence: grows with every change that a calendar must show
    """

    id: int
    member_id: int
    stretch: Stretch
    state: LoanState
    earliest: date
    request_id: int | None = None
    answer_by: date | None = None
    instead_of: int | None = None
    taken_on: date | None = None
    returned_on: date | None = None
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class Request:
    """A place in the queue.

    number: grows with every request of the club, so it says who asked first
    latest: the days must be over by then; None when any time will do
    since: the day from which the waiting counts
    agreed: a steward agreed that animals in trouble go ahead
    unanswered: offers that ran out without an answer
    """

    id: int
    number: int
    member_id: int
    asked_on: date
    earliest: date
    days: int
    purpose: Purpose
    since: date
    latest: date | None = None
    agreed: bool = False
    unanswered: int = 0
    state: RequestState = RequestState.OPEN


@dataclass(frozen=True, kw_only=True)
class Rest:
    """Days on which a meter is lent to nobody; without `last` nobody knows when it ends."""

    id: int
    first: date
    last: date | None
    reason: str


@dataclass(frozen=True, kw_only=True)
class Had:
    """Days that a member had, or was promised, with another of the club's meters.

    offered: held for an offer that is not answered yet
    """

    member_id: int
    stretch: Stretch
    offered: bool = False


@dataclass(frozen=True, kw_only=True)
class Book:
    meter_name: str
    loans: tuple[Loan, ...] = ()
    requests: tuple[Request, ...] = ()
    rests: tuple[Rest, ...] = ()
    elsewhere: tuple[Had, ...] = ()
    requests_elsewhere: tuple[int, ...] = ()  # member ids, one for each open request
    lost: bool = False


class What(StrEnum):
    """What happened, as the log names it."""

    ASKED = "asked"
    WITHDREW = "withdrew"
    AGREED = "agreed"
    CLOSED = "closed"
    PICKED = "picked"
    OFFERED = "offered"
    TOOK = "took"
    DECLINED = "declined"
    LAPSED = "lapsed"
    GAVE_BACK = "gave_back"
    MOVED = "moved"
    LATE = "late"
    HANDED_OVER = "handed_over"
    BROUGHT_BACK = "brought_back"
    ENDED = "ended"
    RESTED = "rested"
    LOST = "lost"
    FOUND = "found"


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of the log; `told` makes it a message to the member as well."""

    what: What
    words: str
    member_id: int | None = None
    loan_id: int | None = None
    request_id: int | None = None
    told: bool = False


@dataclass(frozen=True, kw_only=True)
class Changed:
    """A yes: the book as it is now, and what is to be written down and told."""

    book: Book
    lines: tuple[Line, ...] = field(default=())

    def then(self, later: "Changed") -> "Changed":
        return Changed(book=later.book, lines=self.lines + later.lines)


def loan_of(book: Book, loan_id: int) -> Loan | None:
    return next((loan for loan in book.loans if loan.id == loan_id), None)


def request_of(book: Book, request_id: int | None) -> Request | None:
    return next((one for one in book.requests if one.id == request_id), None)


def open_offer_for(book: Book, request_id: int) -> Loan | None:
    """The offer of first days that stands for a request, if there is one."""
    offers = (
        loan
        for loan in book.loans
        if loan.state is LoanState.OFFERED
        and loan.request_id == request_id
        and loan.instead_of is None
    )
    return next(offers, None)


def earlier_offer_for(book: Book, loan_id: int) -> Loan | None:
    """The offer of earlier days that stands for a loan, if there is one."""
    offers = (
        loan
        for loan in book.loans
        if loan.state is LoanState.OFFERED and loan.instead_of == loan_id
    )
    return next(offers, None)


def out_loan(book: Book) -> Loan | None:
    return next((loan for loan in book.loans if loan.state is LoanState.OUT), None)


def in_order_of_days(loans: tuple[Loan, ...], states: frozenset[LoanState]) -> list[Loan]:
    return sorted((one for one in loans if one.state in states), key=lambda one: one.stretch)


def new_loan_id(book: Book) -> int:
    """Loans that no database has seen yet carry numbers below nought."""
    return min([0, *(loan.id for loan in book.loans)]) - 1


def with_loan(book: Book, loan: Loan) -> Book:
    """The book with that loan put in, or put in place of the one with the same id."""
    if loan_of(book, loan.id) is None:
        return replace(book, loans=(*book.loans, loan))
    loans = tuple(loan if one.id == loan.id else one for one in book.loans)
    return replace(book, loans=loans)


def with_request(book: Book, request: Request) -> Book:
    if request_of(book, request.id) is None:
        return replace(book, requests=(*book.requests, request))
    requests = tuple(request if one.id == request.id else one for one in book.requests)
    return replace(book, requests=requests)


def altered(loan: Loan, **changes: Any) -> Loan:
    """The loan with changes that its calendar entry must show."""
    return replace(loan, sequence=loan.sequence + 1, **changes)


def days_of(book: Book, loan: Loan) -> frozenset[date]:
    """The days a loan holds. An offer of earlier days leaves its own later days to the loan."""
    days = frozenset(loan.stretch)
    if loan.instead_of is not None:
        own = loan_of(book, loan.instead_of)
        days -= frozenset(own.stretch) if own else frozenset()
    return days


def free_days(book: Book, *, grace_days: int, without: frozenset[int] = frozenset()) -> FreeDays:
    """What is free, as if the loans in `without` were not there."""
    lent: set[date] = set()
    for loan in book.loans:
        if loan.state in HOLDING and loan.id not in without:
            lent |= days_of(book, loan)
    resting = {
        day
        for rest in book.rests
        if rest.last is not None
        for day in Stretch(rest.first, rest.last)
    }
    ends = [rest.first for rest in book.rests if rest.last is None]
    if book.lost:
        ends.append(date.min)
    return FreeDays(
        lent=frozenset(lent),
        resting=frozenset(resting),
        closed_from=min(ends, default=None),
        grace_days=grace_days,
    )


def told(
    what: What, words: str, *, loan: Loan | None = None, request: Request | None = None
) -> Line:
    """A line that its member is told."""
    about = loan or request
    return Line(
        what=what,
        words=words,
        member_id=about.member_id if about else None,
        loan_id=loan.id if loan else None,
        request_id=request.id if request else (loan.request_id if loan else None),
        told=True,
    )


def moved(book: Book, loan: Loan, to: Stretch, why: str) -> Changed:
    """The loan on other days; an offer of earlier days for it no longer makes sense."""
    earlier = earlier_offer_for(book, loan.id)
    if earlier is not None:
        book = with_loan(book, altered(earlier, state=LoanState.LAPSED))
    whose = "Your days" if loan.state is not LoanState.OFFERED else "The days offered to you"
    words = (
        f"{why} {whose} with {book.meter_name} move from {stretch_in_words(loan.stretch)} "
        f"to {stretch_in_words(to)}."
    )
    request = request_of(book, loan.request_id)
    if request and request.latest and to.last > request.latest:
        words += " That is later than you asked for; give them back if they no longer help."
    changes: dict[str, Any] = {"stretch": to}
    if loan.answer_by is not None:
        changes["answer_by"] = max(loan.answer_by, to.first - timedelta(days=1))
    now = altered(loan, **changes)
    return Changed(book=with_loan(book, now), lines=(told(What.MOVED, words, loan=now),))
