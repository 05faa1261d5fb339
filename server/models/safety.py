"""What keeps the club safe: the time it last believed, tries at passwords, known browsers."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field, SQLModel


class BelievedTime(SQLModel, table=True):
    """The one row with the latest time at which the machine's clock was believed."""

    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: int = Field(default=None, primary_key=True)
    at: datetime


class Attempt(SQLModel, table=True):
    """One try at a password, counted before it is judged; gone once it is out of every window."""

    __table_args__ = (Index("ix_attempt_key_at", "key", "at"),)

    id: int = Field(default=None, primary_key=True)
    key: str = Field(max_length=64)
    """A hash of whose password was tried and from where."""
    at: datetime = Field(index=True)


class KnownBrowser(SQLModel, table=True):
    """A browser on which a member has signed in before; strangers' tries do not shut it out."""

    id: int = Field(default=None, primary_key=True)
    member_id: int = Field(foreign_key="member.id", index=True)
    token_hash: str = Field(max_length=64, unique=True)
    created_at: datetime
