"""Messages in the app, and the secret addresses of calendar feeds."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import members, messages, meters
from server.web.ask import Ask
from server.web.lending.loan_view import moment
from server.web.own_address import base_address
from server.web.page import see_other

router = APIRouter(include_in_schema=False)


@router.get("/messages")
def messages_page(ask: Ask) -> Response:
    with ask.read() as db:
        found = messages.messages_of(db, ask.who.id)
    return ask.page(
        "lending/messages.html",
        rows=[(row, moment(row.sent_at, ask.zone, ask.clock)) for row in found],
        unread=sum(row.read_at is None for row in found),
        by_mail=bool(ask.request.app.state.settings.smtp_host),
    )


@router.post("/messages/read")
def mark_read(ask: Ask) -> Response:
    with ask.write() as db:
        messages.mark_read(db, ask.who.id)
    return see_other("/messages")


@router.get("/meters/feeds")
def feeds_page(ask: Ask) -> Response:
    with ask.read() as db:
        found = [meter for meter in meters.all_meters(db) if meter.feed_secret]
    return ask.page("lending/feeds.html", meters=found, base=base_address(ask.request))


@router.post("/meters/feeds/renew")
def renew_feed(ask: Ask) -> Response:
    """A new secret address; whatever followed the old one finds nothing there any more."""
    with ask.write() as db:
        had_one = members.renew_feed(db, ask.who.id)
    notice = "Your feed has a new address; the old one is dead." if had_one else "Here it is."
    return see_other("/meters/feeds", notice=notice)
