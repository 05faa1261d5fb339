"""The light a way leads to, joined from its rows: what each setting of the way gives."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from server.account.ability import Ability
from server.db import accounts, days
from server.db.abilities import ability_of, power_set
from server.db.accounts import AccountRows
from server.db.daylight import (
    lamp_days,
    light_at,
    lit_parts,
    part_days,
    places_of,
    pressed_together,
)
from server.db.days import GroupDay
from server.db.light import Hung
from server.dose.day import added, course, lit_hours
from server.dose.ladder import Field, Means, Setting, lighting
from server.dose.together import Days, Light
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

    def field(self, animals: Sequence[Animal]) -> Field:
        """Light of every channel group at the animals, by height and by share of the power.

        Each lamp is set as near below that share as it can be.
        """
        lamps = lamp_days(self.hung, self.days, control=self.control)
        places = places_of(self.tank, animals)
        found = accounts.tank_light(self.rows)
        factors = found.light.over_plan(places) if found and len(places) else 1.0
        alike = _set_alike(self.hung)

        @cache
        def full(raised_cm: float) -> list[FloatArray]:
            return [
                light_at(
                    self.tank,
                    lit_parts(self.tank, _only(self.hung, some), lamps, raised_cm=raised_cm),
                    animals,
                )
                for some in alike
            ]

        def at_setting(raised_cm: float, power: float) -> FloatArray:
            parts = [
                lit * _share_set(self.hung[some[0]], power)
                for lit, some in zip(full(raised_cm), alike, strict=True)
            ]
            return np.asarray(sum(parts) * factors, dtype=np.float64)

        return at_setting

    def light(self, animals: Sequence[Animal], setting: Setting) -> Light:
        """Peak and dose of the animals at a setting of the way."""
        return lighting(self.field(animals), self.able)(setting)

    @property
    def lit_hours(self) -> float:
        """Hours with any light a day [h]."""
        return lit_hours(added(course(day, peak_ppfd=1) for day in self.able(1.0)))


def _set_alike(hung: Sequence[Hung]) -> list[tuple[int, ...]]:
    """Places of lamps that any share of their power sets to the same level."""
    alike: dict[tuple[int, float], list[int]] = {}
    for place, one in enumerate(hung):
        alike.setdefault((one.stated.row.id, one.row.power), []).append(place)
    return [tuple(places) for places in alike.values()]


def _only(hung: Sequence[Hung], some: Sequence[int]) -> tuple[Hung, ...]:
    """The lamps with all but some of them dark."""
    return tuple(
        one if place in some else replace(one, row=one.row.model_copy(update={"power": 0.0}))
        for place, one in enumerate(hung)
    )


def _share_set(one: Hung, share: float) -> float:
    return power_set(one, share) / one.row.power if one.row.power > 0 else 0.0


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
