"""Pages of the shelf: the list, a lamp, its form. Channels and files have routes of their own."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import lamps, light
from server.db.lamp_knowledge import flux_of, knowledge
from server.models import LampModel
from server.optics.photometric_reader import read_photometric_file
from server.web.ask import Ask, Asked
from server.web.forms import Filled, Refused
from server.web.lamps import lamp_view, view
from server.web.lamps.form import LAMP, NAME, lengths_of, read_lamp, values_of
from server.web.lamps.lamp_form import LOOKED_AT, LookedAt, read_asked, usual_values
from server.web.lamps.measured_view import measured_view
from server.web.open import KnownLamp, OwnLamp, may_change
from server.web.page import see_other
from server.web.signed_in import Steward

router = APIRouter(include_in_schema=False)

_TAKEN = "The shelf already has a lamp of this name. Look at it, or choose another name."


@router.get("/lamps")
def shelf(ask: Ask) -> Response:
    with ask.read() as db:
        rows = light.shelf(db)
    return ask.page("lamps/lamps.html", view=view.shelf_view(rows, ask.unit, ask.page_number()))


@router.get("/lamps/new")
def new_lamp(ask: Ask) -> Response:
    return _form(ask, None, LAMP.showing(unit=ask.unit))


@router.post("/lamps/new")
def make_lamp(ask: Ask) -> Response:
    form = LAMP.typed(ask, again=lambda form: _form(ask, None, form))
    words = read_lamp(form)
    with ask.write() as db:
        if lamps.named(db, words.name):
            raise form.refuse(NAME, _TAKEN)
        lamp_id = lamps.add_lamp(db, words, by_id=ask.who.id).id
    return see_other(f"/lamps/{lamp_id}", notice=f"{words.name} is on the shelf.")


@router.get("/lamps/{lamp_id}")
def lamp_page(ask: Ask, lamp: KnownLamp) -> Response:
    if lamp.merged_into_id is not None:
        return see_other(f"/lamps/{lamp.merged_into_id}")
    form = LOOKED_AT.in_address(ask, lengths=usual_values(lamp))
    with ask.read() as db:
        channels = lamps.channels_of(db, lamp.id)
        others = [one for one in light.shelf(db) if one.id != lamp.id] if ask.steward else []
        known = knowledge(db, [lamp]).get(lamp.id)
    shown = lamp_view.lamp_page(
        ask.who,
        light.lamp_of(lamp, channels),
        channels,
        _asked(form),
        file=read_photometric_file(lamp.intensity_file) if lamp.intensity_file else None,
        others=others,
        may_change=may_change(ask.who, lamp),
    )
    measured = measured_view(known, stated_ppf_umol_s=flux_of(lamp))
    return ask.page("lamps/lamp.html", form=form, view=shown, measured=measured)


@router.get("/lamps/{lamp_id}/edit")
def edit_lamp(ask: Ask, lamp: OwnLamp) -> Response:
    form = LAMP.showing(values_of(lamp), unit=ask.unit, lengths=lengths_of(lamp))
    return _form(ask, lamp, form)


@router.post("/lamps/{lamp_id}/edit")
def change_lamp(ask: Ask, lamp: OwnLamp) -> Response:
    form = LAMP.typed(ask, again=lambda form: _form(ask, lamp, form), lengths=lengths_of(lamp))
    words = read_lamp(form)
    with ask.write() as db:
        if lamps.named(db, words.name, but=lamp.id):
            raise form.refuse(NAME, _TAKEN)
        lamps.change_lamp(db, lamp.id, words)
    return see_other(f"/lamps/{lamp.id}", notice="Saved.")


@router.post("/lamps/{lamp_id}/merge")
def merge_double(ask: Ask, who: Steward, lamp: KnownLamp) -> Response:
    chosen = ask.text("into", most=12)
    with ask.write() as db:
        into = lamps.lamp(db, int(chosen)) if chosen.isascii() and chosen.isdigit() else None
        if into is None or into.merged_into_id is not None or into.id == lamp.id:
            return see_other(f"/lamps/{lamp.id}", notice="Choose the lamp it is a double of.")
        lamps.merge(db, lamp.id, into.id)
    words = f"{lamp.name} is now the same as {into.name}; setups that hang it follow."
    return see_other(f"/lamps/{into.id}", notice=words)


def _asked(form: Filled) -> LookedAt | None:
    try:
        return read_asked(form)
    except Refused:
        return None


def _form(ask: Asked, lamp: LampModel | None, form: Filled) -> Response:
    times = 0
    if lamp is not None:
        with ask.read() as db:
            times = lamps.times_hung(db, lamp.id)
    return ask.page("lamps/form.html", form=form, lamp=lamp, used=view.used_words(times))
