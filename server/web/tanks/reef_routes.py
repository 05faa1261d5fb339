"""The reef of a tank: what stands in and on it, drawn, and the form that changes it."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.account.way import WIPED
from server.db import accounts, tanks
from server.db.light import optics_tank
from server.models import Tank
from server.reef.furnishing import SIDES, Furnishing, as_text, fitted, from_text
from server.web import filters
from server.web.ask import Ask, Asked
from server.web.forms import Filled, in_unit
from server.web.open import OwnTank
from server.web.page import see_other
from server.web.tanks import reef_form as reading
from server.web.tanks.charts import charts

router = APIRouter(include_in_schema=False)


@router.get("/tanks/{tank_id}/reef")
def reef_page(ask: Ask, tank: OwnTank) -> Response:
    told = _furnishing(tank)
    form = reading.form_of(tank, len(told.rocks), today=ask.today)
    shown = form.showing(
        reading.values_of(tank, told, ask.today),
        unit=ask.unit,
        lengths=reading.lengths_of(tank, told),
    )
    return _page(ask, tank, shown, len(told.rocks))


@router.post("/tanks/{tank_id}/reef")
def change_reef(ask: Ask, tank: OwnTank) -> Response:
    was = _furnishing(tank)
    count = len(was.rocks)
    form = reading.form_of(tank, count, today=ask.today).typed(
        ask,
        again=lambda filled: _page(ask, tank, filled, count),
        lengths=reading.lengths_of(tank, was),
    )
    wanted = reading.read(form, tank, was, count=count, today=ask.today)
    with ask.write() as db:
        tanks.furnish(
            db, tank.id, as_text(wanted.furnishing), since=wanted.since, reason=wanted.reason,
            by_id=ask.who.id,
        )  # fmt: skip
    notice = (
        WIPED if reading.wiped(was, wanted.furnishing) else "Saved; the light is worked out anew."
    )
    return see_other(f"/tanks/{tank.id}/reef", notice=notice)


def _furnishing(tank: Tank) -> Furnishing:
    """As it fits into the tank of today."""
    return fitted(from_text(tank.furnishing), optics_tank(tank))


def _page(ask: Asked, tank: Tank, form: Filled, count: int) -> Response:
    with ask.read() as db:
        rows = accounts.rows_of(db, tank, today=ask.today)
    told = accounts.told(rows, unit=ask.unit)
    drawn = charts(tank, told.plan, rows.hung, told.glance.animals, unit=ask.unit)
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    return ask.page(
        "tanks/reef.html",
        form=form,
        tank=tank,
        count=count,
        charts=drawn,
        taps=[round(in_unit(side, ask.unit), 4) for side in sides],
        panes=[side for side in SIDES if f"pane_{side}" in form.fields],
        deepest=filters.length(tank.depth_cm, ask.unit),
    )
