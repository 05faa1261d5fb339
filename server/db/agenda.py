"""What a member's calendar should hold besides loans: steps of a way up, chores, clock changes.

Each entry keeps its name for ever and counts its changes, as calendars need it (RFC 5545).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Literal

from sqlmodel import Session, col, func, select

from server.account.typed_words import in_short
from server.db import chores, days, tanks
from server.db.moments import moment
from server.db.typed_now import LampTyped, lamps_typed, told_together, typed, way_rows
from server.dose.clock import clock_changes
from server.models import (
    AcclimationAnswer,
    AcclimationPlan,
    AcclimationStep,
    ChoreDone,
    Tank,
)

CHORES_AHEAD_DAYS = 60
Status = Literal["TENTATIVE", "CONFIRMED", "CANCELLED"]


@dataclass(frozen=True, kw_only=True)
class Dated:
    """One all-day entry: its lasting name, its day, its words, and where to read more.

    `sequence` grows with each change; `changed` is when it last did; `details`: what is typed
    into the lamps then.
    """

    name: str
    on: date
    summary: str
    status: Status
    sequence: int
    changed: datetime
    path: str
    details: str = ""


def dated_events(db: Session, member_id: int, *, today: date) -> list[Dated]:
    """Everything dated of a member's tanks, in order of days."""
    mine = tanks.own_tanks(db, member_id)
    found = [
        *(event for tank in mine for event in _steps(db, tank, today)),
        *_chores(db, member_id, today),
        *(event for tank in mine for event in _clocks(db, tank, today)),
    ]
    return sorted(found, key=lambda event: (event.on, event.name))


def _steps(db: Session, tank: Tank, today: date) -> list[Dated]:
    plans = db.exec(select(AcclimationPlan).where(AcclimationPlan.tank_id == tank.id)).all()
    way = way_rows(db, tank.id, today=today) if plans else None
    numbers = {one.step.number: one.lamps for one in typed((), way, on=today).steps}
    return [
        event
        for plan in plans
        for event in _steps_of(db, tank, plan, numbers if plan.state in ("running", "held") else {})
    ]


def _steps_of(
    db: Session,
    tank: Tank,
    plan: AcclimationPlan,
    numbers: Mapping[int, Sequence[LampTyped]],
) -> list[Dated]:
    """The steps of a way; `numbers`: what is typed at each, where it is under way."""
    told = select(func.count(), func.max(AcclimationAnswer.created_at)).where(
        AcclimationAnswer.plan_id == plan.id
    )
    count, latest = db.exec(told).one()
    kept = select(AcclimationStep).where(AcclimationStep.plan_id == plan.id)
    steps = db.exec(kept.order_by(col(AcclimationStep.number))).all()
    return [
        Dated(
            name=f"way-up-{plan.id}-{step.number}",
            on=step.done_on or step.due_on,
            summary=_step_words(tank, plan, step, len(steps)),
            status=_step_status(plan, step),
            sequence=count,
            changed=_aware(latest or plan.created_at),
            path=f"/tanks/{tank.id}/acclimation",
            details=_typed_words(numbers.get(step.number, ())),
        )
        for step in steps
    ]


def _typed_words(lamps: Sequence[LampTyped]) -> str:
    """What to type into each lamp, one line a lamp."""
    return "\n".join(f"{name}: {in_short(lamp.lines)}" for name, lamp in told_together(lamps))


def _step_words(tank: Tank, plan: AcclimationPlan, step: AcclimationStep, of: int) -> str:
    words = f"{tank.name}: light, step {step.number} of {of}"
    if step.done_on is not None:
        return f"{words}, set"
    if plan.state == "held":
        return f"{words} (the plan holds)"
    return f"{words}. Anything pale or shrunken?"


def _step_status(plan: AcclimationPlan, step: AcclimationStep) -> Status:
    if step.done_on is not None:
        return "CONFIRMED"
    if plan.state == "stopped":
        return "CANCELLED"
    return "TENTATIVE" if plan.state == "held" else "CONFIRMED"


def _chores(db: Session, member_id: int, today: date) -> list[Dated]:
    due = chores.due_of_member(db, member_id, today=today, within_days=CHORES_AHEAD_DAYS)
    rows = db.exec(
        select(ChoreDone.tank_id, ChoreDone.chore, func.count())
        .where(col(ChoreDone.tank_id).in_([one.tank.id for one in due]))
        .group_by(col(ChoreDone.tank_id), col(ChoreDone.chore))
    )
    counts = {(tank_id, chore): count for tank_id, chore, count in rows}
    return [
        Dated(
            name=f"chore-{one.tank.id}-{one.due.chore.key}",
            on=one.due.due_on,
            summary=f"{one.tank.name}: {one.due.chore.name.lower()}",
            status="CONFIRMED",
            sequence=counts.get((one.tank.id, one.due.chore.key), 0),
            changed=(
                datetime.combine(one.due.last_on, time(), UTC)
                if one.due.last_on
                else _aware(one.tank.created_at)
            ),
            path=f"/tanks/{one.tank.id}/chores",
        )
        for one in due
    ]


def _clocks(db: Session, tank: Tank, today: date) -> list[Dated]:
    """Days on which the clock changes and a lamp's times have to be retyped."""
    schedule = days.current_schedule(db, tank.id)
    if schedule is None or schedule.follows_clock:
        return []
    at = moment(db, tank.id, today)
    return [
        Dated(
            name=f"clock-{tank.id}-{change.on.isoformat()}",
            on=change.on,
            summary=f"{tank.name}: clocks change, set the lamp's times anew",
            status="CONFIRMED",
            sequence=0,
            changed=_aware(schedule.created_at),
            path=f"/tanks/{tank.id}/day",
            details=_typed_words(lamps_typed(at.hung, at.schedule, at.days, change.on)),
        )
        for change in clock_changes(schedule.time_zone, after=today)
    ]


def _aware(moment: datetime) -> datetime:
    """SQLite's own functions give moments back without their zone; they are UTC."""
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
