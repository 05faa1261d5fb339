"""The way up to a planned light: the plan, its dated steps, and what the keeper answered."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel


class AcclimationPlan(SQLModel, table=True):
    """One way up for one tank. At most one of a tank is running or held at a time."""

    __table_args__ = (
        CheckConstraint("state IN ('running', 'held', 'done', 'stopped')", name="state_known"),
        CheckConstraint("weekly_rise > 0 AND weekly_rise <= 0.3", name="weekly_rise_small"),
        CheckConstraint("step_days >= 7", name="steps_a_week_apart"),
    )

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    setup_id: int = Field(foreign_key="setup.id")
    """The setup whose lamps are the goal; it stays as it is."""
    schedule_id: int | None = Field(default=None, foreign_key="schedule.id")
    """The schedule that is the goal."""
    state: str = Field(default="running", max_length=8)
    started_on: date
    held_since: date | None = None
    weekly_rise: float
    """Largest rise a week at any animal, as a share."""
    step_days: int = Field(default=7)
    means: str = Field(max_length=1000)
    """JSON of `server.dose.ladder.Means`."""
    used_to: str = Field(max_length=40000)
    """JSON: [{animal_id, name, peak_ppfd, dli_mol_m2_d, from}], the order of the steps' lists."""
    peak_jump: float = Field(default=0.0)
    """Rise of the peak on the first day where hours alone are changed, as a share."""
    created_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime


class AcclimationStep(SQLModel, table=True):
    """One step: what to set, from when, and what each animal then gets."""

    __table_args__ = (UniqueConstraint("plan_id", "number"),)

    id: int = Field(default=None, primary_key=True)
    plan_id: int = Field(foreign_key="acclimationplan.id", index=True)
    number: int
    due_on: date
    done_on: date | None = None
    power: float
    """Share of the goal's power."""
    raised_cm: float
    """How much higher than the goal the lamps hang."""
    lit_share: float
    """Lit hours over the goal's lit hours."""
    peaks: str = Field(max_length=8000)
    """JSON list [µmol m⁻² s⁻¹], one per animal."""
    dlis: str = Field(max_length=8000)
    """JSON list [mol m⁻² d⁻¹], one per animal."""
    largest_rise: float
    limited_by: str = Field(default="", max_length=80)
    """Name of the animal that set the pace."""


class AcclimationAnswer(SQLModel, table=True):
    """What happened at a step, in the order it was told."""

    __table_args__ = (
        CheckConstraint(
            "answer IN ('done', 'skipped', 'pale', 'resumed', 'back', 'stopped')",
            name="answer_known",
        ),
    )

    id: int = Field(default=None, primary_key=True)
    plan_id: int = Field(foreign_key="acclimationplan.id", index=True)
    step_number: int
    told_on: date
    answer: str = Field(max_length=8)
    note: str = Field(default="", max_length=500)
    member_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime
