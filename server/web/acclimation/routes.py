"""The page of a tank's way to another light, its form, and the plan it gives."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.account import way as words
from server.db import acclimation
from server.db.acclimation import KnownAs
from server.db.goal import Goal, dims
from server.dose.acclimation import NoWayUp, Plan
from server.dose.control import CONTROLS
from server.dose.ladder import PLANNED
from server.models import Member, Schedule, Setup
from server.web import filters
from server.web.acclimation import form as reading
from server.web.acclimation import plan_view as views
from server.web.acclimation import work
from server.web.acclimation.desk import Desk, UnderWay, desk, goal_typed, under_way
from server.web.acclimation.form import Past, WayTyped
from server.web.acclimation.step_words import beyond_words, peak_words
from server.web.acclimation.way_view import way_view
from server.web.page import page, see_other
from server.web.signed_in import Club, Typed, Who, text
from server.web.tanks.open import own_tank
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)

USUAL_ROOM_CM = 30.0
NOTHING_TO_LEAD_TO = "No lamp hangs there, so there is no light to lead to."
KEPT = "The way is kept and stands in your calendar."


@router.get("/tanks/{tank_id}/acclimation")
def way_page(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    seen = under_way(club, who, tank_id)
    if seen is not None:
        return show_way(request, who, seen)
    at = desk(club, who, tank_id)
    if at.tank.owner_id != who.id:
        return page(request, "acclimation/none.html", view=at.tank)
    return show_form(request, who, club, at, first_values(club, who, at, _asked(request)), {})


@router.post("/tanks/{tank_id}/acclimation")
def plan_way(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    at = desk(club, who, tank_id, own=True)
    if at.missing or under_way(club, who, tank_id) is not None:
        return see_other(f"/tanks/{tank_id}/acclimation")
    typed = _read(form, who, club, at)
    values = first_values(club, who, at, 0) | _typed_values(form)
    if isinstance(typed, Refused):
        return show_form(request, who, club, at, values | typed.values, typed.errors)
    goal = goal_typed(club, at, typed.setup_id, typed.schedule_id)
    wrong = _wrong(typed, goal)
    if wrong:
        return show_form(request, who, club, at, values, wrong)
    known = work.known(typed, at, goal.lit_hours)
    try:
        found = _found(typed, goal, at, known)
    except NoWayUp as refused:
        return show_form(request, who, club, at, values, {"form": str(refused)})
    if text(form, "do") != "save" or not found.steps:
        shown = views.Found(plan=found, goal=goal, known=known)
        return show_form(request, who, club, at, values, {}, found=shown)
    keep(club, who, at, typed, found, known)
    return see_other(f"/tanks/{tank_id}/acclimation", notice=KEPT)


def _wrong(typed: WayTyped, goal: Goal) -> dict[str, str]:
    if not goal.hung:
        return {"setup": NOTHING_TO_LEAD_TO}
    if typed.means.least_power < 1 and not dims(goal):
        return {"by_power": reading.CANNOT_DIM}
    return {}


def _found(typed: WayTyped, goal: Goal, at: Desk, known: tuple[KnownAs, ...]) -> Plan:
    return work.way_to(
        goal,
        at,
        known,
        work.from_brighter(typed.means, goal, at),
        start=typed.start,
        hangs=at.hangs(typed.setup_id, typed.schedule_id),
        weekly=typed.weekly,
        step_days=typed.step_days,
    )


def keep(
    club: Club,
    who: Member,
    at: Desk,
    typed: WayTyped,
    found: Plan,
    known: tuple[KnownAs, ...],
) -> None:
    """Writes a plan down, unless another one is under way by now."""
    with club.write() as db:
        own_tank(db, who, at.tank.id)
        if acclimation.under_way(db, at.tank.id) is None:
            acclimation.begin(
                db,
                tank_id=at.tank.id,
                goal_setup=db.get_one(Setup, typed.setup_id),
                goal_schedule=db.get_one(Schedule, typed.schedule_id),
                plan=found,
                means=typed.means,
                known=known,
                step_days=typed.step_days,
                by_id=who.id,
            )


# How the pages are put together


def show_way(
    request: Request, who: Member, seen: UnderWay, refused: Refused | None = None
) -> Response:
    view = way_view(
        who,
        seen,
        values=refused.values if refused else {},
        errors=refused.errors if refused else {},
    )
    return page(request, "acclimation/way.html", view=view, status=422 if refused else 200)


def show_form(
    request: Request,
    who: Member,
    club: Club,
    at: Desk,
    values: dict[str, str],
    errors: dict[str, str],
    *,
    found: views.Found | None = None,
) -> Response:
    """The form, with the plan it gives where there is one."""
    view = views.PlanForm(
        id=at.tank.id,
        name=at.tank.name,
        ready=not at.missing,
        missing=at.missing,
        values=values,
        errors=errors,
        goals=tuple((str(one.id), _goal_words(one)) for one in at.goals),
        days=tuple((str(one.id), _schedule_words(one)) for one in at.schedules),
        pasts=tuple((key, reading.PAST_WORDS[key]) for key in reading.PASTS),
        animals=tuple((f"from-{one.id}", one.name) for one in at.animals),
        unit=who.length_unit,
        more=bool(set(errors) & {"weekly", "step_days", "start"}),
        room_told=_room_told(at, who.length_unit),
        jump=words.jump_words(at.jumped),
        used=views.used_lines(at, work.by_history(at, 10.0)) if not at.missing else (),
        today=at.today.isoformat(),
    )
    if found is not None:
        view = views.with_plan(view, found, _reserves(found, at), who)
    return page(request, "acclimation/plan.html", view=view, status=422 if errors else 200)


def _reserves(found: views.Found, at: Desk) -> tuple[str, ...]:
    """What speaks against a plan that is not kept yet, and why it goes down as it does."""
    plan = found.plan
    bright = work.too_bright_now(at.now, at.animals)
    said = [peak_words(plan.peak_jump), *views.dimmed_words(plan, found.known)]
    if bright and len(plan.steps) == 1 and plan.steps[0].largest_rise < 0:
        said.append(views.at_once_words(bright))
    said.append(beyond_words("At the end", found.goal, at.animals, PLANNED))
    return tuple(one for one in said if one)


def _read(form: Typed, who: Member, club: Club, at: Desk) -> WayTyped | Refused:
    return reading.read_way(
        form,
        animals=at.animals,
        goals=[str(one.id) for one in at.goals],
        days=[str(one.id) for one in at.schedules],
        minute_step=_minute_step(at),
        unit=who.length_unit,
        earliest=at.earliest,
    )


def _minute_step(at: Desk) -> int:
    """As fine as the coarsest control over the tank, and no finer than a quarter of an hour."""
    rows = at.lived.stretches[-1].rows if at.lived.stretches else None
    kinds = [lamp.control for lamp in rows.lamps] if rows else []
    return max([15, *(CONTROLS[kind].minute_step for kind in kinds)])


def first_values(club: Club, who: Member, at: Desk, asked: int) -> dict[str, str]:
    """The form as it first stands."""
    goals = [str(one.id) for one in at.goals]
    if str(asked) in goals:
        goals = [str(asked), *goals]
    past: list[Past] = [
        "history" if one.id in at.used and at.used[one.id].known else "unknown"
        for one in at.animals
    ]
    return reading.start_values(
        at.animals,
        goals=goals,
        days=[str(one.id) for one in at.schedules],
        past=past,
        dims=not at.missing and _dims(club, at, int(goals[0])),
        room_cm=room_cm(at),
        unit=who.length_unit,
        start=at.earliest,
    )


def _dims(club: Club, at: Desk, setup_id: int) -> bool:
    return dims(goal_typed(club, at, setup_id, at.schedules[0].id))


def room_cm(at: Desk) -> float:
    """How much higher the lamps can hang: up to the headroom, where it was stated."""
    hung = at.lived.stretches[-1].rows.hung if at.lived.stretches else ()
    highest = max((one.row.height_cm for one in hung), default=0.0)
    if at.tank.headroom_cm and at.tank.headroom_cm > highest + 1:
        return float(int(at.tank.headroom_cm - highest))
    return USUAL_ROOM_CM


def _asked(request: Request) -> int:
    value = request.query_params.get("setup", "")
    return int(value) if value.isascii() and value.isdigit() and len(value) < 10 else 0


def _typed_values(form: Typed) -> dict[str, str]:
    """What was typed; a box that is not ticked is not sent and reads as empty."""
    boxes = dict.fromkeys(("by_power", "by_height", "by_hours"), "")
    return boxes | {name: text(form, name) for name in form if name != "do"}


def _goal_words(setup: Setup) -> str:
    named = f"“{setup.name}”, " if setup.name else ""
    if setup.state == "plan":
        return f"{named}a plan, not hung yet"
    return f"{named}the lamps as they hang since {filters.day(setup.since)}"


def _schedule_words(schedule: Schedule) -> str:
    if schedule.state == "plan":
        return f"the day planned on {filters.day(schedule.since)}"
    return f"the day as it runs since {filters.day(schedule.since)}"


def _room_told(at: Desk, unit: str) -> str:
    if at.tank.headroom_cm:
        return f"You stated {filters.length(at.tank.headroom_cm, unit)} of room over the water."
    return "How much room there is to the shelf or ceiling."
