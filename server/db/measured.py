"""The measured map of a setup: its rows loaded in a transaction, its light worked out after.

    with club.read() as db:
        rows = measured.rows_of(db, tank, setup)
    found = measured.measured(rows)        # None where nothing hangs over the tank

Readings are taken as they stand in the database, sensor factors already applied there (once).
Struck-out readings and sessions set aside do not take part; readings marked as shaded tell of one
place behind a rock and not of the lamps, so they are shown and not used. Where a later session
shows a real change, the earlier ones are left out of the map and the change is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session, col, select

from server.db import light, surveys, tanks
from server.db.light import Hung, Scene
from server.models import MeasurementSession, Setup, Tank
from server.models import Reading as ReadingRow
from server.surveys import drift
from server.surveys.drift import Drift
from server.surveys.estimate import MeasuredMap, estimate
from server.surveys.plan import Lamp, Plan, Reading

Floats = NDArray[np.float64]

MOST_READINGS = 400  # a log belongs elsewhere; more places than this tell nothing new


@dataclass(frozen=True, kw_only=True)
class Survey:
    """One session with its readings that are not struck out, in the order they came."""

    session: MeasurementSession
    readings: tuple[ReadingRow, ...]


@dataclass(frozen=True, kw_only=True)
class MeasuredRows:
    """Everything of a setup that its map needs, read once."""

    tank: Tank
    setup: Setup
    hung: tuple[Hung, ...]
    surveys: tuple[Survey, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Measured:
    """A setup's light as known best.

    used: the sessions the map rests on; replaced: earlier ones that no longer hold; change: what
    the latest used session showed against those before it, None where there was only one.
    """

    rows: MeasuredRows
    map: MeasuredMap
    used: tuple[Survey, ...]
    replaced: tuple[Survey, ...]
    change: Drift | None

    @property
    def measured(self) -> bool:
        """Whether any reading takes part."""
        return bool(self.map.used)

    @property
    def corrected(self) -> Scene:
        """The tank and its lamps with their numbers put right, as the engine takes them."""
        plan = self.map.corrected
        by_lamp = tuple(lamp.emitters for lamp in plan.lamps)
        return Scene(
            tank=plan.tank,
            water=plan.water,
            emitters=tuple(emitter for group in by_lamp for emitter in group),
            by_lamp=by_lamp,
        )

    def half_width(self, points: Floats) -> Floats:
        """Half of the 80 % interval over the value at points (n, 3), (n,)."""
        return self.map.at(points).half_width

    def row_of(self, key: int) -> ReadingRow | None:
        """The stored reading behind one of the map's."""
        every = (row for survey in self.rows.surveys for row in survey.readings)
        return next((row for row in every if row.id == key), None)


def rows_of(db: Session, tank: Tank, setup: Setup) -> MeasuredRows:
    """Rows of one setup. Call inside a transaction; works nothing out."""
    return MeasuredRows(
        tank=tanks.as_stood(tank, setup),
        setup=setup,
        hung=light.hung_over(db, setup.id, as_stated=True),
        surveys=tuple(
            Survey(session=one, readings=tuple(surveys.readings_of(db, one.id, struck=False)))
            for one in _sessions(db, setup.id)
        ),
    )


def _sessions(db: Session, setup_id: int) -> list[MeasurementSession]:
    mine = select(MeasurementSession).where(
        MeasurementSession.setup_id == setup_id,
        MeasurementSession.kind == "points",
        col(MeasurementSession.removed_at).is_(None),
    )
    oldest = (col(MeasurementSession.taken_on), col(MeasurementSession.id))
    return list(db.exec(mine.order_by(*oldest)))


@dataclass(frozen=True)
class _Asked:
    """Rows of a setup, alike when everything in them that bears on its map is alike."""

    content: tuple[object, ...]
    rows: MeasuredRows = field(compare=False)


def measured(rows: MeasuredRows) -> Measured | None:
    """The map of a setup; from the plan alone where nobody measured. None without light.

    Remembered by content: the same glass, lamps and readings are not worked out again.
    """
    return _measured(_Asked(content_of(rows), rows))


def content_of(rows: MeasuredRows) -> tuple[object, ...]:
    """Everything of the rows that bears on the map, to remember answers by."""
    readings = tuple(
        (*one.session.model_dump().values(), *(_content(row) for row in one.readings))
        for one in rows.surveys
    )
    return (*light.content_of(rows.tank, rows.hung), *readings)


def _content(row: ReadingRow) -> tuple[object, ...]:
    return row.id, row.x_cm, row.y_cm, row.depth_cm, row.ppfd, row.shaded


@lru_cache(maxsize=64)
def _measured(asked: _Asked) -> Measured | None:
    rows = asked.rows
    plan = plan_of(rows)
    if not any(emitter.ppf_umol_s > 0 for emitter in plan.emitters):
        return None
    read = [survey for survey in rows.surveys if _readings(rows.tank, survey)]
    used: list[Survey] = []
    replaced: list[Survey] = []
    change: Drift | None = None
    for survey in read:
        if used:
            change = _change(plan, rows.tank, used, survey)
            if change is not None and change.real:
                replaced, used = [*replaced, *used], []
        used.append(survey)
    return Measured(
        rows=rows,
        map=_estimated(plan, _together(rows.tank, used)),
        used=tuple(used),
        replaced=tuple(replaced),
        change=change,
    )


def of_survey(rows: MeasuredRows, session_id: int) -> Measured | None:
    """The map that one session alone gives, for comparing sessions; None without readings."""
    chosen = [survey for survey in rows.surveys if survey.session.id == session_id]
    plan = plan_of(rows)
    if not chosen or not _readings(rows.tank, chosen[0]) or not plan.emitters:
        return None
    return Measured(
        rows=rows,
        map=_estimated(plan, _together(rows.tank, chosen)),
        used=tuple(chosen),
        replaced=(),
        change=None,
    )


def change_between(earlier: Measured, later: Measured) -> Drift | None:
    """What the later account's readings show against the earlier map."""
    meters = {survey.session.meter_id for survey in (*earlier.used, *later.used)}
    same_meter = len(meters) == 1 and None not in meters
    return drift.drift(earlier.map, later.map.used, same_meter=same_meter)


def plan_of(rows: MeasuredRows) -> Plan:
    """What hangs over the tank, lamp by lamp, as the map takes it."""
    return plan_over(rows.tank, rows.hung)


def plan_over(tank: Tank, hung: Sequence[Hung]) -> Plan:
    """Lamps over a tank as the map takes them."""
    scene = light.scene(tank, hung)
    names = light.lamp_labels(hung)
    return Plan(
        tank=scene.tank,
        water=scene.water,
        lamps=tuple(
            Lamp(name=name, emitters=emitters)
            for name, emitters in zip(names, scene.by_lamp, strict=True)
        ),
    )


def _change(plan: Plan, tank: Tank, before: Sequence[Survey], later: Survey) -> Drift | None:
    """What a later session shows against those before it."""
    meters = {survey.session.meter_id for survey in (*before, later)}
    return drift.drift(
        _estimated(plan, _together(tank, before)),
        _together(tank, [later]),
        same_meter=len(meters) == 1 and None not in meters,
    )


def _together(tank: Tank, chosen: Sequence[Survey]) -> tuple[Reading, ...]:
    several = len(chosen) > 1
    found: list[Reading] = []
    for survey in chosen:
        day = f" of {survey.session.taken_on:%-d %B}" if several else ""
        found += [replace(one, name=f"{one.name}{day}") for one in _readings(tank, survey)]
    return tuple(found[-MOST_READINGS:])


def _readings(tank: Tank, survey: Survey) -> list[Reading]:
    """Readings inside the tank as it is now, numbered as their session lists them."""
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    found = []
    for number, row in enumerate(survey.readings, start=1):
        place = (row.x_cm, row.y_cm, row.depth_cm)
        if any(value > side for value, side in zip(place, sides, strict=True)):
            continue
        found.append(
            Reading(
                x_cm=row.x_cm,
                y_cm=row.y_cm,
                depth_cm=row.depth_cm,
                ppfd=row.ppfd,
                name=f"Reading {number}",
                set_aside=row.shaded,
                key=row.id,
            )
        )
    return found


@lru_cache(maxsize=256)
def _estimated(plan: Plan, readings: tuple[Reading, ...]) -> MeasuredMap:
    """Remembered by content: the same lamps and readings give the same map."""
    return estimate(plan, readings)
