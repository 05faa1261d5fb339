"""What stewards see of a month."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from server.db.lending_month import Month
from server.drawing.strip import Strip
from server.lending.book import LoanState, Purpose
from server.lending.calendar import Stretch, day_in_words, stretch_in_words
from server.models import Loan, MeterRest, OutgoingMail
from server.web import filters
from server.web.lending import view as views
from server.web.lending import words

MONTH_DAYS = 31


@dataclass(frozen=True, kw_only=True)
class MonthRow:
    when: str
    meter: str
    who: str
    what: str
    loan_id: int | None = None


@dataclass(frozen=True, kw_only=True)
class Matter:
    """Something that wants a steward, with where to go for it."""

    words: str
    link: str


@dataclass(frozen=True, kw_only=True)
class MonthView:
    title: str
    strip: Strip | None
    rows: tuple[MonthRow, ...]
    matters: tuple[Matter, ...]
    mail: tuple[tuple[OutgoingMail, str], ...]
    meters: tuple[tuple[int, str], ...]
    earlier: str
    later: str


def month_view(month: Month, *, first: date, today: date, me: int) -> MonthView:
    last = first + timedelta(days=MONTH_DAYS - 1)
    strip = None
    if month.meters:
        strip = words.calendar_strip(
            month.meters,
            month.shown,
            month.resting,
            month.names,
            me=me,
            first=first,
            today=today,
            days_shown=MONTH_DAYS,
        )
    return MonthView(
        title=stretch_in_words(Stretch(first, last)),
        strip=strip,
        rows=_rows(month, today),
        matters=(*_overdue(month), *_calibrations_due(month, today), *_troubled(month)),
        mail=tuple(
            (
                mail,
                f"To {member.name}: {message.subject} "
                + ("may have been sent." if mail.state == "unsure" else "was not sent. ")
                + mail.last_error,
            )
            for mail, message, member in month.mail
        ),
        meters=tuple(month.called.items()),
        earlier=(first - timedelta(days=MONTH_DAYS)).isoformat(),
        later=(last + timedelta(days=1)).isoformat(),
    )


def rest_when(rest: MeterRest) -> str:
    if rest.last_day is None:
        return f"from {day_in_words(rest.first_day)} on"
    return stretch_in_words(Stretch(rest.first_day, rest.last_day))


def _rows(month: Month, today: date) -> tuple[MonthRow, ...]:
    """Loans and rests in the order of their days."""
    called = month.called
    rows = [(row.first_day, _row(row, called, month.names, today)) for row in month.shown]
    rows += [(row.first_day, _rest_row(row, called)) for row in month.resting]
    return tuple(row for _, row in sorted(rows, key=lambda each: each[0]))


def _rest_row(row: MeterRest, called: Mapping[int, str]) -> MonthRow:
    return MonthRow(
        when=rest_when(row), meter=called[row.meter_id], who="–", what=f"resting: {row.reason}"
    )


def _row(row: Loan, called: Mapping[int, str], names: Mapping[int, str], today: date) -> MonthRow:
    state = words.STATES[LoanState(row.state)]
    if row.state == LoanState.OUT and row.last_day < today:
        state = "out now, overdue"
    purpose = words.PURPOSES.get(Purpose(row.purpose)) if row.purpose in set(Purpose) else None
    return MonthRow(
        when=views.when(row),
        meter=called[row.meter_id],
        who=names.get(row.member_id or 0, "a former member"),
        what=f"{state}, for {purpose}" if purpose else state,
        loan_id=row.id,
    )


def _overdue(month: Month) -> tuple[Matter, ...]:
    return tuple(
        Matter(
            words=f"{month.called[row.meter_id]} is overdue: "
            f"{month.names.get(row.member_id or 0, 'a member')} has it, it was due on "
            f"{day_in_words(row.last_day)}.",
            link=f"/loans/{row.id}",
        )
        for row in month.overdue
    )


def _calibrations_due(month: Month, today: date) -> tuple[Matter, ...]:
    return tuple(
        Matter(
            words=f"{meter.name}: calibration {'is' if row.due_on >= today else 'was'} due on "
            f"{filters.day(row.due_on)}.",
            link=f"/steward/meters/{meter.id}",
        )
        for meter, row in month.calibrations
        if row.due_on is not None
    )


def _troubled(month: Month) -> tuple[Matter, ...]:
    return tuple(
        Matter(
            words=f"{month.names.get(row.member_id, 'A member')} has animals in trouble and asks "
            f"for {month.called[row.meter_id]}: may they go ahead?",
            link=f"/meters/{row.meter_id}",
        )
        for row in month.in_trouble
    )
