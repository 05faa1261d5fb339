"""What lies on the desk: while a way is planned, and while one is under way."""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from sqlmodel import Session

from server.db import acclimation, days, lived_under, tanks
from server.db.club_day import today as club_today
from server.db.goal import Goal, goal_of
from server.db.lived_under import LivedRows
from server.dose.used_to import Followed, UsedTo
from server.models import (
    AcclimationAnswer,
    AcclimationPlan,
    AcclimationStep,
    Animal,
    Member,
    Schedule,
    Setup,
    Tank,
)
from server.web.signed_in import Club, NotFound
from server.web.tanks.open import own_tank, tank_to_see


@dataclass(frozen=True)
class Desk:
    """What lies on the desk while a way is planned. `goals`, `schedules`: what hangs first."""

    tank: Tank
    lived: LivedRows
    goals: tuple[Setup, ...]
    schedules: tuple[Schedule, ...]
    today: date

    @property
    def animals(self) -> tuple[Animal, ...]:
        return self.lived.animals

    @property
    def missing(self) -> str:
        if not self.goals:
            return "Hang a lamp, or draw up a plan of one, first."
        if not self.schedules:
            return "Set the tank's day first: what counts is light over the whole day."
        return "" if self.animals else "Place the animals first: the limit is kept at each of them."

    @cached_property
    def used(self) -> dict[int, Followed]:
        """What each animal is used to by its history."""
        return lived_under.followed_by(self.lived)

    @cached_property
    def now(self) -> dict[int, UsedTo]:
        """What each animal gets today."""
        return lived_under.lives_in(self.lived)

    @cached_property
    def jumped(self) -> tuple[tuple[str, float], ...]:
        """Who gets more over what it is used to than a week may bring."""
        return lived_under.jumped(self.lived, lived_under.rises(self.lived))

    @property
    def hung(self) -> Setup | None:
        """What hangs; None before the first lamp."""
        return next((one for one in self.goals if one.state == "hung"), None)

    @property
    def earliest(self) -> date:
        """A way begins today, or a week after the last step of the one before."""
        last = self.lived.last_step_on
        if last is None or not self.lived.by_step:
            return self.today
        return max(self.today, last + timedelta(days=7))

    def hangs(self, setup_id: int, schedule_id: int) -> bool:
        """Whether these lamps and this day hang and run already."""
        setup = next(one for one in self.goals if one.id == setup_id)
        schedule = next(one for one in self.schedules if one.id == schedule_id)
        return setup.state == "hung" and schedule.state == "set"


def desk(club: Club, who: Member, tank_id: int, *, own: bool = False) -> Desk:
    with club.read() as db:
        tank = own_tank(db, who, tank_id) if own else tank_to_see(db, who, tank_id)
        today = club_today(db)
        setup, schedule = tanks.setup_on(db, tank_id, today), days.schedule_on(db, tank_id, today)
        plans = [one for one in tanks.setups_of(db, tank_id) if one.state == "plan"]
        drawn = [one for one in days.schedules_of(db, tank_id) if one.state == "plan"]
        return Desk(
            tank=tank,
            lived=lived_under.rows_of(db, tank, today),
            goals=(*([setup] if setup else []), *plans),
            schedules=(*([schedule] if schedule else []), *drawn),
            today=today,
        )


def goal_typed(club: Club, desk: Desk, setup_id: int, schedule_id: int) -> Goal:
    """The goal somebody chose among those on the desk."""
    setup = next(one for one in desk.goals if one.id == setup_id)
    schedule = next(one for one in desk.schedules if one.id == schedule_id)
    with club.read() as db:
        return goal_of(db, desk.tank, setup, schedule, today=desk.today)


@dataclass(frozen=True, kw_only=True)
class UnderWay:
    """A plan that is kept, opened today."""

    tank: Tank
    plan: AcclimationPlan
    steps: list[AcclimationStep]
    answers: list[AcclimationAnswer]
    goal: Goal
    lived: LivedRows
    today: date


def under_way(club: Club, who: Member, tank_id: int) -> UnderWay | None:
    """The plan that is running or held."""
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        plan = acclimation.under_way(db, tank_id)
        return None if plan is None else _opened(db, tank, plan, club_today(db))


def _opened(db: Session, tank: Tank, plan: AcclimationPlan, today: date) -> UnderWay:
    schedule = db.get(Schedule, plan.schedule_id) if plan.schedule_id else None
    return UnderWay(
        tank=tank,
        plan=plan,
        steps=acclimation.steps_of(db, plan.id),
        answers=acclimation.answers_of(db, plan.id),
        goal=goal_of(db, tank, db.get_one(Setup, plan.setup_id), schedule, today=today),
        lived=lived_under.rows_of(db, tank, today),
        today=today,
    )


def own_way(club: Club, who: Member, tank_id: int) -> UnderWay:
    """The keeper's plan that is running or held. Raises NotFound."""
    with club.read() as db:
        own_tank(db, who, tank_id)
    seen = under_way(club, who, tank_id)
    if seen is None:
        raise NotFound("No way up is under way for this tank.")
    return seen
