"""Pages of tanks: the list, a tank, its form, setting it aside."""

from collections.abc import Sequence

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import accounts, surveys, tanks
from server.db.club_day import today as club_today
from server.models import Member, Tank
from server.web.page import page, see_other
from server.web.signed_in import Club, Typed, Who
from server.web.tanks import form as reading
from server.web.tanks import view as views
from server.web.tanks.open import own_tank, tank_to_see
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/tanks")
def tank_list(request: Request, who: Who, club: Club) -> Response:
    return _list(request, who, club, request.query_params.get("page", ""))


@router.get("/tanks/new")
def new_tank(request: Request, who: Who) -> Response:
    return _form(request, who, None)


@router.post("/tanks/new")
def make_tank(request: Request, who: Who, club: Club, form: Typed) -> Response:
    words = reading.read_tank(form, who)
    if isinstance(words, Refused):
        return _form(request, who, None, words)
    with club.write() as db:
        tank = tanks.add_tank(db, owner_id=who.id, words=words)
    return see_other(f"/tanks/{tank.id}", notice=f"{tank.name} is here. Now hang its lamp.")


@router.get("/tanks/{tank_id}")
def tank_page(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        keeper = db.get_one(Member, tank.owner_id)
        rows = accounts.rows_of(db, tank, today=club_today(db))
        setups, gone = tanks.setups_of(db, tank_id), tanks.animals_gone(db, tank_id)
        sessions = [one.session for one in surveys.sessions_of(db, tank_id)]
    told = accounts.told(rows, unit=who.length_unit)
    known = views.TankRows(told=told, setups=setups, gone=gone, sessions=sessions)
    return page(request, "tanks/tank.html", view=views.tank_page(who, tank, keeper, known))


@router.get("/tanks/{tank_id}/edit")
def edit_tank(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
    return _form(request, who, tank)


@router.post("/tanks/{tank_id}/edit")
def change_tank(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
    words = reading.read_tank(form, who, was=tank)
    if isinstance(words, Refused):
        return _form(request, who, tank, words)
    with club.write() as db:
        own_tank(db, who, tank_id)
        tanks.change_tank(db, tank_id, words)
        outside = _outside(db, tank_id)
    notice = f"Saved. Outside the new walls now: {outside}; move them." if outside else "Saved."
    return see_other(f"/tanks/{tank_id}", notice=notice)


@router.post("/tanks/{tank_id}/set-aside")
def set_aside(who: Who, club: Club, tank_id: int) -> Response:
    with club.write() as db:
        tank = own_tank(db, who, tank_id)
        tanks.set_aside(db, tank_id)
    return see_other(
        "/tanks", notice=f"{tank.name} is set aside. You find it below, and can bring it back."
    )


@router.post("/tanks/{tank_id}/bring-back")
def bring_back(who: Who, club: Club, tank_id: int) -> Response:
    with club.write() as db:
        tank = own_tank(db, who, tank_id)
        tanks.bring_back(db, tank_id)
    return see_other(f"/tanks/{tank_id}", notice=f"{tank.name} is back.")


def _list(request: Request, who: Member, club: Club, asked: str) -> Response:
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 6 else 1
    with club.read() as db:
        today = club_today(db)
        own = [accounts.rows_of(db, tank, today=today) for tank in tanks.own_tanks(db, who.id)]
        aside = tanks.own_tanks(db, who.id, archived=True)
        shared = tanks.shared_tanks(db, but_of=who.id)
        listed = _shared(db, views.on_page(shared, number))
    view = views.tank_list(
        who,
        [views.listed_own(rows) for rows in own],
        aside,
        listed,
        shared_count=len(shared),
        today=today,
        page=number,
    )
    return page(request, "tanks/tanks.html", view=view)


def _form(
    request: Request, who: Member, tank: Tank | None, refused: Refused | None = None
) -> Response:
    view = views.tank_form(who, tank, refused)
    return page(request, "tanks/form.html", view=view, status=422 if refused else 200)


def _shared(db: Session, shown: Sequence[tuple[Tank, Member]]) -> list[views.ListedTank]:
    """Shared tanks of one page, asked for in few questions whatever their number."""
    ids = [tank.id for tank, _ in shown]
    since, animals = accounts.light_since(db, ids), tanks.animal_counts(db, ids)
    return [
        views.listed_shared(tank, keeper.name, animals.get(tank.id, 0), since.get(tank.id))
        for tank, keeper in shown
    ]


def _outside(db: Session, tank_id: int) -> str:
    """Names of animals that a smaller tank no longer holds."""
    tank = db.get_one(Tank, tank_id)
    return ", ".join(
        animal.name
        for animal in tanks.animals_of(db, tank_id)
        if animal.x_cm > tank.length_cm
        or animal.y_cm > tank.width_cm
        or animal.depth_cm > tank.depth_cm
    )
