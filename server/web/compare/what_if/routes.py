"""Trying other light on a tank: another member's setup, a lamp swapped or added, a dark wall."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.account.ability import Hang
from server.account.known_light import KnownLight
from server.account.reckoning import animals_in
from server.account.solving import solved
from server.db import abilities, accounts, light, measured, shelf, tanks
from server.db.accounts import AccountRows
from server.db.light import Hung, Stated
from server.db.tanks import LampPlace
from server.models import HungLamp, Member, Tank
from server.web.ask import Ask, Asked
from server.web.compare.what_if import form as reading
from server.web.compare.what_if import view as views
from server.web.open import OwnTank, SeenTank, setup_to_see
from server.web.page import see_other
from server.web.signed_in import NotFound

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class Read:
    """What a try needs from the database."""

    rows: AccountRows
    start: list[LampPlace]
    whose: str
    models: Mapping[int, Stated]

    @property
    def tank(self) -> Tank:
        return self.rows.tank


@router.get("/tanks/{tank_id}/what-if")
def what_if(ask: Ask, tank: SeenTank) -> Response:
    found = _read(ask, tank, ask.query.get("from", "")[:40])
    names = {key: one.row.name for key, one in found.models.items()}
    form = reading.what_if_form(tank, names).in_address(ask)
    tried = reading.read_tried(form, ask.query, tank, found.start, models=found.models)
    view = views.what_if_page(
        ask.who, tank, tried, _light(found, tried), models=found.models, whose=found.whose
    )
    back = tried.tank.wall_back
    form.values |= {"swap": "", "add": "", "back": back if back in reading.BACKS else ""}
    form.values["depth"] = form.text("depth") or view.depth
    return ask.page("compare/what_if.html", form=form, view=view)


@router.post("/tanks/{tank_id}/what-if/keep")
def keep(ask: Ask, tank: OwnTank) -> Response:
    """What was tried becomes a plan; what hangs now stays as it is."""
    typed = [value for value in ask.form.getlist("lamp") if isinstance(value, str)]
    levels = [value for value in ask.form.getlist("levels") if isinstance(value, str)]
    with ask.write() as db:
        models = {one.row.id: one for one in shelf.shelf(db)}
        found = reading.read_lamps(typed, levels, models)
        lamps = [lamp for lamp in found if lamp is not None]
        if not lamps:
            raise NotFound("There was no lamp to keep.")
        kept = tanks.save_setup(
            db,
            tank_id=tank.id,
            lamps=lamps,
            since=ask.today,
            reason="",
            name=ask.text("name", most=80) or "Tried on",
            state="plan",
            by_id=ask.who.id,
        )
    return see_other(
        f"/tanks/{tank.id}/plan?setup={kept.id}",
        notice="Kept as a plan. What hangs over the tank was not touched.",
    )


def _read(ask: Asked, tank: Tank, source: str) -> Read:
    with ask.read() as db:
        rows = accounts.rows_of(db, tank, today=ask.today)
        start, whose = [tanks.place_of(one.row) for one in rows.hung], "Starts from what hangs now."
        if source:
            start, whose = _borrowed(db, ask.who, tank, source)
        ids = {one.row.id for one in shelf.shelf(db)} | {one.lamp_model_id for one in start}
        models = light.stated_lamps(db, sorted(ids))
    return Read(rows=rows, start=start, whose=whose, models=models)


def _borrowed(db: Session, who: Member, tank: Tank, source: str) -> tuple[list[LampPlace], str]:
    """The lamps of another setup over this tank, and whose they are."""
    number = int(source) if source.isascii() and source.isdigit() and len(source) < 10 else 0
    setup, other = setup_to_see(db, who, number)
    places = [tanks.place_of(row) for row in tanks.lamps_of(db, setup.id)]
    keeper = db.get_one(Member, other.owner_id)
    whose = f"The lamps of {other.name} ({keeper.name}), over your glass and water."
    return reading.scaled(places, from_tank=other, to_tank=tank), whose


def _light(found: Read, tried: reading.Tried) -> views.Light:
    """What hangs, and what is tried, each as known best."""
    now = accounts.tank_light(found.rows)
    lamps = _solved(found, tried) if tried.solve and tried.lamps else tried.lamps
    residents = accounts.residents(found.rows)
    before = now.light if now else None
    after = _known(found, tried, lamps)
    return views.Light(
        now=before,
        tried=after,
        lamps=lamps,
        solved=tried.solve and bool(tried.lamps),
        animals_now=animals_in(before, residents),
        animals_tried=animals_in(after, residents),
    )


def _known(found: Read, tried: reading.Tried, lamps: Sequence[LampPlace]) -> KnownLight | None:
    """The light as tried: carried over from the readings where the same lamps hang otherwise."""
    now = accounts.tank_light(found.rows)
    same = [one.row.lamp_model_id for one in found.rows.hung] == [p.lamp_model_id for p in lamps]
    if now is not None and same and tried.tank is found.tank:
        hung = tuple(
            replace(one, row=_row(place), levels=light.levels_of(place.channel_levels))
            for one, place in zip(found.rows.hung, lamps, strict=True)
        )
        plan = accounts.plan_if(found.rows, hung)
        return now.light.hung_as(plan) if any(e.ppf_umol_s > 0 for e in plan.emitters) else None
    plan = measured.plan_over(tried.tank, _hung(lamps, found.models))
    if not any(e.ppf_umol_s > 0 for e in plan.emitters):
        return None
    return accounts.unmeasured(plan)


def _solved(found: Read, tried: reading.Tried) -> tuple[LampPlace, ...]:
    """Heights and levels for the animals, or for one range at mid-depth where nobody lives."""
    tank = found.tank
    wanted = found.rows.living or shelf.wanted_on(
        tank, depth_cm=tank.depth_cm / 2, low_ppfd=100, high_ppfd=250
    )
    hanging = abilities.hanging_of(tank, _hung(tried.lamps, found.models))

    def light_of(hangs: Sequence[Hang]) -> KnownLight | None:
        return _known(found, tried, _placed(tried.lamps, hangs))

    return _placed(tried.lamps, [one.hang for one in solved(light_of, wanted, hanging)])


def _placed(lamps: Sequence[LampPlace], hangs: Sequence[Hang]) -> tuple[LampPlace, ...]:
    return tuple(
        replace(lamp, power=hang.power, height_cm=hang.height_cm)
        for lamp, hang in zip(lamps, hangs, strict=True)
    )


def _row(place: LampPlace) -> HungLamp:
    """A lamp that is not stored."""
    return HungLamp(setup_id=0, **vars(place))


def _hung(lamps: Sequence[LampPlace], models: Mapping[int, Stated]) -> tuple[Hung, ...]:
    """Lamps that are not stored, as the light room takes them."""
    return tuple(
        Hung(
            row=_row(lamp),
            stated=models[lamp.lamp_model_id],
            levels=light.levels_of(lamp.channel_levels),
        )
        for lamp in lamps
    )
