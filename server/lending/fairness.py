"""Who goes before whom, and why, in words."""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import IntEnum

from server.lending.book import (
    HOLDING,
    Book,
    LoanState,
    Request,
    RequestState,
    open_offer_for,
)
from server.lending.calendar import Stretch
from server.lending.rules import HALF_A_YEAR_DAYS, Rules, days


class Turn(IntEnum):
    """The three parts of the queue, first to last."""

    PATIENT = 0
    TROUBLE = 1
    USUAL = 2


def days_had(book: Book, member_id: int, *, today: date) -> int:
    """[days] with any of the club's meters in the last half year, promised days included."""
    since = today - timedelta(days=HALF_A_YEAR_DAYS)
    had = [
        loan.stretch
        for loan in book.loans
        if loan.member_id == member_id
        and loan.state in HOLDING
        and loan.state is not LoanState.OFFERED
    ]
    had += [one.stretch for one in book.elsewhere if one.member_id == member_id and not one.offered]
    return sum(_days_from(stretch, since) for stretch in had)


def _days_from(stretch: Stretch, since: date) -> int:
    return max(0, (stretch.last - max(stretch.first, since)).days + 1)


def turn(request: Request, rules: Rules, *, today: date) -> Turn:
    if (today - request.since).days >= rules.patience_days:
        return Turn.PATIENT
    if request.agreed:
        return Turn.TROUBLE
    return Turn.USUAL


def in_turn(book: Book, rules: Rules, *, today: date) -> tuple[Request, ...]:
    """All open requests in the order of the club's rule, offers standing or not."""
    open_ones = [one for one in book.requests if one.state is RequestState.OPEN]

    def key(request: Request) -> tuple[int, int, int]:
        which = turn(request, rules, today=today)
        if which is Turn.PATIENT:
            return (which, request.since.toordinal(), request.number)
        if which is Turn.TROUBLE:
            return (which, request.number, 0)
        return (which, days_had(book, request.member_id, today=today), request.number)

    return tuple(sorted(open_ones, key=key))


def waiting(book: Book, rules: Rules, *, today: date) -> tuple[Request, ...]:
    """Open requests to which nothing is offered at the moment, in order."""
    return tuple(
        one for one in in_turn(book, rules, today=today) if open_offer_for(book, one.id) is None
    )


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a request stands: 1 is first."""

    number: int
    why: str


def place(book: Book, rules: Rules, request: Request, *, today: date) -> Place:
    order = in_turn(book, rules, today=today)
    at = order.index(request)
    return Place(number=at + 1, why=_why(book, rules, order, at, today=today))


def _why(book: Book, rules: Rules, order: tuple[Request, ...], at: int, *, today: date) -> str:
    mine = order[at]
    if len(order) == 1:
        return "Nobody else is waiting."
    sentences = [_who_is_before(book, rules, order[:at], mine, today=today)]
    overtaken = [one for one in order[at + 1 :] if one.number < mine.number]
    if overtaken:
        sentences.append(_why_overtaken(book, rules, overtaken, mine, today=today))
    return " ".join(one for one in sentences if one)


def _who_is_before(
    book: Book, rules: Rules, before: tuple[Request, ...], mine: Request, *, today: date
) -> str:
    """Everyone before this request, counted once, under the rule that puts them there."""
    had = days_had(book, mine.member_id, today=today)
    groups: dict[str, int] = {}
    for one in before:
        which = turn(one, rules, today=today)
        if which is Turn.PATIENT:
            reason = f"waited {days(rules.patience_days)} or more"
        elif which is Turn.TROUBLE:
            reason = "with animals in trouble"
        elif days_had(book, one.member_id, today=today) < had:
            reason = "had it for fewer days in the last half year"
        else:
            reason = "asked first"
        groups[reason] = groups.get(reason, 0) + 1
    if not groups:
        return "You go first."
    parts = [f"{_number(n)} {reason}" for reason, n in groups.items()]
    return _capital(f"{_number(len(before))} before you: {', '.join(parts)}.")


def _why_overtaken(
    book: Book, rules: Rules, behind: list[Request], mine: Request, *, today: date
) -> str:
    asked = f"{_number(len(behind))} asked before you"
    which = turn(mine, rules, today=today)
    if which is Turn.PATIENT:
        return _capital(f"{asked}, but you waited {days(rules.patience_days)}, so you go first.")
    if which is Turn.TROUBLE:
        return _capital(f"{asked}, but your animals are in trouble, so you go first.")
    had = [days_had(book, one.member_id, today=today) for one in behind]
    spread = days(had[0]) if len(set(had)) == 1 else f"{min(had)} to {days(max(had))}"
    own = days_had(book, mine.member_id, today=today)
    return _capital(
        f"{asked} and had it for {spread} in the last half year; "
        f"you had it for {days(own)}, so you go first."
    )


def _number(n: int) -> str:
    words = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    return words[n] if n < len(words) else str(n)


def _capital(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]
