"""Measurement sessions, their readings, files and reading plans.

A corrected value is written in one place only (`_corrected`), from the raw value and the
session's two factors, so that factors are applied exactly once. Nothing here deletes a reading.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime

from sqlalchemy import func, insert, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, delete, select

from server.db import meters, tanks
from server.models import (
    LoggedLight,
    MeasurementSession,
    Member,
    PlannedPoint,
    Reading,
    SurveyAct,
    Tank,
)
from server.surveys.reading_order import Point
from server.surveys.readings import SensorFactors
from server.surveys.understood import Understood

_EPOCH = datetime(1970, 1, 1)  # the wall clock has no zone
_SAME_PLACE_CM = 0.1
_AT_ONCE = 5_000  # rows of one insert


def _now() -> datetime:
    return datetime.now(UTC)


# Sessions


@dataclass(frozen=True, kw_only=True)
class SessionWords:
    """What a member states about a session; the columns that its form fills."""

    taken_on: date
    setup_id: int | None = None
    meter_id: int | None = None
    immersion_factor: float = 1.0
    calibration_factor: float | None = None
    """Typed; None: the one in force on that day, from the meter's book."""
    lux_per_ppfd: float | None = None
    sensor_x_cm: float | None = None
    sensor_y_cm: float | None = None
    sensor_depth_cm: float | None = None
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Counted:
    """A session in a list: how many readings count, how many are struck out."""

    session: MeasurementSession
    readings: int
    struck: int
    logged: int


def add_session(
    db: Session, *, tank_id: int, words: SessionWords, by_id: int | None, kind: str = "points"
) -> MeasurementSession:
    """A new session without readings."""
    stated = asdict(by_the_book(db, words))
    session = MeasurementSession(
        tank_id=tank_id, kind=kind, created_by_id=by_id, created_at=_now(), **stated
    )
    db.add(session)
    db.flush()
    return session


def correct_session(
    db: Session, session: MeasurementSession, words: SessionWords, by_id: int | None
) -> None:
    """Changes what was stated; other factors are applied anew to every raw value."""
    words = by_the_book(db, words)
    told = _changes(session, words)
    if not told:
        return
    for name, value in asdict(words).items():
        setattr(session, name, value)
    db.add(session)
    db.flush()
    _apply_factors(db, session)
    note_act(db, session, "corrected", words="; ".join(told)[:500], by_id=by_id)


def by_the_book(db: Session, words: SessionWords) -> SessionWords:
    """The words with the calibration in force on their day, where none was typed."""
    if words.calibration_factor is not None:
        return words
    factor = meters.calibration_factor_on(db, words.meter_id, words.taken_on)
    return replace(words, calibration_factor=factor)


def _changes(session: MeasurementSession, words: SessionWords) -> list[str]:
    names = {
        "taken_on": "date",
        "setup_id": "setup",
        "meter_id": "meter",
        "immersion_factor": "immersion factor",
        "calibration_factor": "calibration factor",
        "lux_per_ppfd": "lux per µmol m⁻² s⁻¹",
        "sensor_x_cm": "sensor's x",
        "sensor_y_cm": "sensor's y",
        "sensor_depth_cm": "sensor's depth",
        "note": "note",
    }
    told = []
    for name, value in asdict(words).items():
        was = getattr(session, name)
        if was != value:
            short = name in ("note", "setup_id", "meter_id")
            told.append(
                f"{names[name]} changed" if short else f"{names[name]} {was} changed to {value}"
            )
    return told


def set_session_aside(db: Session, session: MeasurementSession, by_id: int | None) -> None:
    """Takes a session out of lists and maps; nothing of it is deleted."""
    session.removed_at = _now()
    db.add(session)
    note_act(db, session, "set_aside", by_id=by_id)


def bring_session_back(db: Session, session: MeasurementSession, by_id: int | None) -> None:
    session.removed_at = None
    db.add(session)
    note_act(db, session, "brought_back", by_id=by_id)


def session_seen(
    db: Session, session_id: int, member_id: int
) -> tuple[MeasurementSession, Tank] | None:
    """A session with its tank, if this member may look at the tank."""
    session = db.get(MeasurementSession, session_id) if 0 < session_id < 2**31 else None
    tank = None if session is None else tanks.tank_seen(db, session.tank_id, member_id)
    if session is None or tank is None:
        return None
    if session.removed_at is not None and tank.owner_id != member_id:
        return None
    return session, tank


def again(db: Session, session: MeasurementSession) -> MeasurementSession:
    """The same session as this database session has it, to be changed."""
    return db.get_one(MeasurementSession, session.id)


def sessions_of(db: Session, tank_id: int, *, set_aside: bool = False) -> list[Counted]:
    """The sessions of a tank, newest first, with how many readings each holds."""
    aside = col(MeasurementSession.removed_at)
    mine = select(MeasurementSession).where(
        MeasurementSession.tank_id == tank_id,
        aside.is_not(None) if set_aside else aside.is_(None),
    )
    newest = (col(MeasurementSession.taken_on).desc(), col(MeasurementSession.id).desc())
    sessions = list(db.exec(mine.order_by(*newest)))
    ids = [one.id for one in sessions]
    struck = col(Reading.struck_reason).is_not(None)
    counts = select(Reading.session_id, struck, func.count()).where(
        col(Reading.session_id).in_(ids)
    )
    found: dict[tuple[int, bool], int] = {}
    for session_id, is_struck, count in db.exec(counts.group_by(col(Reading.session_id), struck)):
        found[session_id, bool(is_struck)] = count
    logged = select(LoggedLight.session_id, func.count()).where(
        col(LoggedLight.session_id).in_(ids)
    )
    lines = dict(db.exec(logged.group_by(col(LoggedLight.session_id))).all())
    return [
        Counted(
            session=one,
            readings=found.get((one.id, False), 0),
            struck=found.get((one.id, True), 0),
            logged=lines.get(one.id, 0),
        )
        for one in sessions
    ]


def factors_of(session: MeasurementSession) -> SensorFactors:
    """The session's two factors as the domain applies them."""
    return SensorFactors(immersion=session.immersion_factor, calibration=session.calibration_factor)


def _apply_factors(db: Session, session: MeasurementSession) -> None:
    factors = factors_of(session)
    raw = select(Reading.id, Reading.raw_ppfd).where(Reading.session_id == session.id)
    changed = [
        {"id": reading_id, "ppfd": factors.corrected(value)} for reading_id, value in db.exec(raw)
    ]
    if changed:
        db.execute(update(Reading), changed)
    lines = select(LoggedLight.row, LoggedLight.raw_ppfd).where(
        LoggedLight.session_id == session.id
    )
    logged = [
        {"session_id": session.id, "row": row, "ppfd": factors.corrected(value)}
        for row, value in db.exec(lines)
    ]
    if logged:
        db.execute(update(LoggedLight), logged)
    db.expire_all()


def dated_by_log(db: Session, tank_id: int, words: SessionWords, table: Understood) -> SessionWords:
    """A log knows its own day: the session is dated by its first line, under that day's light."""
    if not table.log:
        return words
    first = min(line.at for line in table.log).date()
    setup = tanks.setup_on(db, tank_id, first)
    return replace(words, taken_on=first, setup_id=setup.id if setup else None)


# Readings from a table


def add_table(
    db: Session, session: MeasurementSession, table: Understood, *, by_id: int | None
) -> None:
    """Every understood row of a table into a session, raw and corrected."""
    factors = factors_of(session)
    now = _now()
    readings = (
        {
            "session_id": session.id,
            "row": row.row,
            "x_cm": row.x_cm,
            "y_cm": row.y_cm,
            "depth_cm": row.depth_cm,
            "raw_ppfd": row.ppfd,
            "ppfd": factors.corrected(row.ppfd),
            "typed_x": row.typed[0][:120],
            "typed_y": row.typed[1][:120],
            "typed_depth": row.typed[2][:120],
            "typed_light": row.typed[3][:120],
            "light_unit": row.light_unit,
            "note": row.note[:300],
            "shaded": False,
            "entered_by_id": by_id,
            "entered_at": now,
        }
        for row in table.rows
    )
    logged = (
        {
            "session_id": session.id,
            "row": row.row,
            "wall_clock_s": round((row.at - _EPOCH).total_seconds()),
            "typed_at": row.typed[0][:60],
            "typed_light": row.typed[1][:60],
            "raw_ppfd": row.ppfd,
            "ppfd": factors.corrected(row.ppfd),
        }
        for row in table.log
    )
    _insert(db, Reading, readings)
    _insert(db, LoggedLight, logged)


def _insert(
    db: Session, table: type[Reading] | type[LoggedLight], rows: Iterable[Mapping[str, object]]
) -> None:
    batch: list[Mapping[str, object]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == _AT_ONCE:
            db.execute(insert(table), batch)
            batch = []
    if batch:
        db.execute(insert(table), batch)


# Readings one at a time


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One value entered by the tank, as it came from a phone or a plain form."""

    client_id: str
    x_cm: float
    y_cm: float
    depth_cm: float
    raw_ppfd: float
    typed_light: str
    point_id: int | None = None
    shaded: bool = False
    note: str = ""
    instead_of: str | None = None
    """Client id of the value this one corrects; that one is struck out."""


def record(
    db: Session, session: MeasurementSession, entries: Sequence[Entry], *, by_id: int | None
) -> list[Reading]:
    """Stores values exactly once: an entry whose client id is known gives the first answer."""
    return [_record(db, session, entry, by_id) for entry in entries]


def _record(db: Session, session: MeasurementSession, entry: Entry, by_id: int | None) -> Reading:
    known = _by_client_id(db, session, entry.client_id)
    if known is not None:
        return known
    reading = Reading(
        session_id=session.id,
        client_id=entry.client_id,
        point_id=_own_point(db, session, entry.point_id, (entry.x_cm, entry.y_cm, entry.depth_cm)),
        x_cm=entry.x_cm,
        y_cm=entry.y_cm,
        depth_cm=entry.depth_cm,
        raw_ppfd=entry.raw_ppfd,
        ppfd=factors_of(session).corrected(entry.raw_ppfd),
        typed_light=entry.typed_light[:120],
        note=entry.note[:300],
        shaded=entry.shaded,
        entered_by_id=by_id,
        entered_at=_now(),
    )
    try:
        with db.begin_nested():  # another phone may be storing the same entry just now
            db.add(reading)
    except IntegrityError:
        again = _by_client_id(db, session, entry.client_id)
        assert again is not None
        return again
    if entry.instead_of:
        wrong = _by_client_id(db, session, entry.instead_of)
        if wrong is not None and wrong.struck_reason is None:
            strike(db, session, wrong, reason="corrected on the spot", by_id=by_id)
    return reading


def _by_client_id(db: Session, session: MeasurementSession, client_id: str) -> Reading | None:
    same = select(Reading).where(Reading.session_id == session.id, Reading.client_id == client_id)
    return db.exec(same).first()


def _own_point(
    db: Session,
    session: MeasurementSession,
    point_id: int | None,
    place: tuple[float, float, float],
) -> int | None:
    """The planned point that was read, if it is this session's and lies at that very place.

    A phone may hold an old copy of a plan that was chosen anew since; the place it sends is what
    was read, and numbers of points may have been given to others.
    """
    point = _point_at(db, session, point_id, place)
    return point.id if point is not None else None


def _point_at(
    db: Session,
    session: MeasurementSession,
    point_id: int | None,
    place: tuple[float, float, float],
) -> PlannedPoint | None:
    point = db.get(PlannedPoint, point_id) if point_id and 0 < point_id < 2**31 else None
    if point is None or point.session_id != session.id:
        return None
    away = math.dist(place, (point.x_cm, point.y_cm, point.depth_cm))
    return point if away < _SAME_PLACE_CM else None


def readings_of(
    db: Session, session_id: int, *, struck: bool = True, limit: int | None = None, start: int = 0
) -> list[Reading]:
    """The readings of a session in the order they came; `struck` False leaves those out."""
    mine = select(Reading).where(Reading.session_id == session_id)
    if not struck:
        mine = mine.where(col(Reading.struck_reason).is_(None))
    mine = mine.order_by(col(Reading.id)).offset(start)
    return list(db.exec(mine.limit(limit) if limit is not None else mine))


def reading_count(db: Session, session_id: int) -> tuple[int, int]:
    """How many readings a session holds in all, and how many of them are struck out."""
    total = select(func.count(), func.count(col(Reading.struck_reason))).where(
        Reading.session_id == session_id
    )
    found = db.exec(total).one()
    return found[0], found[1]


def light_range(db: Session, session_id: int) -> tuple[float, float] | None:
    """Least and most corrected light of the readings that count; None without any."""
    ends = select(func.min(Reading.ppfd), func.max(Reading.ppfd)).where(
        Reading.session_id == session_id, col(Reading.struck_reason).is_(None)
    )
    low, high = db.exec(ends).one()
    return None if low is None else (low, high)


def log_of(db: Session, session_id: int) -> list[tuple[datetime, float]]:
    """Clock and corrected light of every line of a log."""
    lines = select(LoggedLight.wall_clock_s, LoggedLight.ppfd).where(
        LoggedLight.session_id == session_id
    )
    found = db.exec(lines.order_by(col(LoggedLight.wall_clock_s), col(LoggedLight.row)))
    return [(_clock(seconds), ppfd) for seconds, ppfd in found]


def logged_rows(db: Session, session_id: int) -> list[LoggedLight]:
    """Every line of a log as it was stored."""
    lines = select(LoggedLight).where(LoggedLight.session_id == session_id)
    return list(db.exec(lines.order_by(col(LoggedLight.row))))


def clock_of(line: LoggedLight) -> datetime:
    """The clock on the wall of a line of a log."""
    return _clock(line.wall_clock_s)


def _clock(seconds: int) -> datetime:
    return datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None)


def reading_in(db: Session, session: MeasurementSession, reading_id: int) -> Reading | None:
    """The reading, if it is one of this session."""
    reading = db.get(Reading, reading_id) if 0 < reading_id < 2**31 else None
    return reading if reading is not None and reading.session_id == session.id else None


def strike(
    db: Session, session: MeasurementSession, reading: Reading, *, reason: str, by_id: int | None
) -> None:
    """Sets a reading aside with its reason; it stays where it is."""
    reading.struck_reason = reason[:300]
    db.add(reading)
    note_act(db, session, "struck_out", words=reason, by_id=by_id, reading_id=reading.id)


def bring_back(
    db: Session, session: MeasurementSession, reading: Reading, *, by_id: int | None
) -> None:
    reason, reading.struck_reason = reading.struck_reason or "", None
    db.add(reading)
    words = f"had been struck out: {reason}"
    note_act(db, session, "brought_back", words=words, by_id=by_id, reading_id=reading.id)


# The reading plan


def _add_point(
    db: Session,
    session: MeasurementSession,
    position: int,
    point: Point,
    expected_ppfd: float | None,
) -> PlannedPoint:
    row = PlannedPoint(
        session_id=session.id,
        position=position,
        x_cm=point.x_cm,
        y_cm=point.y_cm,
        depth_cm=point.depth_cm,
        name=point.name[:80],
        expected_ppfd=expected_ppfd,
    )
    db.add(row)
    db.flush()
    return row


def plan_of(db: Session, session_id: int) -> list[PlannedPoint]:
    """The planned points in their order."""
    planned = select(PlannedPoint).where(PlannedPoint.session_id == session_id)
    return list(db.exec(planned.order_by(col(PlannedPoint.position))))


def set_open_points(
    db: Session,
    session: MeasurementSession,
    points: Sequence[Point],
    expected_ppfd: Sequence[float] | None,
) -> None:
    """The points still to be read, in order; those already read or skipped stay as they are."""
    read = select(Reading.point_id).where(
        Reading.session_id == session.id, col(Reading.point_id).is_not(None)
    )
    db.exec(
        delete(PlannedPoint).where(
            col(PlannedPoint.session_id) == session.id,
            col(PlannedPoint.skipped_at).is_(None),
            col(PlannedPoint.id).not_in(read),
        )
    )
    start = max((point.position for point in plan_of(db, session.id)), default=-1) + 1
    for i, point in enumerate(points):
        expected = expected_ppfd[i] if expected_ppfd else None
        _add_point(db, session, start + i, point, expected)


def skip_point(
    db: Session, session: MeasurementSession, point_id: int, place: tuple[float, float, float]
) -> None:
    """Leaves a planned point out."""
    point = _point_at(db, session, point_id, place)
    if point is not None:
        point.skipped_at = _now()
        db.add(point)


# Who did what


def note_act(
    db: Session,
    session: MeasurementSession,
    what: str,
    *,
    words: str = "",
    by_id: int | None,
    reading_id: int | None = None,
) -> None:
    """Writes down who did what."""
    db.add(
        SurveyAct(
            session_id=session.id,
            reading_id=reading_id,
            what=what,
            words=words[:500],
            member_id=by_id,
            at=_now(),
        )
    )


def acts_of(db: Session, session_id: int) -> list[tuple[SurveyAct, str]]:
    """Everything done with a session, latest first, with the doer's name."""
    acts = (
        select(SurveyAct, Member.name)
        .join(Member, col(Member.id) == col(SurveyAct.member_id), isouter=True)
        .where(SurveyAct.session_id == session_id)
        .order_by(col(SurveyAct.id).desc())
    )
    return [(act, name or "somebody who left") for act, name in db.exec(acts)]
