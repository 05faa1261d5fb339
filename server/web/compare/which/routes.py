"""Which lamp for this tank?"""

from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.account.fitting import fittings, likeliest
from server.db import days, light, members, shelf, tanks
from server.db.accounts import living
from server.dose.cost import full_light_hours
from server.dose.day import course
from server.web.ask import Ask
from server.web.compare.which.form import read_which, which_form
from server.web.compare.which.view import which_page
from server.web.open import SeenTank

router = APIRouter(include_in_schema=False)

MOST_TRIED = 8
"""Lamps worked out for one page, so that a long shelf does not keep anybody waiting."""
USUAL_FULL_HOURS = 8.0
"""Where a tank has no day yet, a year's cost is reckoned for so many hours of full light."""


@router.get("/tanks/{tank_id}/which-lamp")
def which_lamp(ask: Ask, tank: SeenTank) -> Response:
    with ask.read() as db:
        animals = tanks.animals_of(db, tank.id)
        lamps = shelf.shelf(db)
        settled = members.club_of(db)
        hours = _full_hours(db, tank.id)
    currency = settled.currency if settled else ""
    form = which_form(ask, tank, currency, lived_in=bool(animals))
    asked, number = read_which(form, tank), ask.page_number()
    places = list(living(animals, tank)) or shelf.wanted_on(
        tank, depth_cm=asked.depth_cm, low_ppfd=asked.low_ppfd, high_ppfd=asked.high_ppfd
    )
    glass = light.optics_tank(tank)
    ranked = likeliest(glass, places, shelf.offered(lamps, tank), asked.budget)
    first = MOST_TRIED * (number - 1)
    found = fittings(
        glass,
        light.water_of(tank),
        places,
        ranked[first : first + MOST_TRIED],
        budget=asked.budget,
    )
    view = which_page(
        ask.who,
        tank,
        found,
        animals=len(animals),
        price_per_kwh=settled.price_per_kwh if settled else 0.3,
        full_light_hours=hours,
        page_number=number,
        tried=(first, len(ranked)),
    )
    return ask.page("compare/which.html", form=form, view=view, currency=currency)


def _full_hours(db: Session, tank_id: int) -> float:
    """Hours of full light a day by the tank's own schedule, or the usual ones."""
    ran = days.current_schedule(db, tank_id)
    groups = days.days_of(db, ran.id) if ran is not None else ()
    if not groups:
        return USUAL_FULL_HOURS
    return max(full_light_hours(course(group.day, peak_ppfd=100)) for group in groups)
