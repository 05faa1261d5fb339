"""Pages of the measured map: the verdict on a tank, and differences of two accounts of it."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session, select

from server.db import lamp_measurements, measured, tanks
from server.models import HungLamp, Member, Meter, Setup, Tank
from server.web import filters
from server.web.measured import view as views
from server.web.page import page, see_other
from server.web.planner.form import usual_depth
from server.web.signed_in import Club, NotFound, Who
from server.web.tanks.open import own_tank, tank_to_see
from server.web.tanks.typed import shown_length

router = APIRouter(include_in_schema=False)


@router.get("/tanks/{tank_id}/verdict")
def verdict(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        current = tanks.current_setup(db, tank_id)
        setup = _setup(db, who, tank, request.query_params.get("setup", "")) or current
        rows = measured.rows_of(db, tank, setup) if setup else None
        animals = tuple(tanks.animals_of(db, tank_id))
        meters = {one.id or 0: one for one in db.exec(select(Meter))}
        kept = lamp_measurements.kept_lamps(db, setup.id or 0) if setup else set()
    found = measured.measured(rows) if rows else None
    if found is None:
        return page(request, "measured/dark.html", view=tank, own=tank.owner_id == who.id)
    typed = request.query_params.get("depth", "")[:40].strip()
    depth_cm, error = read_depth(typed, tank, who.length_unit)
    subject = views.Subject(
        found=found,
        animals=animals,
        meters=meters,
        kept=frozenset(kept),
        own=tank.owner_id == who.id,
        is_current=current is not None and setup is not None and current.id == setup.id,
        unit=who.length_unit,
        depth_cm=usual_depth(tank, animals) if depth_cm is None else depth_cm,
        depth_typed=typed,
        depth_error=error,
    )
    view = views.verdict_page(subject)
    return page(request, "measured/verdict.html", view=view, status=422 if error else 200)


@router.post("/tanks/{tank_id}/verdict/lamps/{hung_id}/keep")
def keep_lamp(who: Who, club: Club, tank_id: int, hung_id: int) -> Response:
    """What the readings say of one lamp goes to the club's shelf, with who, when and how sure."""
    with club.read() as db:
        tank, setup = _hung_in(db, who, tank_id, hung_id)
        rows = measured.rows_of(db, tank, setup)
    found = measured.measured(rows)
    learnt = lamp_measurements.learnt(found, hung_id) if found else None
    if learnt is None:
        return see_other(_verdict_of(setup), notice="Measure this light first.", tone="wrong")
    with club.write() as db:
        lamp_measurements.keep(db, learnt, by_id=who.id)
    return see_other(_verdict_of(setup), notice="Kept on the shelf of lamps.")


@router.post("/tanks/{tank_id}/verdict/lamps/{hung_id}/take-away")
def take_lamp_away(who: Who, club: Club, tank_id: int, hung_id: int) -> Response:
    with club.write() as db:
        _, setup = _hung_in(db, who, tank_id, hung_id)
        lamp_measurements.take_away(db, hung_id)
    return see_other(_verdict_of(setup), notice="Taken off the shelf again.")


def _verdict_of(setup: Setup) -> str:
    return f"/tanks/{setup.tank_id}/verdict?setup={setup.id}"


def _hung_in(db: Session, who: Member, tank_id: int, hung_id: int) -> tuple[Tank, Setup]:
    """The member's own tank and the setup the lamp hangs in."""
    tank = own_tank(db, who, tank_id)
    hung = db.get(HungLamp, hung_id) if 0 < hung_id < 2**31 else None
    setup = db.get(Setup, hung.setup_id) if hung else None
    if setup is None or setup.tank_id != tank.id:
        raise NotFound("There is no such lamp over this tank.")
    return tank, setup


def read_depth(typed: str, tank: Tank, unit: str) -> tuple[float | None, str]:
    """A depth inside the tank [cm], None for the usual one; and what is wrong with what came."""
    if not typed:
        return None, ""
    deepest = f"{shown_length(tank.depth_cm, unit)} {unit}"
    try:
        depth_cm = filters.to_cm(filters.read_number(typed), unit)
    except filters.NotANumber:
        return None, "Type one depth, such as 20."
    if not 0 <= depth_cm <= tank.depth_cm + 0.05:
        return None, f"The water is {deepest} deep: type a depth from 0 to {deepest}."
    return min(depth_cm, tank.depth_cm), ""


def _setup(db: Session, who: Member, tank: Tank, asked: str) -> Setup | None:
    if not asked:
        return None
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 10 else 0
    found = tanks.setup_seen(db, number, who.id or 0)
    if found is None or found[1].id != tank.id:
        raise NotFound("There is no such setup of this tank.")
    return found[0]
