"""The preview of a file: what was understood, read it another way, store it, or let it go."""

from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import light, meters, surveys, uploads
from server.db.engine import Database
from server.db.light import Hung
from server.db.surveys import SessionWords
from server.models import MeasurementSession, Member, Tank, Upload
from server.surveys.table import NoHeader
from server.surveys.table import read as read_table
from server.surveys.table_text import NotATable
from server.surveys.table_write import csv_text, harmless
from server.surveys.understood import ReadAs, Understood
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Typed, Who, text
from server.web.surveys.factors import calibration_words, multiplied
from server.web.tanks.open import own_tank
from server.web.uploads import form as reading
from server.web.uploads import lux
from server.web.uploads import view as views
from server.web.uploads import words as session_words

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class _Waiting:
    """A file that waits for a word, its tank, and what was said about both."""

    upload: Upload
    tank: Tank
    words: SessionWords
    options: reading.Typed
    same: list[MeasurementSession]
    hung: tuple[Hung, ...]


def _waiting(db: Session, who: Member, upload_id: int, *, to_store: bool = False) -> _Waiting:
    upload = uploads.waiting_upload(db, upload_id, who.id, to_store=to_store)
    if upload is None:
        raise NotFound("This file is stored already, or was let go.")
    tank = own_tank(db, who, upload.tank_id)
    words = session_words.from_text(upload.session_words)
    return _Waiting(
        upload=upload,
        tank=tank,
        words=words,
        options=reading.from_text(upload.read_as, who.length_unit),
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


def _read(club: Database, who: Member, waiting: _Waiting) -> _Read:
    """Reads the file; where it leaves a question, with what is known of the member's earlier
    files and of the tank's lamps."""
    how = reading.read_as(waiting.options, waiting.words, waiting.tank, who.length_unit)
    found = _with_memory(club, who, waiting, how)
    if found.table is None or not _in_lux(found.table) or found.how.lux_per_ppfd is not None:
        return found
    factor = lux.lux_per_ppfd(waiting.hung)
    if factor is None:
        return found
    how = replace(found.how, lux_per_ppfd=factor)
    return replace(found, table=read_table(_data(waiting), how), how=how, guessed_lux=True)


def _with_memory(club: Database, who: Member, waiting: _Waiting, how: ReadAs) -> _Read:
    """Columns whose headings say nothing are read as this member read such columns before."""
    try:
        return _Read(read_table(_data(waiting), how), None, how)
    except NoHeader as unknown:
        with club.read() as db:
            columns = uploads.remembered_columns(db, member_id=who.id, signature=unknown.signature)
        if columns is None:
            return _Read(None, unknown, how)
        how = replace(how, columns=columns)
        return _Read(read_table(_data(waiting), how), None, how, remembered=True)


def _data(waiting: _Waiting) -> bytes | str:
    return waiting.upload.data.decode() if waiting.upload.pasted else waiting.upload.data


def _in_lux(table: Understood) -> bool:
    return any(column.meaning.role == "lux" for column in table.columns)


@router.get("/uploads/{upload_id}")
def preview(request: Request, who: Who, club: Club, upload_id: int) -> Response:
    with club.read() as db:
        waiting = _waiting(db, who, upload_id)
    return _preview(request, who, club, waiting)


def _preview(request: Request, who: Member, club: Database, waiting: _Waiting) -> Response:
    status = 422 if waiting.options.errors else 200
    try:
        found = _read(club, who, waiting)
    except NotATable as refusal:
        view = views.refused_whole(
            waiting.upload, waiting.tank, str(refusal), waiting.options, unit=who.length_unit
        )
        return page(request, "uploads/preview.html", view=view, status=422)
    if found.table is None:
        assert found.unknown is not None
        view = views.mapping(
            waiting.upload, waiting.tank, found.unknown, waiting.options, unit=who.length_unit
        )
        return page(request, "uploads/preview.html", view=view, status=status)
    view = views.preview(
        waiting.upload,
        waiting.tank,
        found.table,
        waiting.options,
        remarks=_remarks(found),
        same=waiting.same,
        factors=_factors(club, waiting, found.table),
        unit=who.length_unit,
    )
    return page(request, "uploads/preview.html", view=view, status=status)


def _factors(club: Database, waiting: _Waiting, table: Understood) -> str:
    """The factors of the day the readings are of, with where the calibration comes from."""
    with club.read() as db:
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
def read_again(request: Request, who: Who, club: Club, form: Typed, upload_id: int) -> Response:
    """Keeps how the file is to be read; shows the preview again."""
    with club.read() as db:
        waiting = _waiting(db, who, upload_id)
    options = reading.read_options(form, waiting.tank, who.length_unit)
    if options.errors:
        return _preview(request, who, club, replace(waiting, options=options))
    with club.write() as db:
        upload = _waiting(db, who, upload_id).upload
        upload.read_as = options.as_text()
        db.add(upload)
    return see_other(f"/uploads/{upload_id}")


@router.post("/uploads/{upload_id}/store")
def store(request: Request, who: Who, club: Club, form: Typed, upload_id: int) -> Response:
    """Stores the good rows, once, when the member agrees to leave out the refused ones."""
    with club.read() as db:
        waiting = _waiting(db, who, upload_id)
    try:
        found = _read(club, who, waiting)
    except NotATable:
        return _preview(request, who, club, waiting)
    understood = found.table
    agreed = text(form, "refused_count", most=10)
    if understood is None or not understood.stored or agreed != str(len(understood.refused)):
        return _preview(request, who, club, waiting)
    with club.write() as db:
        session = _store(db, who, upload_id, found, understood)
    left_out = len(understood.refused)
    told = f"{understood.stored} stored" + (f", {left_out} left out." if left_out else ".")
    return see_other(f"/sessions/{session.id}", notice=told)


def _store(
    db: Session, who: Member, upload_id: int, found: _Read, understood: Understood
) -> MeasurementSession:
    waiting = _waiting(db, who, upload_id, to_store=True)  # still waiting, now that we write
    upload = waiting.upload
    kind = "log" if understood.kind == "log" else "points"
    words = _with_options(waiting.words, found, kind)
    words = surveys.dated_by_log(db, upload.tank_id, words, understood)
    session = surveys.add_session(db, tank_id=upload.tank_id, words=words, by_id=who.id, kind=kind)
    surveys.add_table(db, session, understood, by_id=who.id)
    upload.session_id = session.id
    db.add(upload)
    left_out = len(understood.refused)
    told = f"{understood.stored} stored, {left_out} refused"
    surveys.note_act(db, session, "uploaded", words=told, by_id=who.id)
    if waiting.options.columns is not None:
        uploads.remember_columns(
            db,
            member_id=who.id,
            signature=understood.signature,
            columns=waiting.options.columns,
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
def refused_csv(who: Who, club: Club, upload_id: int) -> Response:
    """Every refused line with its reason, to be put right in the file."""
    with club.read() as db:
        waiting = _waiting(db, who, upload_id)
    try:
        understood = _read(club, who, waiting).table
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
def drop(who: Who, club: Club, upload_id: int) -> Response:
    with club.write() as db:
        waiting = _waiting(db, who, upload_id)
        uploads.drop_upload(db, waiting.upload)
    return see_other(
        f"/tanks/{waiting.tank.id}/sessions/new", notice="The file was let go; nothing was stored."
    )
