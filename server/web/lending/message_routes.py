"""Messages in the app, and the secret addresses of calendar feeds."""

import secrets
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.db import club_day, messages, meters
from server.models import Member
from server.web.lending.view import moment
from server.web.page import page, see_other
from server.web.signed_in import Club, Who

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class MessageRow:
    when: str
    subject: str
    words: str
    link: str
    new: bool


@dataclass(frozen=True, kw_only=True)
class MessagesView:
    rows: tuple[MessageRow, ...]
    unread: int
    by_mail: bool


@dataclass(frozen=True, kw_only=True)
class FeedsView:
    mine: str
    meters: tuple[tuple[str, str], ...]


@router.get("/messages")
def messages_page(request: Request, who: Who, club: Club) -> Response:
    with club.read() as db:
        found = messages.messages_of(db, who.id)
        zone = club_day.zone(db)
    view = MessagesView(
        rows=tuple(
            MessageRow(
                when=moment(row.sent_at, zone, who.clock),
                subject=row.subject,
                words=row.words,
                link=row.link,
                new=row.read_at is None,
            )
            for row in found
        ),
        unread=sum(row.read_at is None for row in found),
        by_mail=bool(request.app.state.settings.smtp_host),
    )
    return page(request, "lending/messages.html", view=view)


@router.post("/messages/read")
def mark_read(who: Who, club: Club) -> Response:
    with club.write() as db:
        messages.mark_read(db, who.id)
    return see_other("/messages")


@router.get("/meters/feeds")
def feeds_page(request: Request, who: Who, club: Club) -> Response:
    with club.read() as db:
        found = meters.all_meters(db)
    view = FeedsView(
        mine=_address(request, "member", who.feed_secret) if who.feed_secret else "",
        meters=tuple(
            (meter.name, _address(request, "meter", meter.feed_secret))
            for meter in found
            if meter.feed_secret
        ),
    )
    return page(request, "lending/feeds.html", view=view)


@router.post("/meters/feeds/renew")
def renew_feed(who: Who, club: Club) -> Response:
    """A new secret address; whatever followed the old one finds nothing there any more."""
    with club.write() as db:
        found = db.get_one(Member, who.id)
        had_one = found.feed_secret is not None
        found.feed_secret = secrets.token_urlsafe(24)
        db.add(found)
    notice = "Your feed has a new address; the old one is dead." if had_one else "Here it is."
    return see_other("/meters/feeds", notice=notice)


def _address(request: Request, kind: str, secret: str | None) -> str:
    return f"{base_address(request)}/feeds/{kind}/{secret}.ics"


def base_address(request: Request) -> str:
    """Where members reach the club: as the settings say, else as this request did."""
    return request.app.state.settings.public_url.rstrip("/") or str(request.base_url).rstrip("/")
