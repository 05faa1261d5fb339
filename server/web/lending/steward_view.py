"""What stewards see: the month, a meter's papers, the label."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from sqlmodel import Session

from server.db import loans, meters
from server.db import messages as post
from server.drawing.strip import Strip
from server.lending.book import LoanState, Purpose
from server.lending.calendar import Stretch, day_in_words, stretch_in_words
from server.models import Loan, Meter, MeterCalibration, MeterRest
from server.web import filters
from server.web.lending import view as views
from server.web.lending import words
from server.web.lending.label import Code
from server.web.tanks.typed import Refused

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
class MailRow:
    id: int
    words: str


@dataclass(frozen=True, kw_only=True)
class MonthView:
    title: str
    strip: Strip | None
    rows: tuple[MonthRow, ...]
    matters: tuple[Matter, ...]
    mail: tuple[MailRow, ...]
    mails: bool
    meters: tuple[tuple[int, str], ...]
    earlier: str
    later: str


@dataclass(frozen=True, kw_only=True)
class FormView:
    id: int | None
    title: str
    values: Mapping[str, str]
    errors: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class MindView:
    id: int
    name: str
    standing: str
    facts: tuple[tuple[str, str], ...]
    calibrations: tuple[tuple[str, str, str, str], ...]  # done, factor, due, note
    rests: tuple[tuple[int, str, str], ...]  # id, when, reason
    lost: bool
    values: Mapping[str, str]
    errors: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class LabelView:
    id: int
    name: str
    address: str
    shown: str
    code: Code
    keeper: str


def month_view(db: Session, *, first: date, today: date, me: int, mails: bool) -> MonthView:
    last = first + timedelta(days=MONTH_DAYS - 1)
    found = meters.all_meters(db)
    ids = [meter.id for meter in found]
    called = {meter.id: meter.name for meter in found}
    shown = loans.loans_between(db, ids, first, last)
    resting = views.rests_in(meters.rests_of(db, ids), first, last)
    names = loans.names(db, [row.member_id for row in shown])
    strip = None
    if found:
        strip = words.calendar_strip(
            found,
            shown,
            resting,
            names,
            me=me,
            first=first,
            today=today,
            days_shown=MONTH_DAYS,
        )
    return MonthView(
        title=stretch_in_words(Stretch(first, last)),
        strip=strip,
        rows=_month_rows(shown, resting, called, names, today),
        matters=(
            *_overdue(db, ids, called, today),
            *_calibrations_due(db, found, today),
            *_troubled(db, called),
        ),
        mail=tuple(
            MailRow(
                id=mail.id,
                words=f"To {member.name}: {message.subject} "
                + ("may have been sent." if mail.state == "unsure" else "was not sent. ")
                + mail.last_error,
            )
            for mail, message, member in post.mail_needing_a_steward(db)
        ),
        mails=mails,
        meters=tuple(called.items()),
        earlier=(first - timedelta(days=MONTH_DAYS)).isoformat(),
        later=(last + timedelta(days=1)).isoformat(),
    )


def _month_rows(
    shown: list[Loan],
    resting: list[MeterRest],
    called: Mapping[int, str],
    names: Mapping[int, str],
    today: date,
) -> tuple[MonthRow, ...]:
    """Loans and rests in the order of their days."""
    rows = [(row.first_day, _month_row(row, called, names, today)) for row in shown]
    rows += [
        (
            row.first_day,
            MonthRow(
                when=_rest_when(row.first_day, row.last_day),
                meter=called[row.meter_id],
                who="–",
                what=f"resting: {row.reason}",
            ),
        )
        for row in resting
    ]
    return tuple(row for _, row in sorted(rows, key=lambda each: each[0]))


def _month_row(
    row: Loan, called: Mapping[int, str], names: Mapping[int, str], today: date
) -> MonthRow:
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


def _overdue(
    db: Session, ids: list[int], called: Mapping[int, str], today: date
) -> tuple[Matter, ...]:
    out = [row for row in loans.loans_out(db, ids) if row.last_day < today]
    names = loans.names(db, [row.member_id for row in out])
    return tuple(
        Matter(
            words=f"{called[row.meter_id]} is overdue: {names.get(row.member_id or 0, 'a member')} "
            f"has it, it was due on {day_in_words(row.last_day)}.",
            link=f"/loans/{row.id}",
        )
        for row in out
    )


def _calibrations_due(db: Session, found: list[Meter], today: date) -> tuple[Matter, ...]:
    matters = []
    for meter in found:
        for row in loans.newest_calibrations(db, meter.id):
            if row.due_on is not None and row.due_on <= today + timedelta(days=MONTH_DAYS):
                verb = "is due" if row.due_on >= today else "was due"
                said = f"{meter.name}: calibration {verb} on {filters.day(row.due_on)}."
                matters.append(Matter(words=said, link=f"/steward/meters/{meter.id}"))
    return tuple(matters)


def _troubled(db: Session, called: Mapping[int, str]) -> tuple[Matter, ...]:
    offered = loans.offered_request_ids(db)
    asked = [
        row
        for row in loans.open_requests(db)
        if row.purpose == Purpose.TROUBLE and not row.agreed and row.id not in offered
    ]
    names = loans.names(db, [row.member_id for row in asked])
    return tuple(
        Matter(
            words=f"{names.get(row.member_id, 'A member')} has animals in trouble and asks for "
            f"{called[row.meter_id]}: may they go ahead?",
            link=f"/meters/{row.meter_id}",
        )
        for row in asked
    )


def form_view(meter: Meter | None, refused: Refused | None) -> FormView:
    blank = {
        "name": meter.name if meter else "",
        "reads": meter.reads if meter else "PPFD 400–700 nm",
        "immersion_factor": filters.significant(meter.immersion_factor) if meter else "1.00",
        "case_contents": meter.case_contents if meter else "meter\nsensor on its cable",
        "keeper": meter.keeper if meter else "",
    }
    return FormView(
        id=meter.id if meter else None,
        title=f"Change {meter.name}" if meter else "Add a meter",
        values=blank | (refused.values if refused else {}),
        errors=refused.errors if refused else {},
    )


def mind_view(
    db: Session, meter: Meter, *, me: int, today: date, refused: Refused | None
) -> MindView:
    book = loans.book(db, meter, today=today)
    names = loans.names(db, [loan.member_id for loan in book.loans])
    calibrations = meters.calibrations_of(db, meter.id)
    blank = {
        "done_on": today.isoformat(),
        "factor": "1.00",
        "due_on": "",
        "calibration_note": "",
        "rest_first": (today + timedelta(days=1)).isoformat(),
        "rest_last": "",
        "rest_reason": "",
        "rest_how": "move",
    }
    return MindView(
        id=meter.id,
        name=meter.name,
        standing=words.standing(meter, book, names, me=me, today=today),
        facts=views.facts_of(meter, meters.calibration_on(db, meter.id, today)),
        calibrations=tuple(_calibration_row(row) for row in calibrations),
        rests=tuple(
            (row.id, _rest_when(row.first_day, row.last_day), row.reason)
            for row in meters.rests_of(db, [meter.id])
            if row.last_day is None or row.last_day >= today
        ),
        lost=book.lost,
        values=blank | (refused.values if refused else {}),
        errors=refused.errors if refused else {},
    )


def _rest_when(first: date, last: date | None) -> str:
    if last is None:
        return f"from {day_in_words(first)} on"
    return stretch_in_words(Stretch(first, last))


def _calibration_row(row: MeterCalibration) -> tuple[str, str, str, str]:
    due = filters.day(row.due_on) if row.due_on else "–"
    return filters.day(row.done_on), filters.significant(row.factor, 4), due, row.note or "–"
