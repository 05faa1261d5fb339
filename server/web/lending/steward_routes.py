"""For stewards: the coming month, what is overdue or due, and minding each meter."""

from collections.abc import Callable
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import books, club_day, loans, messages, meters
from server.lending import moving
from server.lending.book import Book, Changed, Rest
from server.lending.rules import No, Rules
from server.models import Member, Meter
from server.web.lending import form as reading
from server.web.lending import steward_view as views
from server.web.lending.label import label_svg
from server.web.lending.message_routes import base_address
from server.web.lending.numbers import Id
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Steward, Typed, Who, text
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)

NEW_REST = 0  # no row has this id; the database gives the real one


@router.get("/steward/meters")
def month_page(request: Request, who: Steward, club: Club) -> Response:
    """The coming month at a glance; it prints as the month's list."""
    with club.read() as db:
        today = club_day.today(db)
        first = reading.read_day(request.query_params.get("from", "")) or today
        view = views.month_view(
            db,
            first=first,
            today=today,
            me=who.id,
            mails=bool(request.app.state.settings.smtp_host),
        )
    return page(request, "lending/month.html", view=view)


@router.post("/steward/mail/{mail_id}/again")
def send_again(who: Steward, club: Club, mail_id: Id) -> Response:
    with club.write() as db:
        known = messages.send_again(db, mail_id)
    if not known:
        raise NotFound
    return see_other("/steward/meters", notice="It goes out once more.")


@router.post("/steward/mail/test")
def send_test_mail(who: Steward, club: Club) -> Response:
    """A message to the steward alone, to see that mail gets through."""
    words = "If you read this in your mail, the club's mail works."
    with club.write() as db:
        messages.tell(
            db, who.id, subject="A test of the club's mail", words=words, link="/steward/meters"
        )
    notice = "On its way within a minute. If it does not get through, this page says why."
    return see_other("/steward/meters", notice=notice)


@router.get("/steward/meters/new")
def new_meter_page(request: Request, who: Steward) -> Response:
    view = views.form_view(None, None)
    return page(request, "lending/meter_form.html", view=view)


@router.post("/steward/meters/new")
def add_meter(request: Request, who: Steward, club: Club, form: Typed) -> Response:
    typed = reading.read_meter(form)
    if isinstance(typed, Refused):
        view = views.form_view(None, typed)
        return page(request, "lending/meter_form.html", view=view, status=422)
    with club.write() as db:
        meter = meters.add_meter(
            db,
            name=typed.name,
            reads=typed.reads,
            immersion_factor=typed.immersion_factor,
            case_contents=typed.case_contents,
            keeper=typed.keeper,
        )
        loans.write_down(db, meter, f"Added {typed.name}.", by_id=who.id)
    return see_other(
        f"/steward/meters/{meter.id}", notice=f"{typed.name} can be lent from today on."
    )


@router.get("/steward/meters/{meter_id}")
def mind_page(request: Request, who: Steward, club: Club, meter_id: Id) -> Response:
    return _mind(request, who, club, meter_id)


@router.get("/steward/meters/{meter_id}/edit")
def edit_page(request: Request, who: Steward, club: Club, meter_id: Id) -> Response:
    with club.read() as db:
        view = views.form_view(_found(db, meter_id), None)
    return page(request, "lending/meter_form.html", view=view)


@router.post("/steward/meters/{meter_id}/edit")
def edit(request: Request, who: Steward, club: Club, form: Typed, meter_id: Id) -> Response:
    typed = reading.read_meter(form)
    if isinstance(typed, Refused):
        with club.read() as db:
            view = views.form_view(_found(db, meter_id), typed)
        return page(request, "lending/meter_form.html", view=view, status=422)
    with club.write() as db:
        found = _found(db, meter_id)
        found.name, found.reads = typed.name, typed.reads
        found.immersion_factor = typed.immersion_factor
        found.case_contents, found.keeper = typed.case_contents, typed.keeper
        db.add(found)
        loans.write_down(db, found, "Changed the meter's particulars.", by_id=who.id)
    return see_other(f"/steward/meters/{meter_id}", notice="Saved.")


@router.post("/steward/meters/{meter_id}/calibrations")
def calibrate(request: Request, who: Steward, club: Club, form: Typed, meter_id: Id) -> Response:
    with club.read() as db:
        today = club_day.today(db)
    typed = reading.read_calibration(form, today=today)
    if isinstance(typed, Refused):
        return _mind(request, who, club, meter_id, refused=typed)
    with club.write() as db:
        found = _found(db, meter_id)
        loans.write_down(db, found, f"Entered a calibration: {typed.factor:g}.", by_id=who.id)
        meters.add_calibration(
            db,
            meter_id,
            done_on=typed.done_on,
            factor=typed.factor,
            due_on=typed.due_on,
            note=typed.note,
            by_id=who.id,
        )
    return see_other(f"/steward/meters/{meter_id}", notice="The calibration is entered.")


@router.post("/steward/meters/{meter_id}/rest")
def rest(request: Request, who: Steward, club: Club, form: Typed, meter_id: Id) -> Response:
    typed = reading.read_rest(form)
    if isinstance(typed, Refused):
        return _mind(request, who, club, meter_id, refused=typed)
    with club.write() as db:
        meter = _locked(db, meter_id)
        today = club_day.today(db)
        before = loans.last_act_id(db, meter_id)

        def act(book: Book, rules: Rules) -> Changed | No:
            which = Rest(id=NEW_REST, first=typed.first, last=typed.last, reason=typed.reason)
            return moving.rest(
                book, which, today=today, how="give_back" if typed.give_back else "move"
            )

        answer = loans.act(db, meter, act, today=today, by_id=who.id)
        told = len(loans.told_after(db, meter_id, before))
    if isinstance(answer, No):
        values = {
            "rest_first": typed.first.isoformat(),
            "rest_last": typed.last.isoformat() if typed.last else "",
            "rest_reason": typed.reason,
        }
        names = {"first": "rest_first", "last": "rest_last", "reason": "rest_reason"}
        refused = Refused(values, reading.errors_of(answer, names))
        return _mind(request, who, club, meter_id, refused=refused)
    words = "nobody had to be told" if told == 0 else f"messages sent: {told}"
    return see_other(f"/steward/meters/{meter_id}", notice=f"It rests; {words}.")


@router.post("/steward/meters/{meter_id}/rests/{rest_id}/end")
def wake(who: Steward, club: Club, meter_id: Id, rest_id: Id) -> Response:
    return _simply(
        club,
        who.id,
        meter_id,
        lambda book, today: moving.wake(book, rest_id, today=today),
        "It can be lent again.",
    )


@router.post("/steward/meters/{meter_id}/lost")
def lose(who: Steward, club: Club, form: Typed, meter_id: Id) -> Response:
    reason = text(form, "lost_reason", most=150)
    return _simply(
        club,
        who.id,
        meter_id,
        lambda book, today: moving.lose(book, today=today, reason=reason),
        "Marked as lost. Everyone who was booked is told.",
    )


@router.post("/steward/meters/{meter_id}/found")
def find(who: Steward, club: Club, meter_id: Id) -> Response:
    return _simply(
        club, who.id, meter_id, lambda book, today: moving.find(book), "Marked as found."
    )


@router.post("/steward/meters/{meter_id}/feed")
def renew_feed(who: Steward, club: Club, meter_id: Id) -> Response:
    with club.write() as db:
        found = _found(db, meter_id)
        meters.renew_feed(db, found)
        loans.write_down(db, found, "Gave the meter's feed a new address.", by_id=who.id)
    return see_other(f"/steward/meters/{meter_id}", notice="The feed has a new address.")


@router.get("/meters/{meter_id}/label")
def label_page(request: Request, who: Who, club: Club, meter_id: Id) -> Response:
    """The label for the case, to print and stick on: a code to scan and the same in print."""
    with club.read() as db:
        meter = _found(db, meter_id)
    address = f"{base_address(request)}/m/{meter.label_code}"
    view = views.LabelView(
        id=meter_id,
        name=meter.name,
        address=address,
        shown=address.partition("://")[2],
        code=label_svg(address),
        keeper=meter.keeper,
    )
    return page(request, "lending/label.html", view=view)


# What several of these share


def _simply(
    club: Club,
    by_id: int | None,
    meter_id: int,
    act: Callable[[Book, date], Changed | No],
    notice: str,
) -> Response:
    with club.write() as db:
        meter = _locked(db, meter_id)
        today = club_day.today(db)
        answer = loans.act(
            db, meter, lambda book, rules: act(book, today), today=today, by_id=by_id
        )
    words = answer.reason if isinstance(answer, No) else notice
    tone = "no" if isinstance(answer, No) else "done"
    return see_other(f"/steward/meters/{meter_id}", notice=words, tone=tone)


def _mind(
    request: Request, who: Member, club: Club, meter_id: int, *, refused: Refused | None = None
) -> Response:
    with club.read() as db:
        meter = _found(db, meter_id)
        today = club_day.today(db)
        view = views.mind_view(db, meter, me=who.id, today=today, refused=refused)
    return page(request, "lending/mind.html", view=view, status=422 if refused else 200)


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
