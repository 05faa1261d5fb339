"""Pages of measurement sessions: the list, a new one, one session, correcting and undoing."""

from collections.abc import Sequence
from urllib.parse import quote

import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session, col, select

from server.db import club_day, measured, members, meters, surveys, tanks, uploads
from server.db.surveys import SessionWords
from server.models import (
    Loan,
    MeasurementSession,
    Member,
    Meter,
    MeterCalibration,
    Reading,
    Setup,
    Tank,
)
from server.surveys import readings as domain
from server.surveys.day_curve import DayCurve, day_curve
from server.surveys.table_text import NotATable, plain_text
from server.web.entry import plan as planning
from server.web.page import own_path, page, see_other
from server.web.signed_in import Club, Typed, Who, text
from server.web.surveys import export
from server.web.surveys import form as reading
from server.web.surveys import view as views
from server.web.surveys.open import own_session, session_to_see
from server.web.tanks.open import own_tank, tank_to_see
from server.web.tanks.typed import Refused
from server.web.uploads import words as session_words

router = APIRouter(include_in_schema=False)

_MOST_COMBINED = 2_000  # a page of more readings than that tells no points apart


@router.get("/tanks/{tank_id}/sessions")
def session_list(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        kept = surveys.sessions_of(db, tank_id)
        own = tank.owner_id == who.id
        aside = surveys.sessions_of(db, tank_id, set_aside=True) if own else []
        names = {m.id: m.name for m in db.exec(select(Member))}
    view = views.session_list(who, tank, kept, aside, names)
    return page(request, "surveys/sessions.html", view=view)


# A new session


@router.get("/tanks/{tank_id}/sessions/new")
def new_session(request: Request, who: Who, club: Club, tank_id: int) -> Response:
    with club.read() as db:
        own_tank(db, who, tank_id)
        values = reading.values_at_start(club_day.today(db), _meter_at_home(db, who))
    return _form(request, who, club, tank_id, values, {})


@router.post("/tanks/{tank_id}/sessions/new")
def begin_session(request: Request, who: Who, club: Club, form: Typed, tank_id: int) -> Response:
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
        words = _read_words(db, form, who, tank)
    sent = reading.read_table(form) if text(form, "way") == "table" else None
    errors = dict(words.errors) if isinstance(words, Refused) else {}
    trouble = sent if isinstance(sent, str) else _trouble(sent)
    if trouble:
        errors["file"] = trouble
    if isinstance(words, Refused) or errors:
        return _form(request, who, club, tank_id, _as_typed(form), errors)
    if isinstance(sent, reading.SentTable):
        return _keep(club, who, tank_id, words, sent)
    return _begin_by_hand(club, who, tank, words)


def _trouble(sent: reading.SentTable | None) -> str:
    """Why a file is no table at all; said on the form, before anything is kept."""
    if sent is None:
        return ""
    try:
        plain_text(sent.data)
    except NotATable as refusal:
        return str(refusal)
    return ""


def _keep(
    club: Club, who: Member, tank_id: int, words: SessionWords, sent: reading.SentTable
) -> Response:
    with club.write() as db:
        upload = uploads.keep_upload(
            db,
            tank_id=tank_id,
            member_id=who.id,
            data=sent.data,
            file_name=sent.file_name,
            pasted=sent.pasted,
            session_words=session_words.as_text(words),
        )
    return see_other(f"/uploads/{upload.id}")


def _begin_by_hand(club: Club, who: Member, tank: Tank, words: SessionWords) -> Response:
    with club.read() as db:
        animals = tanks.animals_of(db, tank.id)
        setup = db.get(Setup, words.setup_id) if words.setup_id else None
        stated = surveys.by_the_book(db, words)
        rows = measured.rows_of(db, tank, setup) if setup else None
    points = planning.points(tank, animals)
    factor = stated.immersion_factor * (stated.calibration_factor or 1.0)
    expected = planning.expected(measured.measured(rows) if rows else None, points, factor)
    with club.write() as db:
        session = surveys.add_session(db, tank_id=tank.id, words=words, by_id=who.id)
        surveys.set_open_points(db, session, points, expected)
        surveys.note_act(db, session, "begun", by_id=who.id)
    return see_other(f"/sessions/{session.id}/enter")


def _form(
    request: Request,
    who: Member,
    club: Club,
    tank_id: int,
    values: dict[str, str],
    errors: dict[str, str],
) -> Response:
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
        view = views.session_form(
            who,
            tank,
            values=values,
            errors=errors,
            meters=_with_calibrations(db),
            setups=_hung(db, tank_id),
        )
    return page(request, "surveys/new.html", view=view, status=422 if errors else 200)


def _as_typed(form: Typed) -> dict[str, str]:
    names = reading.FIELDS
    return {name: text(form, name, most=400_000) for name in names}


def _read_words(
    db: Session, form: Typed, who: Member, tank: Tank, was: SessionWords | None = None
) -> SessionWords | Refused:
    return reading.read_session(
        form,
        who,
        tank,
        today=club_day.today(db),
        setups=_hung(db, tank.id),
        meters=_meters(db),
        was=was,
    )


def _hung(db: Session, tank_id: int) -> list[Setup]:
    return [one for one in tanks.setups_of(db, tank_id) if one.state == "hung"]


def _meters(db: Session) -> list[Meter]:
    return list(db.exec(select(Meter).where(Meter.state != "lost").order_by(col(Meter.id))))


def _with_calibrations(db: Session) -> list[tuple[Meter, MeterCalibration | None]]:
    """The meters with the calibration in force today."""
    today = club_day.today(db)
    return [(one, meters.calibration_on(db, one.id, today)) for one in _meters(db)]


def _meter_at_home(db: Session, who: Member) -> Meter | None:
    """The meter the member has on loan today; the club's only one where there is but one."""
    today = club_day.today(db)
    lent = select(Meter).join(Loan, col(Loan.meter_id) == col(Meter.id))
    lent = lent.where(Loan.member_id == who.id, Loan.first_day <= today, Loan.last_day >= today)
    found = db.exec(lent).first()
    if found is not None:
        return found
    known = _meters(db)
    return known[0] if len(known) == 1 else None


# One session


@router.get("/sessions/{session_id}")
def session_page(request: Request, who: Who, club: Club, session_id: int) -> Response:
    asked = request.query_params.get("page", "")
    number = max(1, int(asked)) if asked.isascii() and asked.isdigit() and len(asked) < 6 else 1
    with club.read() as db:
        session, tank = session_to_see(db, who, session_id)
        total, struck = surveys.reading_count(db, session_id)
        few = total <= _MOST_COMBINED
        counting = surveys.readings_of(db, session_id, struck=False) if few else []
        found = members.club_of(db)
        rows = views.SessionRows(
            session=session,
            tank=tank,
            setup=db.get(Setup, session.setup_id) if session.setup_id else None,
            meter=db.get(Meter, session.meter_id) if session.meter_id else None,
            in_force=meters.calibration_on(db, session.meter_id or 0, session.taken_on),
            readings=surveys.readings_of(
                db,
                session_id,
                limit=views.ROWS_A_PAGE,
                start=(number - 1) * views.ROWS_A_PAGE,
            ),
            total=total,
            struck=struck,
            counted=_soundings(counting),
            light_range=surveys.light_range(db, session_id),
            curve=_curve(db, session),
            file=uploads.file_named(db, session_id),
            acts=surveys.acts_of(db, session_id),
            time_zone=found.time_zone if found else "UTC",
            page=number,
        )
    return page(request, "surveys/session.html", view=views.session_page(who, rows))


def _soundings(readings: Sequence[Reading]) -> tuple[domain.Sounding, ...]:
    return domain.combined(
        [
            domain.Reading(
                x_cm=one.x_cm,
                y_cm=one.y_cm,
                depth_cm=one.depth_cm,
                ppfd=one.ppfd,
                number=one.id,
            )
            for one in readings
        ]
    )


def _curve(db: Session, session: MeasurementSession) -> DayCurve | None:
    if session.kind != "log":
        return None
    lines = surveys.log_of(db, session.id)
    if not lines:
        return None
    curve = day_curve([at for at, _ in lines], [ppfd for _, ppfd in lines])
    return curve if np.count_nonzero(~np.isnan(curve.ppfd)) > 1 else None  # one point: no line


@router.get("/sessions/{session_id}/readings.csv")
def session_csv(request: Request, who: Who, club: Club, session_id: int) -> Response:
    with club.read() as db:
        session, tank = session_to_see(db, who, session_id)
        meter = db.get(Meter, session.meter_id) if session.meter_id else None
        words = export.description(session, tank, meter, request.app.state.club_name)
        if session.kind == "log":
            table = export.log_csv(words, surveys.logged_rows(db, session_id))
        else:
            table = export.points_csv(words, surveys.readings_of(db, session_id))
    name = f"readings-{tank.name}-{session.taken_on}.csv"
    return _attachment(table.encode("utf-8-sig"), name, "text/csv; charset=utf-8; header=present")


@router.get("/sessions/{session_id}/file")
def session_file(who: Who, club: Club, session_id: int) -> Response:
    """The file exactly as it was sent, never shown in the browser."""
    with club.read() as db:
        own_session(db, who, session_id)
        upload = uploads.file_of(db, session_id)
    if upload is None:
        return see_other(f"/sessions/{session_id}", notice="These readings came without a file.")
    return _attachment(upload.data, upload.file_name or "pasted.txt", "application/octet-stream")


def _attachment(data: bytes, name: str, kind: str) -> Response:
    """RFC 6266: a plain name for old readers, the real one encoded."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in name)
    return Response(
        data,
        media_type=kind,
        headers={
            "Content-Disposition": f"attachment; filename=\"{plain}\"; filename*=UTF-8''"
            f"{quote(name, safe='')}"
        },
    )


# Correcting and undoing


@router.get("/sessions/{session_id}/correct")
def correct_page(request: Request, who: Who, club: Club, session_id: int) -> Response:
    return _correct_form(request, who, club, session_id, None)


@router.post("/sessions/{session_id}/correct")
def correct_session(
    request: Request, who: Who, club: Club, form: Typed, session_id: int
) -> Response:
    with club.read() as db:
        session, tank = own_session(db, who, session_id)
        words = _read_words(db, form, who, tank, was=words_of(session))
    if isinstance(words, Refused):
        return _correct_form(request, who, club, session_id, words)
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        surveys.correct_session(db, session, words, who.id)
    return see_other(f"/sessions/{session_id}", notice="Corrected.")


def words_of(session: MeasurementSession) -> SessionWords:
    """What a stored session states about itself."""
    return SessionWords(
        **{name: getattr(session, name) for name in SessionWords.__dataclass_fields__}
    )


def _correct_form(
    request: Request, who: Member, club: Club, session_id: int, refused: Refused | None
) -> Response:
    with club.read() as db:
        session, tank = own_session(db, who, session_id)
        in_force = meters.calibration_factor_on(db, session.meter_id, session.taken_on)
        values = reading.values_of(words_of(session), who.length_unit, in_force=in_force)
        view = views.session_form(
            who,
            tank,
            values=values | (refused.values if refused else {}),
            errors=refused.errors if refused else {},
            meters=_with_calibrations(db),
            setups=_hung(db, tank.id),
            session=session,
        )
    return page(request, "surveys/correct.html", view=view, status=422 if refused else 200)


@router.post("/sessions/{session_id}/readings/{reading_id}/strike")
def strike(who: Who, club: Club, form: Typed, session_id: int, reading_id: int) -> Response:
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        found = surveys.reading_in(db, session, reading_id)
        if found is not None and found.struck_reason is None:
            surveys.strike(db, session, found, reason=reading.read_reason(form), by_id=who.id)
    return see_other(_back_to(form, session_id), notice="Struck out. It stays in the list.")


@router.post("/sessions/{session_id}/readings/{reading_id}/bring-back")
def bring_back(who: Who, club: Club, form: Typed, session_id: int, reading_id: int) -> Response:
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        found = surveys.reading_in(db, session, reading_id)
        if found is not None and found.struck_reason is not None:
            surveys.bring_back(db, session, found, by_id=who.id)
    return see_other(_back_to(form, session_id), notice="Brought back.")


def _back_to(form: Typed, session_id: int) -> str:
    then = text(form, "then", most=200)
    if then:
        return own_path(then, f"/sessions/{session_id}")
    number = text(form, "page", most=5)
    return f"/sessions/{session_id}" + (f"?page={number}" if number.isdigit() else "")


@router.post("/sessions/{session_id}/set-aside")
def set_aside(who: Who, club: Club, session_id: int) -> Response:
    with club.write() as db:
        session, tank = own_session(db, who, session_id)
        if session.removed_at is None:
            surveys.set_session_aside(db, session, who.id)
    return see_other(
        f"/tanks/{tank.id}/sessions", notice="Set aside. You find it below, and can bring it back."
    )


@router.post("/sessions/{session_id}/bring-back")
def bring_session_back(who: Who, club: Club, session_id: int) -> Response:
    with club.write() as db:
        session, _ = own_session(db, who, session_id)
        if session.removed_at is not None:
            surveys.bring_session_back(db, session, who.id)
    return see_other(f"/sessions/{session_id}", notice="The session is back.")
