"""The stewards' start page, and the club's own particulars."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import members
from server.web.ask import Ask, Asked
from server.web.forms import Filled
from server.web.page import see_other
from server.web.signed_in import NotFound, Steward
from server.web.stewards.form import CLUB, read_club, values_of

router = APIRouter(include_in_schema=False)


@router.get("/steward")
def stewards_page(ask: Ask, who: Steward) -> Response:
    return ask.page("stewards/start.html")


@router.get("/steward/club")
def club_page(ask: Ask, who: Steward) -> Response:
    with ask.read() as db:
        found = members.club_of(db)
    if found is None:
        raise NotFound
    return _page(ask, CLUB.showing(values_of(found)))


@router.post("/steward/club")
def save_club(ask: Ask, who: Steward) -> Response:
    typed = read_club(CLUB.typed(ask, again=lambda form: _page(ask, form)))
    with ask.write() as db:
        members.change_club(
            db,
            name=typed.name,
            time_zone=typed.time_zone,
            currency=typed.currency,
            price_per_kwh=typed.price_per_kwh,
        )
    ask.request.app.state.club_name = typed.name
    return see_other("/steward/club", notice="Saved.")


def _page(ask: Asked, form: Filled) -> Response:
    return ask.page("stewards/club.html", form=form)
