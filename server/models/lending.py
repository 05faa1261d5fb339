"""Meters and their loans. The key of `LoanDay` makes double booking impossible."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel


class Meter(SQLModel, table=True):
    """A light meter of the club."""

    __table_args__ = (
        CheckConstraint("state IN ('ready', 'out', 'resting', 'lost')", name="state_known"),
    )

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=80)
    reads: str = Field(default="PPFD 400–700 nm", max_length=120)
    immersion_factor: float = Field(default=1.0)
    """As its papers state; 1 when the readout already includes it."""
    case_contents: str = Field(default="", max_length=2000)
    """What belongs in the case, one thing a line."""
    state: str = Field(default="ready", max_length=8)
    created_at: datetime


class Loan(SQLModel, table=True):
    """A stretch of club-local days, both ends included, on which one member has the meter."""

    __table_args__ = (
        CheckConstraint("last_day >= first_day", name="days_in_order"),
        CheckConstraint("state IN ('booked', 'out', 'back', 'given_back')", name="state_known"),
    )

    id: int | None = Field(default=None, primary_key=True)
    meter_id: int = Field(foreign_key="meter.id", index=True)
    member_id: int | None = Field(default=None, foreign_key="member.id", index=True)
    first_day: date
    last_day: date
    purpose: str = Field(default="", max_length=40)
    state: str = Field(default="booked", max_length=12)
    created_at: datetime


class LoanDay(SQLModel, table=True):
    """One taken day of one meter; its key is the promise that a day has one holder."""

    meter_id: int = Field(foreign_key="meter.id", primary_key=True)
    day: date = Field(primary_key=True)
    loan_id: int = Field(foreign_key="loan.id", index=True)
