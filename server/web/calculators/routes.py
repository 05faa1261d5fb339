"""The list of calculators, open to everybody."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.web.calculators.view import GROUPS
from server.web.page import page
from server.web.signed_in import Visitor

router = APIRouter(include_in_schema=False)


@router.get("/calculators")
def list_of_calculators(request: Request, who: Visitor) -> Response:
    return page(request, "calculators/calculators.html", view=GROUPS)
