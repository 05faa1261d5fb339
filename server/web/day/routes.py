"""Pages of a tank's day: as it runs, its form, the numbers to type, the card, the doses."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from fastapi.responses import Response
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.account.to_type import as_csv
from server.db import acclimation, accounts, chores, days, lived_under, members
from server.db.accounts import AccountRows
from server.db.days import DayWords, GroupDay
from server.db.lived_under import LivedRows
from server.db.moments import Moment, moment, typed_at
from server.db.typed_now import WayRows, on_the_wall, way_rows
from server.dose.way_now import WayNow
from server.models import Club as ClubRow
from server.models import Member, Schedule, Tank
from server.web.ask import Ask, Asked
from server.web.day import card_view, dose_view, form_view
from server.web.day import form as reading
from server.web.day import view as views
from server.web.day.lamp_form import lamp_fields
from server.web.open import OwnDayPlan, OwnTank, SeenTank
from server.web.page import see_other
from server.web.signed_in import NotFound
from server.web.staying import stay_view
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class _Open:
    """A tank opened at today's moment."""

    tank: Tank
    now: Moment
    lived: LivedRows
    way: WayNow | None
    steps: WayRows | None
    club: ClubRow
    today: date
    plans: tuple[Schedule, ...]
    account: AccountRows

    def told(self, who: Member) -> accounts.Told:
        """The account of the tank's light, in the reader's unit."""
        return accounts.told(self.account, unit=who.length_unit)


@router.get("/tanks/{tank_id}/day")
def day_page(ask: Ask, tank: SeenTank) -> Response:
    seen = _open(ask, tank)
    view = views.day_page(
        ask.who,
        seen.tank,
        seen.now,
        seen.told(ask.who),
        seen.lived,
        seen.club,
        seen.today,
        way=seen.way,
        typed=typed_at(seen.now, seen.steps),
        plans=seen.plans,
    )
    return ask.page("day/day.html", view=view)


@router.get("/tanks/{tank_id}/dose")
def dose_page(ask: Ask, tank: SeenTank) -> Response:
    seen = _open(ask, tank)
    depth = ask.query.get("depth", "")
    view = dose_view.dose_page(
        ask.who, seen.tank, seen.now, seen.told(ask.who), seen.lived, way=seen.way, depth=depth
    )
    return ask.page("day/dose.html", view=view)


@router.get("/tanks/{tank_id}/day/edit")
def day_form(ask: Ask, tank: OwnTank) -> Response:
    seen = _open(ask, tank)
    return _form(ask, seen, _stored(seen, ask.who), {})


@router.post("/tanks/{tank_id}/day/edit")
def change_day(ask: Ask, tank: OwnTank) -> Response:
    seen = _open(ask, tank)
    show = ask.text("do") == "show"
    typed = reading.read_day(
        ask.form,
        lamps=lamp_fields(seen.now.hung),
        time_zone=seen.club.time_zone,
        today=seen.today,
        asks_why="" if show else _asks_why(seen),
    )
    if isinstance(typed, Refused):
        values = _stored(seen, ask.who) | typed.values
        return _form(ask, seen, values, typed.errors)
    if show:
        values = _stored(seen, ask.who) | {name: ask.text(name) for name in ask.form}
        return _form(ask, seen, values, {}, preview=typed.days)
    with ask.write() as db:
        days.save_schedule(
            db, tank_id=tank.id, words=typed.words, days=typed.days, by_id=ask.who.id
        )
    return see_other(f"/tanks/{tank.id}/day", notice="The day is set down.")


@router.post("/tanks/{tank_id}/day/plans/{schedule_id}/{move}")
def move_plan(ask: Ask, tank: OwnTank, opened: OwnDayPlan, move: str) -> Response:
    """A planned day begins to run today, or is thrown away."""
    if move not in ("run", "discard"):
        raise NotFound
    words = "The planned day runs from today."
    try:
        with ask.write() as db:
            plan = days.schedule_in(db, tank.id, opened.id)
            if plan is None or plan.state != "plan":  # run or thrown away in the meantime
                raise NotFound("There is no such planned day.")
            if move == "run":
                days.run_plan(db, plan, since=ask.today, reason="")
            else:
                days.discard(db, plan)
                words = "The planned day is thrown away."
    except IntegrityError:
        words = "A way up leads to this day, so it is kept."
    return see_other(f"/tanks/{tank.id}/day", notice=words)


@router.get("/tanks/{tank_id}/day/set-points.csv")
def set_points_csv(ask: Ask, tank: SeenTank) -> Response:
    seen = _open(ask, tank)
    if seen.now.schedule is None or not seen.now.hung:
        raise NotFound("This tank has no day yet, so there is nothing to type into a lamp.")
    body = as_csv([(lamp.control, lamp.lines) for lamp in typed_at(seen.now, seen.steps).now])
    return Response(
        body.encode(),
        media_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": f'attachment; filename="set-points-{tank.id}.csv"'},
    )


@router.get("/tanks/{tank_id}/day/card")
def card_page(ask: Ask, tank: SeenTank) -> Response:
    seen = _open(ask, tank)
    with ask.read() as db:
        due = chores.chores_of(db, seen.tank, today=seen.today)
    view = card_view.card(
        ask.who,
        seen.tank,
        seen.now,
        typed_at(seen.now, seen.steps),
        seen.club,
        seen.today,
        next_check=card_view.next_check(due),
    )
    if view is None:
        raise NotFound("This tank has no day yet, so there is no card to print.")
    return ask.page("day/card.html", view=view)


def _open(ask: Asked, tank: Tank) -> _Open:
    today = ask.today
    with ask.read() as db:
        now = moment(db, tank.id, today)
        row = members.club_of(db)
        assert row is not None
        return _Open(
            tank=tank,
            now=now,
            lived=lived_under.rows_of(db, tank, today),
            way=acclimation.way_of(db, tank.id, today=today),
            steps=way_rows(db, tank.id, today=today),
            club=row,
            today=today,
            plans=_plans(db, tank, ask.who),
            account=accounts.rows_of(db, tank, today=today),
        )


def _plans(db: Session, tank: Tank, who: Member) -> tuple[Schedule, ...]:
    """Planned days are the keeper's alone."""
    if tank.owner_id != who.id:
        return ()
    return tuple(one for one in days.schedules_of(db, tank.id) if one.state == "plan")


def _stored(seen: _Open, who: Member) -> dict[str, str]:
    """What the form starts from: the day as it runs, in today's wall time, or a usual one."""
    lamps = lamp_fields(seen.now.hung)
    schedule = seen.now.schedule
    if schedule is None:
        words = DayWords(since=seen.today, time_zone=seen.club.time_zone)
        shown: tuple[GroupDay, ...] = ()
    else:
        words = DayWords(
            since=seen.today,
            time_zone=schedule.time_zone,
            follows_clock=schedule.follows_clock,
            control=schedule.control,
            view_from_h=schedule.view_from_h,
            view_to_h=schedule.view_to_h,
        )
        shown = on_the_wall(schedule, seen.now.days, seen.today)
    values = reading.values_of(words, shown, lamps, who.clock)
    return values | {"since": seen.today.isoformat(), "reason": "", "state": "set"}


def _asks_why(seen: _Open) -> str:
    if seen.now.schedule is None:
        return ""
    stay = stay_view(seen.now.changed_on, seen.today)
    if stay is None or not stay.not_shown:
        return ""
    waiting = stay.not_shown[0][0]
    return (
        f"Say why. {stay.words} The last change has not had time to show {waiting}, "
        "and more besides."
    )


def _form(
    ask: Asked,
    seen: _Open,
    values: dict[str, str],
    errors: dict[str, str],
    *,
    preview: tuple[GroupDay, ...] = (),
) -> Response:
    view = form_view.day_form(
        seen.tank,
        seen.now,
        lamps=lamp_fields(seen.now.hung),
        values=values,
        errors=errors,
        today=seen.today,
        preview=preview,
        clock=ask.clock,
    )
    return ask.page("day/form.html", view=view, status=422 if errors else 200)
