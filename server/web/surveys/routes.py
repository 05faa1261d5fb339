"""Pages of measurement sessions: the list, a new one, correcting one."""

from datetime import date

from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.db import (
    loans,
    measured,
    meters,
    planned_points,
    session_words,
    surveys,
    tanks,
    uploads,
)
from server.db.surveys import SessionWords
from server.models import MeasurementSession, Meter, MeterCalibration, Tank
from server.surveys.table_text import NotATable, plain_text
from server.web.ask import Ask, Asked
from server.web.forms import Filled
from server.web.open import OwnSession, OwnTank, SeenTank
from server.web.page import see_other
from server.web.surveys import form as reading
from server.web.surveys import view as views
from server.web.surveys.form import FILE, SentTable, SessionForm

router = APIRouter(include_in_schema=False)


@router.get("/tanks/{tank_id}/sessions")
def session_list(ask: Ask, tank: SeenTank) -> Response:
    own = tank.owner_id == ask.who.id
    with ask.read() as db:
        kept = surveys.sessions_of(db, tank.id)
        aside = surveys.sessions_of(db, tank.id, set_aside=True) if own else []
        names = loans.names(db, [one.session.created_by_id for one in kept])
    told = [(one, views.counted_words(one)) for one in kept]
    told_aside = [(one, views.counted_words(one)) for one in aside]
    return ask.page(
        "surveys/sessions.html", tank=tank, own=own, kept=told, aside=told_aside, names=names
    )


# A new session


@router.get("/tanks/{tank_id}/sessions/new")
def new_session(ask: Ask, tank: OwnTank) -> Response:
    known = _known(ask, tank)
    with ask.read() as db:
        meter = meters.at_home_with(db, ask.who.id, ask.today)
    start = {"taken_on": str(ask.today), "meter_id": str(meter.id) if meter else ""}
    return _new(ask, known, known.form.showing(start, unit=ask.unit))


@router.post("/tanks/{tank_id}/sessions/new")
def begin_session(ask: Ask, tank: OwnTank) -> Response:
    known = _known(ask, tank)
    form = known.form.typed(ask, again=lambda form: _new(ask, known, form))
    words = reading.read_session(known, form)
    sent = reading.read_table(ask) if ask.text("way") == "table" else None
    trouble = sent if isinstance(sent, str) else _trouble(sent)
    if trouble:
        form.wrong(FILE, trouble)
    form.check()
    if isinstance(sent, SentTable):
        return _keep(ask, tank, words, sent)
    return _begin_by_hand(ask, tank, words)


def _new(ask: Asked, known: SessionForm, form: Filled) -> Response:
    return ask.page("surveys/new.html", form=form, view=known, more=reading.MORE)


def _trouble(sent: SentTable | None) -> str:
    """Why a file is no table at all; said on the form, before anything is kept."""
    if sent is None:
        return ""
    try:
        plain_text(sent.data)
    except NotATable as refusal:
        return str(refusal)
    return ""


def _keep(ask: Asked, tank: Tank, words: SessionWords, sent: SentTable) -> Response:
    with ask.write() as db:
        upload = uploads.keep_upload(
            db,
            tank_id=tank.id,
            member_id=ask.who.id,
            data=sent.data,
            file_name=sent.file_name,
            pasted=sent.pasted,
            session_words=session_words.as_text(words),
        )
    return see_other(f"/uploads/{upload.id}")


def _begin_by_hand(ask: Asked, tank: Tank, words: SessionWords) -> Response:
    with ask.read() as db:
        animals = tanks.animals_of(db, tank.id)
        setup = tanks.setup(db, words.setup_id)
        stated = surveys.by_the_book(db, words)
        rows = measured.rows_of(db, tank, setup) if setup else None
    points = planned_points.points(tank, animals)
    factor = stated.immersion_factor * (stated.calibration_factor or 1.0)
    expected = planned_points.expected(measured.measured(rows) if rows else None, points, factor)
    with ask.write() as db:
        session = surveys.add_session(db, tank_id=tank.id, words=words, by_id=ask.who.id)
        surveys.set_open_points(db, session, points, expected)
        surveys.note_act(db, session, "begun", by_id=ask.who.id)
    return see_other(f"/sessions/{session.id}/enter")


# Correcting one


@router.get("/sessions/{session_id}/correct")
def correct_page(ask: Ask, opened: OwnSession) -> Response:
    session, tank = opened
    with ask.read() as db:
        in_force = meters.calibration_factor_on(db, session.meter_id, session.taken_on)
    words = words_of(session)
    form = _known(ask, tank).form.showing(
        reading.values_of(words, in_force=in_force),
        unit=ask.unit,
        lengths=reading.lengths_of(words),
    )
    return _correct(ask, session, tank, form)


@router.post("/sessions/{session_id}/correct")
def correct_session(ask: Ask, opened: OwnSession) -> Response:
    session, tank = opened
    known = _known(ask, tank)
    form = known.form.typed(
        ask,
        again=lambda form: _correct(ask, session, tank, form),
        lengths=reading.lengths_of(words_of(session)),
    )
    words = reading.read_session(known, form)
    form.check()
    with ask.write() as db:
        surveys.correct_session(db, surveys.again(db, session), words, ask.who.id)
    return see_other(f"/sessions/{session.id}", notice="Corrected.")


def words_of(session: MeasurementSession) -> SessionWords:
    """What a stored session states about itself."""
    return SessionWords(
        **{name: getattr(session, name) for name in SessionWords.__dataclass_fields__}
    )


def _correct(ask: Asked, session: MeasurementSession, tank: Tank, form: Filled) -> Response:
    return ask.page("surveys/correct.html", form=form, tank=tank, session=session)


def _known(ask: Asked, tank: Tank) -> SessionForm:
    today = ask.today
    with ask.read() as db:
        setups = [one for one in tanks.setups_of(db, tank.id) if one.state == "hung"]
        return SessionForm(tank, setups, _with_calibrations(db, today), today)


def _with_calibrations(db: Session, today: date) -> list[tuple[Meter, MeterCalibration | None]]:
    """The meters with the calibration in force today."""
    return [(one, meters.calibration_on(db, one.id, today)) for one in meters.in_use(db)]
