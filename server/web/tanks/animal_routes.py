"""Pages of animals: placing, moving, changing the light they should get, leaving."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import accounts, tanks
from server.db.club_day import today as club_today
from server.models import Animal, Member
from server.web import filters
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Typed, Who
from server.web.tanks import animal_form as reading
from server.web.tanks.animal_view import animal_form
from server.web.tanks.open import own_tank
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/tanks/{tank_id}/animals/new")
def new_animal(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    return _form(request, who, club, tank_id)


@router.post("/tanks/{tank_id}/animals/new")
def add_animal(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    with club.read() as db:
        tank, today = own_tank(db, who, tank_id), club_today(db)
    words = reading.read_animal(form, who, tank, today=today)
    if isinstance(words, Refused):
        return _form(request, who, club, tank_id, refused=words)
    with club.write() as db:
        own_tank(db, who, tank_id)
        animal = tanks.add_animal(db, tank_id, words)
    if form.get("do") == "another":
        return see_other(f"/tanks/{tank_id}/animals/new", notice=f"{animal.name} is placed.")
    return see_other(f"/tanks/{tank_id}#animals", notice=f"{animal.name} is placed.")


@router.get("/tanks/{tank_id}/animals/{animal_id}")
def edit_animal(request: Request, who: Who, club: Club, tank_id: int, animal_id: int) -> Response:
    return _form(request, who, club, tank_id, animal_id)


@router.post("/tanks/{tank_id}/animals/{animal_id}")
def change_animal(
    request: Request, who: Who, club: Club, form: Typed, tank_id: int, animal_id: int
) -> Response:
    with club.read() as db:
        tank, today = own_tank(db, who, tank_id), club_today(db)
        animal = _animal(db, tank_id, animal_id)
    words = reading.read_animal(form, who, tank, today=today, was=animal)
    if isinstance(words, Refused):
        return _form(request, who, club, tank_id, animal_id, refused=words)
    with club.write() as db:
        own_tank(db, who, tank_id)
        tanks.change_animal(db, animal_id, words, on=today)
    return see_other(f"/tanks/{tank_id}#animals", notice=f"{words.name}: saved.")


@router.post("/tanks/{tank_id}/animals/{animal_id}/left")
def animal_left(
    request: Request, who: Who, club: Club, form: Typed, tank_id: int, animal_id: int
) -> Response:
    with club.read() as db:
        own_tank(db, who, tank_id)
        animal, today = _animal(db, tank_id, animal_id), club_today(db)
    day = reading.read_left_on(form, animal, today=today)
    if isinstance(day, Refused):
        return _form(request, who, club, tank_id, animal_id, refused=day)
    with club.write() as db:
        own_tank(db, who, tank_id)
        tanks.animal_left(db, animal_id, day)
    notice = f"{animal.name} left on {filters.day(day)}. It stays in the tank's history."
    return see_other(f"/tanks/{tank_id}#animals", notice=notice)


@router.post("/tanks/{tank_id}/animals/{animal_id}/back")
def animal_back(who: Who, club: Club, tank_id: int, animal_id: int) -> Response:
    with club.write() as db:
        own_tank(db, who, tank_id)
        animal = _animal(db, tank_id, animal_id)
        tanks.animal_left(db, animal_id, None)
    return see_other(f"/tanks/{tank_id}#animals", notice=f"{animal.name} is back.")


def _form(
    request: Request,
    who: Member,
    club: Club,
    tank_id: int,
    animal_id: int | None = None,
    *,
    refused: Refused | None = None,
) -> Response:
    with club.read() as db:
        tank, today = own_tank(db, who, tank_id), club_today(db)
        animal = None if animal_id is None else _animal(db, tank_id, animal_id)
        rows = accounts.rows_of(db, tank, today=today)
    told = accounts.told(rows, unit=who.length_unit)
    view = animal_form(who, tank, animal=animal, told=told, refused=refused, today=today)
    return page(request, "tanks/animal.html", view=view, status=422 if refused else 200)


def _animal(db: Session, tank_id: int, animal_id: int) -> Animal:
    animal = tanks.animal_in(db, tank_id, animal_id)
    if animal is None:
        raise NotFound("There is no such animal in this tank.")
    return animal
