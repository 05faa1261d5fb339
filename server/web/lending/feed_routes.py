"""Calendar feeds (RFC 5545), one for each member and one for each meter, at secret addresses."""

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import icalendar
from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import agenda, books, club_day, lending_rule, loans, members, meters
from server.lending import feeds
from server.models import Loan
from server.web.own_address import base_address
from server.web.signed_in import Club, NotFound

router = APIRouter(include_in_schema=False)

_PRODUCT = "-//Underlamp//Meter lending//EN"
_REFRESH = timedelta(hours=6)


@router.get("/feeds/member/{secret}.ics")
def member_feed(request: Request, club: Club, secret: str) -> Response:
    """A member's own days: with every meter, and what falls due at their tanks."""
    with club.read() as db:
        member = members.member_by_feed(db, secret)
        if member is None or member.id is None:
            raise NotFound
        today = club_day.today(db)
        since = today - timedelta(days=feeds.KEEP_PAST_DAYS)
        found = loans.loans_of(db, member.id, since=since)
        dated = agenda.dated_events(db, member.id, today=today)
        called = {meter.id: meter.name for meter in meters.all_meters(db)}
        entries = [
            (feeds.entry(books.loan_from(row), meter_name=called[row.meter_id], whose=None), row)
            for row in found
        ]
        host = lending_rule.calendar_name_of(db)
    return _answer(request, "My days with the club’s meters and my tanks", entries, host, dated)


@router.get("/feeds/meter/{secret}.ics")
def meter_feed(request: Request, club: Club, secret: str) -> Response:
    """Everybody's days with one meter."""
    with club.read() as db:
        meter = meters.meter_by_feed(db, secret)
        if meter is None or meter.id is None:
            raise NotFound
        since = club_day.today(db) - timedelta(days=feeds.KEEP_PAST_DAYS)
        found = loans.loans_of_meter(db, meter.id, since=since)
        entries = _with_names(db, meter.name, found)
        host = lending_rule.calendar_name_of(db)
    return _answer(request, meter.name, entries, host)


def _with_names(
    db: Session, meter_name: str, found: Sequence[Loan]
) -> list[tuple[feeds.Entry, Loan]]:
    names = loans.names(db, [row.member_id for row in found])
    return [
        (
            feeds.entry(
                books.loan_from(row),
                meter_name=meter_name,
                whose=names.get(row.member_id or 0, "a former member"),
            ),
            row,
        )
        for row in found
    ]


def _answer(
    request: Request,
    name: str,
    entries: Sequence[tuple[feeds.Entry, Loan]],
    host: str,
    dated: Sequence[agenda.Dated] = (),
) -> Response:
    body = calendar(name, entries, host=host, address=base_address(request), dated=dated)
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
    if etag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type="text/calendar; charset=utf-8", headers=headers)


def calendar(
    name: str,
    entries: Sequence[tuple[feeds.Entry, Loan]],
    *,
    host: str,
    address: str,
    dated: Sequence[agenda.Dated] = (),
) -> bytes:
    """The feed's text. The same rows give the same bytes, so that an ETag can be of use."""
    feed = icalendar.Calendar()
    feed.add("prodid", _PRODUCT)
    feed.add("version", "2.0")
    feed.add("method", "PUBLISH")
    feed.add("name", name)
    feed.add("x-wr-calname", name)
    feed.add("refresh-interval", _REFRESH, parameters={"VALUE": "DURATION"})
    for entry, row in entries:
        feed.add_component(_event(entry, row, host=host, address=address))
    for one in dated:
        feed.add_component(_dated(one, host=host, address=address))
    return bytes(feed.to_ical())


def _event(entry: feeds.Entry, row: Loan, *, host: str, address: str) -> icalendar.Event:
    changed: datetime = (row.changed_at or row.created_at).astimezone(UTC).replace(microsecond=0)
    event = icalendar.Event()
    event.add("uid", f"loan-{entry.loan_id}@{host}")
    event.add("sequence", entry.sequence)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("dtstart", entry.start)
    event.add("dtend", entry.end)
    event.add("summary", entry.summary)
    event.add("status", entry.status)
    event.add("transp", "TRANSPARENT")
    event.add("url", f"{address}/loans/{entry.loan_id}")
    return event


def _dated(one: agenda.Dated, *, host: str, address: str) -> icalendar.Event:
    changed = one.changed.astimezone(UTC).replace(microsecond=0)
    event = icalendar.Event()
    event.add("uid", f"{one.name}@{host}")
    event.add("sequence", one.sequence)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("dtstart", one.on)
    event.add("dtend", one.on + timedelta(days=1))
    event.add("summary", one.summary)
    if one.details:
        event.add("description", one.details)
    event.add("status", one.status)
    event.add("transp", "TRANSPARENT")
    event.add("url", f"{address}{one.path}")
    return event
