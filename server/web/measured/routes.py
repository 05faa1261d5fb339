"""Pages of the measured map: the verdict on a tank, and differences of two accounts of it."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import accounts, club_day, lamp_measurements, measured, meters, tanks
from server.models import HungLamp, Member, Setup, Tank
from server.web import filters
from server.web.measured import difference_view as changes
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
        rows = accounts.rows_of(db, tank, today=club_day.today(db), setup=setup)
        instruments = {one.id: one for one in meters.all_meters(db)}
        read = rows.readings
        kept = lamp_measurements.kept_lamps(db, read.setup.id) if read else set()
    told = accounts.told(rows, unit=who.length_unit)
    if told.light is None or setup is None:
        return page(request, "measured/dark.html", view=tank, own=tank.owner_id == who.id)
    typed = request.query_params.get("depth", "")[:40].strip()
    depth_cm, error = read_depth(typed, tank, who.length_unit)
    subject = views.Subject(
        told=told,
        light=told.light,
        setup=setup,
        meters=instruments,
        kept=frozenset(kept),
        own=tank.owner_id == who.id,
        is_current=current is not None and current.id == setup.id,
        unit=who.length_unit,
        depth_cm=usual_depth(tank, rows.animals) if depth_cm is None else depth_cm,
        depth_typed=typed,
        depth_error=error,
    )
    view = views.verdict_page(subject)
    return page(request, "measured/verdict.html", view=view, status=422 if error else 200)


@router.get("/tanks/{tank_id}/difference")
def difference(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    """Two accounts of one setup's light on one scale: plan, all readings, or single sessions."""
    asked = request.query_params
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        setup = _setup(db, who, tank, asked.get("setup", "")) or tanks.current_setup(db, tank_id)
        rows = measured.rows_of(db, tank, setup) if setup else None
        animals = tuple(tanks.animals_of(db, tank_id))
    later = _account(rows, asked.get("later", "all")) if rows else None
    if rows is None or later is None or not later.measured:
        return page(request, "measured/nothing_yet.html", view=tank, own=tank.owner_id == who.id)
    key = asked.get("earlier", changes.PLAN)
    earlier = None if key == changes.PLAN else _account(rows, key)
    typed = asked.get("depth", "")[:40].strip()
    depth_cm, error = read_depth(typed, tank, who.length_unit)
    view = changes.difference_page(
        changes.Asked(
            later=later,
            earlier=earlier,
            earlier_key=key if earlier else changes.PLAN,
            later_key=asked.get("later", "all"),
            names=(_name(earlier), _name(later)),
            change=measured.change_between(earlier, later) if earlier else None,
            unit=who.length_unit,
            depth_cm=usual_depth(tank, animals) if depth_cm is None else depth_cm,
            depth_typed=typed,
            depth_error=error,
        )
    )
    return page(request, "measured/difference.html", view=view, status=422 if error else 200)


def _account(rows: measured.MeasuredRows, key: str) -> measured.Measured | None:
    """One session's map by its number, or that of all readings that count."""
    if key == "all":
        return measured.measured(rows)
    number = int(key) if key.isascii() and key.isdigit() and len(key) < 10 else 0
    found = measured.of_survey(rows, number)
    if found is None:
        raise NotFound("There is no such session with readings under this setup.")
    return found


def _name(one: measured.Measured | None) -> str:
    """An account in words: the plan, or the readings of its days."""
    if one is None:
        return "planned"
    days = sorted({survey.session.taken_on for survey in one.used})
    return "the readings of " + " and ".join(filters.day(day) for day in days)


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
    found = tanks.setup_seen(db, number, who.id)
    if found is None or found[1].id != tank.id:
        raise NotFound("There is no such setup of this tank.")
    return found[0]
