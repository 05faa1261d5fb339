"""The gentle return after a jump, with one tap: from what the animals are used to by then."""

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.db import chores, dim_days
from server.dose.acclimation import DEFAULT_WEEKLY_RISE, NoWayUp
from server.dose.ladder import Means
from server.models import Member
from server.web.acclimation import form as reading
from server.web.acclimation import work
from server.web.acclimation.desk import Desk, desk, goal_typed, under_way
from server.web.acclimation.form import JumpTyped, Past, WayTyped
from server.web.acclimation.routes import KEPT, first_values, keep, room_cm, show_form
from server.web.page import see_other
from server.web.signed_in import Club, Typed, Who, text
from server.web.tanks.open import own_tank
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)

NOT_NEEDED = "No way is needed: the animals can take this light at once."


@router.post("/tanks/{tank_id}/acclimation/return")
def return_gently(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    """Plans and keeps a way back to what hangs; `why` says what happened, where lamps do not."""
    at = desk(club, who, tank_id, own=True)
    back = f"/tanks/{tank_id}/acclimation"
    if at.missing or under_way(club, who, tank_id) is not None:
        return see_other(back)
    happened = _happened(club, form, at)
    if isinstance(happened, Refused):
        values = first_values(club, who, at, 0) | happened.values
        return show_form(request, who, club, at, values, happened.errors)
    if happened is not None:
        _remember(club, who, at, happened)
        at = desk(club, who, tank_id, own=True)
    return _returned(request, who, club, at)


def _happened(club: Club, form: Typed, at: Desk) -> JumpTyped | Refused | None:
    """What made the light jump: typed days, or a chore just done; None where the lamps say it."""
    why = text(form, "why")
    if not why:
        return None
    if why in reading.OUTAGES:
        return reading.read_jump(form, today=at.today)
    with club.read() as db:
        found = chores.jump_of(db, at.tank.id, why, today=at.today)
    if found is None:
        return Refused({}, {"why": "That is not known to change this tank's light."})
    jump, first = found
    return JumpTyped(why=why, first_on=first, until_on=at.today, share=jump.share or 0.0)


def _remember(club: Club, who: Member, at: Desk, jump: JumpTyped) -> None:
    with club.write() as db:
        own_tank(db, who, at.tank.id)
        dim_days.remember(
            db,
            tank_id=at.tank.id,
            first_on=jump.first_on,
            until_on=jump.until_on,
            share=jump.share,
            why=jump.why,
            by_id=who.id,
        )


def _returned(request: Request, who: Member, club: Club, at: Desk) -> Response:
    back = f"/tanks/{at.tank.id}/acclimation"
    assert at.hung is not None
    goal = goal_typed(club, at, at.hung.id, at.schedules[0].id)
    known = work.by_history(at, goal.lit_hours)
    means = work.usual_means(goal, room_cm(at))
    try:
        found = work.way_to(goal, at, known, means, start=at.today, hangs=True)
    except NoWayUp as refused:
        values = first_values(club, who, at, 0)
        return show_form(request, who, club, at, values, {"form": str(refused)})
    if not found.steps:
        return see_other(back, notice=NOT_NEEDED)
    keep(club, who, at, _typed(at, means, at.today), found, known)
    return see_other(back, notice=f"{KEPT} The first step is due today.")


def _typed(at: Desk, means: Means, start: date) -> WayTyped:
    assert at.hung is not None
    by_history: Past = "history"
    return WayTyped(
        setup_id=at.hung.id,
        schedule_id=at.schedules[0].id,
        past=(by_history,) * len(at.animals),
        shop_ppfd=0.0,
        shop_hours=0.0,
        means=means,
        weekly=DEFAULT_WEEKLY_RISE,
        step_days=7,
        start=start,
    )
