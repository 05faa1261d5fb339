"""Measurement sessions and their readings, raw values beside corrected ones.

A session is one round of readings. Its values come from a file (kept as it was sent), from a
phone by the tank, or from the log of a fixed sensor. Nothing is deleted: readings are struck
out and brought back, and `SurveyAct` tells who did what.
"""

from datetime import date, datetime

from sqlalchemy import BigInteger, CheckConstraint, LargeBinary, UniqueConstraint
from sqlmodel import Field, SQLModel

SESSION_KINDS = ("points", "log")


class MeasurementSession(SQLModel, table=True):
    """One round of readings on one tank under one setup with one sensor.

    `kind` 'points' has readings at places; 'log' has one fixed sensor's `LoggedLight`.
    """

    __table_args__ = (
        CheckConstraint("immersion_factor > 0", name="immersion_positive"),
        CheckConstraint("calibration_factor > 0", name="calibration_positive"),
        CheckConstraint("kind IN ('points', 'log')", name="kind_known"),
    )

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    setup_id: int | None = Field(default=None, foreign_key="setup.id", index=True)
    """The setup the readings were taken under."""
    meter_id: int | None = Field(default=None, foreign_key="meter.id", index=True)
    kind: str = Field(default="points", max_length=8)
    taken_on: date
    immersion_factor: float = Field(default=1.0)
    """Multiplied onto the raw values once; 1 when the readout already includes it."""
    calibration_factor: float = Field(default=1.0)
    lux_per_ppfd: float | None = None
    """Lux per µmol m⁻² s⁻¹ that values typed in lux were divided by."""
    sensor_x_cm: float | None = None
    """Where the fixed sensor of a log stood."""
    sensor_y_cm: float | None = None
    sensor_depth_cm: float | None = None
    note: str = Field(default="", max_length=2000)
    created_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime
    removed_at: datetime | None = None


class PlannedPoint(SQLModel, table=True):
    """One place of a session's reading plan, in the order of reading."""

    __table_args__ = (UniqueConstraint("session_id", "position"),)

    id: int = Field(default=None, primary_key=True)
    session_id: int = Field(foreign_key="measurementsession.id", index=True)
    position: int
    x_cm: float
    y_cm: float
    depth_cm: float
    name: str = Field(default="", max_length=80)
    """Who lives there, or why this place was chosen."""
    expected_ppfd: float | None = None
    """What the plan says the sensor will show (before the sensor's factors)."""
    skipped_at: datetime | None = None


class Reading(SQLModel, table=True):
    """One value at one place. Struck-out readings stay, with the reason."""

    __table_args__ = (
        UniqueConstraint("session_id", "client_id"),
        CheckConstraint("raw_ppfd >= 0", name="raw_not_negative"),
    )

    id: int = Field(default=None, primary_key=True)
    session_id: int = Field(foreign_key="measurementsession.id", index=True)
    client_id: str | None = Field(default=None, max_length=64)
    """Made by the phone that took the reading, so that sending twice stores once."""
    point_id: int | None = Field(default=None, foreign_key="plannedpoint.id")
    row: int | None = None
    """Line of the uploaded file, the first being 1."""
    x_cm: float
    y_cm: float
    depth_cm: float
    raw_ppfd: float
    """As typed, turned to µmol m⁻² s⁻¹."""
    ppfd: float
    """Raw value times the session's immersion and calibration factors."""
    typed_x: str = Field(default="", max_length=120)
    """The cells as they were typed, unit and decimal mark and all."""
    typed_y: str = Field(default="", max_length=120)
    typed_depth: str = Field(default="", max_length=120)
    typed_light: str = Field(default="", max_length=120)
    light_unit: str = Field(default="µmol", max_length=8)
    note: str = Field(default="", max_length=300)
    shaded: bool = Field(default=False)
    struck_reason: str | None = Field(default=None, max_length=300)
    """Set when the reading was set aside; empty again when it was brought back."""
    entered_by_id: int | None = Field(default=None, foreign_key="member.id")
    entered_at: datetime


class LoggedLight(SQLModel, table=True):
    """One line of a fixed sensor's log."""

    __table_args__ = (CheckConstraint("raw_ppfd >= 0", name="raw_not_negative"),)

    session_id: int = Field(foreign_key="measurementsession.id", primary_key=True)
    row: int = Field(primary_key=True)
    wall_clock_s: int = Field(sa_type=BigInteger)
    """The clock on the wall as seconds since 1 January 1970, without zone."""
    typed_at: str = Field(default="", max_length=60)
    typed_light: str = Field(default="", max_length=60)
    raw_ppfd: float
    ppfd: float


class Upload(SQLModel, table=True):
    """A file as it was sent. Waits for the member's word, then belongs to its session."""

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    member_id: int | None = Field(default=None, foreign_key="member.id", index=True)
    session_id: int | None = Field(default=None, foreign_key="measurementsession.id", index=True)
    file_name: str = Field(default="", max_length=120)
    sha256: str = Field(max_length=64, index=True)
    data: bytes = Field(sa_type=LargeBinary)
    pasted: bool = Field(default=False)
    session_words: str = Field(default="", max_length=4000)
    """JSON: what the form said about the session (date, meter, factors, note)."""
    read_as: str = Field(default="", max_length=8000)
    """JSON: how the member said the table is to be read."""
    created_at: datetime


class ColumnMapping(SQLModel, table=True):
    """How a member read columns whose headings say nothing; remembered for the next file."""

    __table_args__ = (UniqueConstraint("member_id", "heading_hash"),)

    id: int = Field(default=None, primary_key=True)
    member_id: int = Field(foreign_key="member.id", index=True)
    heading_hash: str = Field(max_length=64)
    columns: str = Field(max_length=8000)
    """JSON list of [role, unit] per column."""
    used_at: datetime


class SurveyAct(SQLModel, table=True):
    """Who did what with a session or one of its readings."""

    id: int = Field(default=None, primary_key=True)
    session_id: int = Field(foreign_key="measurementsession.id", index=True)
    reading_id: int | None = Field(default=None, foreign_key="reading.id")
    what: str = Field(max_length=24)
    words: str = Field(default="", max_length=500)
    member_id: int | None = Field(default=None, foreign_key="member.id")
    at: datetime
