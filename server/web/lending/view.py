"""What the pages of meters show, as frozen views of formatted text."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.drawing.strip import Strip
from server.lending import queue
from server.lending.book import Book, LoanState, Purpose, Request
from server.lending.calendar import Stretch, day_in_words, stretch_in_words
from server.lending.fairness import in_turn, place
from server.lending.rules import Rules
from server.models import (
    Loan,
    Meter,
    MeterCalibration,
    MeterCondition,
    MeterRest,
)
from server.web import filters
from server.web.lending import words

LONGEST_SHOWN = 12


@dataclass(frozen=True, kw_only=True)
class OfferCard:
    """An offer of mine that wants an answer."""

    loan_id: int
    meter: str
    when: str
    answer_by: str
    instead_of: str = ""


@dataclass(frozen=True, kw_only=True)
class MyDays:
    loan_id: int
    meter_id: int
    meter: str
    when: str
    what: str
    out: bool = False
    overdue: bool = False


@dataclass(frozen=True, kw_only=True)
class QueueRow:
    """One place in a queue."""

    number: int
    request_id: int
    who: str
    wish: str
    why: str
    expected: str
    mine: bool
    in_trouble: bool
    agreed: bool


@dataclass(frozen=True, kw_only=True)
class FreeRow:
    when: str
    first: str
    last: str
    days: int


@dataclass(frozen=True, kw_only=True)
class MeterCard:
    id: int
    name: str
    standing: str
    waiting: str
    rows: tuple[words.DaysRow, ...]


@dataclass(frozen=True, kw_only=True)
class MetersView:
    offers: tuple[OfferCard, ...]
    mine: tuple[MyDays, ...]
    places: tuple[tuple[int, str, QueueRow], ...]  # meter id, meter name, place
    meters: tuple[MeterCard, ...]
    strip: Strip | None
    earlier: str
    later: str


@dataclass(frozen=True, kw_only=True)
class MetersRows:
    """What the database tells of all meters, for some days."""

    meters: Sequence[Meter]
    shown: Sequence[Loan]
    resting: Sequence[MeterRest]
    mine: Sequence[Loan]
    rules: Rules
    held: Mapping[int, Book]
    names: dict[int, str]


@dataclass(frozen=True, kw_only=True)
class MeterView:
    meter: Meter
    standing: str
    facts: tuple[tuple[str, str], ...]
    case: tuple[str, ...]
    strip: Strip
    rows: tuple[words.DaysRow, ...]
    free: tuple[FreeRow, ...]
    queue: tuple[QueueRow, ...]
    my_place: QueueRow | None
    offers: tuple[OfferCard, ...]
    condition: tuple[tuple[MeterCondition, str], ...]  # what, and who
    longest: int
    nearest: FreeRow | None = None


@dataclass(frozen=True, kw_only=True)
class MeterRows:
    """What the database tells of one meter."""

    meter: Meter
    held: Book
    rules: Rules
    shown: Sequence[Loan]
    resting: Sequence[MeterRest]
    noted: Sequence[MeterCondition]
    calibration: MeterCalibration | None
    names: dict[int, str]


def meters_view(rows: MetersRows, *, me: int, first: date, today: date) -> MetersView:
    """What concerns me first, then the calendar."""
    called = {meter.id: meter.name for meter in rows.meters}
    queues = {
        meter_id: queue_rows(book, rows.rules, rows.names, me=me, today=today)
        for meter_id, book in rows.held.items()
    }
    strip = (
        words.calendar_strip(
            rows.meters, rows.shown, rows.resting, rows.names, me=me, first=first, today=today
        )
        if rows.meters
        else None
    )
    return MetersView(
        offers=offer_cards(rows.mine, called, me),
        mine=my_days(rows.mine, called, today=today),
        places=tuple(
            (meter_id, called[meter_id], row)
            for meter_id, waiting in queues.items()
            for row in waiting
            if row.mine
        ),
        meters=tuple(
            _meter_card(rows, meter, len(queues[meter.id]), me=me, today=today)
            for meter in rows.meters
        ),
        strip=strip,
        earlier=(first - timedelta(days=words.STRIP_DAYS)).isoformat(),
        later=(first + timedelta(days=words.STRIP_DAYS)).isoformat(),
    )


def _meter_card(rows: MetersRows, meter: Meter, waiting: int, *, me: int, today: date) -> MeterCard:
    return MeterCard(
        id=meter.id,
        name=meter.name,
        standing=words.standing(meter, rows.held[meter.id], rows.names, me=me, today=today),
        waiting=_waiting(waiting),
        rows=words.rows_of(
            [row for row in rows.shown if row.meter_id == meter.id],
            [row for row in rows.resting if row.meter_id == meter.id],
            rows.names,
            me=me,
            today=today,
        ),
    )


def _waiting(number: int) -> str:
    if number == 0:
        return "Nobody is waiting."
    return filters.count(number, "member") + (" is waiting." if number == 1 else " are waiting.")


def people(held: Iterable[Book]) -> list[int | None]:
    """Everybody these books name."""
    found: list[int | None] = []
    for book in held:
        found += [loan.member_id for loan in book.loans]
        found += [request.member_id for request in book.requests]
    return found


def meter_view(
    rows: MeterRows, *, me: int, today: date, nearest: Stretch | None = None
) -> MeterView:
    meter, rules, names = rows.meter, rows.rules, rows.names
    last = today + timedelta(days=words.STRIP_DAYS - 1)
    waiting = queue_rows(rows.held, rules, names, me=me, today=today)
    coming = [row for row in rows.resting if (row.last_day or last) >= today]
    return MeterView(
        meter=meter,
        standing=words.standing(meter, rows.held, names, me=me, today=today),
        facts=facts_of(meter, rows.calibration),
        case=tuple(line for line in meter.case_contents.splitlines() if line.strip()),
        strip=words.calendar_strip(
            [meter],
            [row for row in rows.shown if row.first_day <= last],
            rests_in(coming, today, last),
            names,
            me=me,
            first=today,
            today=today,
        ),
        rows=words.rows_of(rows.shown, coming, names, me=me, today=today),
        free=free_rows(rows.held, today=today, ahead_days=rules.ahead_days),
        queue=waiting,
        my_place=next((row for row in waiting if row.mine), None),
        offers=offer_cards(rows.shown, {meter.id: meter.name}, me),
        condition=tuple((one, names.get(one.member_id or 0, "")) for one in rows.noted),
        longest=rules.longest_loan_days,
        nearest=free_row(nearest) if nearest else None,
    )


def offer_cards(loans: Sequence[Loan], meters: Mapping[int, str], me: int) -> tuple[OfferCard, ...]:
    by_id = {loan.id: loan for loan in loans}
    return tuple(
        OfferCard(
            loan_id=loan.id,
            meter=meters[loan.meter_id],
            when=when(loan),
            answer_by=day_in_words(loan.answer_by) if loan.answer_by else "",
            instead_of=when(by_id[loan.instead_of_id]) if loan.instead_of_id in by_id else "",
        )
        for loan in loans
        if loan.state == LoanState.OFFERED and loan.member_id == me
    )


def my_days(loans: Sequence[Loan], meters: Mapping[int, str], *, today: date) -> tuple[MyDays, ...]:
    return tuple(
        MyDays(
            loan_id=loan.id,
            meter_id=loan.meter_id,
            meter=meters[loan.meter_id],
            when=when(loan),
            what="you have it now" if loan.state == LoanState.OUT else "booked",
            out=loan.state == LoanState.OUT,
            overdue=loan.state == LoanState.OUT and loan.last_day < today,
        )
        for loan in loans
        if loan.state in (LoanState.BOOKED, LoanState.OUT)
    )


def queue_rows(
    book: Book, rules: Rules, names: Mapping[int, str], *, me: int, today: date
) -> tuple[QueueRow, ...]:
    """The queue in order; why is told of one's own place."""
    expected = queue.forecast(book, rules, today=today)
    offered = {
        loan.request_id: loan.stretch
        for loan in book.loans
        if loan.state is LoanState.OFFERED and loan.instead_of is None
    }
    return tuple(
        QueueRow(
            number=n,
            request_id=request.id,
            who="You" if request.member_id == me else names.get(request.member_id, "?"),
            wish=words.wish_in_words(
                length_days=request.days,
                purpose=request.purpose,
                earliest=request.earliest,
                latest=request.latest,
            ),
            why=place(book, rules, request, today=today).why if request.member_id == me else "",
            expected=_expected(request, offered.get(request.id), expected.get(request.id)),
            mine=request.member_id == me,
            in_trouble=request.purpose is Purpose.TROUBLE,
            agreed=request.agreed,
        )
        for n, request in enumerate(in_turn(book, rules, today=today), start=1)
    )


def _expected(request: Request, offered: Stretch | None, fit: Stretch | None) -> str:
    if offered is not None:
        return f"Offered {stretch_in_words(offered)}."
    if fit is not None:
        return f"As things stand: {stretch_in_words(fit)}."
    if request.latest is not None:
        return f"As things stand there are no days by {day_in_words(request.latest)}."
    return "As things stand no days can be foreseen."


def free_rows(book: Book, *, today: date, ahead_days: int) -> tuple[FreeRow, ...]:
    until = today + timedelta(days=min(ahead_days, 60))
    found = words.free_stretches(book, today=today, until=until)
    return tuple(free_row(one) for one in found[:LONGEST_SHOWN])


def free_row(stretch: Stretch) -> FreeRow:
    return FreeRow(
        when=stretch_in_words(stretch),
        first=stretch.first.isoformat(),
        last=stretch.last.isoformat(),
        days=stretch.length_days,
    )


def facts_of(meter: Meter, calibration: MeterCalibration | None) -> tuple[tuple[str, str], ...]:
    found = [
        ("Reads", meter.reads),
        ("Immersion factor", filters.significant(meter.immersion_factor)),
    ]
    if calibration is None:
        found.append(("Calibration", "none entered"))
    else:
        due = f", due again {filters.day(calibration.due_on)}" if calibration.due_on else ""
        factor = filters.significant(calibration.factor, 4)
        found.append(("Calibration", f"{factor} on {filters.day(calibration.done_on)}{due}"))
    if meter.keeper:
        found.append(("Keeper", meter.keeper))
    return tuple(found)


def when(loan: Loan) -> str:
    return stretch_in_words(Stretch(loan.first_day, loan.last_day))


def rests_in(rests: Sequence[MeterRest], first: date, last: date) -> list[MeterRest]:
    return [one for one in rests if one.first_day <= last and (one.last_day or last) >= first]
