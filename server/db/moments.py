"""A tank at one moment: its lamps, its day, who lived there. And when its light last changed."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from server.db import accounts, days, tanks
from server.db.accounts import AccountRows
from server.db.days import GroupDay
from server.db.light import Hung
from server.db.typed_now import Typed, WayRows, lamps_typed, typed
from server.models import Animal, Schedule, Setup, Tank

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Moment:
    """What hung, ran and lived at a tank on one day; empty where there was nothing yet.

    `rows`: of the account of its light; None where nothing hung.
    """

    on: date
    setup: Setup | None
    hung: tuple[Hung, ...]
    schedule: Schedule | None
    days: tuple[GroupDay, ...]
    animals: tuple[Animal, ...]
    rows: AccountRows | None = None

    @property
    def control(self) -> str:
        """How the lamps are switched, where the keeper said so."""
        return self.schedule.control if self.schedule else ""

    @property
    def changed_on(self) -> date | None:
        """When the light last changed: the later of lamps and day."""
        dates = [row.since for row in (self.setup, self.schedule) if row is not None]
        return max(dates, default=None)


def moment(db: Session, tank_id: int, on: date) -> Moment:
    """The tank on a day that is past, or today."""
    setup = tanks.setup_on(db, tank_id, on)
    schedule = days.schedule_on(db, tank_id, on)
    tank = db.get_one(Tank, tank_id)
    rows = accounts.rows_of(db, tank, today=on, setup=setup) if setup else None
    return Moment(
        on=on,
        setup=setup,
        hung=rows.hung if rows else (),
        schedule=schedule,
        days=days.days_of(db, schedule.id) if schedule and schedule.id else (),
        animals=tuple(tanks.animals_of(db, tank_id, on=on)),
        rows=rows,
    )


def put_right(at: Moment, points_cm: FloatArray) -> FloatArray:
    """What is known of the light at places (n, 3) [cm], over the lamps' stated figures, (n,)."""
    return np.ones(len(points_cm)) if at.rows is None else accounts.over_plan(at.rows, points_cm)


def typed_at(at: Moment, way: WayRows | None) -> Typed:
    """Every number to type at a moment, in its wall time."""
    return typed(lamps_typed(at.hung, at.schedule, at.days, at.on), way, on=at.on)
