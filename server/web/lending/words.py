"""How meters, days and places in the queue are put into words and drawn."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.drawing import strip
from server.lending.book import Book, LoanState, Purpose, Rest, out_loan
from server.lending.calendar import Stretch, day_in_words, stretch_in_words
from server.lending.handover import next_loan
from server.lending.rules import days
from server.models import Loan, Meter, MeterRest

STRIP_DAYS = 35
STRIP_WIDTH = 1120.0
PURPOSES = {
    Purpose.NEW_LAMP: "a new lamp",
    Purpose.TROUBLE: "animals in trouble",
    Purpose.ROUTINE: "a routine check",
    Purpose.CURIOSITY: "curiosity",
}
STATES = {
    LoanState.OFFERED: "offered",
    LoanState.BOOKED: "booked",
    LoanState.OUT: "out now",
    LoanState.ENDED: "ended",
    LoanState.GIVEN_BACK: "given back",
    LoanState.DECLINED: "declined",
    LoanState.LAPSED: "ran out",
}


@dataclass(frozen=True, kw_only=True)
class DaysRow:
    """A stretch of a meter's calendar in words, for the list beside the strip."""

    when: str
    who: str
    what: str
    loan_id: int | None = None
    mine: bool = False


def standing(meter: Meter, book: Book, names: dict[int, str], *, me: int, today: date) -> str:
    """Where a meter is now and who is next, in one or two sentences."""
    if book.lost:
        return "It is lost. If you know more, tell a steward."
    out = out_loan(book)
    if out is not None:
        name = names.get(out.member_id, "A former member")
        who = "You have it" if out.member_id == me else f"{name} has it"
        due = day_in_words(out.stretch.last)
        verb = "it was due on" if out.stretch.last < today else "due back on"
        return f"{who}, {verb} {due}.{_next(book, names, me)}"
    resting = next((one for one in book.rests if _covers(one, today)), None)
    if resting is not None:
        until = f"until {day_in_words(resting.last)}" if resting.last else "until further notice"
        return f"It rests {until}: {resting.reason}.{_next(book, names, me)}"
    place = f"It is with its keeper ({meter.keeper})." if meter.keeper else "It is at its place."
    return f"{place}{_next(book, names, me)}"


def _next(book: Book, names: dict[int, str], me: int) -> str:
    loan = next_loan(book)
    if loan is None:
        return " Nobody is booked next."
    if loan.member_id == me:
        return f" You are next, {stretch_in_words(loan.stretch)}."
    who = names.get(loan.member_id, "a former member")
    return f" Next is {who}, {stretch_in_words(loan.stretch)}."


def _covers(rest: Rest, day: date) -> bool:
    return rest.first <= day and (rest.last is None or day <= rest.last)


def free_stretches(book: Book, *, today: date, until: date) -> tuple[Stretch, ...]:
    """Runs of free days from today on, whoever is waiting."""
    taken = {day for loan in book.loans for day in loan.stretch if loan.state in _HELD}
    found: list[Stretch] = []
    day = today
    while day <= until:
        free = day not in taken and not any(_covers(one, day) for one in book.rests)
        if free and found and found[-1].last == day - timedelta(days=1):
            found[-1] = Stretch(found[-1].first, day)
        elif free:
            found.append(Stretch(day, day))
        day += timedelta(days=1)
    return () if book.lost else tuple(found)


_HELD = (LoanState.OFFERED, LoanState.BOOKED, LoanState.OUT, LoanState.ENDED)


def rows_of(
    loans: Sequence[Loan],
    rests: Sequence[MeterRest],
    names: dict[int, str],
    *,
    me: int,
    today: date,
) -> tuple[DaysRow, ...]:
    """Loans and rests of one meter in the order of their days."""
    found = [(loan.first_day, _loan_row(loan, names, me=me, today=today)) for loan in loans]
    found += [(rest.first_day, _rest_row(rest)) for rest in rests]
    return tuple(row for _, row in sorted(found, key=lambda each: each[0]))


def _loan_row(loan: Loan, names: dict[int, str], *, me: int, today: date) -> DaysRow:
    mine = loan.member_id == me
    what = STATES[LoanState(loan.state)]
    if loan.state == LoanState.OUT and loan.last_day < today:
        what = "out now, overdue"
    return DaysRow(
        when=stretch_in_words(Stretch(loan.first_day, loan.last_day)),
        who="You" if mine else names.get(loan.member_id or 0, "A former member"),
        what=what,
        loan_id=loan.id,
        mine=mine,
    )


def _rest_row(rest: MeterRest) -> DaysRow:
    when = f"From {day_in_words(rest.first_day)} on"
    if rest.last_day is not None:
        when = stretch_in_words(Stretch(rest.first_day, rest.last_day))
    return DaysRow(when=when, who="Resting", what=rest.reason)


def calendar_strip(
    meters: Sequence[Meter],
    loans: Sequence[Loan],
    rests: Sequence[MeterRest],
    names: dict[int, str],
    *,
    me: int,
    first: date,
    today: date,
    days_shown: int = STRIP_DAYS,
) -> strip.Strip:
    """Days across, a strip for each meter."""
    last = first + timedelta(days=days_shown - 1)
    row_of = {meter.id: n for n, meter in enumerate(meters)}
    stretches = [
        strip.Stretch(
            row=row_of[loan.meter_id],
            first=loan.first_day,
            last=max(loan.last_day, today) if _late(loan, today) else loan.last_day,
            words="You" if loan.member_id == me else names.get(loan.member_id or 0, "?"),
            kind=_kind(loan, me=me, today=today),
        )
        for loan in loans
    ]
    stretches += [
        strip.Stretch(
            row=row_of[rest.meter_id],
            first=rest.first_day,
            last=rest.last_day or last,
            words=f"rests: {rest.reason}",
            kind="resting",
        )
        for rest in rests
        if rest.first_day <= (rest.last_day or last)
    ]
    described = f"{len(loans)} loans and offers from {day_in_words(first)} to {day_in_words(last)}."
    return strip.strip(
        width=STRIP_WIDTH,
        title="Who has the meters" if len(meters) > 1 else f"Who has {meters[0].name}",
        description=f"{described} The list on this page says the same.",
        first=first,
        last=last,
        rows=[meter.name for meter in meters],
        stretches=stretches,
        today=today,
    )


def _late(loan: Loan, today: date) -> bool:
    return loan.state == LoanState.OUT and loan.last_day < today


def _kind(loan: Loan, *, me: int, today: date) -> str:
    if _late(loan, today):
        return "late"
    if loan.state == LoanState.OFFERED:
        return "offered"
    return "mine" if loan.member_id == me else "taken"


def wish_in_words(
    *, length_days: int, purpose: Purpose, earliest: date, latest: date | None
) -> str:
    words = f"{days(length_days)} for {PURPOSES[purpose]}, from {day_in_words(earliest)} on"
    return words + (f", over by {day_in_words(latest)}" if latest else "")
