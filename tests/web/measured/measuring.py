"""A reef whose lamps give less than they state, and a meter that finds out."""

from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from server.db import measured, surveys, tanks
from server.db.engine import Database
from server.db.surveys import SessionWords
from server.models import Reading, Setup, Tank
from server.surveys import changed, places
from server.surveys.plan import Plan

Floats = NDArray[np.float64]
TRUE_OUTPUT = 0.78


def plan_of(club: Database, tank_id: int, setup_id: int) -> Plan:
    """The setup as planned."""
    with club.read() as db:
        rows = measured.rows_of(db, db.get_one(Tank, tank_id), db.get_one(Setup, setup_id))
    return measured.plan_of(rows)


def real_light(plan: Plan, points: Floats, *, output: float = TRUE_OUTPUT) -> Floats:
    """What a good meter would show: every lamp gives so much of what it states."""
    return changed.with_output(plan, (output,) * len(plan.lamps)).sensed(points)


def twelve_places(plan: Plan) -> Floats:
    """Twelve places on the left two thirds of the tank, in whole centimetres."""
    grid = places.even_grid(plan.tank, along=3, across=2, levels=2, edge=0.12)
    grid[:, 0] *= 0.7
    return np.round(grid)


def scattered(light: Floats, *, seed: int = 4, error: float = 0.04) -> Floats:
    """The same with the error of a hand-held meter."""
    rng = np.random.default_rng(seed)
    return np.asarray(np.round(light * (1 + error * rng.normal(size=light.size)), 1))


def store(
    club: Database,
    tank_id: int,
    setup_id: int,
    points: Floats,
    light: Sequence[float] | Floats,
    *,
    on: date = date(2026, 6, 1),
) -> int:
    """Readings as a session in the database; gives its number."""
    with club.write() as db:
        words = SessionWords(taken_on=on, setup_id=setup_id)
        session = surveys.add_session(db, tank_id=tank_id, words=words, by_id=None)
        for (x, y, z), ppfd in zip(points, light, strict=True):
            db.add(_reading(session.id or 0, float(x), float(y), float(z), float(ppfd)))
        return session.id or 0


def _reading(session_id: int, x: float, y: float, z: float, ppfd: float) -> Reading:
    return Reading(
        session_id=session_id,
        x_cm=x,
        y_cm=y,
        depth_cm=z,
        raw_ppfd=ppfd,
        ppfd=ppfd,
        entered_at=datetime.now(UTC),
    )


def as_table(points: Floats, light: Floats) -> str:
    """Readings as a spreadsheet with decimal commas would give them."""
    rows = [
        f"{x:g};{y:g};{z:g};{e:.1f}".replace(".", ",")
        for (x, y, z), e in zip(points, light, strict=True)
    ]
    return "\n".join(["x cm;y cm;depth cm;PAR", *rows])


def add_animal(db: Session, tank_id: int, name: str, place: Floats, low: float, high: float) -> int:
    animal = tanks.add_animal(
        db,
        tank_id,
        tanks.AnimalWords(
            name=name, group="soft", x_cm=float(place[0]), y_cm=float(place[1]),
            depth_cm=float(place[2]), low_ppfd=low, high_ppfd=high,
            range_source="made up for a test", placed_on=date(2026, 5, 3),
        ),
    )  # fmt: skip
    return animal.id or 0
