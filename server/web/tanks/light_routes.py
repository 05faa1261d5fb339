"""Pages of setups: hanging, moving, dimming and taking away lamps; old light; plans."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.account.sentences import stood_words
from server.db import accounts, light, tanks
from server.db.club_day import today as club_today
from server.db.light import Hung, Stated
from server.models import HungLamp, LampModel, Member, Setup, Tank
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Typed, Who, text
from server.web.staying import stay_view
from server.web.tanks import light_form as reading
from server.web.tanks import setup_view as views
from server.web.tanks.open import own_setup, own_tank, setup_to_see
from server.web.tanks.typed import Refused, TypedIn

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class _Desk:
    """What lies on the desk while a setup is drawn up."""

    tank: Tank
    current: Setup | None
    plan: Setup | None
    hung: tuple[Hung, ...]
    shelf: list[LampModel]
    stated: Mapping[int, Stated]
    today: date

    @property
    def rows(self) -> list[HungLamp]:
        return [one.row for one in self.hung]


# Changing the light


@router.get("/tanks/{tank_id}/light")
def light_page(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    """`from`: a setup to start from instead of the current one. `lamp`: a model to add."""
    start = _number(request.query_params.get("from", ""))
    added = _number(request.query_params.get("lamp", ""))
    desk = _desk(who, club, tank_id, start=start, added=added)
    values = _start_values(desk, who.length_unit)
    if added in desk.stated or not desk.hung:
        values = _one_more(values, desk, who.length_unit, added)
    return _form(request, who, desk, values | {"state": _asked_state(request)})


@router.post("/tanks/{tank_id}/light")
def change_light(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    desk = _desk(who, club, tank_id, models=reading.models_in(form))
    if text(form, "do") in ("add", "show"):
        return _again(request, who, desk, form)
    typed = _read(form, who, desk)
    if isinstance(typed, Refused):
        return _form(request, who, desk, _typed_over(desk, form, who), typed.errors)
    with club.write() as db:
        own_tank(db, who, tank_id)
        setup = tanks.save_setup(
            db,
            tank_id=tank_id,
            lamps=typed.lamps,
            since=typed.since,
            reason=typed.reason,
            name=typed.name,
            state=typed.state,
            by_id=who.id,
        )
        current = tanks.current_setup(db, tank_id)
    if setup.state == "plan":
        return see_other(f"/setups/{setup.id}", notice="The plan is kept. Nothing hangs yet.")
    if current is None or current.id != setup.id:
        return see_other(f"/setups/{setup.id}", notice="Kept as light of the past.")
    return see_other(f"/tanks/{tank_id}", notice="The new light is set down.")


# One setup


@router.get("/setups/{setup_id}")
def setup_page(request: Request, who: Who, club: Club, setup_id: int) -> Response:
    return _setup(request, who, club, setup_id)


@router.post("/setups/{setup_id}/hang")
def hang_plan(request: Request, who: Who, club: Club, form: Typed, setup_id: int) -> Response:
    with club.read() as db:
        setup, tank = own_setup(db, who, setup_id)
        first, today = tanks.current_setup(db, tank.id) is None, club_today(db)
    if setup.state != "plan":
        return see_other(f"/setups/{setup_id}", notice="It hangs already.")
    typed = TypedIn(form, who.length_unit)
    since = typed.day("since", otherwise=today, latest=today)
    why = "" if first else "Say why, in a few words: in half a year you will want to know."
    reason = typed.words("reason", most=500, missing=why)
    if typed.errors:
        return _setup(request, who, club, setup_id, typed.refused())
    with club.write() as db:
        own_setup(db, who, setup_id)
        tanks.hang_plan(db, setup_id, since=since, reason=reason)
    return see_other(f"/tanks/{tank.id}", notice="The plan hangs over the water now.")


@router.get("/setups/{setup_id}/redraw")
def redraw_page(request: Request, who: Who, club: Club, setup_id: int) -> Response:
    desk = _plan_desk(who, club, setup_id)
    return _form(request, who, desk, _start_values(desk, who.length_unit))


@router.post("/setups/{setup_id}/redraw")
def redraw(request: Request, who: Who, club: Club, form: Typed, setup_id: int) -> Response:
    desk = _plan_desk(who, club, setup_id, models=reading.models_in(form))
    if text(form, "do") in ("add", "show"):
        return _again(request, who, desk, form)
    typed = _read(form, who, desk)
    if isinstance(typed, Refused):
        return _form(request, who, desk, _typed_over(desk, form, who), typed.errors)
    with club.write() as db:
        own_setup(db, who, setup_id)
        tanks.change_plan(db, setup_id, lamps=typed.lamps, name=typed.name)
    return see_other(f"/setups/{setup_id}", notice="The plan is redrawn.")


@router.post("/setups/{setup_id}/discard")
def discard_plan(who: Who, club: Club, setup_id: int) -> Response:
    with club.read() as db:
        setup, tank = own_setup(db, who, setup_id)
    if setup.state != "plan":
        return see_other(f"/setups/{setup_id}", notice="Light that hung is kept.")
    try:
        with club.write() as db:
            own_setup(db, who, setup_id)
            tanks.discard_plan(db, setup_id)
    except IntegrityError:
        return see_other(
            f"/setups/{setup_id}", notice="Something else stands on this plan, so it is kept."
        )
    return see_other(f"/tanks/{tank.id}", notice="The plan is thrown away.")


# How the pages are put together


def _setup(
    request: Request, who: Member, club: Club, setup_id: int, refused: Refused | None = None
) -> Response:
    with club.read() as db:
        setup, tank = setup_to_see(db, who, setup_id)
        tank_id = tank.id
        current = tanks.current_setup(db, tank_id)
        is_current = current is not None and current.id == setup.id
        until = None if is_current or setup.state == "plan" else tanks.followed_on(db, setup)
        rows = accounts.rows_of(db, tank, today=club_today(db), setup=setup)
        sessions = tanks.session_counts(db, [setup_id]).get(setup_id, 0)
    known = views.SetupRows(
        told=accounts.told(rows, unit=who.length_unit),
        until=until,
        is_current=is_current,
        sessions=sessions,
    )
    view = views.setup_page(who, tank, setup, known, refused)
    return page(request, "tanks/setup.html", view=view, status=422 if refused else 200)


def _desk(
    who: Member,
    club: Club,
    tank_id: int,
    *,
    models: list[int] | None = None,
    start: int = 0,
    added: int = 0,
) -> _Desk:
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
        current = tanks.current_setup(db, tank_id)
        from_setup = current
        if start:
            from_setup, other = setup_to_see(db, who, start)
            if other.id != tank_id:
                raise NotFound("This setup belongs to another tank.")
        hung = light.hung_over(db, from_setup.id) if from_setup and from_setup.id else ()
        return _laid_out(db, tank, current, None, hung, [*(models or []), added])


def _plan_desk(who: Member, club: Club, setup_id: int, *, models: list[int] | None = None) -> _Desk:
    with club.read() as db:
        plan, tank = own_setup(db, who, setup_id)
        if plan.state != "plan":
            raise NotFound("This light hung over the water; it is kept as it was.")
        current = tanks.current_setup(db, tank.id)
        return _laid_out(db, tank, current, plan, light.hung_over(db, setup_id), models or [])


def _laid_out(
    db: Session,
    tank: Tank,
    current: Setup | None,
    plan: Setup | None,
    hung: tuple[Hung, ...],
    models: list[int],
) -> _Desk:
    shelf = light.shelf(db)
    known = {model.id for model in shelf}
    stated = light.stated_lamps(db, [model for model in models if model in known])
    return _Desk(
        tank=tank,
        current=current,
        plan=plan,
        hung=hung,
        shelf=shelf,
        stated={one.row.lamp_model_id: one.stated for one in hung} | stated,
        today=club_today(db),
    )


def _read(form: Typed, who: Member, desk: _Desk) -> reading.LightTyped | Refused:
    return reading.read_light(
        form,
        who,
        desk.tank,
        shelf=desk.shelf,
        stated=desk.stated,
        was=desk.rows,
        today=desk.today,
        asks_why=desk.current is not None and desk.plan is None,
    )


def _start_values(desk: _Desk, unit: str) -> dict[str, str]:
    values = {
        "lamps": str(len(desk.hung)),
        "since": desk.today.isoformat(),
        "reason": "",
        "name": desk.plan.name if desk.plan else "",
        "state": "hung",
    }
    for n, one in enumerate(desk.hung):
        channels = [channel.name for channel in one.stated.lamp.channels]
        values |= reading.row_values(n, one.row, channels, one.levels, unit)
    return values


def _one_more(values: dict[str, str], desk: _Desk, unit: str, model: int = 0) -> dict[str, str]:
    count = int(values["lamps"])
    if count >= reading.MOST_LAMPS:
        return values
    blank = reading.blank_row(count, desk.tank, unit, desk.stated.get(model))
    return values | blank | {"lamps": str(count + 1)}


def _typed_over(desk: _Desk, form: Typed, who: Member) -> dict[str, str]:
    """What was typed, over blanks for the fields a form may have left out."""
    typed = reading.typed_values(form)
    blanks = {"since": desk.today.isoformat(), "reason": "", "name": "", "state": "hung"}
    for n in range(int(typed["lamps"])):
        blanks |= dict.fromkeys(reading.blank_row(n, desk.tank, who.length_unit), "")
    return blanks | typed


def _again(request: Request, who: Member, desk: _Desk, form: Typed) -> Response:
    """The form as typed, with one more row when that was asked for."""
    values = _typed_over(desk, form, who)
    if text(form, "do") == "add":
        values = _one_more(values, desk, who.length_unit)
    return _form(request, who, desk, values)


def _form(
    request: Request,
    who: Member,
    desk: _Desk,
    values: dict[str, str],
    errors: dict[str, str] | None = None,
) -> Response:
    stood = stood_words(desk.current.since, desk.today) if desk.current else ""
    view = views.light_form(
        who,
        desk.tank,
        shelf=desk.shelf,
        stated=desk.stated,
        current=desk.current,
        plan=desk.plan,
        values=values,
        errors=errors or {},
        hanging=len(desk.hung),
        stood=stood,
        most=reading.MOST_LAMPS,
    )
    early = stay_view(desk.current.since, desk.today) if desk.current and not desk.plan else None
    return page(request, "tanks/light.html", view=view, early=early, status=422 if errors else 200)


def _asked_state(request: Request) -> str:
    return "plan" if request.query_params.get("state") == "plan" else "hung"


def _number(value: str) -> int:
    return int(value) if value.isascii() and value.isdigit() and len(value) < 10 else 0
