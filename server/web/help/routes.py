"""Addresses of the help pages and of the page of patterns. Open to visitors."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.web.help import patterns, view
from server.web.page import page
from server.web.signed_in import NotFound, Visitor

router = APIRouter(include_in_schema=False)


@router.get("/help")
def help_index(request: Request, who: Visitor) -> Response:
    return page(request, "help/index.html", view=view.index())


@router.get("/help/{key}")
def help_topic(request: Request, who: Visitor, key: str) -> Response:
    found = view.topic(key)
    if found is None:
        raise NotFound("There is no such page of help.")
    return page(request, f"help/{found.topic.key}.html", view=found)


@router.get("/patterns")
def patterns_page(request: Request, who: Visitor) -> Response:
    return page(request, "help/patterns.html", view=patterns.patterns())
