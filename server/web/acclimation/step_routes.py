"""A step of a way answered, and what else may be done with a way: skip, carry on, back, stop."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import acclimation, way_steps
from server.models import AcclimationPlan, AcclimationStep
from server.web.acclimation import form as reading
from server.web.acclimation import way_view as views
from server.web.acclimation import work
from server.web.acclimation.desk import UnderWay, own_way
from server.web.acclimation.routes import show_way
from server.web.page import see_other
from server.web.signed_in import Club, NotFound, Typed, Who
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.post("/tanks/{tank_id}/acclimation/answer")
def answer_step(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    seen = own_way(club, who, tank_id)
    answer = reading.read_answer(form)
    if isinstance(answer, Refused):
        return show_way(request, who, seen, answer)
    if answer.pale:
        with club.write() as db:
            plan = db.get_one(AcclimationPlan, seen.plan.id)
            way_steps.pale(db, plan, today=seen.today, note=answer.note, by_id=who.id)
        return _back(tank_id, "The plan holds. Here is what to look at.")
    step = acclimation.next_step(seen.steps)
    if step is None or seen.plan.state != "running" or step.due_on > seen.today:
        return _back(tank_id, "This step is not due yet.")
    much = work.too_much(seen, step)
    if much is not None:
        told = views.refused_words(*much, seen.plan.weekly_rise)
        typed = {"pale": "no", "note": answer.note}
        return show_way(request, who, seen, Refused(typed, {"form": told}))
    _set(club, seen, step, by=who.id)
    return _back(tank_id, f"Step {step.number} is set.")


def _set(club: Club, seen: UnderWay, step: AcclimationStep, *, by: int) -> None:
    """The step's light goes up, unless somebody else set it in the meantime."""
    with club.write() as db:
        plan = db.get_one(AcclimationPlan, seen.plan.id)
        fresh = acclimation.next_step(acclimation.steps_of(db, plan.id))
        if fresh is not None and fresh.number == step.number and plan.state == "running":
            way_steps.done(db, plan, today=seen.today, by_id=by)


@router.post("/tanks/{tank_id}/acclimation/{move}")
def move_plan(who: Who, club: Club, tank_id: int, move: str) -> Response:
    """Skip the step, carry on after a hold, go back a step, or give the plan up."""
    seen = own_way(club, who, tank_id)
    allowed = {"skip": "running", "resume": "held", "back": "held", "stop": seen.plan.state}
    if move not in allowed:
        raise NotFound
    words = "That is not possible now."
    with club.write() as db:
        plan = db.get_one(AcclimationPlan, seen.plan.id)
        if plan.state == allowed[move]:
            words = _moved(db, plan, seen, move, who.id)
    return _back(tank_id, words)


def _moved(db: Session, plan: AcclimationPlan, seen: UnderWay, move: str, by: int | None) -> str:
    today = seen.today
    if move == "skip":
        way_steps.skip(db, plan, today=today, by_id=by)
        return "Skipped. The light stays, and everything after waits as long."
    if move == "resume":
        way_steps.resume(db, plan, today=today, by_id=by)
        return "The plan carries on."
    if move == "stop":
        way_steps.stop(db, plan, today=today, by_id=by)
        return "The plan is given up. The light stays as it is."
    back = way_steps.step_back(db, plan, today=today, by_id=by)
    return "The light is a step lower again; the plan still holds." if back else "No step to go to."


def _back(tank_id: int, notice: str) -> Response:
    return see_other(f"/tanks/{tank_id}/acclimation", notice=notice)
