"""Everything that happened at a tank, as one list of dated entries."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Literal

from sqlmodel import Session, col, select

from server.db import acclimation, days, dim_days, lived_under, surveys, tanks
from server.dose import chores
from server.dose.jumps import JUMPS
from server.models import AcclimationPlan, Animal, ChoreDone, TankNote
from server.wording import figures

Kind = Literal["light", "day", "readings", "acclimation", "animal", "note", "chore"]


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One thing that happened: when, of which kind, in words, and where to read more."""

    on: date
    kind: Kind
    words: str
    told: str = ""
    address: str = ""


def timeline(db: Session, tank_id: int) -> list[Entry]:
    """The whole history of a tank, newest first."""
    entries = [
        *_setups(db, tank_id),
        *_schedules(db, tank_id),
        *_sessions(db, tank_id),
        *_ways(db, tank_id),
        *_animals(db, tank_id),
        *_moves(db, tank_id),
        *_dim_days(db, tank_id),
        *_notes(db, tank_id),
        *_chores(db, tank_id),
    ]
    return sorted(entries, key=lambda entry: entry.on, reverse=True)


def add_note(db: Session, *, tank_id: int, on: date, words: str, by_id: int | None) -> None:
    db.add(
        TankNote(
            tank_id=tank_id,
            noted_on=on,
            words=words,
            member_id=by_id,
            created_at=datetime.now(UTC),
        )
    )


def _setups(db: Session, tank_id: int) -> list[Entry]:
    return [
        Entry(
            on=setup.since,
            kind="light",
            words=setup.name or "Lamps set",
            told=setup.reason,
            address=f"/setups/{setup.id}",
        )
        for setup in tanks.setups_of(db, tank_id)
        if setup.state == "hung"
    ]


def _schedules(db: Session, tank_id: int) -> list[Entry]:
    return [
        Entry(on=row.since, kind="day", words="Day set", told=row.reason)
        for row in days.schedules_of(db, tank_id)
        if row.state == "set"
    ]


def _sessions(db: Session, tank_id: int) -> list[Entry]:
    found = []
    for counted in surveys.sessions_of(db, tank_id):
        many = counted.readings or counted.logged
        found.append(
            Entry(
                on=counted.session.taken_on,
                kind="readings",
                words=f"Measured: {many} reading{'' if many == 1 else 's'}",
                told=counted.session.note[:300],
                address=f"/sessions/{counted.session.id}",
            )
        )
    return found


_TOLD = {
    "done": "Way up, step {} set",
    "skipped": "Way up, step {} skipped",
    "pale": "Something pale or shrunken before step {}: the way up holds",
    "resumed": "Way up carried on before step {}",
    "back": "Way up went back before step {}",
    "stopped": "Way up given up before step {}",
}


def _ways(db: Session, tank_id: int) -> list[Entry]:
    address = f"/tanks/{tank_id}/acclimation"
    found = []
    for plan in acclimation.plans_of(db, tank_id):
        found.append(_begun(plan, len(acclimation.steps_of(db, plan.id)), address))
        found += [
            Entry(
                on=answer.told_on,
                kind="acclimation",
                words=_TOLD[answer.answer].format(answer.step_number),
                told=answer.note,
                address=address,
            )
            for answer in acclimation.answers_of(db, plan.id)
        ]
    return found


def _begun(plan: AcclimationPlan, steps: int, address: str) -> Entry:
    return Entry(
        on=plan.created_at.date(),
        kind="acclimation",
        words=f"Way up planned in {steps} steps",
        told=f"at most {plan.weekly_rise:.0%} a week",
        address=address,
    )


def _animals(db: Session, tank_id: int) -> list[Entry]:
    rows = db.exec(select(Animal).where(Animal.tank_id == tank_id))
    found = []
    for animal in rows:
        found.append(Entry(on=animal.placed_on, kind="animal", words=f"{animal.name} came in"))
        if animal.left_on is not None:
            found.append(Entry(on=animal.left_on, kind="animal", words=f"{animal.name} left"))
    return found


def _moves(db: Session, tank_id: int) -> list[Entry]:
    animals = list(db.exec(select(Animal).where(Animal.tank_id == tank_id)))
    moves = lived_under.moves_of(db, animals)
    return [
        Entry(on=move.moved_on, kind="animal", words=f"{animal.name} was moved")
        for animal in animals
        for move in moves.get(animal.id, ())
    ]


def _dim_days(db: Session, tank_id: int) -> list[Entry]:
    return [
        Entry(
            on=row.until_on,
            kind="light",
            words=JUMPS[row.why].what if row.why in JUMPS else "Less light",
            told=f"{row.share:.0%} of the light since {figures.day(row.first_on)}",
        )
        for row in dim_days.dim_days_of(db, tank_id)
    ]


def _notes(db: Session, tank_id: int) -> list[Entry]:
    kept = select(TankNote).where(TankNote.tank_id == tank_id).order_by(col(TankNote.id).desc())
    return [Entry(on=row.noted_on, kind="note", words=row.words) for row in db.exec(kept)]


def _chores(db: Session, tank_id: int) -> list[Entry]:
    rows = db.exec(select(ChoreDone).where(ChoreDone.tank_id == tank_id))
    return [
        Entry(on=row.done_on, kind="chore", words=chores.BY_KEY[row.chore].name)
        for row in rows
        if row.chore in chores.BY_KEY
    ]
