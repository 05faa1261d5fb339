"""What stewards look at: a stretch of days over all meters, and what wants them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from server.db import loans, meters
from server.db import messages as post
from server.lending.book import Purpose
from server.models import (
    Loan,
    LoanRequest,
    Member,
    Message,
    Meter,
    MeterCalibration,
    MeterRest,
    OutgoingMail,
)


@dataclass(frozen=True, kw_only=True)
class Month:
    """Loans and rests of some days; what is overdue, due, or waits for a steward's word."""

    meters: list[Meter]
    shown: list[Loan]
    resting: list[MeterRest]
    overdue: list[Loan]
    calibrations: list[tuple[Meter, MeterCalibration]]
    in_trouble: list[LoanRequest]
    mail: list[tuple[OutgoingMail, Message, Member]]
    names: dict[int, str]

    @property
    def called(self) -> Mapping[int, str]:
        return {meter.id: meter.name for meter in self.meters}


def month(db: Session, *, first: date, last: date, today: date, due_by: date) -> Month:
    """due_by: calibrations due until then are told."""
    found = meters.all_meters(db)
    ids = [meter.id for meter in found]
    shown = loans.loans_between(db, ids, first, last)
    overdue = [row for row in loans.loans_out(db, ids) if row.last_day < today]
    in_trouble = _in_trouble(db)
    people = [row.member_id for row in (*shown, *overdue)] + [row.member_id for row in in_trouble]
    return Month(
        meters=found,
        shown=shown,
        resting=[
            row
            for row in meters.rests_of(db, ids)
            if row.first_day <= last and (row.last_day or last) >= first
        ],
        overdue=overdue,
        calibrations=[
            (meter, row)
            for meter in found
            for row in loans.newest_calibrations(db, meter.id)
            if row.due_on is not None and row.due_on <= due_by
        ],
        in_trouble=in_trouble,
        mail=post.mail_needing_a_steward(db),
        names=loans.names(db, people),
    )


def _in_trouble(db: Session) -> list[LoanRequest]:
    """Animals in trouble that no steward has agreed to yet and nothing was offered for."""
    offered = loans.offered_request_ids(db)
    return [
        row
        for row in loans.open_requests(db)
        if row.purpose == Purpose.TROUBLE and not row.agreed and row.id not in offered
    ]
