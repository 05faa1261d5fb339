"""Who belongs to the club, how they get in, and what the club itself has settled."""

from datetime import datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

ROLES = ("member", "steward")
LENGTH_UNITS = ("cm", "in")
VOLUME_UNITS = ("L", "gal")
CLOCKS = ("24", "12")


class Club(SQLModel, table=True):
    """The one row that describes this club (its id is always 1)."""

    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=120)
    time_zone: str = Field(default="UTC", max_length=64)
    currency: str = Field(default="EUR", max_length=8)
    price_per_kwh: float = Field(default=0.30)
    created_at: datetime


class Member(SQLModel, table=True):
    """A person of the club. One who left keeps a row without name, address or password."""

    __table_args__ = (
        CheckConstraint("role IN ('member', 'steward')", name="role_known"),
        CheckConstraint("length_unit IN ('cm', 'in')", name="length_unit_known"),
        CheckConstraint("volume_unit IN ('L', 'gal')", name="volume_unit_known"),
        CheckConstraint("clock IN ('24', '12')", name="clock_known"),
    )

    id: int = Field(default=None, primary_key=True)
    email: str | None = Field(default=None, max_length=254, unique=True)
    """Kept in lower case; empty once the member has left."""
    name: str = Field(max_length=80)
    password_hash: str | None = Field(default=None, max_length=255)
    role: str = Field(default="member", max_length=16)
    length_unit: str = Field(default="cm", max_length=4)
    volume_unit: str = Field(default="L", max_length=4)
    clock: str = Field(default="24", max_length=4)
    feed_secret: str | None = Field(default=None, max_length=64, unique=True)
    """Names the member's calendar feed; renewed on request."""
    created_at: datetime
    left_at: datetime | None = None


class Invitation(SQLModel, table=True):
    """A link that lets one person join, once. `purpose` 'reset' sets a new password instead."""

    __table_args__ = (
        CheckConstraint("role IN ('member', 'steward')", name="role_known"),
        CheckConstraint("purpose IN ('setup', 'join', 'reset')", name="purpose_known"),
    )

    id: int = Field(default=None, primary_key=True)
    token_hash: str = Field(max_length=64, unique=True)
    purpose: str = Field(default="join", max_length=8)
    role: str = Field(default="member", max_length=16)
    for_whom: str = Field(default="", max_length=120)
    member_id: int | None = Field(default=None, foreign_key="member.id")
    """Whose password a 'reset' link sets."""
    invited_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime
    expires_at: datetime
    used_at: datetime | None = None


class SignIn(SQLModel, table=True):
    """One browser that is signed in; the row goes when the member signs out."""

    id: int = Field(default=None, primary_key=True)
    token_hash: str = Field(max_length=64, unique=True)
    member_id: int = Field(foreign_key="member.id", index=True)
    device: str = Field(default="", max_length=200)
    created_at: datetime
    last_seen_at: datetime
    expires_at: datetime


class AccessToken(SQLModel, table=True):
    """A personal access token for scripts; only its hash is kept."""

    id: int = Field(default=None, primary_key=True)
    member_id: int = Field(foreign_key="member.id", index=True)
    name: str = Field(max_length=80)
    token_hash: str = Field(max_length=64, unique=True)
    created_at: datetime
    last_used_at: datetime | None = None
    revoked_at: datetime | None = None
