"""Chores of a tank: which fit, when they were done, when they come round again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlmodel import Session, col, func, select

from server.db import acclimation, tanks
from server.dose import chores
from server.dose.chores import Due
from server.dose.jumps import Jump, dim_from, of_chore
from server.models import (
    ChoreDone,
    ChoreEvery,
    HungLamp,
    LampModel,
    MeasurementSession,
    Member,
    Tank,
)

MEASURE = "measure"
"""The chore that a measurement session does by itself."""


@dataclass(frozen=True, kw_only=True)
class TankDue:
    """A chore of one tank and its keeper."""

    tank: Tank
    keeper: str
    due: Due


def chores_of(db: Session, tank: Tank, *, today: date) -> list[Due]:
    """Every chore that fits a tank's lamps, the latest first. Those set to never are left out."""
    return _dues(db, [tank], today).get(tank.id, [])


def due_of_member(db: Session, member_id: int, *, today: date, within_days: int) -> list[TankDue]:
    """Chores of a member's tanks that are late or come within so many days, latest first."""
    mine = tanks.own_tanks(db, member_id)
    keeper = db.get_one(Member, member_id).name
    return _listed(db, [(tank, keeper) for tank in mine], today, within_days)


def due_of_club(db: Session, *, today: date, within_days: int) -> list[TankDue]:
    """Chores of every tank shown to the club."""
    shown = [(tank, keeper.name) for tank, keeper in tanks.shared_tanks(db)]
    return _listed(db, shown, today, within_days)


def _listed(
    db: Session, kept: Sequence[tuple[Tank, str]], today: date, within_days: int
) -> list[TankDue]:
    found = _dues(db, [tank for tank, _ in kept], today)
    lines = [
        TankDue(tank=tank, keeper=keeper, due=due)
        for tank, keeper in kept
        for due in found.get(tank.id, [])
        if due.days_late >= -within_days
    ]
    return sorted(lines, key=lambda line: (-line.due.days_late, line.tank.name))


def mark_done(db: Session, *, tank_id: int, chore: str, on: date, by_id: int | None) -> None:
    db.add(
        ChoreDone(
            tank_id=tank_id, chore=chore, done_on=on, member_id=by_id, created_at=datetime.now(UTC)
        )
    )


def jump_of(db: Session, tank_id: int, chore: str, *, today: date) -> tuple[Jump, date] | None:
    """The jump in light that a chore done today means, and since when it was dimmer.

    None where the chore was not done today, or changes the light too little.
    """
    asked = select(ChoreDone).where(ChoreDone.tank_id == tank_id, ChoreDone.chore == chore)
    done = sorted(row.done_on for row in db.exec(asked))
    if not done or done[-1] != today:
        return None
    begun = [one.since for one in tanks.setups_of(db, tank_id) if one.state == "hung"]
    last = max((on for on in done if on < today), default=min(begun, default=None))
    jump = of_chore(chore, last_on=last, on=today)
    return None if jump is None else (jump, dim_from(last_on=last, on=today))


def jumps_of(db: Session, tank_id: int, *, today: date) -> list[Jump]:
    """Jumps in light by chores done today; none while a way is under way already."""
    if acclimation.under_way(db, tank_id) is not None:
        return []
    found = [jump_of(db, tank_id, chore, today=today) for chore in chores.BY_KEY]
    return [one[0] for one in found if one is not None]


def set_every(db: Session, *, tank_id: int, chore: str, days: int) -> None:
    """How often the keeper wants a chore; 0 days: never."""
    row = db.get(ChoreEvery, (tank_id, chore)) or ChoreEvery(
        tank_id=tank_id, chore=chore, days=days
    )
    row.days = days
    db.add(row)


def every_of(db: Session, tank_id: int) -> dict[str, int]:
    """The keeper's own intervals [d] by chore."""
    rows = db.exec(select(ChoreEvery).where(ChoreEvery.tank_id == tank_id))
    return {row.chore: row.days for row in rows}


# Gathered for many tanks at once


def _dues(db: Session, listed: Sequence[Tank], today: date) -> dict[int, list[Due]]:
    ids = [tank.id for tank in listed]
    last, every = _last_done(db, ids), _every(db, ids)
    setups = tanks.current_setups(db, ids)
    kinds = _kinds(db, {setup.id: tank_id for tank_id, setup in setups.items()})
    found: dict[int, list[Due]] = {}
    for tank in listed:
        tank_id = tank.id
        if tank_id not in setups:
            continue  # without a lamp nothing drifts
        begun = min(setups[tank_id].since, today)
        dues = [
            chores.due(
                chore,
                last_on=last.get((tank_id, chore.key)),
                counted_from=begun,
                days=every.get((tank_id, chore.key)),
                today=today,
            )
            for chore in chores.fitting(
                lamp_kinds=kinds.get(tank_id, frozenset()), cover=tank.cover
            )
            if every.get((tank_id, chore.key)) != 0
        ]
        found[tank_id] = sorted(dues, key=lambda due: -due.days_late)
    return found


def _last_done(db: Session, ids: Sequence[int]) -> Mapping[tuple[int, str], date]:
    rows = db.exec(
        select(ChoreDone.tank_id, ChoreDone.chore, func.max(ChoreDone.done_on))
        .where(col(ChoreDone.tank_id).in_(ids))
        .group_by(col(ChoreDone.tank_id), col(ChoreDone.chore))
    )
    last = {(tank_id, chore): day for tank_id, chore, day in rows}
    measured = db.exec(
        select(MeasurementSession.tank_id, func.max(MeasurementSession.taken_on))
        .where(
            col(MeasurementSession.tank_id).in_(ids),
            col(MeasurementSession.removed_at).is_(None),
        )
        .group_by(col(MeasurementSession.tank_id))
    )
    for tank_id, day in measured:
        told = last.get((tank_id, MEASURE))
        last[tank_id, MEASURE] = max(day, told) if told else day
    return last


def _every(db: Session, ids: Sequence[int]) -> Mapping[tuple[int, str], int]:
    rows = db.exec(select(ChoreEvery).where(col(ChoreEvery.tank_id).in_(ids)))
    return {(row.tank_id, row.chore): row.days for row in rows}


def _kinds(db: Session, tank_of_setup: Mapping[int, int]) -> dict[int, frozenset[str]]:
    rows = db.exec(
        select(HungLamp.setup_id, LampModel.kind)
        .join(LampModel, col(LampModel.id) == col(HungLamp.lamp_model_id))
        .where(col(HungLamp.setup_id).in_(list(tank_of_setup)))
    )
    found: dict[int, set[str]] = {}
    for setup_id, kind in rows:
        found.setdefault(tank_of_setup[setup_id], set()).add(kind)
    return {tank_id: frozenset(kinds) for tank_id, kinds in found.items()}
