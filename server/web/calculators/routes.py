"""Every calculator's page and JSON address, made from the descriptions in the registry."""

from typing import Any

from fastapi import APIRouter
from fastapi.responses import Response

from server.web.ask import OpenAsk
from server.web.calculators.listed import CALCULATORS, GROUPS
from server.web.problem import RESPONSES

pages = APIRouter(include_in_schema=False)
json = APIRouter(tags=["calculators"])


@pages.get("/calculators")
def list_of_calculators(ask: OpenAsk) -> Response:
    return ask.page("calculators/calculators.html", view=GROUPS)


def _add(router: APIRouter, path: str, endpoint: Any, method: str, **told: Any) -> None:
    router.add_api_route(path, endpoint, methods=[method], **told)


for one in CALCULATORS:
    _add(pages, one.address, one.page, "GET")
    if one.sends_a_file:
        _add(pages, one.address, one.send, "POST")
    if one.json is not None:
        _add(
            json, one.json.path, one.json.work, "POST",
            responses=RESPONSES, summary=one.json.summary, response_model=one.json.answer,
        )  # fmt: skip
