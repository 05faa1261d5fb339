"""The light a way leads to, joined from its rows: what each setting of the way gives."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from server.account.ability import Ability
from server.db import accounts, days
from server.db.abilities import ability_of
from server.db.accounts import AccountRows
from server.db.carried_readings import places_of
from server.db.daylight import lamp_days, light_at, lit_parts, part_days, pressed_together
from server.db.days import GroupDay
from server.db.light import Hung
from server.dose.day import added, course, lit_hours
from server.dose.ladder import Means, Setting
from server.dose.together import Days, Light, light_of, shape_of
from server.models import Animal, Schedule, Setup, Tank

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Goal:
    """What the way leads to: lamps, their day, and how they are switched.

    `rows`: of the account of that light, whose readings put every setting of the way right.
    """

    rows: AccountRows

    @property
    def tank(self) -> Tank:
        return self.rows.tank

    @property
    def hung(self) -> tuple[Hung, ...]:
        return self.rows.hung

    @property
    def days(self) -> tuple[GroupDay, ...]:
        return self.rows.days

    @property
    def control(self) -> str:
        """How the lamps are switched, where the keeper said so."""
        return self.rows.schedule.control if self.rows.schedule is not None else ""

    def able(self, lit_share: float) -> Days:
        """The days the controls run when the goal's are shortened to a share."""
        wanted = pressed_together(self.days, lit_share)
        return part_days(lamp_days(self.hung, wanted, control=self.control))

    def field(self, animals: Sequence[Animal]) -> Callable[[float], FloatArray]:
        """Light of every channel group at the animals, with the lamps so much higher."""
        lamps = lamp_days(self.hung, self.days, control=self.control)
        places = places_of(self.tank, animals)
        found = accounts.tank_light(self.rows)
        factors = found.light.over_plan(places) if found and len(places) else 1.0

        def at_height(raised_cm: float) -> FloatArray:
            parts = lit_parts(self.tank, self.hung, lamps, raised_cm=raised_cm)
            return np.asarray(light_at(self.tank, parts, animals) * factors, dtype=np.float64)

        return at_height

    def light(self, animals: Sequence[Animal], setting: Setting) -> Light:
        """Peak and dose of the animals at a setting of the way."""
        full = self.field(animals)(setting.raised_cm) * setting.power
        return light_of(full, shape_of(self.able(setting.lit_share)))

    @property
    def lit_hours(self) -> float:
        """Hours with any light a day [h]."""
        return lit_hours(added(course(day, peak_ppfd=1) for day in self.able(1.0)))


def goal_of(
    db: Session, tank: Tank, setup: Setup, schedule: Schedule | None, *, today: date
) -> Goal:
    """A goal from its rows. Call inside a transaction."""
    rows = accounts.rows_of(db, tank, today=today, setup=setup)
    ran = days.days_of(db, schedule.id) if schedule is not None else ()
    return Goal(rows=replace(rows, schedule=schedule, days=ran))


def notched(means: Means, goal: Goal) -> Means:
    """The means within what the lamps can do: their notch, their least level, their room.

    One notch is one of the brightest lamp's dial.
    """
    lit = [(one.row.power, able) for one, able in _lamps(goal) if one.row.power > 0]
    if not lit:
        return means
    least = max(able.least_level / power for power, able in lit)
    step = max(able.level_step for _, able in lit) / max(power for power, _ in lit)
    room = min(able.highest_cm - one.row.height_cm for one, able in _lamps(goal))
    return replace(
        means,
        power_step=step,
        least_power=min(max(means.least_power, least), 1.0) if dims(goal) else 1.0,
        most_raised_cm=min(means.most_raised_cm, max(float(int(room)), 0.0)),
    )


def dims(goal: Goal) -> bool:
    """Whether every lamp of the goal can be turned down, so that one share serves them all."""
    found = _lamps(goal)
    return bool(found) and all(able.dims != "no" for _, able in found)


def _lamps(goal: Goal) -> list[tuple[Hung, Ability]]:
    return [(one, ability_of(one.stated, goal.tank, turned=one.row.turned)) for one in goal.hung]
