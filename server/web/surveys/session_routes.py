"""One measurement session: its page, its files, striking out and setting aside."""

from collections.abc import Sequence
from urllib.parse import quote

import numpy as np
from fastapi import APIRouter
from fastapi.responses import Response
from sqlmodel import Session

from server.db import meters, surveys, tanks, uploads
from server.models import MeasurementSession, Reading
from server.surveys import readings as domain
from server.surveys.day_curve import DayCurve, day_curve
from server.web.ask import Ask, Asked
from server.web.open import OwnReading, OwnSession, SeenSession
from server.web.page import own_path, see_other
from server.web.surveys import export
from server.web.surveys import view as views

router = APIRouter(include_in_schema=False)

_MOST_COMBINED = 2_000  # a page of more readings than that tells no points apart


@router.get("/sessions/{session_id}")
def session_page(ask: Ask, opened: SeenSession) -> Response:
    session, tank = opened
    number = ask.page_number()
    with ask.read() as db:
        total, struck = surveys.reading_count(db, session.id)
        few = total <= _MOST_COMBINED
        counting = surveys.readings_of(db, session.id, struck=False) if few else []
        rows = views.SessionRows(
            session=session,
            tank=tank,
            setup=tanks.setup(db, session.setup_id),
            meter=meters.meter(db, session.meter_id or 0),
            in_force=meters.calibration_on(db, session.meter_id or 0, session.taken_on),
            readings=surveys.readings_of(
                db,
                session.id,
                limit=views.ROWS_A_PAGE,
                start=(number - 1) * views.ROWS_A_PAGE,
            ),
            total=total,
            struck=struck,
            counted=_soundings(counting),
            light_range=surveys.light_range(db, session.id),
            curve=_curve(db, session),
            file=uploads.file_named(db, session.id),
            acts=surveys.acts_of(db, session.id),
            time_zone=ask.zone,
            page=number,
        )
    return ask.page("surveys/session.html", view=views.session_page(ask.who, rows))


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
def session_csv(ask: Ask, opened: SeenSession) -> Response:
    session, tank = opened
    with ask.read() as db:
        meter = meters.meter(db, session.meter_id or 0)
        words = export.description(session, tank, meter, ask.request.app.state.club_name)
        if session.kind == "log":
            table = export.log_csv(words, surveys.logged_rows(db, session.id))
        else:
            table = export.points_csv(words, surveys.readings_of(db, session.id))
    name = f"readings-{tank.name}-{session.taken_on}.csv"
    return _attachment(table.encode("utf-8-sig"), name, "text/csv; charset=utf-8; header=present")


@router.get("/sessions/{session_id}/file")
def session_file(ask: Ask, opened: OwnSession) -> Response:
    """The file exactly as it was sent, never shown in the browser."""
    session = opened.session
    with ask.read() as db:
        upload = uploads.file_of(db, session.id)
    if upload is None:
        return see_other(f"/sessions/{session.id}", notice="These readings came without a file.")
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


# Undoing


@router.post("/sessions/{session_id}/readings/{reading_id}/strike")
def strike(ask: Ask, opened: OwnSession, reading: OwnReading) -> Response:
    reason = ask.text("reason", most=300) or "no reason given"
    with ask.write() as db:
        session = surveys.again(db, opened.session)
        found = surveys.reading_in(db, session, reading.id)
        if found is not None and found.struck_reason is None:
            surveys.strike(db, session, found, reason=reason, by_id=ask.who.id)
    return see_other(_back_to(ask, opened.session.id), notice="Struck out. It stays in the list.")


@router.post("/sessions/{session_id}/readings/{reading_id}/bring-back")
def bring_back(ask: Ask, opened: OwnSession, reading: OwnReading) -> Response:
    with ask.write() as db:
        session = surveys.again(db, opened.session)
        found = surveys.reading_in(db, session, reading.id)
        if found is not None and found.struck_reason is not None:
            surveys.bring_back(db, session, found, by_id=ask.who.id)
    return see_other(_back_to(ask, opened.session.id), notice="Brought back.")


def _back_to(ask: Asked, session_id: int) -> str:
    then = ask.text("then", most=200)
    if then:
        return own_path(then, f"/sessions/{session_id}")
    number = ask.text("page", most=5)
    return f"/sessions/{session_id}" + (f"?page={number}" if number.isdigit() else "")


@router.post("/sessions/{session_id}/set-aside")
def set_aside(ask: Ask, opened: OwnSession) -> Response:
    with ask.write() as db:
        session = surveys.again(db, opened.session)
        if session.removed_at is None:
            surveys.set_session_aside(db, session, ask.who.id)
    return see_other(
        f"/tanks/{opened.tank.id}/sessions",
        notice="Set aside. You find it below, and can bring it back.",
    )


@router.post("/sessions/{session_id}/bring-back")
def bring_session_back(ask: Ask, opened: OwnSession) -> Response:
    with ask.write() as db:
        session = surveys.again(db, opened.session)
        if session.removed_at is not None:
            surveys.bring_session_back(db, session, ask.who.id)
    return see_other(f"/sessions/{opened.session.id}", notice="The session is back.")
