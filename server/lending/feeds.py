"""What a calendar feed says of a loan, as data; writing RFC 5545 is left to a library."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from server.lending.book import Loan, LoanState
from server.lending.calendar import ONE_DAY

KEEP_PAST_DAYS = 366
_STATUS: dict[LoanState, Literal["TENTATIVE", "CONFIRMED", "CANCELLED"]] = {
    LoanState.OFFERED: "TENTATIVE",
    LoanState.BOOKED: "CONFIRMED",
    LoanState.OUT: "CONFIRMED",
    LoanState.ENDED: "CONFIRMED",
    LoanState.GIVEN_BACK: "CANCELLED",
    LoanState.DECLINED: "CANCELLED",
    LoanState.LAPSED: "CANCELLED",
}


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One all-day entry. `end` is the day after the last, as RFC 5545 section 3.6.1 wants it.

    loan_id: the UID is made from it and never changes
    sequence: grows with each change (RFC 5545 section 3.8.7.4)
    """

    loan_id: int
    sequence: int
    start: date
    end: date
    status: Literal["TENTATIVE", "CONFIRMED", "CANCELLED"]
    summary: str


def entry(loan: Loan, *, meter_name: str, whose: str | None) -> Entry:
    """whose: the borrower's name, where the feed's readers may know it; None in their own feed."""
    summary = meter_name if whose is None else f"{meter_name}: {whose}"
    if loan.state is LoanState.OFFERED:
        summary += " (offered, not yet taken)"
    return Entry(
        loan_id=loan.id,
        sequence=loan.sequence,
        start=loan.stretch.first,
        end=loan.stretch.last + ONE_DAY,
        status=_STATUS[loan.state],
        summary=summary,
    )


def belongs_in_feed(loan: Loan, *, today: date) -> bool:
    """A year of the past stays, cancelled entries too: a calendar needs to hear of both."""
    return loan.stretch.last >= today - timedelta(days=KEEP_PAST_DAYS)
