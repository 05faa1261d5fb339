"""The preview of a file: what was understood, read it another way, store it, or let it go."""

from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.db import light, lux_factor, meters, session_words, surveys, uploads
from server.db.light import Hung
from server.db.surveys import SessionWords
from server.models import MeasurementSession, Tank, Upload
from server.surveys.table import NoHeader
from server.surveys.table import read as read_table
from server.surveys.table_text import NotATable
from server.surveys.table_write import csv_text, harmless
from server.surveys.understood import ReadAs, Understood
from server.web.ask import Ask, Asked
from server.web.factor_words import calibration_words, multiplied
from server.web.forms import Filled
from server.web.open import OwnUpload, UploadOfTank
from server.web.page import see_other
from server.web.signed_in import NotFound
from server.web.uploads import form as reading
from server.web.uploads import view as views

router = APIRouter(include_in_schema=False)

_GONE = "This file is stored already, or was let go."


@dataclass(frozen=True)
class _Waiting:
    """A file that waits for a word, its tank, and what was said about both."""

    upload: Upload
    tank: Tank
    words: SessionWords
    options: reading.Options
    same: list[MeasurementSession]
    hung: tuple[Hung, ...]


def _waiting(ask: Asked, opened: UploadOfTank) -> _Waiting:
    upload, tank = opened
    words = session_words.from_text(upload.session_words)
    with ask.read() as db:
        return _Waiting(
            upload=upload,
            tank=tank,
            words=words,
            options=reading.from_text(upload.read_as, tank, ask.unit),
            same=uploads.sessions_from(db, upload.tank_id, upload.data),
            hung=light.hung_over(db, words.setup_id) if words.setup_id else (),
        )


@dataclass(frozen=True)
class _Read:
    """What came of reading the file: a table, or the columns that have to be mapped; and how
    it was read. `guessed_lux`: the factor for lux comes from the lamps on record."""

    table: Understood | None
    unknown: NoHeader | None
    how: ReadAs
    remembered: bool = False
    guessed_lux: bool = False


def _read(ask: Asked, waiting: _Waiting) -> _Read:
    """Reads the file; where it leaves a question, with what is known of the member's earlier
    files and of the tank's lamps."""
    how = reading.read_as(waiting.options, waiting.words, waiting.tank)
    found = _with_memory(ask, waiting, how)
    if found.table is None or not _in_lux(found.table) or found.how.lux_per_ppfd is not None:
        return found
    factor = lux_factor.lux_per_ppfd(waiting.hung)
    if factor is None:
        return found
    how = replace(found.how, lux_per_ppfd=factor)
    return replace(found, table=read_table(_data(waiting), how), how=how, guessed_lux=True)


def _with_memory(ask: Asked, waiting: _Waiting, how: ReadAs) -> _Read:
    """Columns whose headings say nothing are read as this member read such columns before."""
    try:
        return _Read(read_table(_data(waiting), how), None, how)
    except NoHeader as unknown:
        with ask.read() as db:
            columns = uploads.remembered_columns(
                db, member_id=ask.who.id, signature=unknown.signature
            )
        if columns is None:
            return _Read(None, unknown, how)
        how = replace(how, columns=columns)
        return _Read(read_table(_data(waiting), how), None, how, remembered=True)


def _data(waiting: _Waiting) -> bytes | str:
    return waiting.upload.data.decode() if waiting.upload.pasted else waiting.upload.data


def _in_lux(table: Understood) -> bool:
    return any(column.meaning.role == "lux" for column in table.columns)


@router.get("/uploads/{upload_id}")
def preview(ask: Ask, opened: OwnUpload) -> Response:
    return _preview(ask, _waiting(ask, opened))


def _preview(ask: Asked, waiting: _Waiting) -> Response:
    form, status = waiting.options.form, 200
    try:
        found = _read(ask, waiting)
    except NotATable as refusal:
        view = views.refused_whole(waiting.upload, waiting.tank, str(refusal))
        status = 422
    else:
        view = _understood(ask, waiting, found)
    return ask.page("uploads/preview.html", form=form, view=view, status=status)


def _understood(ask: Asked, waiting: _Waiting, found: _Read) -> views.PreviewView:
    upload, tank, columns = waiting.upload, waiting.tank, waiting.options.columns
    if found.table is None:
        assert found.unknown is not None
        return views.mapping(upload, tank, found.unknown, columns)
    return views.preview(
        upload,
        tank,
        found.table,
        columns,
        remarks=_remarks(found),
        same=waiting.same,
        factors=_factors(ask, waiting, found.table),
        unit=ask.unit,
    )


def _factors(ask: Asked, waiting: _Waiting, table: Understood) -> str:
    """The factors of the day the readings are of, with where the calibration comes from."""
    with ask.read() as db:
        words = surveys.dated_by_log(db, waiting.tank.id, waiting.words, table)
        words = surveys.by_the_book(db, words)
        in_force = meters.calibration_on(db, words.meter_id or 0, words.taken_on)
    calibration = words.calibration_factor or 1.0
    told = calibration_words(calibration, in_force)
    return f"{multiplied(words.immersion_factor, calibration)} Calibration factor: {told}."


def _remarks(found: _Read) -> list[str]:
    remarks = []
    if found.remembered:
        remarks.append("The columns were read as you read such a file before.")
    if found.guessed_lux:
        remarks.append(
            f"Lux were divided by {found.how.lux_per_ppfd:g} lux per µmol m⁻² s⁻¹, worked out from "
            "the colours of the lamps on record. Say another factor below if you know better."
        )
    return remarks


@router.post("/uploads/{upload_id}")
def read_again(ask: Ask, opened: OwnUpload) -> Response:
    """Keeps how the file is to be read; shows the preview again."""
    upload, tank = opened
    columns = reading.columns_by_hand(ask.form)

    def again(form: Filled) -> Response:
        return _preview(ask, replace(_waiting(ask, opened), options=reading.Options(form, columns)))

    form = reading.options_form(tank).typed(ask, again=again)
    reading.check_options(form, columns)
    with ask.write() as db:
        uploads.keep_options(db, upload.id, reading.Options(form, columns).as_text())
    return see_other(f"/uploads/{upload.id}")


@router.post("/uploads/{upload_id}/store")
def store(ask: Ask, opened: OwnUpload) -> Response:
    """Stores the good rows, once, when the member agrees to leave out the refused ones."""
    waiting = _waiting(ask, opened)
    try:
        found = _read(ask, waiting)
    except NotATable:
        return _preview(ask, waiting)
    understood = found.table
    agreed = ask.text("refused_count", most=10)
    if understood is None or not understood.stored or agreed != str(len(understood.refused)):
        return _preview(ask, waiting)
    with ask.write() as db:
        session = _store(db, ask, waiting, found, understood)
    left_out = len(understood.refused)
    told = f"{understood.stored} stored" + (f", {left_out} left out." if left_out else ".")
    return see_other(f"/sessions/{session.id}", notice=told)


def _store(
    db: Session, ask: Asked, waiting: _Waiting, found: _Read, understood: Understood
) -> MeasurementSession:
    by_id = ask.who.id
    upload = uploads.waiting_upload(db, waiting.upload.id, by_id, to_store=True)
    if upload is None:  # no longer waiting, now that we write
        raise NotFound(_GONE)
    kind = "log" if understood.kind == "log" else "points"
    words = _with_options(waiting.words, found, kind)
    words = surveys.dated_by_log(db, upload.tank_id, words, understood)
    session = surveys.add_session(db, tank_id=upload.tank_id, words=words, by_id=by_id, kind=kind)
    surveys.add_table(db, session, understood, by_id=by_id)
    uploads.belongs_to(db, upload, session)
    left_out = len(understood.refused)
    told = f"{understood.stored} stored, {left_out} refused"
    surveys.note_act(db, session, "uploaded", words=told, by_id=by_id)
    columns = waiting.options.columns
    if columns is not None:
        uploads.remember_columns(
            db, member_id=by_id, signature=understood.signature, columns=columns
        )
    return session


def _with_options(words: SessionWords, found: _Read, kind: str) -> SessionWords:
    """The session's words with the factor and the sensor's place used in reading."""
    how = found.how
    in_lux = found.table is not None and _in_lux(found.table)
    words = replace(words, lux_per_ppfd=how.lux_per_ppfd if in_lux else None)
    if kind != "log":
        return words
    return replace(
        words,
        sensor_x_cm=words.sensor_x_cm if how.x_cm is None else how.x_cm,
        sensor_y_cm=words.sensor_y_cm if how.y_cm is None else how.y_cm,
        sensor_depth_cm=words.sensor_depth_cm if how.depth_cm is None else how.depth_cm,
    )


@router.get("/uploads/{upload_id}/refused.csv")
def refused_csv(ask: Ask, opened: OwnUpload) -> Response:
    """Every refused line with its reason, to be put right in the file."""
    try:
        understood = _read(ask, _waiting(ask, opened)).table
    except NotATable:
        understood = None
    refused = understood.refused if understood else ()
    rows = ((str(one.row), harmless(one.reason), harmless(one.text)) for one in refused)
    return Response(
        csv_text(("line", "reason", "as_sent"), rows).encode("utf-8-sig"),
        media_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": 'attachment; filename="refused.csv"'},
    )


@router.post("/uploads/{upload_id}/drop")
def drop(ask: Ask, opened: OwnUpload) -> Response:
    upload, tank = opened
    with ask.write() as db:
        waiting = uploads.waiting_upload(db, upload.id, ask.who.id)
        if waiting is not None:
            uploads.drop_upload(db, waiting)
    return see_other(
        f"/tanks/{tank.id}/sessions/new", notice="The file was let go; nothing was stored."
    )
