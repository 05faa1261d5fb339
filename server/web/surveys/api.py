"""JSON: sending a table of readings by script, and reading a session back."""

from datetime import date, timedelta
from typing import Any, Literal

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from sqlmodel import Session
from starlette.datastructures import FormData, UploadFile

from server.db import club_day, surveys, tanks, uploads
from server.db.engine import Database
from server.db.surveys import SessionWords
from server.models import Member, Meter, Reading, Tank
from server.surveys import table
from server.surveys.readings import FACTOR_LIMITS
from server.surveys.table_lines import Refusal as RefusedRow
from server.surveys.table_numbers import DecimalMark
from server.surveys.table_text import MAX_BYTES, NotATable
from server.surveys.understood import ReadAs, Understood
from server.web import filters
from server.web.problem import SIGNED_IN_RESPONSES, Problem, Refusal
from server.web.signed_in import Bearer, Club, Typed
from server.web.surveys.form import LUX_LIMITS, file_name
from server.web.surveys.open import session_to_see
from server.web.tanks.open import own_tank

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


LengthUnit = Literal["cm", "mm", "m", "in"]
LENGTHS: tuple[LengthUnit, ...] = ("cm", "mm", "m", "in")

_FIELDS: dict[str, Any] = {
    "file": {"type": "string", "format": "binary", "description": "A table of readings."},
    "taken_on": {"type": "string", "format": "date", "description": "Today when left out."},
    "meter_id": {"type": "integer", "description": "Brings the meter's immersion factor."},
    "note": {"type": "string", "maxLength": 2000},
    "accept_partial": {
        "type": "boolean",
        "description": "Store the good rows although others were refused.",
    },
    "immersion_factor": {"type": "number"},
    "calibration_factor": {
        "type": "number",
        "description": "When left out: the one in force on that day, from the meter's book.",
    },
    "lux_per_ppfd": {"type": "number", "description": "For columns of lux."},
    "x_cm": {"type": "number", "description": "For a file without such a column."},
    "y_cm": {"type": "number"},
    "depth_cm": {"type": "number"},
    "decimal": {"type": "string", "enum": [".", ","]},
    "length_unit": {"type": "string", "enum": ["cm", "mm", "m", "in"]},
}
_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": _FIELDS,
                    "required": ["file"],
                    "additionalProperties": False,
                }
            }
        },
    }
}
_UPLOAD_RESPONSES: dict[int | str, dict[str, Any]] = {
    **SIGNED_IN_RESPONSES,
    403: {"model": Problem, "description": "The tank is another member's."},
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
def send_table(who: Bearer, club: Club, form: Typed, tank_id: int) -> JSONResponse:
    """Stores an uploaded table of readings; nothing is stored when a row is refused, unless
    `accept_partial` is true and at least one row is good."""
    with club.read() as db:
        tank = own_tank(db, who, tank_id)
        sent = _Sent(form, db, tank)
    found = _understood(club, who, tank, sent)
    refused = [{"row": one.row, "reason": one.reason} for one in found.refused]
    if not found.stored or (refused and not sent.accept_partial):
        raise _not_stored(found.refused, found.stored)
    with club.write() as db:
        kind = "log" if found.kind == "log" else "points"
        words = _words(sent)
        if not sent.dated:
            words = surveys.dated_by_log(db, tank_id, words, found)
        session = surveys.add_session(db, tank_id=tank_id, words=words, by_id=who.id, kind=kind)
        surveys.add_table(db, session, found, by_id=who.id)
        uploads.keep_upload(
            db,
            tank_id=tank_id,
            member_id=who.id,
            data=sent.data,
            file_name=sent.file_name,
            pasted=False,
            session_words="",
            session_id=session.id,
        )
        told = " ".join(["by script", *found.remarks])[:500]
        surveys.note_act(db, session, "sent", words=told, by_id=who.id)
    readings = [_placed(row.x_cm, row.y_cm, row.depth_cm, row.ppfd) for row in found.rows]
    readings += [
        _placed(words.sensor_x_cm, words.sensor_y_cm, words.sensor_depth_cm, line.ppfd)
        | {"at": line.at.isoformat()}
        for line in found.log
    ]
    body = {"id": session.id, "stored": found.stored, "readings": readings, "refused": refused}
    return JSONResponse(body, status_code=201, headers={"Location": f"/sessions/{session.id}"})


@router.get(
    "/measurement-sessions/{session_id}",
    response_model=SessionOut,
    responses=SIGNED_IN_RESPONSES,
    summary="A session with its readings, raw and corrected",
)
def session_json(who: Bearer, club: Club, session_id: int) -> SessionOut:
    with club.read() as db:
        session, _tank = session_to_see(db, who, session_id)
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


# Reading what was sent


class _Sent:
    """The fields of the request, read one by one; every wrong one is named at once."""

    def __init__(self, form: FormData, db: Session, tank: Tank) -> None:
        self.form = form
        self.errors: list[tuple[str, str]] = []
        self.errors += [
            (name, "is not known here; check its spelling or leave it out")
            for name in dict.fromkeys(form.keys())
            if name not in _FIELDS
        ]
        today = club_day.today(db)
        self.taken_on = self._day(today)
        self.dated = bool(self._text("taken_on", 40))
        self.meter = self._meter(db)
        self.note = self._text("note", 2000)
        self.accept_partial = self._yes("accept_partial")
        own = self.meter.immersion_factor if self.meter else 1.0
        self.immersion = self._number("immersion_factor", FACTOR_LIMITS) or own
        self.calibration = self._number("calibration_factor", FACTOR_LIMITS)
        self.lux = self._number("lux_per_ppfd", LUX_LIMITS)
        self.x_cm = self._number("x_cm", (0.0, tank.length_cm))
        self.y_cm = self._number("y_cm", (0.0, tank.width_cm))
        self.depth_cm = self._number("depth_cm", (0.0, tank.depth_cm))
        self.decimal: DecimalMark | None = self._one_of("decimal", (".", ","))
        self.length_unit: LengthUnit = self._one_of("length_unit", LENGTHS) or "cm"
        self.data, self.file_name = self._file()
        setup = tanks.setup_on(db, tank.id, self.taken_on)
        self.setup_id = setup.id if setup else None
        if self.errors:
            raise Refusal(
                422, "Some fields could not be taken.", errors=self.errors, extra={"refused": []}
            )

    def _file(self) -> tuple[bytes, str]:
        sent = self.form.getlist("file")
        if len(sent) != 1 or not isinstance(sent[0], UploadFile):
            self.errors.append(("file", "is needed, once: send a table of readings"))
            return b"", ""
        data = sent[0].file.read(MAX_BYTES + 1)
        if len(data) > MAX_BYTES:
            raise Refusal(
                413,
                "The file is too large.",
                detail=f"At most {MAX_BYTES // 2**20} MiB can be sent at once.",
                errors=[("file", f"must be at most {MAX_BYTES // 2**20} MiB")],
            )
        return data, file_name(sent[0].filename)

    def _text(self, name: str, most: int) -> str:
        values = self.form.getlist(name)
        if not values:
            return ""
        if len(values) > 1 or not isinstance(values[0], str) or len(values[0]) > most:
            self.errors.append((name, f"must be one text of at most {most} characters"))
            return ""
        if "\x00" in values[0]:
            self.errors.append((name, "must not hold NUL characters"))
            return ""
        return values[0].strip()

    def _day(self, today: date) -> date:
        typed = self._text("taken_on", 40)
        if not typed:
            return today
        try:
            day = date.fromisoformat(typed)
        except ValueError:
            self.errors.append(("taken_on", "must be a date such as 2026-11-25"))
            return today
        if not date(1990, 1, 1) <= day <= today + timedelta(days=1):
            self.errors.append(("taken_on", f"must lie between 1990-01-01 and {today}"))
        return day

    def _meter(self, db: Session) -> Meter | None:
        typed = self._text("meter_id", 20)
        if not typed:
            return None
        number = int(typed) if typed.isascii() and typed.isdigit() else 0
        meter = db.get(Meter, number) if 0 < number < 2**31 else None
        if meter is None:
            self.errors.append(("meter_id", "must be the id of one of the club's meters"))
        return meter

    def _yes(self, name: str) -> bool:
        typed = self._text(name, 10).lower()
        if typed not in ("", "true", "false"):
            self.errors.append((name, "must be true or false"))
        return typed == "true"

    def _number(self, name: str, limits: tuple[float, float]) -> float | None:
        typed = self._text(name, 60)
        if not typed:
            return None
        try:
            value = filters.read_number(typed)
        except filters.NotANumber:
            self.errors.append((name, "must be one finite number"))
            return None
        if not limits[0] <= value <= limits[1]:
            self.errors.append((name, f"must lie between {limits[0]:g} and {limits[1]:g}"))
            return None
        return value

    def _one_of(self, name: str, known: tuple[str, ...]) -> Any:
        typed = self._text(name, 10)
        if typed and typed not in known:
            self.errors.append((name, f"must be one of {', '.join(known)}"))
            return None
        return typed or None


def _words(sent: _Sent) -> SessionWords:
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


def _understood(club: Database, who: Member, tank: Tank, sent: _Sent) -> Understood:
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
        return _read(club, who, sent.data, how)
    except NotATable as refusal:
        raise _not_a_table(refusal) from None


def _read(club: Database, who: Member, data: bytes, how: ReadAs) -> Understood:
    """Columns without words are read as this member read such columns before."""
    try:
        return table.read(data, how)
    except table.NoHeader as unknown:
        with club.read() as db:
            columns = uploads.remembered_columns(db, member_id=who.id, signature=unknown.signature)
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
