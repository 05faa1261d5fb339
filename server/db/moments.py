"""A tank at one moment: its lamps, its day, who lived there. And when its light last changed."""

from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from server.db import carried_readings, days, light, tanks
from server.db.carried_readings import Surveyed
from server.db.days import GroupDay
from server.db.light import Hung
from server.models import Animal, Schedule, Setup, Tank


@dataclass(frozen=True, kw_only=True)
class Moment:
    """What hung, ran and lived at a tank on one day; empty where there was nothing yet.

    `surveyed`: the readings that speak for its light.
    """

    on: date
    setup: Setup | None
    hung: tuple[Hung, ...]
    schedule: Schedule | None
    days: tuple[GroupDay, ...]
    animals: tuple[Animal, ...]
    surveyed: Surveyed | None = None

    @property
    def control(self) -> str:
        """How the lamps are switched, where the keeper said so."""
        return self.schedule.control if self.schedule else ""

    @property
    def changed_on(self) -> date | None:
        """When the light last changed: the later of lamps and day."""
        dates = [row.since for row in (self.setup, self.schedule) if row is not None]
        return max(dates, default=None)


def moment(db: Session, tank_id: int, on: date, *, known_on: date | None = None) -> Moment:
    """The tank on a day that is past, or today.

    `known_on`: the day whose readings may speak for it, where that is a later one; so two days
    under the same lamps are told apart by the lamps, not by what was known of them.
    """
    setup = tanks.setup_on(db, tank_id, on)
    schedule = days.schedule_on(db, tank_id, on)
    tank = db.get_one(Tank, tank_id)
    return Moment(
        on=on,
        setup=setup,
        hung=light.hung_over(db, setup.id) if setup and setup.id else (),
        schedule=schedule,
        days=days.days_of(db, schedule.id) if schedule and schedule.id else (),
        animals=tuple(tanks.animals_of(db, tank_id, on=on)),
        surveyed=carried_readings.surveyed(db, tank, setup, on=known_on or on) if setup else None,
    )
