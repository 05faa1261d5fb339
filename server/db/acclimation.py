"""The way up of a tank: the plan kept, its steps answered, and the light each step sets."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime, timedelta

from sqlmodel import Session, col, select

from server.db import days, tanks
from server.db.daylight import pressed_together
from server.db.days import DayWords
from server.db.moments import Moment
from server.dose.acclimation import Plan
from server.dose.ladder import Means, Setting
from server.dose.used_to import UsedTo
from server.models import (
    AcclimationAnswer,
    AcclimationPlan,
    AcclimationStep,
    Schedule,
    Setup,
    Tank,
)


@dataclass(frozen=True, kw_only=True)
class KnownAs:
    """One animal's light before the way up, and what that rests on."""

    animal_id: int
    used_to: UsedTo
    basis: str


def under_way(db: Session, tank_id: int) -> AcclimationPlan | None:
    """The plan of a tank that is running or held."""
    return db.exec(
        select(AcclimationPlan).where(
            AcclimationPlan.tank_id == tank_id,
            col(AcclimationPlan.state).in_(("running", "held")),
        )
    ).first()


def plans_of(db: Session, tank_id: int) -> list[AcclimationPlan]:
    """All plans of a tank, latest first."""
    kept = select(AcclimationPlan).where(AcclimationPlan.tank_id == tank_id)
    return list(db.exec(kept.order_by(col(AcclimationPlan.id).desc())))


def steps_of(db: Session, plan_id: int) -> list[AcclimationStep]:
    """The steps of a plan in order."""
    kept = select(AcclimationStep).where(AcclimationStep.plan_id == plan_id)
    return list(db.exec(kept.order_by(col(AcclimationStep.number))))


def answers_of(db: Session, plan_id: int) -> list[AcclimationAnswer]:
    """What was told at its steps, in order."""
    kept = select(AcclimationAnswer).where(AcclimationAnswer.plan_id == plan_id)
    return list(db.exec(kept.order_by(col(AcclimationAnswer.id))))


def next_step(steps: Sequence[AcclimationStep]) -> AcclimationStep | None:
    """The first step that is not done."""
    return next((step for step in steps if step.done_on is None), None)


# Beginning


def begin(
    db: Session,
    *,
    tank_id: int,
    goal_setup: Setup,
    goal_schedule: Schedule,
    plan: Plan,
    means: Means,
    known: Sequence[KnownAs],
    step_days: int,
    by_id: int | None,
) -> AcclimationPlan:
    """Keeps a plan. A goal that hangs or runs already is copied, so that steps cannot touch it."""
    row = AcclimationPlan(
        tank_id=tank_id,
        setup_id=_goal_setup(db, goal_setup, by_id),
        schedule_id=_goal_schedule(db, goal_schedule, by_id),
        started_on=plan.steps[0].on,
        weekly_rise=plan.weekly_rise,
        step_days=step_days,
        means=json.dumps(asdict(means)),
        used_to=json.dumps([_known_json(one) for one in known]),
        peak_jump=plan.peak_jump,
        created_by_id=by_id,
        created_at=datetime.now(UTC),
    )
    db.add(row)
    db.flush()
    for step, pace in zip(plan.steps, plan.limited_by, strict=True):
        db.add(
            AcclimationStep(
                plan_id=row.id,
                number=step.number,
                due_on=step.on,
                power=step.setting.power,
                raised_cm=step.setting.raised_cm,
                lit_share=step.setting.lit_share,
                peaks=_numbers(step.peaks_ppfd),
                dlis=_numbers(step.dlis_mol_m2_d),
                largest_rise=round(step.largest_rise, 9),
                limited_by=pace[:80],
            )
        )
    db.flush()
    return row


def _known_json(one: KnownAs) -> dict[str, object]:
    return {
        "animal_id": one.animal_id,
        "name": one.used_to.name,
        "peak_ppfd": round(one.used_to.peak_ppfd, 3),
        "dli_mol_m2_d": round(one.used_to.dli_mol_m2_d, 5),
        "from": one.basis,
    }


def _numbers(values: Sequence[float]) -> str:
    return json.dumps([round(value, 5) for value in values])


def _goal_setup(db: Session, goal: Setup, by_id: int | None) -> int:
    if goal.state == "plan":
        return goal.id
    copy = tanks.save_setup(
        db,
        tank_id=goal.tank_id,
        lamps=[tanks.place_of(lamp) for lamp in tanks.lamps_of(db, goal.id)],
        since=goal.since,
        reason=goal.reason,
        name="Goal of the way up",
        state="plan",
        by_id=by_id,
    )
    return copy.id


def _goal_schedule(db: Session, goal: Schedule, by_id: int | None) -> int:
    if goal.state == "plan":
        return goal.id
    words = replace(words_of(goal), state="plan")
    copy = days.save_schedule(
        db, tank_id=goal.tank_id, words=words, days=days.days_of(db, goal.id), by_id=by_id
    )
    return copy.id


def words_of(schedule: Schedule) -> DayWords:
    """What was stated about a schedule, to write another from."""
    return DayWords(
        since=schedule.since,
        time_zone=schedule.time_zone,
        state=schedule.state,
        follows_clock=schedule.follows_clock,
        control=schedule.control,
        view_from_h=schedule.view_from_h,
        view_to_h=schedule.view_to_h,
        reason=schedule.reason,
    )


# Answering a step


def done(
    db: Session, plan: AcclimationPlan, now: Moment, *, today: date, by_id: int | None
) -> None:
    """Nothing pale: the due step is set on the tank, and the next one falls due after it."""
    steps = steps_of(db, plan.id)
    step = next_step(steps)
    assert step is not None
    step.done_on = today
    db.add(step)
    _told(db, plan, step.number, "done", today, by_id)
    rest = steps[step.number :]
    if rest:
        _set_light(db, plan, step, now, today, by_id, of=len(steps))
        _put_off(
            db, rest, first_on=today + timedelta(days=plan.step_days), step_days=plan.step_days
        )
    else:
        _reach(db, plan, now, today, by_id)


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


def step_back(
    db: Session, plan: AcclimationPlan, now: Moment, *, today: date, by_id: int | None
) -> bool:
    """The light goes back to the step before the last one done; False where there is none."""
    steps = steps_of(db, plan.id)
    finished = [step for step in steps if step.done_on is not None]
    if len(finished) < 2:
        return False
    finished[-1].done_on = None
    db.add(finished[-1])
    _set_light(db, plan, finished[-2], now, today, by_id, of=len(steps))
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


def setting_of(step: AcclimationStep) -> Setting:
    return Setting(power=step.power, raised_cm=step.raised_cm, lit_share=step.lit_share)


def _set_light(
    db: Session,
    plan: AcclimationPlan,
    step: AcclimationStep,
    now: Moment,
    today: date,
    by_id: int | None,
    *,
    of: int,
) -> None:
    """Writes the step's lamps and day as what hangs and runs from today."""
    reason = f"Way up, step {step.number} of {of}"
    goal = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, plan.setup_id)]
    lamps = [
        replace(
            lamp,
            power=round(lamp.power * step.power, 6),
            height_cm=round(lamp.height_cm + step.raised_cm, 3),
        )
        for lamp in goal
    ]
    tanks.save_setup(db, tank_id=plan.tank_id, lamps=lamps, since=today, reason=reason, by_id=by_id)
    if plan.schedule_id is None:
        return
    schedule = db.get_one(Schedule, plan.schedule_id)
    wanted = pressed_together(days.days_of(db, plan.schedule_id), step.lit_share)
    if wanted == now.days and now.schedule and now.schedule.control == schedule.control:
        return
    words = replace(words_of(schedule), state="set", since=today, reason=reason)
    days.save_schedule(db, tank_id=plan.tank_id, words=words, days=wanted, by_id=by_id)


def _reach(db: Session, plan: AcclimationPlan, now: Moment, today: date, by_id: int | None) -> None:
    """The last step: the goal itself goes up over the water."""
    plan.state = "done"
    db.add(plan)
    reason = "End of the way up"
    tanks.hang_plan(db, plan.setup_id, since=today, reason=reason)
    if plan.schedule_id is not None:
        goal = days.days_of(db, plan.schedule_id)
        if goal != now.days:
            schedule = db.get_one(Schedule, plan.schedule_id)
            days.run_plan(db, schedule, since=today, reason=reason)


# Dates of a member


@dataclass(frozen=True, kw_only=True)
class DueStep:
    """A step that falls due: on which tank, when, which of how many, and whether it is held."""

    tank: Tank
    plan: AcclimationPlan
    step: AcclimationStep
    of: int


def due_steps(db: Session, member_id: int) -> list[DueStep]:
    """Every step not yet done of a member's running plans, in order of their dates."""
    rows = db.exec(
        select(AcclimationStep, AcclimationPlan, Tank)
        .join(AcclimationPlan, col(AcclimationPlan.id) == col(AcclimationStep.plan_id))
        .join(Tank, col(Tank.id) == col(AcclimationPlan.tank_id))
        .where(
            Tank.owner_id == member_id,
            col(Tank.archived_at).is_(None),
            AcclimationPlan.state == "running",
        )
        .order_by(col(AcclimationStep.due_on), col(AcclimationStep.id))
    ).all()
    counts: dict[int, int] = {}
    for step, plan, _ in rows:
        counts[plan.id] = max(counts.get(plan.id, 0), step.number)
    return [
        DueStep(tank=tank, plan=plan, step=step, of=counts[plan.id])
        for step, plan, tank in rows
        if step.done_on is None
    ]
