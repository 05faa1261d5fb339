"""The meters, each meter, and asking for days."""

from datetime import date, timedelta

from fastapi import APIRouter
from fastapi.responses import Response
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.db import books, loans, meters
from server.db.lending_rule import lending_rule, rule_changed, set_lending_rule
from server.lending import queue
from server.lending.calendar import Stretch
from server.lending.rules import No, written
from server.models import Loan, Meter
from server.web import filters, times
from server.web.ask import Ask, Asked
from server.web.forms import Filled
from server.web.lending import view as views
from server.web.lending import words
from server.web.lending.acting import done_to
from server.web.lending.form import (
    CONDITION,
    HISTORY,
    METER,
    ON_DAY,
    RULE,
    read_days,
    read_rule,
    read_wish,
    refuse,
    rule_values,
)
from server.web.lending.loan_view import log_rows
from server.web.open import ClubMeter, OwnRequest
from server.web.page import see_other
from server.web.signed_in import NotFound, Steward

router = APIRouter(include_in_schema=False)

_IN_THE_QUEUE = "You are in the queue."


@router.get("/meters")
def meters_page(ask: Ask) -> Response:
    """All meters: what concerns me first, then the calendar."""
    today = ask.today
    asked = times.read_day(ask.query.get("from", ""))
    first = asked or today - timedelta(days=today.weekday())
    last = first + timedelta(days=words.STRIP_DAYS - 1)
    with ask.read() as db:
        found = meters.all_meters(db)
        ids = [meter.id for meter in found]
        shown = loans.loans_between(db, ids, first, last)
        held = {meter.id: loans.book(db, meter, today=today) for meter in found}
        rows = views.MetersRows(
            meters=found,
            shown=shown,
            resting=views.rests_in(meters.rests_of(db, ids), first, last),
            mine=loans.loans_of(db, ask.who.id, since=today - timedelta(days=60)),
            rules=lending_rule(db),
            held=held,
            names=loans.names(db, [row.member_id for row in shown] + views.people(held.values())),
        )
    view = views.meters_view(rows, me=ask.who.id, first=first, today=today)
    return ask.page("lending/meters.html", view=view)


@router.get("/meters/rule")
def rule_page(ask: Ask) -> Response:
    with ask.read() as db:
        return _rule(ask, RULE.showing(rule_values(lending_rule(db))))


@router.post("/meters/rule")
def set_rule(ask: Ask, who: Steward) -> Response:
    rules = read_rule(RULE.typed(ask, again=lambda form: _rule(ask, form)))
    with ask.write() as db:
        set_lending_rule(db, rules, by_id=who.id)
    return see_other("/meters/rule", notice="The rule is set.")


def _rule(ask: Asked, form: Filled) -> Response:
    with ask.read() as db:
        rules, changed = lending_rule(db), rule_changed(db)
        by_id = changed[0] if changed else None
        name = loans.names(db, [by_id]).get(by_id or 0)
    on = filters.local(changed[1], ask.zone).date() if changed else None
    return ask.page(
        "lending/rule.html", form=form, rules=rules, sentences=written(rules), on=on, by=name
    )


@router.get("/meters/{meter_id}")
def meter_page(ask: Ask, meter: ClubMeter) -> Response:
    return _meter(ask, meter, None)


@router.post("/meters/{meter_id}/book")
def book(ask: Ask, meter: ClubMeter) -> Response:
    form, today = _typed(ask, meter), ask.today
    days = read_days(form)
    try:
        with ask.write() as db:
            loan, no = loans.pick(db, meter.id, ask.who.id, days, today=today)
    except IntegrityError:  # the key of the day rows: somebody was a moment quicker
        with ask.read() as db:
            loan, no = None, loans.why_taken(db, meter.id, ask.who.id, days, today=today)
    loan = loan or _had_already(ask, meter, days, no)
    if loan is not None:
        return see_other(f"/loans/{loan.id}", notice=f"Yours: {views.when(loan)}.")
    if no is None:
        raise NotFound("There is no such meter.")
    if not no.taken:
        raise refuse(form, no)
    return _meter(ask, meter, refuse(form, no).form, nearest=no.nearest, status=409)


def _had_already(ask: Asked, meter: Meter, days: Stretch, no: No | None) -> Loan | None:
    """The button, pressed twice: the days are taken, by oneself."""
    if no is None or not no.taken:
        return None
    with ask.read() as db:
        return loans.booked_already(db, meter.id, ask.who.id, days)


@router.post("/meters/{meter_id}/join")
def join(ask: Ask, meter: ClubMeter) -> Response:
    form, today = _typed(ask, meter), ask.today
    wish = read_wish(form)
    try:
        with ask.write() as db:
            locked = books.locked(db, meter.id)
            assert locked is not None
            answer = loans.join(
                db,
                locked,
                ask.who.id,
                earliest=wish.earliest,
                latest=wish.latest,
                days=wish.days,
                purpose=wish.purpose,
                today=today,
            )
    except IntegrityError:  # sent twice at once: the first one stands
        return see_other(f"/meters/{meter.id}", notice=_IN_THE_QUEUE)
    if isinstance(answer, No):
        raise refuse(form, answer)
    return see_other(f"/meters/{meter.id}#place", notice=_IN_THE_QUEUE)


@router.post("/requests/{request_id}/leave")
def leave(ask: Ask, asked: OwnRequest) -> Response:
    done_to(ask, asked.meter_id, lambda book, rules: queue.withdraw(book, asked.id))
    return see_other(f"/meters/{asked.meter_id}", notice="You left the queue.")


@router.get("/meters/{meter_id}/history")
def history(ask: Ask, meter: ClubMeter) -> Response:
    """Where the meter was on any day, and everything that was written down."""
    form = HISTORY.in_address(ask)
    day = form[ON_DAY]
    with ask.read() as db:
        answer = _where(db, meter, day, ask.today) if day else ""
        acts = loans.acts_of_meter(db, meter.id, most=200)
        names = loans.names(db, [act.by_id for act in acts] + [act.member_id for act in acts])
    log = log_rows(acts, names, ask.zone, ask.clock)
    return ask.page("lending/history.html", form=form, meter=meter, answer=answer, log=log)


def _where(db: Session, meter: Meter, day: date, today: date) -> str:
    loan = loans.holder_on(db, meter.id, day)
    shown = filters.day(day)
    if loan is None:
        resting = views.rests_in(meters.rests_of(db, [meter.id]), day, day)
        if resting:
            return f"On {shown} it rested: {resting[0].reason}."
        return f"On {shown} nobody had it on loan; it was with its keeper."
    name = loans.names(db, [loan.member_id]).get(loan.member_id or 0, "a former member")
    if day > today:
        return f"On {shown} it will be with {name} ({views.when(loan)})."
    sure = "" if loan.taken_on else " No handover is on record; this is what was booked."
    return f"On {shown} it was with {name} ({views.when(loan)}).{sure}"


@router.post("/meters/{meter_id}/condition")
def note_condition(ask: Ask, meter: ClubMeter) -> Response:
    form = METER.typed(ask)
    noted = form[CONDITION][:1000]
    if noted:
        day = ask.today
        with ask.write() as db:
            meters.note_condition(db, meter.id, noted, day=day, by_id=ask.who.id)
    return see_other(
        f"/meters/{meter.id}#condition", notice="Written down." if noted else "Nothing was typed."
    )


# The page of one meter


def _typed(ask: Asked, meter: Meter) -> Filled:
    return METER.typed(ask, again=lambda form: _meter(ask, meter, form))


def _meter(
    ask: Asked,
    meter: Meter,
    form: Filled | None,
    *,
    nearest: Stretch | None = None,
    status: int = 200,
) -> Response:
    today = ask.today
    with ask.read() as db:
        rows = _rows_of(db, meter, today)
    view = views.meter_view(rows, me=ask.who.id, today=today, nearest=nearest)
    begun = _begun(ask, view.free)
    shown = METER.showing(begun) if form is None else _kept(form, begun)
    return ask.page("lending/meter.html", form=shown, view=view, status=status)


def _rows_of(db: Session, meter: Meter, today: date) -> views.MeterRows:
    rules = lending_rule(db)
    held = loans.book(db, meter, today=today)
    shown = loans.loans_between(db, [meter.id], today, today + timedelta(days=rules.ahead_days))
    noted = meters.condition_of(db, meter.id, most=10)
    people = [row.member_id for row in shown] + [row.member_id for row in noted]
    return views.MeterRows(
        meter=meters.meter(db, meter.id) or meter,
        held=held,
        rules=rules,
        shown=shown,
        resting=meters.rests_of(db, [meter.id]),
        noted=noted,
        calibration=meters.calibration_on(db, meter.id, today),
        names=loans.names(db, people + views.people([held])),
    )


def _begun(ask: Asked, free: tuple[views.FreeRow, ...]) -> dict[str, str]:
    """What the two forms hold at first: the address's days, or the next free ones."""
    first = ask.query.get("from", free[0].first if free else "")
    last = ask.query.get("to", "")
    if not last and free and first == free[0].first:
        last = str(date.fromisoformat(first) + timedelta(days=min(free[0].days, 3) - 1))
    return {
        "from": first if times.read_day(first) else "",
        "to": last if times.read_day(last) else "",
        "earliest": str(ask.today),
    }


def _kept(form: Filled, begun: dict[str, str]) -> Filled:
    """A refused form as it was typed; the page's other form begins as ever."""
    sent = {name: value for name, value in form.values.items() if value}
    form.values = METER.showing(begun).values | sent
    return form
