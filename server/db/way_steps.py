"""A step of a way answered: done, skipped, held, carried on, gone back; and the light it sets."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from sqlmodel import Session

from server.db import days, light, tanks
from server.db.acclimation import next_step, setting_of, steps_of, words_of
from server.db.daylight import pressed_together
from server.db.typed_now import at_setting
from server.models import AcclimationAnswer, AcclimationPlan, AcclimationStep, Schedule


def done(db: Session, plan: AcclimationPlan, *, today: date, by_id: int | None) -> None:
    """Nothing pale: the due step is set on the tank, and the next one falls due after it."""
    steps = steps_of(db, plan.id)
    step = next_step(steps)
    assert step is not None
    step.done_on = today
    db.add(step)
    _told(db, plan, step.number, "done", today, by_id)
    rest = steps[step.number :]
    if rest:
        _set_light(db, plan, step, today, by_id, of=len(steps))
        _put_off(
            db, rest, first_on=today + timedelta(days=plan.step_days), step_days=plan.step_days
        )
    else:
        _reach(db, plan, today)


def skip(db: Session, plan: AcclimationPlan, *, today: date, by_id: int | None) -> None:
    """The light stays as it is; this step and all after it wait one stretch more."""
    step = next_step(steps_of(db, plan.id))
    if step is not None:
        late = max(step.due_on, today)
        number = _hold_on(db, plan, late + timedelta(days=plan.step_days))
        _told(db, plan, number, "skipped", today, by_id)


def pale(db: Session, plan: AcclimationPlan, *, today: date, note: str, by_id: int | None) -> None:
    """Something is pale or shrunken: the plan holds until the keeper carries on."""
    step = next_step(steps_of(db, plan.id))
    plan.state, plan.held_since = "held", today
    db.add(plan)
    _told(db, plan, step.number if step else 0, "pale", today, by_id, note=note)


def resume(db: Session, plan: AcclimationPlan, *, today: date, by_id: int | None) -> None:
    """The plan carries on: the next step falls due one stretch from today."""
    plan.state, plan.held_since = "running", None
    db.add(plan)
    number = _hold_on(db, plan, today + timedelta(days=plan.step_days))
    _told(db, plan, number, "resumed", today, by_id)


def step_back(db: Session, plan: AcclimationPlan, *, today: date, by_id: int | None) -> bool:
    """The light goes back to the step before the last one done; False where there is none."""
    steps = steps_of(db, plan.id)
    finished = [step for step in steps if step.done_on is not None]
    if len(finished) < 2:
        return False
    finished[-1].done_on = None
    db.add(finished[-1])
    _set_light(db, plan, finished[-2], today, by_id, of=len(steps))
    _hold_on(db, plan, today + timedelta(days=plan.step_days))
    _told(db, plan, finished[-1].number, "back", today, by_id)
    return True


def stop(db: Session, plan: AcclimationPlan, *, today: date, by_id: int | None) -> None:
    """The plan is given up; the light stays as it is."""
    step = next_step(steps_of(db, plan.id))
    plan.state, plan.held_since = "stopped", None
    db.add(plan)
    _told(db, plan, step.number if step else 0, "stopped", today, by_id)


def _hold_on(db: Session, plan: AcclimationPlan, first_on: date) -> int:
    """Puts off every step not done, the first to `first_on`; gives its number."""
    rest = [step for step in steps_of(db, plan.id) if step.done_on is None]
    _put_off(db, rest, first_on=first_on, step_days=plan.step_days)
    return rest[0].number if rest else 0


def _put_off(
    db: Session, steps: Sequence[AcclimationStep], *, first_on: date, step_days: int
) -> None:
    for index, step in enumerate(steps):
        step.due_on = first_on + timedelta(days=step_days * index)
        db.add(step)
    db.flush()


def _told(
    db: Session,
    plan: AcclimationPlan,
    number: int,
    answer: str,
    today: date,
    by_id: int | None,
    *,
    note: str = "",
) -> None:
    db.add(
        AcclimationAnswer(
            plan_id=plan.id,
            step_number=number,
            told_on=today,
            answer=answer,
            note=note,
            member_id=by_id,
            created_at=datetime.now(UTC),
        )
    )
    db.flush()


# The light of a step


def _set_light(
    db: Session,
    plan: AcclimationPlan,
    step: AcclimationStep,
    today: date,
    by_id: int | None,
    *,
    of: int,
) -> None:
    """Writes the step's lamps and day as what hangs and runs from today."""
    reason = f"Way up, step {step.number} of {of}"
    hung = at_setting(light.hung_over(db, plan.setup_id), setting_of(step))
    lamps = [tanks.place_of(one.row) for one in hung]
    tanks.save_setup(db, tank_id=plan.tank_id, lamps=lamps, since=today, reason=reason, by_id=by_id)
    if plan.schedule_id is None:
        return
    schedule = db.get_one(Schedule, plan.schedule_id)
    wanted = pressed_together(days.days_of(db, plan.schedule_id), step.lit_share)
    runs = days.schedule_on(db, plan.tank_id, today)
    if runs and wanted == days.days_of(db, runs.id) and runs.control == schedule.control:
        return
    words = replace(words_of(schedule), state="set", since=today, reason=reason)
    days.save_schedule(db, tank_id=plan.tank_id, words=words, days=wanted, by_id=by_id)


def _reach(db: Session, plan: AcclimationPlan, today: date) -> None:
    """The last step: the goal itself goes up over the water."""
    plan.state = "done"
    db.add(plan)
    reason = "End of the way up"
    tanks.hang_plan(db, plan.setup_id, since=today, reason=reason)
    if plan.schedule_id is not None:
        runs = days.schedule_on(db, plan.tank_id, today)
        if runs is None or days.days_of(db, plan.schedule_id) != days.days_of(db, runs.id):
            schedule = db.get_one(Schedule, plan.schedule_id)
            days.run_plan(db, schedule, since=today, reason=reason)
