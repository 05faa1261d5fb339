"""Meters, their loans and who waits for them. The key of `LoanDay` makes double booking
impossible, whatever the code does."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, Index, text
from sqlmodel import Field, SQLModel


class Meter(SQLModel, table=True):
    """A light meter of the club."""

    __table_args__ = (
        CheckConstraint("state IN ('ready', 'out', 'resting', 'lost')", name="state_known"),
    )

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=80)
    reads: str = Field(default="PPFD 400–700 nm", max_length=120)
    immersion_factor: float = Field(default=1.0)
    """As its papers state; 1 when the readout already includes it."""
    case_contents: str = Field(default="", max_length=2000)
    """What belongs in the case, one thing a line."""
    keeper: str = Field(default="", max_length=200, sa_column_kwargs={"server_default": text("''")})
    """Who minds it between loans, and where."""
    state: str = Field(default="ready", max_length=8)
    label_code: str | None = Field(default=None, max_length=16, unique=True)
    """Ends the short address on the label of its case."""
    feed_secret: str | None = Field(default=None, max_length=64, unique=True)
    """Names the meter's calendar feed; renewed by a steward."""
    created_at: datetime


class MeterRest(SQLModel, table=True):
    """Days on which a meter is lent to nobody."""

    __table_args__ = (
        CheckConstraint("last_day IS NULL OR last_day >= first_day", name="days_in_order"),
    )

    id: int = Field(default=None, primary_key=True)
    meter_id: int = Field(foreign_key="meter.id", index=True)
    first_day: date
    last_day: date | None = None
    """None while nobody knows when the meter will be ready again."""
    reason: str = Field(max_length=200)


class MeterCalibration(SQLModel, table=True):
    """One calibration of a meter's sensor; the newest up to a day is in force on that day."""

    __table_args__ = (CheckConstraint("factor > 0", name="factor_positive"),)

    id: int = Field(default=None, primary_key=True)
    meter_id: int = Field(foreign_key="meter.id", index=True)
    done_on: date
    factor: float
    """What the readout is multiplied by."""
    due_on: date | None = None
    note: str = Field(default="", max_length=500)
    entered_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime


class MeterCondition(SQLModel, table=True):
    """One line of a meter's condition log."""

    id: int = Field(default=None, primary_key=True)
    meter_id: int = Field(foreign_key="meter.id", index=True)
    day: date
    words: str = Field(max_length=1000)
    member_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime


class LoanRequest(SQLModel, table=True):
    """A place in one meter's queue. Ids grow, so they say who asked first."""

    __table_args__ = (
        CheckConstraint("state IN ('open', 'served', 'withdrawn', 'closed')", name="state_known"),
        CheckConstraint(
            "purpose IN ('new_lamp', 'trouble', 'routine', 'curiosity')", name="purpose_known"
        ),
        CheckConstraint("days > 0", name="days_positive"),
        # No member stands twice in one queue.
        Index(
            "uq_loanrequest_open_once",
            "meter_id",
            "member_id",
            unique=True,
            sqlite_where=text("state = 'open'"),
            postgresql_where=text("state = 'open'"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    meter_id: int = Field(foreign_key="meter.id", index=True)
    member_id: int = Field(foreign_key="member.id", index=True)
    asked_on: date
    earliest: date
    latest: date | None = None
    days: int
    purpose: str = Field(max_length=12)
    since: date
    """From this day the waiting counts."""
    agreed: bool = False
    unanswered: int = 0
    state: str = Field(default="open", max_length=12)
    created_at: datetime


class Loan(SQLModel, table=True):
    """A stretch of club-local days, both ends included, that one member has, or is offered."""

    __table_args__ = (
        CheckConstraint("last_day >= first_day", name="days_in_order"),
        CheckConstraint(
            "state IN ('offered', 'booked', 'out', 'ended', 'given_back', 'declined', 'lapsed')",
            name="state_known",
        ),
    )

    id: int = Field(default=None, primary_key=True)
    meter_id: int = Field(foreign_key="meter.id", index=True)
    member_id: int | None = Field(default=None, foreign_key="member.id", index=True)
    first_day: date
    last_day: date
    purpose: str = Field(default="", max_length=40)
    state: str = Field(default="booked", max_length=12)
    request_id: int | None = Field(default=None, foreign_key="loanrequest.id", index=True)
    earliest: date | None = None
    """The member wants nothing before this day."""
    answer_by: date | None = None
    instead_of_id: int | None = Field(default=None, foreign_key="loan.id")
    """The loan these offered days would replace."""
    taken_on: date | None = None
    returned_on: date | None = None
    sequence: int = Field(default=0, sa_column_kwargs={"server_default": text("0")})
    """Grows with each change that a calendar must show."""
    changed_at: datetime | None = None
    created_at: datetime


class LoanDay(SQLModel, table=True):
    """One taken day of one meter; its key is the promise that a day has one holder."""

    meter_id: int = Field(foreign_key="meter.id", primary_key=True)
    day: date = Field(primary_key=True)
    loan_id: int = Field(foreign_key="loan.id", index=True)


class Handover(SQLModel, table=True):
    """A meter passing from one loan (or its keeper) to another (or its keeper)."""

    id: int = Field(default=None, primary_key=True)
    meter_id: int = Field(foreign_key="meter.id", index=True)
    from_loan_id: int | None = Field(default=None, foreign_key="loan.id")
    to_loan_id: int | None = Field(default=None, foreign_key="loan.id")
    missing: str = Field(default="", max_length=2000)
    """What was not in the case, one thing a line."""
    note: str = Field(default="", max_length=1000)
    given_by_id: int | None = Field(default=None, foreign_key="member.id")
    received_by_id: int | None = Field(default=None, foreign_key="member.id")
    started_at: datetime
    done_at: datetime | None = None
    done_on: date | None = None


class LendingAct(SQLModel, table=True):
    """Who did what when, for one meter. Nothing here is ever changed."""

    id: int = Field(default=None, primary_key=True)
    meter_id: int | None = Field(default=None, foreign_key="meter.id", index=True)
    at: datetime
    day: date
    by_id: int | None = Field(default=None, foreign_key="member.id")
    """None when the club's rule did it by itself."""
    what: str = Field(max_length=20)
    words: str = Field(max_length=1000)
    member_id: int | None = Field(default=None, foreign_key="member.id", index=True)
    """Whom it concerns."""
    loan_id: int | None = Field(default=None, foreign_key="loan.id")
    request_id: int | None = Field(default=None, foreign_key="loanrequest.id")
    told: bool = False


class LendingRule(SQLModel, table=True):
    """The club's rule for lending, as numbers (its one row has id 1)."""

    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: int = Field(default=None, primary_key=True)
    longest_loan_days: int
    grace_days: int
    ahead_days: int
    open_requests_each: int
    picked_days_each: int
    window_days: int = Field(default=91, sa_column_kwargs={"server_default": text("91")})
    window_most_days: int = Field(default=365, sa_column_kwargs={"server_default": text("365")})
    """Clubs from before this bound keep none until a steward sets one."""
    offer_ahead_days: int
    answer_days: int
    unanswered_offers: int
    patience_days: int
    trouble_days: int
    calendar_name: str = Field(max_length=40)
    """Random; the ids of calendar entries end with it and so never change."""
    changed_by_id: int | None = Field(default=None, foreign_key="member.id")
    changed_at: datetime


class Message(SQLModel, table=True):
    """A message to one member, in the app. `key` keeps a reminder from being said twice."""

    id: int = Field(default=None, primary_key=True)
    member_id: int = Field(foreign_key="member.id", index=True)
    key: str | None = Field(default=None, max_length=120, unique=True)
    subject: str = Field(max_length=200)
    words: str = Field(max_length=2000)
    link: str = Field(default="", max_length=200)
    """A path of this site."""
    sent_at: datetime
    read_at: datetime | None = None


class OutgoingMail(SQLModel, table=True):
    """A message on its way by e-mail; one row for a message at the most."""

    __table_args__ = (
        CheckConstraint(
            "state IN ('waiting', 'claimed', 'handing', 'sent', 'failed', 'unsure')",
            name="state_known",
        ),
    )

    id: int = Field(default=None, primary_key=True)
    message_id: int = Field(foreign_key="message.id", unique=True)
    state: str = Field(default="waiting", max_length=8, index=True)
    tries: int = 0
    next_try_at: datetime
    claimed_until: datetime | None = None
    claim: str = Field(default="", max_length=32)
    last_error: str = Field(default="", max_length=300)
    sent_at: datetime | None = None
