"""What the pages of meters show, as frozen views of formatted text."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from server.drawing.strip import Strip
from server.lending import queue
from server.lending.book import Book, LoanState, Purpose, Request
from server.lending.calendar import Stretch, day_in_words, stretch_in_words
from server.lending.fairness import in_turn, place
from server.lending.rules import Rules, written
from server.models import LendingAct, Loan, Member, Meter, MeterCalibration, MeterRest
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
    steward: bool


@dataclass(frozen=True, kw_only=True)
class MeterView:
    id: int
    name: str
    standing: str
    facts: tuple[tuple[str, str], ...]
    case: tuple[str, ...]
    strip: Strip
    rows: tuple[words.DaysRow, ...]
    free: tuple[FreeRow, ...]
    queue: tuple[QueueRow, ...]
    my_place: QueueRow | None
    offers: tuple[OfferCard, ...]
    condition: tuple[tuple[str, str, str], ...]  # day, who, words
    steward: bool
    longest: int
    purposes: tuple[tuple[str, str], ...]
    values: Mapping[str, str]
    errors: Mapping[str, str]
    nearest: FreeRow | None = None


@dataclass(frozen=True, kw_only=True)
class LogRow:
    when: str
    by: str
    words: str
    told: str


@dataclass(frozen=True, kw_only=True)
class LoanView:
    id: int
    meter_id: int
    meter: str
    who: str
    when: str
    state: str
    offered: bool
    answer_by: str
    instead_of: str
    may_answer: bool
    may_give_back: bool
    may_move: bool
    out_and_mine: bool
    ends: tuple[tuple[str, str], ...]  # values and words of "give back from …"
    log: tuple[LogRow, ...]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class RuleView:
    sentences: tuple[str, ...]
    bound: str
    steward: bool
    changed: str
    numbers: tuple[tuple[str, str, str, str], ...]  # name, label, value, unit
    errors: Mapping[str, str]


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


def log_rows(
    acts: Sequence[LendingAct], names: Mapping[int, str], zone: str, clock: str
) -> tuple[LogRow, ...]:
    return tuple(
        LogRow(
            when=moment(act.at, zone, clock),
            by=names.get(act.by_id, "a former member") if act.by_id else "by the club's rule",
            words=act.words,
            told=names.get(act.member_id or 0, "") if act.told else "",
        )
        for act in acts
    )


def moment(at: datetime, zone: str, clock: str) -> str:
    local = filters.local(at, zone)
    return f"{filters.short_day(local.date())}, {filters.clock(local, clock)}"


def when(loan: Loan) -> str:
    return stretch_in_words(Stretch(loan.first_day, loan.last_day))


def loan_view(
    loan: Loan,
    meter: Meter,
    *,
    who: Member,
    name: str,
    instead_of: Loan | None,
    log: tuple[LogRow, ...],
    today: date,
    values: Mapping[str, str],
    errors: Mapping[str, str],
) -> LoanView:
    mine = loan.member_id == who.id
    state = LoanState(loan.state)
    steward = who.role == "steward"
    return LoanView(
        id=loan.id,
        meter_id=loan.meter_id,
        meter=meter.name,
        who="You" if mine else name,
        when=when(loan),
        state=words.STATES[state],
        offered=state is LoanState.OFFERED,
        answer_by=day_in_words(loan.answer_by) if loan.answer_by else "",
        instead_of=when(instead_of) if instead_of else "",
        may_answer=mine and state is LoanState.OFFERED,
        may_give_back=mine and state is LoanState.BOOKED and loan.last_day >= today,
        may_move=steward and state in (LoanState.BOOKED, LoanState.OUT),
        out_and_mine=mine and state is LoanState.OUT,
        ends=_ends(loan, today) if state is LoanState.BOOKED else (),
        log=log,
        values={"from": loan.first_day.isoformat(), "to": loan.last_day.isoformat(), **values},
        errors=errors,
    )


def _ends(loan: Loan, today: date) -> tuple[tuple[str, str], ...]:
    """What can be given back: all of it, or so many days from the end or the beginning."""
    first, last = max(loan.first_day, today), loan.last_day
    if first > last:
        return ()
    length = (last - first).days + 1
    found = [(f"{first}/{last}", "all of it")]
    for n in range(1, length):
        late = Stretch(last - timedelta(days=n - 1), last)
        found.append((f"{late.first}/{late.last}", stretch_in_words(late)))
    if first == loan.first_day:
        for n in range(1, length):
            early = Stretch(first, first + timedelta(days=n - 1))
            found.append((f"{early.first}/{early.last}", stretch_in_words(early)))
    return tuple(found)


RULE_LABELS = {
    "longest_loan_days": ("A loan lasts at most", "days"),
    "grace_days": ("Kept free between two loans", "days"),
    "ahead_days": ("How far ahead days can be picked or asked for", "days"),
    "open_requests_each": ("Requests waiting for each member, over all meters", ""),
    "picked_days_each": ("Coming days one member may hold by picking", "days"),
    "window_days": ("Any so many days in a row …", "days"),
    "window_most_days": (
        "… of which one member may hold the meters (as many as above: no bound)",
        "days",
    ),
    "offer_ahead_days": ("Offered before the first day", "days"),
    "answer_days": ("An offer stands for", "days"),
    "unanswered_offers": ("Offers without an answer until a request is closed", ""),
    "patience_days": ("Patience: after waiting so long, first and at once", "days"),
    "trouble_days": ("Animals in trouble: at most", "days"),
}


def rule_view(
    rules: Rules,
    *,
    steward: bool,
    changed: str,
    values: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> RuleView:
    shown = values or {name: str(getattr(rules, name)) for name in RULE_LABELS}
    bound = (
        f"Nobody waits for ever: a request that fits the calendar is offered days within "
        f"{rules.patience_days} days, while the meter is not lost or resting without an end."
    )
    return RuleView(
        sentences=written(rules),
        bound=bound,
        steward=steward,
        changed=changed,
        numbers=tuple(
            (name, label, shown.get(name, ""), unit) for name, (label, unit) in RULE_LABELS.items()
        ),
        errors=errors or {},
    )


def rests_in(rests: Sequence[MeterRest], first: date, last: date) -> list[MeterRest]:
    return [one for one in rests if one.first_day <= last and (one.last_day or last) >= first]
