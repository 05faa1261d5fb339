"""Which lamp for this tank?"""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.account.fitting import fittings, likeliest
from server.db import days, light, members, shelf, tanks
from server.db.accounts import living
from server.dose.cost import full_light_hours
from server.dose.day import course
from server.web.compare.which.form import read_which
from server.web.compare.which.view import which_page
from server.web.page import page
from server.web.signed_in import Club, Who
from server.web.tanks.open import tank_to_see

router = APIRouter(include_in_schema=False)

MOST_TRIED = 8
"""Lamps worked out for one page, so that a long shelf does not keep anybody waiting."""
USUAL_FULL_HOURS = 8.0
"""Where a tank has no day yet, a year's cost is reckoned for so many hours of full light."""


@router.get("/tanks/{tank_id}/which-lamp")
def which_lamp(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        animals = tanks.animals_of(db, tank_id)
        lamps = shelf.shelf(db)
        settled = members.club_of(db)
        hours = _full_hours(db, tank_id)
    asked = read_which(request.query_params, tank, animals, who.length_unit)
    places = list(living(animals, tank)) or shelf.wanted_on(
        tank, depth_cm=asked.depth_cm, low_ppfd=asked.low_ppfd, high_ppfd=asked.high_ppfd
    )
    glass = light.optics_tank(tank)
    ranked = likeliest(glass, places, shelf.offered(lamps, tank), asked.budget)
    first = MOST_TRIED * (asked.page - 1)
    found = fittings(
        glass,
        light.water_of(tank),
        places,
        ranked[first : first + MOST_TRIED],
        budget=asked.budget,
    )
    view = which_page(
        who,
        tank,
        found,
        asked,
        animals=len(animals),
        price_per_kwh=settled.price_per_kwh if settled else 0.3,
        full_light_hours=hours,
        currency=settled.currency if settled else "",
        tried=(first, len(ranked)),
    )
    return page(request, "compare/which.html", view=view, status=422 if asked.errors else 200)


def _full_hours(db: Session, tank_id: int) -> float:
    """Hours of full light a day by the tank's own schedule, or the usual ones."""
    ran = days.current_schedule(db, tank_id)
    groups = days.days_of(db, ran.id) if ran is not None else ()
    if not groups:
        return USUAL_FULL_HOURS
    return max(full_light_hours(course(group.day, peak_ppfd=100)) for group in groups)
