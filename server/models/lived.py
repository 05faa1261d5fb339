"""What lamps and day alone do not tell of the light an animal lived under."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel


class AnimalMove(SQLModel, table=True):
    """Where an animal sat until it was moved; its row says where it sits now."""

    id: int = Field(default=None, primary_key=True)
    animal_id: int = Field(foreign_key="animal.id", index=True)
    moved_on: date
    """From this day on it sat elsewhere."""
    from_x_cm: float
    from_y_cm: float
    from_depth_cm: float


class DimDays(SQLModel, table=True):
    """Days on which a tank got less light than its lamps and its day would give.

    A power cut, a lamp that failed, salt on the pane, old tubes.
    """

    __table_args__ = (
        CheckConstraint("share >= 0 AND share < 1", name="share_less"),
        CheckConstraint("until_on > first_on", name="days_in_order"),
    )

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    first_on: date
    until_on: date
    """The first day with the whole light again."""
    share: float
    """Of the light that lamps and day would give, 0 in the dark."""
    why: str = Field(max_length=24)
    """Key of `server.dose.jumps`."""
    created_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime
