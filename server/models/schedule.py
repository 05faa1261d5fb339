"""The day of a tank's lamps: dated like a setup, one list of points per channel group."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, text
from sqlmodel import Field, SQLModel


class Schedule(SQLModel, table=True):
    """What the lamps of a tank do through the day from one date on. Old rows stay.

    `state` 'set' runs or ran; 'plan' is drawn up and not run yet. The current schedule is the
    set one with the latest (since, id).
    """

    __table_args__ = (
        CheckConstraint("state IN ('set', 'plan')", name="state_known"),
        CheckConstraint(
            "control IN ('', 'by_hand', 'clock_switch', 'programs', 'full')", name="control_known"
        ),
    )

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    state: str = Field(default="set", max_length=8)
    since: date
    time_zone: str = Field(max_length=64)
    """Zone in whose wall time the points were typed."""
    follows_clock: bool = Field(default=False)
    """Whether daylight saving moves the animals' day."""
    control: str = Field(default="", max_length=16)
    """How the lamps are switched; empty: as their models say."""
    view_from_h: float | None = None
    """Hours of the day between which the keeper wants to see the tank lit."""
    view_to_h: float | None = None
    reason: str = Field(default="", max_length=500)
    created_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime


class ScheduleDay(SQLModel, table=True):
    """The day of one lamp or of one of its channels, and how that lamp is switched.

    `lamp_model_id` empty: every lamp; `lamp_number` n: the nth of that model as the setup lists
    them, 0: all of the model; `channel` empty: every channel of the lamp. Model and number stay
    the same when a step of a way up writes the setup anew.
    """

    __table_args__ = (
        CheckConstraint("lamp_number >= 0", name="lamp_number_counts"),
        CheckConstraint(
            "control IN ('', 'by_hand', 'clock_switch', 'programs', 'full')", name="control_known"
        ),
    )

    id: int = Field(default=None, primary_key=True)
    schedule_id: int = Field(foreign_key="schedule.id", index=True)
    position: int = Field(default=0)
    lamp_model_id: int | None = Field(default=None, foreign_key="lampmodel.id")
    lamp_number: int = Field(default=0, sa_column_kwargs={"server_default": text("0")})
    channel: str = Field(default="", max_length=40)
    control: str = Field(default="", max_length=16, sa_column_kwargs={"server_default": text("''")})
    """How this lamp is switched; empty: as the schedule or its model says."""
    points: str = Field(max_length=4000)
    """JSON: [[hour of the day, percent], …] as in `server.dose.day.Day`."""
