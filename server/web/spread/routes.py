"""Pages of the light calculators, open to everybody; the address carries what was typed."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.web.page import page
from server.web.signed_in import Visitor
from server.web.spread import form, mounting_view, view
from server.web.spread.scene_form import unit_of
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/calculators/spread")
def spread(request: Request, who: Visitor) -> Response:
    typed = form.read_spread(request.query_params, who)
    if isinstance(typed, Refused):
        shown = view.refused_view(typed, unit_of(who))
        return page(request, "spread/spread.html", view=shown, status=422)
    return page(request, "spread/spread.html", view=view.spread_view(typed))


@router.get("/calculators/mounting-height")
def mounting_height(request: Request, who: Visitor) -> Response:
    typed = form.read_mounting(request.query_params, who)
    if isinstance(typed, Refused):
        shown = mounting_view.refused_view(typed, unit_of(who))
        return page(request, "spread/mounting.html", view=shown, status=422)
    return page(request, "spread/mounting.html", view=mounting_view.mounting_view(typed))
