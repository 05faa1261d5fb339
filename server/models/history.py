"""Leaving a tank alone: chores done and how often, and notes of its keeper."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel


class ChoreDone(SQLModel, table=True):
    """A chore done on a tank on a day; `chore` is a key of `server.dose.chores`."""

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    chore: str = Field(max_length=24)
    done_on: date
    member_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime


class ChoreEvery(SQLModel, table=True):
    """How often this keeper wants a chore on this tank; 0 days: never."""

    __table_args__ = (CheckConstraint("days >= 0", name="days_not_negative"),)

    tank_id: int = Field(foreign_key="tank.id", primary_key=True)
    chore: str = Field(max_length=24, primary_key=True)
    days: int


class TankNote(SQLModel, table=True):
    """A line in a tank's history."""

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    noted_on: date
    words: str = Field(max_length=1000)
    member_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime
