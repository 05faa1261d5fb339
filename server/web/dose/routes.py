"""Pages of the dose calculators, open to everybody; the address carries what was typed."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.db import club_day
from server.web.dose import calculator_form as reading
from server.web.dose import calculator_view as views
from server.web.page import page
from server.web.signed_in import Club, Visitor
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/calculators/dose")
def dose_calculator(request: Request, who: Visitor, club: Club) -> Response:
    with club.read() as db:
        today = club_day.today(db)
    typed = reading.read_dose(request.query_params, today=today)
    if isinstance(typed, Refused):
        view = views.refused_view(typed)
        return page(request, "dose/dose.html", view=view, status=422)
    return page(request, "dose/dose.html", view=views.dose_view(typed))


@router.get("/calculators/day")
def day_from_dose(request: Request, who: Visitor) -> Response:
    typed = reading.read_back(request.query_params)
    if isinstance(typed, Refused):
        view = views.refused_back_view(typed)
        return page(request, "dose/day.html", view=view, status=422)
    return page(request, "dose/day.html", view=views.back_view(typed))
