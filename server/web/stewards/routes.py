"""The stewards' start page, and the club's own particulars."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.db import members
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Steward, Typed
from server.web.stewards import form as reading
from server.web.stewards import view as views

router = APIRouter(include_in_schema=False)


@router.get("/steward")
def stewards_page(request: Request, who: Steward) -> Response:
    return page(request, "stewards/start.html")


@router.get("/steward/club")
def club_page(request: Request, who: Steward, club: Club) -> Response:
    return _club_form(request, club)


@router.post("/steward/club")
def save_club(request: Request, who: Steward, club: Club, form: Typed) -> Response:
    typed = reading.read_club(form)
    if isinstance(typed, reading.Refused):
        return _club_form(request, club, typed)
    with club.write() as db:
        found = members.club_of(db)
        if found is None:
            raise NotFound
        found.name, found.time_zone = typed.name, typed.time_zone
        found.currency, found.price_per_kwh = typed.currency, typed.price_per_kwh
        db.add(found)
    request.app.state.club_name = typed.name
    return see_other("/steward/club", notice="Saved.")


def _club_form(request: Request, club: Club, refused: reading.Refused | None = None) -> Response:
    with club.read() as db:
        found = members.club_of(db)
    if found is None:
        raise NotFound
    view = views.club_view(found, refused)
    return page(request, "stewards/club.html", view=view, status=422 if refused else 200)
