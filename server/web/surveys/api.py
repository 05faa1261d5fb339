"""JSON: sending a table of readings by script, and reading a session back."""

from datetime import date
from typing import Any

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from server.db import surveys, uploads
from server.db.surveys import SessionWords
from server.models import MeasurementSession, Reading, Tank
from server.surveys import table
from server.surveys.table_lines import Refusal as RefusedRow
from server.surveys.table_text import MAX_BYTES, NotATable
from server.surveys.understood import ReadAs, Understood
from server.web import filters
from server.web.ask import Asked, TokenAsk
from server.web.open import TokensOwnTank, TokensSeenSession
from server.web.problem import SIGNED_IN_RESPONSES, Problem, Refusal
from server.web.surveys.sent import FIELDS, Sent

router = APIRouter(prefix="/api", tags=["readings"])


class PlacedPpfd(BaseModel):
    """A value as typed, turned to cm and µmol m⁻² s⁻¹. Lines of a log also carry their clock."""

    x_cm: float | None
    y_cm: float | None
    depth_cm: float | None
    ppfd: float
    at: str | None = None


class Row(BaseModel):
    """A line of the file that was not stored, and why."""

    row: int
    reason: str


class Stored(BaseModel):
    """What was stored of a table."""

    id: int
    stored: int
    readings: list[PlacedPpfd]
    refused: list[Row]


class NotStored(Problem):
    """Nothing was stored; `refused` names every line that was not understood."""

    refused: list[Row] = Field(default_factory=list)


class StoredReading(BaseModel):
    """One reading: raw as typed, corrected by the session's factors."""

    id: int
    row: int | None
    x_cm: float
    y_cm: float
    depth_cm: float
    raw_ppfd: float
    corrected_ppfd: float
    typed: dict[str, str]
    note: str
    shaded: bool
    struck_reason: str | None


class LogLine(BaseModel):
    """One line of a fixed sensor's log; `at` is the clock on the wall."""

    row: int
    at: str
    raw_ppfd: float
    corrected_ppfd: float


class SessionOut(BaseModel):
    """A measurement session with everything in it."""

    id: int
    tank_id: int
    kind: str
    taken_on: date
    setup_id: int | None
    meter_id: int | None
    factors: dict[str, float]
    note: str
    readings: list[StoredReading]
    log: list[LogLine]


_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": FIELDS,
                    "required": ["file"],
                    "additionalProperties": False,
                }
            }
        },
    }
}
_UPLOAD_RESPONSES: dict[int | str, dict[str, Any]] = {
    **SIGNED_IN_RESPONSES,
    413: {"model": Problem, "description": f"The file is over {MAX_BYTES // 2**20} MiB."},
    422: {"model": NotStored, "description": "Lines were refused, or a field is not right."},
}


@router.post(
    "/tanks/{tank_id}/measurement-sessions",
    status_code=201,
    response_model=Stored,
    responses=_UPLOAD_RESPONSES,
    openapi_extra=_BODY,
    summary="Send a table of readings",
)
def send_table(ask: TokenAsk, tank: TokensOwnTank) -> JSONResponse:
    """Stores an uploaded table of readings; nothing is stored when a row is refused, unless
    `accept_partial` is true and at least one row is good."""
    today = ask.today
    with ask.read() as db:
        sent = Sent(ask.form, db, tank, today)
    found = _understood(ask, tank, sent)
    refused = [{"row": one.row, "reason": one.reason} for one in found.refused]
    if not found.stored or (refused and not sent.accept_partial):
        raise _not_stored(found.refused, found.stored)
    words, session = _stored(ask, tank, sent, found)
    readings = [_placed(row.x_cm, row.y_cm, row.depth_cm, row.ppfd) for row in found.rows]
    readings += [
        _placed(words.sensor_x_cm, words.sensor_y_cm, words.sensor_depth_cm, line.ppfd)
        | {"at": line.at.isoformat()}
        for line in found.log
    ]
    body = {"id": session.id, "stored": found.stored, "readings": readings, "refused": refused}
    return JSONResponse(body, status_code=201, headers={"Location": f"/sessions/{session.id}"})


def _stored(
    ask: Asked, tank: Tank, sent: Sent, found: Understood
) -> tuple[SessionWords, MeasurementSession]:
    """The table as a session of its own, with the file it came in."""
    with ask.write() as db:
        kind = "log" if found.kind == "log" else "points"
        words = _words(sent)
        if not sent.dated:
            words = surveys.dated_by_log(db, tank.id, words, found)
        session = surveys.add_session(db, tank_id=tank.id, words=words, by_id=ask.who.id, kind=kind)
        surveys.add_table(db, session, found, by_id=ask.who.id)
        uploads.keep_upload(
            db,
            tank_id=tank.id,
            member_id=ask.who.id,
            data=sent.data,
            file_name=sent.file_name,
            pasted=False,
            session_words="",
            session_id=session.id,
        )
        told = " ".join(["by script", *found.remarks])[:500]
        surveys.note_act(db, session, "sent", words=told, by_id=ask.who.id)
    return words, session


@router.get(
    "/measurement-sessions/{session_id}",
    response_model=SessionOut,
    responses=SIGNED_IN_RESPONSES,
    summary="A session with its readings, raw and corrected",
)
def session_json(ask: TokenAsk, opened: TokensSeenSession) -> SessionOut:
    session, session_id = opened.session, opened.session.id
    with ask.read() as db:
        readings = surveys.readings_of(db, session_id)
        lines = surveys.logged_rows(db, session_id) if session.kind == "log" else []
    return SessionOut(
        id=session_id,
        tank_id=session.tank_id,
        kind=session.kind,
        taken_on=session.taken_on,
        setup_id=session.setup_id,
        meter_id=session.meter_id,
        factors={
            "immersion_factor": session.immersion_factor,
            "calibration_factor": session.calibration_factor,
        },
        note=session.note,
        readings=[_reading_out(one) for one in readings],
        log=[
            LogLine(
                row=line.row,
                at=surveys.clock_of(line).isoformat(),
                raw_ppfd=line.raw_ppfd,
                corrected_ppfd=line.ppfd,
            )
            for line in lines
        ],
    )


def _reading_out(one: Reading) -> StoredReading:
    return StoredReading(
        id=one.id,
        row=one.row,
        x_cm=one.x_cm,
        y_cm=one.y_cm,
        depth_cm=one.depth_cm,
        raw_ppfd=one.raw_ppfd,
        corrected_ppfd=one.ppfd,
        typed={
            "x": one.typed_x,
            "y": one.typed_y,
            "depth": one.typed_depth,
            "light": one.typed_light,
            "unit": one.light_unit,
        },
        note=one.note,
        shaded=one.shaded,
        struck_reason=one.struck_reason,
    )


def _placed(
    x_cm: float | None, y_cm: float | None, depth_cm: float | None, ppfd: float
) -> dict[str, Any]:
    return {"x_cm": x_cm, "y_cm": y_cm, "depth_cm": depth_cm, "ppfd": ppfd}


def _words(sent: Sent) -> SessionWords:
    return SessionWords(
        taken_on=sent.taken_on,
        setup_id=sent.setup_id,
        meter_id=sent.meter.id if sent.meter else None,
        immersion_factor=sent.immersion,
        calibration_factor=sent.calibration,
        lux_per_ppfd=sent.lux,
        sensor_x_cm=sent.x_cm,
        sensor_y_cm=sent.y_cm,
        sensor_depth_cm=sent.depth_cm,
        note=sent.note,
    )


def _understood(ask: Asked, tank: Tank, sent: Sent) -> Understood:
    how = ReadAs(
        decimal=sent.decimal,
        length_unit=sent.length_unit,
        lux_per_ppfd=sent.lux,
        x_cm=sent.x_cm,
        y_cm=sent.y_cm,
        depth_cm=sent.depth_cm,
        tank_cm=(tank.length_cm, tank.width_cm, tank.depth_cm),
        taken_on=sent.taken_on,
    )
    try:
        return _read(ask, sent.data, how)
    except NotATable as refusal:
        raise _not_a_table(refusal) from None


def _read(ask: Asked, data: bytes, how: ReadAs) -> Understood:
    """Columns without words are read as this member read such columns before."""
    try:
        return table.read(data, how)
    except table.NoHeader as unknown:
        with ask.read() as db:
            columns = uploads.remembered_columns(
                db, member_id=ask.who.id, signature=unknown.signature
            )
        if columns is None:
            raise
        return table.read(data, ReadAs(**{**vars(how), "columns": columns}))


def _not_a_table(refusal: NotATable) -> Refusal:
    return Refusal(
        413 if refusal.too_large else 422,
        "The file is too large." if refusal.too_large else "This file could not be read.",
        detail=str(refusal),
        errors=[("file", str(refusal))],
        extra={"refused": [{"row": refusal.row, "reason": str(refusal)}]},
    )


def _not_stored(refused: tuple[RefusedRow, ...], good: int) -> Refusal:
    rows = [{"row": one.row, "reason": one.reason} for one in refused]
    if not refused:
        rows = [{"row": 1, "reason": "The file holds a header but no readings."}]
    detail = (
        f"{filters.count(good, 'row is', 'rows are')} good. Nothing was stored; send "
        "accept_partial=true to store the good ones."
        if good
        else "Nothing was stored."
    )
    return Refusal(
        422,
        f"{filters.count(len(rows), 'row was', 'rows were')} refused.",
        detail=detail,
        errors=[("file", f"line {one['row']}: {one['reason']}") for one in rows[:100]],
        extra={"refused": rows},
    )
