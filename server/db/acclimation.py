"""The way of a tank to another light: the plan kept, its steps, and where it stands."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime

from sqlmodel import Session, col, func, select

from server.db import days, tanks
from server.db.days import DayWords
from server.dose.acclimation import Plan
from server.dose.ladder import Means, Setting
from server.dose.used_to import UsedTo
from server.dose.way_now import WayNow, WayStep, way_now
from server.models import (
    AcclimationAnswer,
    AcclimationPlan,
    AcclimationStep,
    Schedule,
    Setup,
    Tank,
)

SHOP_LIGHT = "the shop's light"
"""Basis of what the keeper said of an animal's light before it came."""


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


def setting_of(step: AcclimationStep) -> Setting:
    return Setting(power=step.power, raised_cm=step.raised_cm, lit_share=step.lit_share)


def way_of(db: Session, tank_id: int, *, today: date) -> WayNow | None:
    """Where the tank's way stands today; None when none is under way."""
    plan = under_way(db, tank_id)
    return None if plan is None else way_by(plan, steps_of(db, plan.id), today)


def way_by(plan: AcclimationPlan, steps: Sequence[AcclimationStep], today: date) -> WayNow | None:
    """The same from its rows."""
    return way_now(
        [
            WayStep(
                number=step.number,
                due_on=step.due_on,
                setting=setting_of(step),
                done_on=step.done_on,
            )
            for step in steps
        ],
        today=today,
        held_since=(plan.held_since or today) if plan.state == "held" else None,
    )


def last_step_on(db: Session, tank_id: int) -> date | None:
    """When the latest step of any way was set on a tank."""
    set_ = (
        select(func.max(AcclimationStep.done_on))
        .join(AcclimationPlan, col(AcclimationPlan.id) == col(AcclimationStep.plan_id))
        .where(AcclimationPlan.tank_id == tank_id)
    )
    return db.exec(set_).one()


def said_of(db: Session, tank_id: int) -> dict[int, tuple[date, UsedTo]]:
    """What the keeper said of an animal's light before it came, and when; by the animal's id."""
    said: dict[int, tuple[date, UsedTo]] = {}
    for plan in reversed(plans_of(db, tank_id)):
        for one in json.loads(plan.used_to):
            if one["from"] == SHOP_LIGHT and one["animal_id"] is not None:
                used_to = UsedTo(
                    name=one["name"],
                    peak_ppfd=one["peak_ppfd"],
                    dli_mol_m2_d=one["dli_mol_m2_d"],
                )
                said[one["animal_id"]] = (plan.created_at.date(), used_to)
    return said


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
