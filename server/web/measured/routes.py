"""Pages of the measured map: the verdict on a tank, and differences of two accounts of it."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import accounts, lamp_measurements, measured, meters, tanks
from server.models import Setup
from server.web import filters
from server.web.ask import Ask, Asked
from server.web.measured import difference_view as changes
from server.web.measured import view as views
from server.web.measured.form import read_depth
from server.web.open_hung import OwnHungLamp, SetupShown, ShownSetup
from server.web.page import see_other
from server.web.signed_in import NotFound

router = APIRouter(include_in_schema=False)


@router.get("/tanks/{tank_id}/verdict")
def verdict(ask: Ask, shown: ShownSetup) -> Response:
    tank, setup = shown.tank, shown.setup
    with ask.read() as db:
        rows = accounts.rows_of(db, tank, today=ask.today, setup=setup)
        instruments = {one.id: one for one in meters.all_meters(db)}
        read = rows.readings
        kept = lamp_measurements.kept_lamps(db, read.setup.id) if read else set()
    told = accounts.told(rows, unit=ask.unit)
    if told.light is None or setup is None:
        return _without(ask, "measured/dark.html", shown)
    form, depth_cm = read_depth(ask, tank, rows.animals)
    subject = views.Subject(
        told=told,
        light=told.light,
        setup=setup,
        meters=instruments,
        kept=frozenset(kept),
        own=tank.owner_id == ask.who.id,
        is_current=shown.is_current,
        unit=ask.unit,
        depth_cm=depth_cm,
    )
    return ask.page("measured/verdict.html", form=form, view=views.verdict_page(subject))


@router.get("/tanks/{tank_id}/difference")
def difference(ask: Ask, shown: ShownSetup) -> Response:
    """Two accounts of one setup's light on one scale: plan, all readings, or single sessions."""
    with ask.read() as db:
        rows = measured.rows_of(db, shown.tank, shown.setup) if shown.setup else None
        animals = tanks.animals_of(db, shown.tank.id)
    later_key = ask.query.get("later", "all")
    later = _account(rows, later_key) if rows else None
    if rows is None or later is None or not later.measured:
        return _without(ask, "measured/nothing_yet.html", shown)
    key = ask.query.get("earlier", changes.PLAN)
    earlier = None if key == changes.PLAN else _account(rows, key)
    form, depth_cm = read_depth(ask, shown.tank, animals)
    pair = changes.Pair(
        later=later,
        earlier=earlier,
        earlier_key=key if earlier else changes.PLAN,
        later_key=later_key,
        names=(_name(earlier), _name(later)),
        change=measured.change_between(earlier, later) if earlier else None,
        unit=ask.unit,
        depth_cm=depth_cm,
    )
    return ask.page("measured/difference.html", form=form, view=changes.difference_page(pair))


@router.post("/tanks/{tank_id}/verdict/lamps/{hung_id}/keep")
def keep_lamp(ask: Ask, opened: OwnHungLamp) -> Response:
    """What the readings say of one lamp goes to the club's shelf, with who, when and how sure."""
    with ask.read() as db:
        rows = measured.rows_of(db, opened.tank, opened.setup)
    found = measured.measured(rows)
    learnt = lamp_measurements.learnt(found, opened.hung.id) if found else None
    if learnt is None:
        return see_other(
            _verdict_of(opened.setup), notice="Measure this light first.", tone="wrong"
        )
    with ask.write() as db:
        lamp_measurements.keep(db, learnt, by_id=ask.who.id)
    return see_other(_verdict_of(opened.setup), notice="Kept on the shelf of lamps.")


@router.post("/tanks/{tank_id}/verdict/lamps/{hung_id}/take-away")
def take_lamp_away(ask: Ask, opened: OwnHungLamp) -> Response:
    with ask.write() as db:
        lamp_measurements.take_away(db, opened.hung.id)
    return see_other(_verdict_of(opened.setup), notice="Taken off the shelf again.")


def _without(ask: Asked, template: str, shown: SetupShown) -> Response:
    """The page of a tank that has nothing to show yet."""
    return ask.page(template, view=shown.tank, own=shown.tank.owner_id == ask.who.id)


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


def _verdict_of(setup: Setup) -> str:
    return f"/tanks/{setup.tank_id}/verdict?setup={setup.id}"
