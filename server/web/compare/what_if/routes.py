"""Trying other light on a tank: another member's setup, a lamp swapped or added, a dark wall."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.comparing.which_lamp import HEIGHTS, Height, best_height
from server.db import light, shelf, tanks
from server.db.club_day import today as club_today
from server.db.light import Hung, Stated
from server.db.tanks import LampPlace
from server.models import Animal, HungLamp, Member, Tank
from server.optics.emitters import Emitter
from server.web.compare.what_if import form as reading
from server.web.compare.what_if import view as views
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Typed, Who, text
from server.web.tanks.open import own_tank, setup_to_see, tank_to_see

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class Read:
    """What a try needs from the database."""

    tank: Tank
    animals: list[Animal]
    now: tuple[Hung, ...]
    start: list[LampPlace]
    whose: str
    models: Mapping[int, Stated]

    @property
    def names(self) -> dict[int, str]:
        return {key: one.row.name for key, one in self.models.items()}


@router.get("/tanks/{tank_id}/what-if")
def what_if(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        found = _read(db, who, tank_id, request.query_params.get("from", ""))
    tried = reading.read_tried(
        request.query_params, found.tank, found.start, names=found.names, unit=who.length_unit
    )
    view = views.what_if_page(
        who,
        found.tank,
        found.animals,
        tried,
        _light(found, tried),
        names=found.names,
        whose=found.whose,
    )
    return page(request, "compare/what_if.html", view=view, status=422 if tried.errors else 200)


@router.post("/tanks/{tank_id}/what-if/keep")
def keep(who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    """What was tried becomes a plan; what hangs now stays as it is."""
    with club.write() as db:
        own_tank(db, who, tank_id)
        names = {one.row.id: one.row.name for one in shelf.shelf(db)}
        typed = [value for value in form.getlist("lamp") if isinstance(value, str)]
        levels = [value for value in form.getlist("levels") if isinstance(value, str)]
        found = reading.read_lamps(typed, levels, names)
        lamps = [lamp for lamp in found if lamp is not None]
        if not lamps:
            raise NotFound("There was no lamp to keep.")
        name = text(form, "name", most=80) or "Tried on"
        kept = tanks.save_setup(
            db,
            tank_id=tank_id,
            lamps=lamps,
            since=club_today(db),
            reason="",
            name=name,
            state="plan",
            by_id=who.id,
        )
    return see_other(
        f"/tanks/{tank_id}/plan?setup={kept.id}",
        notice="Kept as a plan. What hangs over the tank was not touched.",
    )


def _read(db: Session, who: Member, tank_id: int, source: str) -> Read:
    tank = tank_to_see(db, who, tank_id)
    current = tanks.current_setup(db, tank_id)
    now = light.hung_over(db, current.id) if current and current.id else ()
    start, whose = [tanks.place_of(one.row) for one in now], "Starts from what hangs now."
    if source:
        number = int(source) if source.isascii() and source.isdigit() and len(source) < 10 else 0
        setup, other = setup_to_see(db, who, number)
        places = [tanks.place_of(row) for row in tanks.lamps_of(db, setup.id)]
        start = reading.scaled(places, from_tank=other, to_tank=tank)
        keeper = db.get_one(Member, other.owner_id)
        whose = f"The lamps of {other.name} ({keeper.name}), over your glass and water."
    ids = {one.row.id for one in shelf.shelf(db)} | {one.lamp_model_id for one in start}
    return Read(
        tank=tank,
        animals=tanks.animals_of(db, tank_id),
        now=now,
        start=start,
        whose=whose,
        models=light.stated_lamps(db, sorted(ids)),
    )


def _light(found: Read, tried: reading.Tried) -> views.Light:
    now = light.scene(found.tank, found.now)
    lamps, solved = tried.lamps, None
    if tried.solve and lamps:
        solved = _solved(found, tried)
        lamps = tuple(
            replace(lamp, height_cm=solved.height_cm, power=round(solved.power, 3))
            for lamp in lamps
        )
    hung = _hung(lamps, found.models)
    return views.Light(now=now, tried=light.scene(tried.tank, hung), lamps=lamps, solved=solved)


def _solved(found: Read, tried: reading.Tried) -> Height:
    """The common height and power that put most animals in range, or one range at mid-depth."""
    tank = found.tank
    wanted = shelf.wanted(tank, found.animals) or shelf.wanted_on(
        tank, depth_cm=tank.depth_cm / 2, low_ppfd=100, high_ppfd=250
    )
    return best_height(
        light.optics_tank(tried.tank),
        light.water_of(tried.tank),
        wanted,
        partial(_at_height, found, tried),
        _heights(tried.lamps, found),
    )


def _at_height(found: Read, tried: reading.Tried, height_cm: float) -> Sequence[Emitter]:
    lamps = [replace(lamp, height_cm=height_cm, power=1.0) for lamp in tried.lamps]
    return light.scene(tried.tank, _hung(lamps, found.models)).emitters


def _heights(lamps: Sequence[LampPlace], found: Read) -> list[float]:
    """Heights that every lamp allows, evenly in ratio."""
    usual_low, usual_high = shelf.USUAL_HEIGHTS_CM
    rows = [found.models[lamp.lamp_model_id].row for lamp in lamps]
    low = max(row.min_height_cm or usual_low for row in rows)
    high = min(row.max_height_cm or usual_high for row in rows)
    if found.tank.headroom_cm is not None:
        high = min(high, found.tank.headroom_cm)
    if high <= low:
        return [low]
    step = (high / low) ** (1 / (HEIGHTS - 1))
    return [round(low * step**k, 1) for k in range(HEIGHTS)]


def _hung(lamps: Sequence[LampPlace], models: Mapping[int, Stated]) -> tuple[Hung, ...]:
    """Lamps that are not stored, as the light room takes them."""
    return tuple(
        Hung(
            row=HungLamp(setup_id=0, **vars(lamp)),
            stated=models[lamp.lamp_model_id],
            levels=light.levels_of(lamp.channel_levels),
        )
        for lamp in lamps
    )
