"""The day of a tank's lamps: its rows, and those rows as the days the dose room takes."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlmodel import Session, col, select

from server.dose.day import Day
from server.models import Schedule, ScheduleDay


@dataclass(frozen=True, kw_only=True)
class GroupDay:
    """The day of one channel group: of one lamp, of a model or of all; of one channel or of all.

    lamp_number: the nth lamp of the model as the setup lists them; 0: all of the model.
    control: how that lamp is switched, where the keeper said so.
    """

    day: Day
    lamp_model_id: int | None = None
    lamp_number: int = 0
    channel: str = ""
    control: str = ""


@dataclass(frozen=True, kw_only=True)
class DayWords:
    """What a keeper states about the day; the columns of `Schedule` that a form fills."""

    since: date
    time_zone: str
    state: str = "set"
    follows_clock: bool = False
    control: str = ""
    view_from_h: float | None = None
    view_to_h: float | None = None
    reason: str = ""


def current_schedule(db: Session, tank_id: int) -> Schedule | None:
    """What the lamps do now: the set schedule with the latest (since, id)."""
    return schedule_on(db, tank_id, date.max)


def schedule_on(db: Session, tank_id: int, on: date) -> Schedule | None:
    """What the lamps did on a day; None before the first schedule."""
    ran = select(Schedule).where(
        Schedule.tank_id == tank_id, Schedule.state == "set", col(Schedule.since) <= on
    )
    latest = ran.order_by(col(Schedule.since).desc(), col(Schedule.id).desc())
    return db.exec(latest.limit(1)).first()


def current_schedules(db: Session, tank_ids: Sequence[int]) -> dict[int, Schedule]:
    """What the lamps of each of many tanks do now, in one question."""
    ran = select(Schedule).where(col(Schedule.tank_id).in_(tank_ids), Schedule.state == "set")
    oldest_first = ran.order_by(col(Schedule.since), col(Schedule.id))
    return {row.tank_id: row for row in db.exec(oldest_first)}


def schedules_of(db: Session, tank_id: int) -> list[Schedule]:
    """All schedules of a tank, plans first, then newest first."""
    rows = db.exec(select(Schedule).where(Schedule.tank_id == tank_id))
    return sorted(rows, key=lambda s: (s.state == "plan", s.since, s.id), reverse=True)


def schedule_in(db: Session, tank_id: int, schedule_id: int) -> Schedule | None:
    """The schedule, if it is one of this tank's."""
    found = db.get(Schedule, schedule_id) if 0 < schedule_id < 2**31 else None
    return found if found is not None and found.tank_id == tank_id else None


def days_of(db: Session, schedule_id: int) -> tuple[GroupDay, ...]:
    """The days of a schedule's channel groups, in their order."""
    rows = select(ScheduleDay).where(ScheduleDay.schedule_id == schedule_id)
    ordered = rows.order_by(col(ScheduleDay.position), col(ScheduleDay.id))
    return tuple(
        GroupDay(
            day=_day(row.points),
            lamp_model_id=row.lamp_model_id,
            lamp_number=row.lamp_number,
            channel=row.channel,
            control=row.control,
        )
        for row in db.exec(ordered)
    )


def save_schedule(
    db: Session, *, tank_id: int, words: DayWords, days: Sequence[GroupDay], by_id: int | None
) -> Schedule:
    """Writes the day from `since` on as a new row; old rows stay.

    A second change on the day the current schedule began corrects that one.
    """
    found = _begun_on(db, tank_id, words.since) if words.state == "set" else None
    schedule = found or Schedule(
        tank_id=tank_id, since=words.since, time_zone=words.time_zone, created_at=datetime.now(UTC)
    )
    for name, value in vars(words).items():
        setattr(schedule, name, value)
    schedule.created_by_id = by_id
    db.add(schedule)
    db.flush()
    _write_days(db, schedule.id, days)
    return schedule


def run_plan(db: Session, schedule: Schedule, *, since: date, reason: str) -> None:
    """A planned day begins to run on a date.

    Where another one was set that very day after the plan was drawn up, that one takes over the
    plan's day: the current schedule is always the latest row of its date.
    """
    later = _begun_on(db, schedule.tank_id, since)
    if later is not None and (later.id) > (schedule.id):
        _write_days(db, later.id, days_of(db, schedule.id))
        later.reason, later.control = reason or schedule.reason, schedule.control
        db.add(later)
        return
    schedule.state, schedule.since, schedule.reason = "set", since, reason or schedule.reason
    db.add(schedule)


def discard(db: Session, schedule: Schedule) -> None:
    """A planned day is thrown away. Raises IntegrityError while a way up leads to it."""
    for row in db.exec(select(ScheduleDay).where(ScheduleDay.schedule_id == schedule.id)):
        db.delete(row)
    db.flush()
    db.delete(schedule)
    db.flush()


def _begun_on(db: Session, tank_id: int, since: date) -> Schedule | None:
    current = current_schedule(db, tank_id)
    return current if current is not None and current.since == since else None


def _write_days(db: Session, schedule_id: int, days: Sequence[GroupDay]) -> None:
    for row in db.exec(select(ScheduleDay).where(ScheduleDay.schedule_id == schedule_id)):
        db.delete(row)
    db.flush()
    for position, group in enumerate(days):
        db.add(
            ScheduleDay(
                schedule_id=schedule_id,
                position=position,
                lamp_model_id=group.lamp_model_id,
                lamp_number=group.lamp_number,
                channel=group.channel,
                control=group.control,
                points=_points(group.day),
            )
        )
    db.flush()


def _points(day: Day) -> str:
    pairs = zip(day.hours, day.levels, strict=True)
    return json.dumps([[round(hour, 6) % 24, round(level, 3)] for hour, level in pairs])


def _day(points: str) -> Day:
    pairs = json.loads(points)
    return Day(hours=tuple(hour for hour, _ in pairs), levels=tuple(level for _, level in pairs))
