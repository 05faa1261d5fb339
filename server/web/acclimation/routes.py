"""Pages of a tank's way up: plan it, keep it, answer a step, skip, hold, carry on, go back."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import cast

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import acclimation, carried_readings, days, light, tanks
from server.db.acclimation import KnownAs
from server.db.club_day import today as club_today
from server.db.goal import Goal
from server.db.moments import Moment, before_last_change, moment
from server.dose.acclimation import NoWayUp, Plan
from server.dose.control import CONTROLS, Kind
from server.dose.used_to import UsedTo
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
from server.web import filters
from server.web.acclimation import form as reading
from server.web.acclimation import view as views
from server.web.acclimation import work
from server.web.acclimation.form import Past, WayTyped
from server.web.day.view import lit_moment
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Typed, Who, text
from server.web.tanks.open import own_tank, tank_to_see
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)

USUAL_ROOM_CM = 30.0


@dataclass(frozen=True, kw_only=True)
class _Desk:
    """What lies on the desk while a way up is planned."""

    tank: Tank
    now: Moment
    before: Moment | None
    goals: tuple[Setup, ...]
    schedules: tuple[Schedule, ...]
    today: date

    @property
    def animals(self) -> tuple[Animal, ...]:
        return self.now.animals

    @property
    def pasts(self) -> tuple[Past, ...]:
        """Where light may come from: the one before only when there was one."""
        return ("before", "now", "shop", "unknown") if self.before else ("now", "shop", "unknown")

    @property
    def missing(self) -> str:
        if not self.goals:
            return "Hang a lamp, or draw up a plan of one, first."
        if not self.schedules:
            return "Set the tank's day first: what counts is light over the whole day."
        return "" if self.animals else "Place the animals first: the limit is kept at each of them."


@dataclass(frozen=True, kw_only=True)
class _UnderWay:
    """A plan that is kept, opened today."""

    tank: Tank
    plan: AcclimationPlan
    steps: list[AcclimationStep]
    answers: list[AcclimationAnswer]
    goal: Goal
    now: Moment
    today: date


@router.get("/tanks/{tank_id}/acclimation")
def way_page(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    seen = _under_way(club, who, tank_id)
    if seen is not None:
        return _way(request, who, seen)
    desk = _desk(club, who, tank_id)
    if desk.tank.owner_id != who.id:
        return page(request, "acclimation/none.html", view=desk.tank)
    return _form(request, who, desk, _first_values(desk, who, _asked(request)), {})


@router.post("/tanks/{tank_id}/acclimation")
def plan_way(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    desk = _desk(club, who, tank_id, own=True)
    if desk.missing or _under_way(club, who, tank_id) is not None:
        return see_other(f"/tanks/{tank_id}/acclimation")
    typed = _read(form, who, desk)
    values = _first_values(desk, who, 0) | _typed_values(form)
    if isinstance(typed, Refused):
        return _form(request, who, desk, values | typed.values, typed.errors)
    goal = _goal_typed(club, desk, typed)
    if not goal.hung:
        words = "No lamp hangs there, so there is no light to lead up to."
        return _form(request, who, desk, values, {"setup": words})
    now = lit_moment(desk.tank, desk.now)
    before = lit_moment(desk.tank, desk.before) if desk.before else None
    known = work.known(typed, desk.animals, now, before, goal.lit_hours)
    try:
        found = work.way_up(typed, goal, desk.animals, known)
    except NoWayUp as refused:
        return _form(request, who, desk, values, {"form": str(refused)})
    if text(form, "do") != "save":
        return _form(request, who, desk, values, {}, found=found, goal=goal, known=known)
    return _keep(club, who, tank_id, typed, found, known)


def _keep(
    club: Club,
    who: Member,
    tank_id: int,
    typed: WayTyped,
    found: Plan,
    known: tuple[KnownAs, ...],
) -> Response:
    with club.write() as db:
        own_tank(db, who, tank_id)
        if acclimation.under_way(db, tank_id) is None:
            acclimation.begin(
                db,
                tank_id=tank_id,
                goal_setup=db.get_one(Setup, typed.setup_id),
                goal_schedule=db.get_one(Schedule, typed.schedule_id),
                plan=found,
                means=typed.means,
                known=known,
                step_days=typed.step_days,
                by_id=who.id,
            )
    return see_other(
        f"/tanks/{tank_id}/acclimation", notice="The way up is kept and stands in your calendar."
    )


# A step


@router.post("/tanks/{tank_id}/acclimation/answer")
def answer_step(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    seen = _own_way(club, who, tank_id)
    answer = reading.read_answer(form)
    if isinstance(answer, Refused):
        return _way(request, who, seen, answer)
    step = acclimation.next_step(seen.steps)
    if answer.pale:
        with club.write() as db:
            plan = db.get_one(AcclimationPlan, seen.plan.id)
            acclimation.pale(db, plan, today=seen.today, note=answer.note, by_id=who.id)
        return see_other(
            f"/tanks/{tank_id}/acclimation", notice="The plan holds. Here is what to look at."
        )
    if step is None or seen.plan.state != "running" or step.due_on > seen.today:
        return see_other(f"/tanks/{tank_id}/acclimation", notice="This step is not due yet.")
    much = _too_much(seen, step)
    if much is not None:
        words = views.rise_words(*much, seen.plan.weekly_rise)
        return _way(
            request, who, seen, Refused({"pale": "no", "note": answer.note}, {"form": words})
        )
    with club.write() as db:
        plan = db.get_one(AcclimationPlan, seen.plan.id)
        fresh = acclimation.next_step(acclimation.steps_of(db, plan.id))
        if fresh is not None and fresh.number == step.number and plan.state == "running":
            acclimation.done(db, plan, seen.now, today=seen.today, by_id=who.id)
    return see_other(f"/tanks/{tank_id}/acclimation", notice=f"Step {step.number} is set.")


@router.post("/tanks/{tank_id}/acclimation/{move}")
def move_plan(who: Who, club: Club, tank_id: int, move: str) -> Response:
    """Skip the step, carry on after a hold, go back a step, or give the plan up."""
    seen = _own_way(club, who, tank_id)
    allowed = {"skip": "running", "resume": "held", "back": "held", "stop": seen.plan.state}
    if move not in allowed:
        raise NotFound
    words = "That is not possible now."
    with club.write() as db:
        plan = db.get_one(AcclimationPlan, seen.plan.id)
        if plan.state == allowed[move]:
            words = _moved(db, plan, seen, move, who.id)
    return see_other(f"/tanks/{tank_id}/acclimation", notice=words)


def _moved(db: Session, plan: AcclimationPlan, seen: _UnderWay, move: str, by: int | None) -> str:
    today = seen.today
    if move == "skip":
        acclimation.skip(db, plan, today=today, by_id=by)
        return "Skipped. The light stays, and everything after waits as long."
    if move == "resume":
        acclimation.resume(db, plan, today=today, by_id=by)
        return "The plan carries on."
    if move == "stop":
        acclimation.stop(db, plan, today=today, by_id=by)
        return "The plan is given up. The light stays as it is."
    back = acclimation.step_back(db, plan, seen.now, today=today, by_id=by)
    return "The light is a step lower again; the plan still holds." if back else "No step to go to."


def _too_much(seen: _UnderWay, step: AcclimationStep) -> tuple[str, float] | None:
    """Looked at again on the field as it is today; the first step against what was stated."""
    now = lit_moment(seen.tank, seen.now)
    animals = seen.now.animals
    told = {one["animal_id"]: one for one in json.loads(seen.plan.used_to)}
    lived = work.lives_in(animals, now) if now else []
    if step.number == 1 or now is None:
        stated = [told.get(animal.id) for animal in animals]
        lived = [
            UsedTo(
                name=animal.name,
                peak_ppfd=was["peak_ppfd"],
                dli_mol_m2_d=was["dli_mol_m2_d"],
            )
            if was
            else lived[place]
            for place, (animal, was) in enumerate(zip(animals, stated, strict=True))
            if was or place < len(lived)
        ]
    means = json.loads(seen.plan.means)
    hours_only = means["least_power"] == 1.0 and means["most_raised_cm"] == 0.0
    return work.too_much(
        seen.goal,
        acclimation.setting_of(step),
        animals[: len(lived)],
        lived,
        weekly=seen.plan.weekly_rise,
        peak_held=not hours_only,
    )


# How the pages are put together


def _desk(club: Club, who: Member, tank_id: int, *, own: bool = False) -> _Desk:
    with club.read() as db:
        tank = own_tank(db, who, tank_id) if own else tank_to_see(db, who, tank_id)
        today = club_today(db)
        now = moment(db, tank_id, today)
        plans = [one for one in tanks.setups_of(db, tank_id) if one.state == "plan"]
        drawn = [one for one in days.schedules_of(db, tank_id) if one.state == "plan"]
        return _Desk(
            tank=tank,
            now=now,
            before=before_last_change(db, now, tank_id),
            goals=(*([now.setup] if now.setup else []), *plans),
            schedules=(*([now.schedule] if now.schedule else []), *drawn),
            today=today,
        )


def _under_way(club: Club, who: Member, tank_id: int) -> _UnderWay | None:
    """The plan running or held, else the last one when it ended today."""
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        today = club_today(db)
        plan = acclimation.under_way(db, tank_id)
        if plan is None:
            return None
        return _opened(db, tank, plan, today)


def _opened(db: Session, tank: Tank, plan: AcclimationPlan, today: date) -> _UnderWay:
    schedule = db.get(Schedule, plan.schedule_id) if plan.schedule_id else None
    return _UnderWay(
        tank=tank,
        plan=plan,
        steps=acclimation.steps_of(db, plan.id),
        answers=acclimation.answers_of(db, plan.id),
        goal=Goal(
            tank=tank,
            hung=light.hung_over(db, plan.setup_id),
            days=days.days_of(db, plan.schedule_id) if plan.schedule_id else (),
            control=schedule.control if schedule else "",
            surveyed=carried_readings.surveyed(
                db, tank, db.get_one(Setup, plan.setup_id), on=today
            ),
        ),
        now=moment(db, tank.id, today),
        today=today,
    )


def _own_way(club: Club, who: Member, tank_id: int) -> _UnderWay:
    with club.read() as db:
        own_tank(db, who, tank_id)
    seen = _under_way(club, who, tank_id)
    if seen is None:
        raise NotFound("No way up is under way for this tank.")
    return seen


def _way(
    request: Request, who: Member, seen: _UnderWay, refused: Refused | None = None
) -> Response:
    view = views.way_view(
        who,
        seen.tank,
        seen.plan,
        seen.steps,
        seen.answers,
        seen.goal,
        seen.now.animals,
        today=seen.today,
        values=refused.values if refused else {},
        errors=refused.errors if refused else {},
    )
    return page(request, "acclimation/way.html", view=view, status=422 if refused else 200)


def _reserves(found: Plan, known: Sequence[KnownAs], animals: Sequence[Animal]) -> tuple[str, ...]:
    """What speaks against a plan that is not kept yet."""
    ids = [one.animal_id for one in known]
    beyond = views.beyond_words("At the end", ids, found.steps[-1].peaks_ppfd, animals)
    return (*views.dimmed_words(found, known), *([beyond] if beyond else []))


def _goal_typed(club: Club, desk: _Desk, typed: WayTyped) -> Goal:
    schedule = next(one for one in desk.schedules if one.id == typed.schedule_id)
    with club.read() as db:
        goal = db.get_one(Setup, typed.setup_id)
        return Goal(
            tank=desk.tank,
            hung=light.hung_over(db, typed.setup_id),
            days=days.days_of(db, typed.schedule_id),
            control=schedule.control,
            surveyed=carried_readings.surveyed(db, desk.tank, goal, on=desk.today),
        )


def _read(form: Typed, who: Member, desk: _Desk) -> WayTyped | Refused:
    steps = [CONTROLS[_control(desk)].minute_step] if desk.now.hung else [15]
    return reading.read_way(
        form,
        animals=desk.animals,
        goals=[str(one.id) for one in desk.goals],
        days=[str(one.id) for one in desk.schedules],
        pasts=desk.pasts,
        minute_step=max(15, *steps),
        unit=who.length_unit,
        today=desk.today,
    )


def _control(desk: _Desk) -> Kind:
    """How the lamps are switched: as the keeper said, else as the first lamp's model says."""
    stated = desk.now.control or (desk.now.hung[0].stated.row.control if desk.now.hung else "full")
    return cast(Kind, stated)


def _first_values(desk: _Desk, who: Member, asked: int) -> dict[str, str]:
    goals = [str(one.id) for one in desk.goals]
    if str(asked) in goals:
        goals = [str(asked), *goals]
    changed = desk.now.changed_on
    standing: Past = "now" if str(asked) in goals and asked != _id(desk.now.setup) else "unknown"
    past: list[Past] = []
    for animal in desk.animals:
        older = desk.before is not None and changed is not None and animal.placed_on < changed
        past.append("before" if older and standing != "now" else standing)
    return reading.start_values(
        desk.animals,
        goals=goals,
        days=[str(one.id) for one in desk.schedules],
        past=past,
        dims=_control(desk) in ("programs", "full"),
        room_cm=_room_cm(desk),
        unit=who.length_unit,
        today=desk.today,
    )


def _room_cm(desk: _Desk) -> float:
    """How much higher the lamps can hang: up to the headroom, where it was stated."""
    highest = max((one.row.height_cm for one in desk.now.hung), default=0.0)
    if desk.tank.headroom_cm and desk.tank.headroom_cm > highest + 1:
        return float(int(desk.tank.headroom_cm - highest))
    return USUAL_ROOM_CM


def _id(row: Setup | None) -> int:
    return row.id if row else 0


def _asked(request: Request) -> int:
    value = request.query_params.get("setup", "")
    return int(value) if value.isascii() and value.isdigit() and len(value) < 10 else 0


def _typed_values(form: Typed) -> dict[str, str]:
    """What was typed; a box that is not ticked is not sent and reads as empty."""
    boxes = dict.fromkeys(("by_power", "by_height", "by_hours"), "")
    return boxes | {name: text(form, name) for name in form if name != "do"}


def _form(
    request: Request,
    who: Member,
    desk: _Desk,
    values: dict[str, str],
    errors: dict[str, str],
    *,
    found: Plan | None = None,
    goal: Goal | None = None,
    known: tuple[KnownAs, ...] = (),
) -> Response:
    answer, do = views.plan_answer(found) if found else ("", "")
    view = views.PlanForm(
        id=desk.tank.id,
        name=desk.tank.name,
        ready=not desk.missing,
        missing=desk.missing,
        values=values,
        errors=errors,
        goals=tuple((str(one.id), _goal_words(one)) for one in desk.goals),
        days=tuple((str(one.id), _schedule_words(one)) for one in desk.schedules),
        pasts=tuple((key, reading.PAST_WORDS[key]) for key in desk.pasts),
        animals=tuple((f"from-{one.id}", one.name) for one in desk.animals),
        unit=who.length_unit,
        more=bool(set(errors) & {"weekly", "step_days", "start"}),
        room_told=_room_told(desk, who.length_unit),
        answer=answer,
        do=do,
        sure=views.SURE if found else "",
        peak_told=views.peak_words(found.peak_jump) if found else "",
        dimmed=_reserves(found, known, desk.animals) if found else (),
        steps=views.planned_lines(found, goal, who) if found and goal else (),
        past_lines=views.past_lines(known, found.steps[-1].dlis_mol_m2_d) if found else (),
    )
    return page(request, "acclimation/plan.html", view=view, status=422 if errors else 200)


def _goal_words(setup: Setup) -> str:
    named = f"“{setup.name}”, " if setup.name else ""
    if setup.state == "plan":
        return f"{named}a plan, not hung yet"
    return f"{named}the lamps as they hang since {filters.day(setup.since)}"


def _schedule_words(schedule: Schedule) -> str:
    if schedule.state == "plan":
        return f"the day planned on {filters.day(schedule.since)}"
    return f"the day as it runs since {filters.day(schedule.since)}"


def _room_told(desk: _Desk, unit: str) -> str:
    if desk.tank.headroom_cm:
        return f"You stated {filters.length(desk.tank.headroom_cm, unit)} of room over the water."
    return "How much room there is to the shelf or ceiling."
