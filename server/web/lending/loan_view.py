"""What a loan's page and the log show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from server.lending.book import LoanState
from server.lending.calendar import Stretch, day_in_words, stretch_in_words
from server.models import LendingAct, Loan, Member, Meter
from server.web import filters
from server.web.lending import words
from server.web.lending.view import when


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


def loan_view(
    loan: Loan,
    meter: Meter,
    *,
    who: Member,
    name: str,
    instead_of: Loan | None,
    log: tuple[LogRow, ...],
    today: date,
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
