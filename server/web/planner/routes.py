"""Addresses of a tank's plan: the page, the part that follows a slider, and keeping it."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from server.db import accounts, tanks
from server.web.ask import Ask, Asked
from server.web.open import OwnTank
from server.web.open_hung import SetupShown, ShownSetup, setup_shown
from server.web.page import fragment, see_other
from server.web.planner import form as reading
from server.web.planner import view as views
from server.web.planner.look import Subject
from server.web.signed_in import NotFound

router = APIRouter(include_in_schema=False)

SIZES = ("wide", "narrow")


@router.get("/tanks/{tank_id}/plan")
def plan_page(ask: Ask, shown: ShownSetup) -> Response:
    if shown.setup is None:
        return ask.page("planner/empty.html", view=shown.tank)
    subject = _subject(ask, shown)
    return _page(ask, subject, _asked(ask, subject, ask.query))


@router.get("/tanks/{tank_id}/plan/drawn")
def drawn(ask: Ask, shown: ShownSetup) -> Response:
    """The charts and verdicts alone, in one size; `draft` draws them coarser and quicker."""
    subject = _subject(ask, shown)
    asked = _asked(ask, subject, ask.query)
    if asked.form.errors:
        return Response(status_code=422)
    size, draft = ask.query.get("size", ""), ask.query.get("draft") == "yes"
    sizes = (size,) if size in SIZES else SIZES
    found = views.drawn(subject, asked, sizes=sizes, draft=draft)
    return HTMLResponse(
        fragment("planner/_drawn.html", drawn=found, draft=draft),
        headers={"Cache-Control": "no-store"},
    )


@router.post("/tanks/{tank_id}/plan/keep")
def keep(ask: Ask, tank: OwnTank) -> Response:
    """What was tried becomes a plan of its own; what hangs now stays as it is."""
    subject = _subject(ask, setup_shown(ask, tank, ask.text("setup", most=200)))
    asked = _asked(ask, subject, {name: ask.text(name, most=200) for name in ask.form})
    name = asked.form[reading.NAME]
    if asked.form.errors:
        return _page(ask, subject, asked)
    with ask.write() as db:
        kept = tanks.save_setup(
            db,
            tank_id=tank.id,
            lamps=asked.lamps,
            since=ask.today,
            reason="",
            name=name or "Tried on the plan",
            state="plan",
            by_id=ask.who.id,
        )
    return see_other(
        f"/tanks/{tank.id}/plan?setup={kept.id}",
        notice="Kept as a plan. What hangs over the tank was not touched.",
    )


def _page(ask: Asked, subject: Subject, asked: reading.WhatIf) -> Response:
    return ask.page("planner/plan.html", form=asked.form, view=views.plan_page(subject, asked))


def _subject(ask: Asked, shown: SetupShown) -> Subject:
    """The account of a setup, worked out outside the transaction."""
    if shown.setup is None:
        raise NotFound("Nothing hangs over this tank yet.")
    with ask.read() as db:
        rows = accounts.rows_of(db, shown.tank, today=ask.today, setup=shown.setup)
    return Subject(
        told=accounts.told(rows, unit=ask.unit),
        setup=shown.setup,
        own=shown.tank.owner_id == ask.who.id,
        is_current=shown.is_current,
    )


def _asked(ask: Asked, subject: Subject, typed: Mapping[str, str]) -> reading.WhatIf:
    return reading.read(
        typed,
        tank=subject.tank,
        hung=[one.row for one in subject.hung],
        animals=subject.animals,
        reader_unit=ask.unit,
    )
