"""What the pages of measurement sessions show."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from server.db.surveys import Counted
from server.drawing.line_chart import LineChart
from server.drawing.tank_view import TankView
from server.models import (
    MeasurementSession,
    Member,
    Meter,
    MeterCalibration,
    Reading,
    Setup,
    SurveyAct,
    Tank,
)
from server.surveys.day_curve import DayCurve
from server.surveys.readings import Sounding
from server.web import filters
from server.web.factor_words import calibration_words, multiplied
from server.web.surveys import charts
from server.web.surveys.form import setup_words

ROWS_A_PAGE = 50
_ACTS = {
    "begun": "began the session",
    "sent": "sent the readings",
    "uploaded": "stored the file's readings",
    "corrected": "corrected the session",
    "struck_out": "struck out a reading",
    "brought_back": "brought back",
    "set_aside": "set the session aside",
}


@dataclass(frozen=True)
class ReadingRow:
    """One reading as the table shows it."""

    id: int
    number: str
    where: str
    typed: str
    ppfd: str
    told: str
    struck_reason: str


@dataclass(frozen=True)
class RepeatRow:
    """A point that was read more than once."""

    where: str
    count: str
    ppfd: str
    error: str


@dataclass(frozen=True)
class ActRow:
    when: str
    words: str


@dataclass(frozen=True)
class DayRow:
    """One day of a log."""

    day: str
    dose: str
    told: str


@dataclass(frozen=True)
class LogView:
    """A fixed sensor's log as a measured day."""

    chart: LineChart
    chart_narrow: LineChart
    days: tuple[DayRow, ...]
    hours: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class SessionView:
    """A session with its readings."""

    session_id: int
    tank_id: int
    tank_name: str
    own: bool
    set_aside: bool
    answer: str
    do: str
    do_address: str
    sure: str
    day: str
    facts: tuple[tuple[str, str], ...]
    rows: tuple[ReadingRow, ...]
    page: int
    pages: int
    repeats: tuple[RepeatRow, ...]
    log: LogView | None
    chart: TankView | None
    chart_narrow: TankView | None
    has_file: bool
    acts: tuple[ActRow, ...]
    unit: str


@dataclass(frozen=True, kw_only=True)
class SessionRows:
    """What the routes loaded for a session's page."""

    session: MeasurementSession
    tank: Tank
    setup: Setup | None
    meter: Meter | None
    in_force: MeterCalibration | None
    readings: Sequence[Reading]
    total: int
    struck: int
    counted: Sequence[Sounding]
    light_range: tuple[float, float] | None
    curve: DayCurve | None
    file: tuple[str, bool, int] | None
    acts: Sequence[tuple[SurveyAct, str]]
    time_zone: str
    page: int


def counted_words(one: Counted) -> str:
    """How much a session of the list holds."""
    told = filters.count(one.readings, "reading")
    if one.session.kind == "log":
        told = f"a sensor's log of {filters.count(one.logged, 'line')}"
    return told + (f", {one.struck} more struck out" if one.struck else "")


# One session


def session_page(who: Member, rows: SessionRows) -> SessionView:
    session, tank = rows.session, rows.tank
    own = tank.owner_id == who.id
    answer, do, do_address = _told(rows, own)
    per_page = ROWS_A_PAGE
    return SessionView(
        session_id=session.id,
        tank_id=tank.id,
        tank_name=tank.name,
        own=own,
        set_aside=session.removed_at is not None,
        answer=answer,
        do=do,
        do_address=do_address,
        sure=multiplied(session.immersion_factor, session.calibration_factor),
        day=filters.day(session.taken_on),
        facts=_facts(rows),
        rows=tuple(
            _row(one, i, who.length_unit)
            for i, one in enumerate(rows.readings, start=(rows.page - 1) * per_page + 1)
        ),
        page=rows.page,
        pages=max(1, math.ceil(rows.total / per_page)),
        repeats=tuple(_repeat(one, who.length_unit) for one in rows.counted if one.count > 1)[:40],
        log=_log(rows.curve, who) if rows.curve is not None else None,
        chart=charts.soundings(tank, rows.counted, who.length_unit, narrow=False),
        chart_narrow=charts.soundings(tank, rows.counted, who.length_unit, narrow=True),
        has_file=rows.file is not None,
        acts=tuple(_act(act, name, rows.time_zone, who.clock) for act, name in rows.acts),
        unit=who.length_unit,
    )


def _told(rows: SessionRows, own: bool) -> tuple[str, str, str]:
    """The answer in a sentence, what to do next, and where."""
    session, tank = rows.session, rows.tank
    if rows.curve is not None:
        return _log_told(rows.curve, tank)
    if session.kind == "log":
        answer = f"The log from {tank.name} has too few lines to draw a curve"
        return answer, "Log a longer time.", f"/tanks/{tank.id}/sessions/new"
    count = rows.total - rows.struck
    if rows.light_range is None:
        words = f"No readings in {tank.name} yet"
        return words, "Take the first one by the tank.", f"/sessions/{session.id}/enter"
    low, high = (filters.ppfd(end) for end in rows.light_range)
    spread = f"{low} to {high} µmol m⁻² s⁻¹" if count > 1 else f"{low} µmol m⁻² s⁻¹"
    answer = f"{filters.count(count, 'reading')} in {tank.name}, {spread}"
    return answer, "See what each animal gets.", f"/tanks/{tank.id}/verdict"


def _log_told(curve: DayCurve, tank: Tank) -> tuple[str, str, str]:
    if curve.dli_mol_m2_d is None:
        answer = f"The log from {tank.name} holds no whole day, so it gives no dose"
        return answer, "Log a day from midnight to midnight.", f"/tanks/{tank.id}/sessions/new"
    dose = filters.significant(curve.dli_mol_m2_d, 3)
    answer = f"The sensor in {tank.name} gets {dose} mol m⁻² a day"
    return answer, "Compare it with the day you planned.", f"/tanks/{tank.id}/dose"


def _facts(rows: SessionRows) -> tuple[tuple[str, str], ...]:
    session = rows.session
    facts = [
        ("Measured on", filters.day(session.taken_on)),
        ("Meter", rows.meter.name if rows.meter else "not stated"),
        ("Light", setup_words(rows.setup) if rows.setup else "no lamps on record for that day"),
        ("Immersion factor", f"{session.immersion_factor:g}"),
        ("Calibration factor", calibration_words(session.calibration_factor, rows.in_force)),
    ]
    if session.lux_per_ppfd:
        facts.append(("Lux per µmol m⁻² s⁻¹", f"{session.lux_per_ppfd:g}"))
    if rows.struck:
        facts.append(("Struck out", filters.count(rows.struck, "reading")))
    if rows.file is not None:
        name, pasted, size = rows.file
        kept = "pasted text" if pasted else name
        facts.append(("Kept as sent", f"{kept}, {max(1, round(size / 1024))} kB"))
    if session.note:
        facts.append(("Note", session.note))
    return tuple(facts)


def place_words(x_cm: float, y_cm: float, depth_cm: float, unit: str) -> str:
    """Three lengths as a place: "10, 20, 15" from left, from front and deep."""
    return ", ".join(filters.length_number(v, unit) for v in (x_cm, y_cm, depth_cm))


def _row(one: Reading, number: int, unit: str) -> ReadingRow:
    typed = one.typed_light or filters.significant(one.raw_ppfd, 4)
    notes = [one.note] if one.note else []
    if one.shaded:
        notes.append("shaded by rock")
    if one.row:
        notes.append(f"line {one.row}")
    return ReadingRow(
        id=one.id,
        number=str(number),
        where=place_words(one.x_cm, one.y_cm, one.depth_cm, unit),
        typed=f"{typed} {'' if one.light_unit == 'µmol' else one.light_unit}".strip(),
        ppfd=filters.ppfd(one.ppfd),
        told=", ".join(notes),
        struck_reason=one.struck_reason or "",
    )


def _repeat(one: Sounding, unit: str) -> RepeatRow:
    return RepeatRow(
        where=place_words(one.x_cm, one.y_cm, one.depth_cm, unit),
        count=str(one.count),
        ppfd=filters.ppfd(one.ppfd),
        error=filters.ppfd(one.error_ppfd),
    )


def _act(act: SurveyAct, name: str, zone: str, clock: str) -> ActRow:
    at = filters.local(act.at, zone)
    what = _ACTS.get(act.what, act.what)
    if act.what == "brought_back" and act.reading_id is None:
        what = "brought the session back"
    elif act.what == "brought_back":
        what = "brought back a reading"
    words = f"{name} {what}" + (f": {act.words}" if act.words else "")
    return ActRow(when=f"{filters.day(at.date())}, {filters.clock(at, clock)}", words=words)


def _log(curve: DayCurve, who: Member) -> LogView:
    return LogView(
        chart=charts.day(curve, who.clock, narrow=False),
        chart_narrow=charts.day(curve, who.clock, narrow=True),
        days=tuple(
            DayRow(
                day=filters.day(one.day),
                dose=filters.significant(one.dli_mol_m2_d, 3),
                told="" if one.whole else f"only {filters.percent(one.covered)} of the day",
            )
            for one in curve.days[:400]
        ),
        hours=charts.hours(curve, who.clock),
    )
