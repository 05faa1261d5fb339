"""For stewards: the coming month, what is overdue or due, and minding each meter."""

from collections.abc import Callable
from datetime import date, timedelta

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import loans, messages, meters
from server.db.lending_month import month
from server.lending import moving
from server.lending.book import Book, Changed, Rest
from server.lending.rules import No
from server.models import Meter
from server.web import times
from server.web.ask import Ask, Asked
from server.web.forms import Filled
from server.web.lending import steward_view as views
from server.web.lending import view, words
from server.web.lending.acting import done_to
from server.web.lending.form import (
    LOST_REASON,
    MIND,
    PAPERS,
    meter_values,
    mind_values,
    read_calibration,
    read_meter,
    read_rest,
    refuse,
)
from server.web.lending.label import label_svg
from server.web.open import AnyMail, AnyRest, ClubMeter
from server.web.own_address import base_address
from server.web.page import see_other
from server.web.signed_in import NotFound, Steward

router = APIRouter(include_in_schema=False)

NEW_REST = 0  # no row has this id; the database gives the real one
_REST_NAMES = {"first": "rest_first", "last": "rest_last", "reason": "rest_reason"}


@router.get("/steward/meters")
def month_page(ask: Ask, who: Steward) -> Response:
    """The coming month at a glance; it prints as the month's list."""
    today = ask.today
    first = times.read_day(ask.query.get("from", "")) or today
    with ask.read() as db:
        found = month(
            db,
            first=first,
            last=first + timedelta(days=views.MONTH_DAYS - 1),
            today=today,
            due_by=today + timedelta(days=views.MONTH_DAYS),
        )
    shown = views.month_view(found, first=first, today=today, me=who.id)
    mails = bool(ask.request.app.state.settings.smtp_host)
    return ask.page("lending/month.html", view=shown, mails=mails)


@router.post("/steward/mail/{mail_id}/again")
def send_again(ask: Ask, who: Steward, mail: AnyMail) -> Response:
    with ask.write() as db:
        known = messages.send_again(db, mail.id)
    if not known:
        raise NotFound
    return see_other("/steward/meters", notice="It goes out once more.")


@router.post("/steward/mail/test")
def send_test_mail(ask: Ask, who: Steward) -> Response:
    """A message to the steward alone, to see that mail gets through."""
    told = "If you read this in your mail, the club's mail works."
    with ask.write() as db:
        messages.tell(
            db, who.id, subject="A test of the club's mail", words=told, link="/steward/meters"
        )
    notice = "On its way within a minute. If it does not get through, this page says why."
    return see_other("/steward/meters", notice=notice)


# A meter's papers


@router.get("/steward/meters/new")
def new_meter_page(ask: Ask, who: Steward) -> Response:
    return _papers(ask, None, PAPERS.showing())


@router.post("/steward/meters/new")
def add_meter(ask: Ask, who: Steward) -> Response:
    typed = read_meter(PAPERS.typed(ask, again=lambda form: _papers(ask, None, form)))
    with ask.write() as db:
        meter = meters.add_meter(db, **vars(typed))
        loans.write_down(db, meter, f"Added {typed.name}.", by_id=who.id)
    return see_other(
        f"/steward/meters/{meter.id}", notice=f"{typed.name} can be lent from today on."
    )


@router.get("/steward/meters/{meter_id}/edit")
def edit_page(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    return _papers(ask, meter, PAPERS.showing(meter_values(meter)))


@router.post("/steward/meters/{meter_id}/edit")
def edit(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    typed = read_meter(PAPERS.typed(ask, again=lambda form: _papers(ask, meter, form)))
    with ask.write() as db:
        changed = meters.change_meter(db, meter.id, **vars(typed))
        loans.write_down(db, changed, "Changed the meter's particulars.", by_id=who.id)
    return see_other(f"/steward/meters/{meter.id}", notice="Saved.")


def _papers(ask: Asked, meter: Meter | None, form: Filled) -> Response:
    return ask.page("lending/meter_form.html", form=form, meter=meter)


# Minding a meter


@router.get("/steward/meters/{meter_id}")
def mind_page(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    return _mind(ask, meter, MIND.showing(mind_values(ask.today)))


@router.post("/steward/meters/{meter_id}/calibrations")
def calibrate(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    typed = read_calibration(_typed(ask, meter), today=ask.today)
    with ask.write() as db:
        loans.write_down(db, meter, f"Entered a calibration: {typed.factor:g}.", by_id=who.id)
        meters.add_calibration(db, meter.id, by_id=who.id, **vars(typed))
    return see_other(f"/steward/meters/{meter.id}", notice="The calibration is entered.")


@router.post("/steward/meters/{meter_id}/rest")
def rest(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    form, today = _typed(ask, meter), ask.today
    typed = read_rest(form)
    which = Rest(id=NEW_REST, first=typed.first, last=typed.last, reason=typed.reason)
    with ask.read() as db:
        before = loans.last_act_id(db, meter.id)
    no = done_to(
        ask,
        meter.id,
        lambda book, rules: moving.rest(
            book, which, today=today, how="give_back" if typed.give_back else "move"
        ),
    )
    if no is not None:
        raise refuse(form, no, _REST_NAMES)
    with ask.read() as db:
        told = len(loans.told_after(db, meter.id, before))
    said = "nobody had to be told" if told == 0 else f"messages sent: {told}"
    return see_other(f"/steward/meters/{meter.id}", notice=f"It rests; {said}.")


@router.post("/steward/meters/{meter_id}/rests/{rest_id}/end")
def wake(ask: Ask, who: Steward, meter: ClubMeter, rest: AnyRest) -> Response:
    return _simply(
        ask,
        meter,
        lambda book, today: moving.wake(book, rest.id, today=today),
        "It can be lent again.",
    )


@router.post("/steward/meters/{meter_id}/lost")
def lose(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    reason = MIND.typed(ask)[LOST_REASON][:150]
    return _simply(
        ask,
        meter,
        lambda book, today: moving.lose(book, today=today, reason=reason),
        "Marked as lost. Everyone who was booked is told.",
    )


@router.post("/steward/meters/{meter_id}/found")
def find(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    return _simply(ask, meter, lambda book, today: moving.find(book), "Marked as found.")


@router.post("/steward/meters/{meter_id}/feed")
def renew_feed(ask: Ask, who: Steward, meter: ClubMeter) -> Response:
    with ask.write() as db:
        found = meters.meter(db, meter.id)
        if found is None:
            raise NotFound
        meters.renew_feed(db, found)
        loans.write_down(db, found, "Gave the meter's feed a new address.", by_id=who.id)
    return see_other(f"/steward/meters/{meter.id}", notice="The feed has a new address.")


@router.get("/meters/{meter_id}/label")
def label_page(ask: Ask, meter: ClubMeter) -> Response:
    """The label for the case, to print and stick on: a code to scan and the same in print."""
    address = f"{base_address(ask.request)}/m/{meter.label_code}"
    return ask.page("lending/label.html", meter=meter, address=address, code=label_svg(address))


def _simply(
    ask: Asked, meter: Meter, act: Callable[[Book, date], Changed | No], notice: str
) -> Response:
    today = ask.today
    no = done_to(ask, meter.id, lambda book, rules: act(book, today))
    back = f"/steward/meters/{meter.id}"
    return see_other(back, notice=no.reason, tone="no") if no else see_other(back, notice=notice)


def _typed(ask: Asked, meter: Meter) -> Filled:
    """One of the page's forms; the others begin as ever."""
    return MIND.typed(
        ask,
        again=lambda form: _mind(ask, meter, form),
        beside=MIND.showing(mind_values(ask.today)).values,
    )


def _mind(ask: Asked, meter: Meter, form: Filled) -> Response:
    today = ask.today
    with ask.read() as db:
        book = loans.book(db, meter, today=today)
        names = loans.names(db, [loan.member_id for loan in book.loans])
        calibrations = meters.calibrations_of(db, meter.id)
        in_force = meters.calibration_on(db, meter.id, today)
        rests = meters.rests_of(db, [meter.id])
    return ask.page(
        "lending/mind.html",
        form=form,
        meter=meter,
        standing=words.standing(meter, book, names, me=ask.who.id, today=today),
        facts=view.facts_of(meter, in_force),
        calibrations=calibrations,
        rests=[
            (row, views.rest_when(row))
            for row in rests
            if row.last_day is None or row.last_day >= today
        ],
        lost=book.lost,
    )
