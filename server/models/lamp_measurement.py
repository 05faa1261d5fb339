"""What a member's readings said about a lamp of the shelf, kept with its provenance."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel


class LampMeasurement(SQLModel, table=True):
    """A lamp's output (against what its model states) and beam, learnt from readings under it.

    One row per hung lamp; saving again replaces its numbers. Ends are those of the 80 % interval.
    """

    __table_args__ = (
        UniqueConstraint("hung_lamp_id"),
        CheckConstraint(
            "output_low > 0 AND output_low <= output_factor AND output_factor <= output_high",
            name="output_within",
        ),
    )

    id: int = Field(default=None, primary_key=True)
    lamp_model_id: int = Field(foreign_key="lampmodel.id", index=True)
    hung_lamp_id: int = Field(foreign_key="hunglamp.id")
    tank_id: int = Field(foreign_key="tank.id", index=True)
    member_id: int | None = Field(default=None, foreign_key="member.id", index=True)
    """Who measured."""
    measured_on: date
    output_factor: float
    output_low: float
    output_high: float
    beam_deg: float | None = None
    beam_low_deg: float | None = None
    beam_high_deg: float | None = None
    readings: int
    typical_error_percent: float | None = None
    """Leave-one-out error of the map it comes from."""
    note: str = Field(default="", max_length=500)
    created_at: datetime
    removed_at: datetime | None = None
