"""Setups side by side."""

from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.account.known_light import KnownLight
from server.db import comparisons, members, tanks
from server.models import Member, Setup, Tank
from server.web import filters
from server.web.ask import Ask
from server.web.compare import view as views
from server.web.compare.form import COMPARE, SEARCH, read_wanted
from server.web.compare.lines import Sided
from server.web.signed_in import NotFound

router = APIRouter(include_in_schema=False)

MOST_CHOICES = 40


@router.get("/compare")
def compare(ask: Ask) -> Response:
    form = COMPARE.in_address(ask)
    wanted = read_wanted(form, ask.query.getlist("s"))
    with ask.read() as db:
        rows = [_seen(db, setup_id, ask.who) for setup_id in wanted.setups]
        own, shared, more = _choices(db, ask.who, form[SEARCH])
        settled = members.club_of(db)
    view = views.compare_page(
        ask.who,
        wanted,
        [_sided(one) for one in rows],
        own=own,
        shared=shared,
        more=more,
        price_per_kwh=settled.price_per_kwh if settled else 0.3,
        currency=settled.currency if settled else "",
        here=views.address_of(wanted, form.values),
    )
    form.values |= {name: form.text(name) or usual for name, usual in view.usual.items()}
    return ask.page("compare/compare.html", form=form, view=view)


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
