"""Setups side by side."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.account.known_light import KnownLight
from server.db import comparisons, members, tanks
from server.models import Member, Setup, Tank
from server.web import filters
from server.web.compare import form as reading
from server.web.compare import view as views
from server.web.compare.lines import Sided
from server.web.page import page
from server.web.signed_in import Club, NotFound, Who

router = APIRouter(include_in_schema=False)

MOST_CHOICES = 40


@router.get("/compare")
def compare(request: Request, who: Who, club: Club) -> Response:
    asked = reading.read_asked(request.query_params, who.length_unit)
    with club.read() as db:
        rows = [_seen(db, setup_id, who) for setup_id in asked.setups]
        own, shared, more = _choices(db, who, asked.values["q"])
        settled = members.club_of(db)
    sided = [_sided(one) for one in rows]
    view = views.compare_page(
        who,
        asked,
        sided,
        own=own,
        shared=shared,
        more=more,
        price_per_kwh=settled.price_per_kwh if settled else 0.3,
        currency=settled.currency if settled else "",
    )
    return page(request, "compare/compare.html", view=view, status=422 if asked.errors else 200)


def _sided(rows: comparisons.SetupRows) -> Sided:
    known = comparisons.known(rows)
    return Sided(
        rows=rows,
        side=known.side,
        measured_words=_measured_words(known.light),
        animals=known.animals,
    )


def _measured_words(light: KnownLight | None) -> str:
    if light is None or not light.measured:
        return "planned"
    readings = filters.count(light.readings, "reading")
    last = filters.day(max(light.readings_on))
    kind = "measured" if light.basis == "measured" else "carried over"
    return f"{kind}, {readings}, last on {last}"


def _seen(db: Session, setup_id: int, who: Member) -> comparisons.SetupRows:
    found = comparisons.setup_rows(db, setup_id, who.id)
    if found is None:
        raise NotFound("One of these setups is not there, or not shown to you.")
    return found


def _choices(
    db: Session, who: Member, wanted: str
) -> tuple[list[tuple[Setup, Tank]], list[tuple[Setup, Tank, Member]], bool]:
    """Own setups (plans and earlier ones too), and shared tanks whose name or keeper matches."""
    own = [
        (setup, tank)
        for tank in tanks.own_tanks(db, who.id)
        for setup in tanks.setups_of(db, tank.id)
    ]
    word = wanted.casefold().strip()
    found = [
        (tank, keeper)
        for tank, keeper in tanks.shared_tanks(db, but_of=who.id)
        if word in tank.name.casefold() or word in keeper.name.casefold()
    ]
    shown = found[:MOST_CHOICES]
    current = tanks.current_setups(db, [tank.id for tank, _ in shown])
    shared = [(current[tank.id], tank, keeper) for tank, keeper in shown if tank.id in current]
    return own[:MOST_CHOICES], shared, len(found) > MOST_CHOICES or len(own) > MOST_CHOICES
