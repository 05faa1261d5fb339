"""Addresses of the help pages and of the page of patterns. Open to visitors."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.web.ask import OpenAsk
from server.web.help import patterns, view
from server.web.page import page
from server.web.signed_in import NotFound

router = APIRouter(include_in_schema=False)


@router.get("/help")
def help_index(ask: OpenAsk) -> Response:
    return ask.page("help/index.html", view=view.index())


@router.get("/help/{key}")
def help_topic(ask: OpenAsk, key: str) -> Response:
    found = view.topic(key)
    if found is None:
        raise NotFound("There is no such page of help.")
    return ask.page(f"help/{found.topic.key}.html", view=found)


@router.get("/patterns")
def patterns_page(ask: OpenAsk) -> Response:
    form = patterns.form(ask.unit)
    return page(ask.request, "help/patterns.html", view=patterns.patterns(), form=form)
