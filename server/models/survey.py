"""Measurement sessions and their readings, raw values beside corrected ones."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel


class MeasurementSession(SQLModel, table=True):
    """One round of readings on one tank under one setup with one sensor."""

    __table_args__ = (
        CheckConstraint("immersion_factor > 0", name="immersion_positive"),
        CheckConstraint("calibration_factor > 0", name="calibration_positive"),
    )

    id: int | None = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    setup_id: int | None = Field(default=None, foreign_key="setup.id", index=True)
    """The setup the readings were taken under."""
    meter_id: int | None = Field(default=None, foreign_key="meter.id", index=True)
    taken_on: date
    immersion_factor: float = Field(default=1.0)
    """Multiplied onto the raw values once; 1 when the readout already includes it."""
    calibration_factor: float = Field(default=1.0)
    note: str = Field(default="", max_length=2000)
    raw_file: bytes | None = None
    raw_file_name: str = Field(default="", max_length=120)
    raw_file_sha256: str = Field(default="", max_length=64, index=True)
    created_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime
    removed_at: datetime | None = None


class Reading(SQLModel, table=True):
    """One value at one place. Struck-out readings stay, with the reason."""

    __table_args__ = (
        UniqueConstraint("session_id", "client_id"),
        CheckConstraint("raw_ppfd >= 0", name="raw_not_negative"),
    )

    id: int | None = Field(default=None, primary_key=True)
    session_id: int = Field(foreign_key="measurementsession.id", index=True)
    client_id: str | None = Field(default=None, max_length=64)
    """Made by the phone that took the reading, so that sending twice stores once."""
    row: int | None = None
    """Line of the uploaded file, the first being 1."""
    x_cm: float
    y_cm: float
    depth_cm: float
    raw_ppfd: float
    """As typed, turned to µmol m⁻² s⁻¹."""
    ppfd: float
    """Raw value times the session's immersion and calibration factors."""
    note: str = Field(default="", max_length=300)
    shaded: bool = Field(default=False)
    struck_reason: str | None = Field(default=None, max_length=300)
    """Set when the reading was set aside; empty again when it was brought back."""
    entered_by_id: int | None = Field(default=None, foreign_key="member.id")
    entered_at: datetime
