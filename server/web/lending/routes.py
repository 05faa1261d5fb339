"""The meters, each meter, and asking for days."""

from datetime import date, timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.db import books, club_day, loans, meters
from server.db.lending_rule import lending_rule, rule_changed, set_lending_rule
from server.lending import queue
from server.lending.book import Book
from server.lending.calendar import Stretch
from server.lending.rules import No
from server.models import Member, Meter
from server.web import filters
from server.web.lending import form as reading
from server.web.lending import view as views
from server.web.lending import words
from server.web.lending.numbers import Id
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Steward, Typed, Who
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/meters")
def meters_page(request: Request, who: Who, club: Club) -> Response:
    """All meters: what concerns me first, then the calendar."""
    with club.read() as db:
        today = club_day.today(db)
        first = _first_shown(request, today)
        view = _meters_view(db, who, first=first, today=today)
    return page(request, "lending/meters.html", view=view)


@router.get("/meters/rule")
def rule_page(request: Request, who: Who, club: Club) -> Response:
    return _rule(request, who, club)


@router.post("/meters/rule")
def set_rule(request: Request, who: Steward, club: Club, form: Typed) -> Response:
    typed = reading.read_rule(form)
    if isinstance(typed, Refused):
        return _rule(request, who, club, refused=typed)
    with club.write() as db:
        set_lending_rule(db, typed, by_id=who.id)
    return see_other("/meters/rule", notice="The rule is set.")


def _rule(request: Request, who: Member, club: Club, *, refused: Refused | None = None) -> Response:
    with club.read() as db:
        rules, changed = lending_rule(db), rule_changed(db)
        name = loans.names(db, [changed[0]]).get(changed[0] or 0) if changed else None
        zone = club_day.zone(db)
    told = "The club has not changed this rule yet."
    if changed:
        told = f"Set on {filters.day(filters.local(changed[1], zone).date())}"
        told += f" by {name}." if name else "."
    view = views.rule_view(
        rules,
        steward=who.role == "steward",
        changed=told,
        values=refused.values if refused else None,
        errors=refused.errors if refused else None,
    )
    return page(request, "lending/rule.html", view=view, status=422 if refused else 200)


@router.get("/meters/{meter_id}")
def meter_page(request: Request, who: Who, club: Club, meter_id: Id) -> Response:
    return _meter(request, who, club, meter_id)


@router.post("/meters/{meter_id}/book")
def book(request: Request, who: Who, club: Club, form: Typed, meter_id: Id) -> Response:
    typed = reading.read_days(form)
    if isinstance(typed, Refused):
        return _meter(request, who, club, meter_id, refused=typed)
    try:
        with club.write() as db:
            today = club_day.today(db)
            loan, no = loans.pick(db, meter_id, who.id, typed, today=today)
    except IntegrityError:  # the key of the day rows: somebody was a moment quicker
        with club.read() as db:
            today = club_day.today(db)
            no = loans.why_taken(db, meter_id, who.id, typed, today=today)
        loan = None
    if no is not None and no.taken:
        with club.read() as db:
            loan = loans.booked_already(db, meter_id, who.id, typed)  # the button, twice
    if no is not None and loan is None:
        values = {"from": typed.first.isoformat(), "to": typed.last.isoformat()}
        refused = Refused(values, reading.errors_of(no))
        status = 409 if no.taken else 422
        return _meter(
            request, who, club, meter_id, refused=refused, nearest=no.nearest, status=status
        )
    if loan is None:
        raise NotFound("There is no such meter.")
    return see_other(f"/loans/{loan.id}", notice=f"Yours: {views.when(loan)}.")


@router.post("/meters/{meter_id}/join")
def join(request: Request, who: Who, club: Club, form: Typed, meter_id: Id) -> Response:
    typed = reading.read_asked(form)
    if isinstance(typed, Refused):
        return _meter(request, who, club, meter_id, refused=typed)
    try:
        with club.write() as db:
            answer = loans.join(
                db,
                _locked(db, meter_id),
                who.id,
                earliest=typed.earliest,
                latest=typed.latest,
                days=typed.days,
                purpose=typed.purpose,
                today=club_day.today(db),
            )
    except IntegrityError:  # sent twice at once: the first one stands
        return see_other(f"/meters/{meter_id}", notice="You are in the queue.")
    if isinstance(answer, No):
        values = {
            "earliest": typed.earliest.isoformat(),
            "latest": typed.latest.isoformat() if typed.latest else "",
            "days": str(typed.days),
            "purpose": typed.purpose.value,
        }
        refused = Refused(values, reading.errors_of(answer))
        return _meter(request, who, club, meter_id, refused=refused)
    return see_other(f"/meters/{meter_id}#place", notice="You are in the queue.")


@router.post("/requests/{request_id}/leave")
def leave(who: Who, club: Club, request_id: Id) -> Response:
    with club.write() as db:
        found = loans.request(db, request_id)
        if found is None or found.member_id != who.id:
            raise NotFound
        meter_id = found.meter_id
        loans.act(
            db,
            _locked(db, meter_id),
            lambda book, rules: queue.withdraw(book, request_id),
            today=club_day.today(db),
            by_id=who.id,
        )
    return see_other(f"/meters/{meter_id}", notice="You left the queue.")


@router.get("/meters/{meter_id}/history")
def history(request: Request, who: Who, club: Club, meter_id: Id) -> Response:
    """Where the meter was on any day, and everything that was written down."""
    asked = request.query_params.get("day", "")
    day = reading.read_day(asked) if asked else None
    with club.read() as db:
        meter = _found(db, meter_id)
        zone, today = club_day.zone(db), club_day.today(db)
        answer = _where(db, meter, day, today) if day else ""
        acts = loans.acts_of_meter(db, meter_id, most=200)
        names = loans.names(db, [act.by_id for act in acts] + [act.member_id for act in acts])
    view = {
        "id": meter_id,
        "name": meter.name,
        "day": asked,
        "answer": answer,
        "error": "" if day or not asked else "Enter a day, like 2026-12-01.",
        "log": views.log_rows(acts, names, zone, who.clock),
    }
    status = 422 if view["error"] else 200
    return page(request, "lending/history.html", view=view, status=status)


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
def note_condition(who: Who, club: Club, form: Typed, meter_id: Id) -> Response:
    noted = reading.text(form, "condition", most=1000)
    with club.write() as db:
        _found(db, meter_id)
        if noted:
            day = club_day.today(db)
            meters.note_condition(db, meter_id, noted, day=day, by_id=who.id)
    return see_other(
        f"/meters/{meter_id}#condition", notice="Written down." if noted else "Nothing was typed."
    )


# What several of these share


def _meters_view(db: Session, who: Member, *, first: date, today: date) -> views.MetersView:
    found = meters.all_meters(db)
    ids = [meter.id for meter in found]
    last = first + timedelta(days=words.STRIP_DAYS - 1)
    shown = loans.loans_between(db, ids, first, last)
    resting = views.rests_in(meters.rests_of(db, ids), first, last)
    mine = loans.loans_of(db, who.id, since=today - timedelta(days=60))
    rules = lending_rule(db)
    held = {meter.id: loans.book(db, meter, today=today) for meter in found}
    names = loans.names(db, [row.member_id for row in shown] + _people(held.values()))
    called = {meter.id: meter.name for meter in found}
    queues = {
        meter_id: views.queue_rows(book, rules, names, me=who.id, today=today)
        for meter_id, book in held.items()
    }
    return views.MetersView(
        offers=views.offer_cards(mine, called, who.id),
        mine=views.my_days(mine, called, today=today),
        places=tuple(
            (meter_id, called[meter_id], row)
            for meter_id, rows in queues.items()
            for row in rows
            if row.mine
        ),
        meters=tuple(
            views.MeterCard(
                id=meter.id,
                name=meter.name,
                standing=words.standing(meter, held[meter.id], names, me=who.id, today=today),
                waiting=_waiting(len(queues[meter.id])),
                rows=words.rows_of(
                    [row for row in shown if row.meter_id == meter.id],
                    [row for row in resting if row.meter_id == meter.id],
                    names,
                    me=who.id,
                    today=today,
                ),
            )
            for meter in found
        ),
        strip=words.calendar_strip(
            found, shown, resting, names, me=who.id, first=first, today=today
        )
        if found
        else None,
        earlier=(first - timedelta(days=words.STRIP_DAYS)).isoformat(),
        later=(last + timedelta(days=1)).isoformat(),
        steward=who.role == "steward",
    )


def _waiting(number: int) -> str:
    if number == 0:
        return "Nobody is waiting."
    return filters.count(number, "member") + (" is waiting." if number == 1 else " are waiting.")


def _people(held: Any) -> list[int | None]:
    people: list[int | None] = []
    for book in held:
        people += [loan.member_id for loan in book.loans]
        people += [request.member_id for request in book.requests]
    return people


def _meter(
    request: Request,
    who: Member,
    club: Club,
    meter_id: int,
    *,
    refused: Refused | None = None,
    nearest: Stretch | None = None,
    status: int = 422,
) -> Response:
    with club.read() as db:
        meter = _found(db, meter_id)
        today = club_day.today(db)
        view = _meter_view(db, who, meter, request, refused, nearest, today)
    return page(request, "lending/meter.html", view=view, status=status if refused else 200)


def _meter_view(
    db: Session,
    who: Member,
    meter: Meter,
    request: Request,
    refused: Refused | None,
    nearest: Stretch | None,
    today: date,
) -> views.MeterView:
    held = loans.book(db, meter, today=today)
    rules = lending_rule(db)
    last = today + timedelta(days=words.STRIP_DAYS - 1)
    shown = loans.loans_between(db, [meter.id], today, today + timedelta(days=rules.ahead_days))
    resting = meters.rests_of(db, [meter.id])
    noted = meters.condition_of(db, meter.id, most=10)
    names = loans.names(
        db,
        [row.member_id for row in shown] + [row.member_id for row in noted] + _people([held]),
    )
    rows = views.queue_rows(held, rules, names, me=who.id, today=today)
    free = views.free_rows(held, today=today, ahead_days=rules.ahead_days)
    coming = [row for row in resting if (row.last_day or last) >= today]
    return views.MeterView(
        id=meter.id,
        name=meter.name,
        standing=words.standing(meter, held, names, me=who.id, today=today),
        facts=views.facts_of(meter, meters.calibration_on(db, meter.id, today)),
        case=tuple(line for line in meter.case_contents.splitlines() if line.strip()),
        strip=words.calendar_strip(
            [meter],
            [row for row in shown if row.first_day <= last],
            views.rests_in(coming, today, last),
            names,
            me=who.id,
            first=today,
            today=today,
        ),
        rows=words.rows_of(shown, coming, names, me=who.id, today=today),
        free=free,
        queue=rows,
        my_place=next((row for row in rows if row.mine), None),
        offers=views.offer_cards(shown, {meter.id: meter.name}, who.id),
        condition=tuple(
            (filters.day(one.day), names.get(one.member_id or 0, ""), one.words) for one in noted
        ),
        steward=who.role == "steward",
        longest=rules.longest_loan_days,
        purposes=tuple((key.value, named) for key, named in words.PURPOSES.items()),
        values=_values(request, held, free, today, refused),
        errors=refused.errors if refused else {},
        nearest=views.free_row(nearest) if nearest else None,
    )


def _values(
    request: Request,
    book: Book,
    free: tuple[views.FreeRow, ...],
    today: date,
    refused: Refused | None,
) -> dict[str, str]:
    """What the two forms hold at first: the address's days, or the next free ones."""
    first = request.query_params.get("from", free[0].first if free else "")
    last = request.query_params.get("to", "")
    if not last and free and first == free[0].first:
        last = (date.fromisoformat(first) + timedelta(days=min(free[0].days, 3) - 1)).isoformat()
    blank = {
        "from": first if reading.read_day(first) else "",
        "to": last if reading.read_day(last) else "",
        "earliest": today.isoformat(),
        "latest": "",
        "days": "3",
        "purpose": "routine",
    }
    return blank | (refused.values if refused else {})


def _first_shown(request: Request, today: date) -> date:
    asked = reading.read_day(request.query_params.get("from", ""))
    return asked or today - timedelta(days=today.weekday())


def _found(db: Session, meter_id: int) -> Meter:
    meter = meters.meter(db, meter_id)
    if meter is None:
        raise NotFound("There is no such meter.")
    return meter


def _locked(db: Session, meter_id: int) -> Meter:
    meter = books.locked(db, meter_id)
    if meter is None:
        raise NotFound("There is no such meter.")
    return meter
