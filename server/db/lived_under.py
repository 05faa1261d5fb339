"""What the animals of a tank lived under, from its history, and what they are used to by it.

Load rows inside a transaction, work them out outside it:

    with club.read() as db:
        rows = lived_under.rows_of(db, tank, today)
    used = lived_under.followed_by(rows)        # by animal's id

The light of each stretch is the account's: what readings say of the lamps today says it of every
stretch under the same lamps, so two days differ by the lamps and not by what was known of them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TypeVar

from sqlmodel import Session, col, select

from server.account import reckoning
from server.db import acclimation, accounts, days, light, tanks
from server.db.accounts import AccountRows
from server.db.dim_days import dim_days_of
from server.dose.acclimation import DEFAULT_WEEKLY_RISE
from server.dose.day import added, course, lit_hours
from server.dose.used_to import (
    SETTLED_DAYS,
    Followed,
    Lived,
    UsedTo,
    followed,
    of_unknown_past,
    rise_over,
)
from server.models import Animal, AnimalMove, Schedule, Setup, Tank

LOOK_BACK_DAYS = 140
"""What lies twenty time constants back weighs less than a billionth."""


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Days on which nothing changed at a tank: from `first` up to, not with, `until`.

    `rows`: what hung and ran, with the animals where they sat; `share`: of that light that there
    was.
    """

    first: date
    until: date
    rows: AccountRows
    share: float


@dataclass(frozen=True, kw_only=True)
class LivedRows:
    """A tank's animals and their stretches, oldest first, the last one being today's.

    `said`: what a keeper said an animal was used to, and on which day. `by_step`: whether the
    light that hangs was set by a step of a way, and so led up to; `last_step_on`: when.
    """

    today: date
    animals: tuple[Animal, ...]
    stretches: tuple[Stretch, ...]
    said: Mapping[int, tuple[date, UsedTo]]
    last_step_on: date | None
    by_step: bool


# Loading


def rows_of(db: Session, tank: Tank, today: date) -> LivedRows:
    """The history of those who live there today, as far back as it still counts."""
    animals = tuple(tanks.animals_of(db, tank.id, on=today))
    found = _History(db, tank, animals, today)
    last = acclimation.last_step_on(db, tank.id)
    return LivedRows(
        today=today,
        animals=animals,
        stretches=found.stretches(),
        said=acclimation.said_of(db, tank.id),
        last_step_on=last,
        by_step=last is not None and last == found.now.light_since,
    )


def moves_of(db: Session, animals: Sequence[Animal]) -> dict[int, list[AnimalMove]]:
    """The moves of animals by their id, the earliest first."""
    moved = select(AnimalMove).where(col(AnimalMove.animal_id).in_([one.id for one in animals]))
    found: dict[int, list[AnimalMove]] = {}
    for move in db.exec(moved.order_by(col(AnimalMove.moved_on), col(AnimalMove.id))):
        found.setdefault(move.animal_id, []).append(move)
    return found


class _History:
    """A tank's dated rows, cut into stretches on which nothing changed."""

    def __init__(self, db: Session, tank: Tank, animals: Sequence[Animal], today: date) -> None:
        self.db, self.tank, self.animals, self.today = db, tank, animals, today
        self.now = accounts.rows_of(db, tank, today=today)
        self.setups = [one for one in tanks.setups_of(db, tank.id) if one.state == "hung"]
        self.schedules = [one for one in days.schedules_of(db, tank.id) if one.state == "set"]
        self.moves, self.dim = moves_of(db, animals), dim_days_of(db, tank.id)

    def stretches(self) -> tuple[Stretch, ...]:
        """From today back to a stretch so long that nothing before it counts."""
        found: list[Stretch] = []
        until = self.today
        for first in self._edges():
            rows = self._rows(first)
            if rows is None:
                break
            share = min(
                (one.share for one in self.dim if one.first_on <= first < one.until_on), default=1.0
            )
            found.append(Stretch(first=first, until=until, rows=rows, share=share))
            if (until - first).days >= SETTLED_DAYS and share > 0:
                break
            until = first
        return tuple(reversed(found))

    def _edges(self) -> list[date]:
        """Days on which something changed, the latest first."""
        ran = sorted(one.since for one in self.schedules)
        dates = {
            *(one.since for one in self.setups),
            *ran[1:],  # the first day typed in says how the lamps ran already
            *(move.moved_on for one in self.moves.values() for move in one),
            *(day for one in self.dim for day in (one.first_on, one.until_on)),
        }
        begun = min((one.since for one in self.setups), default=self.today)
        earliest = max(begun, self.today - timedelta(days=LOOK_BACK_DAYS))
        within = {day for day in dates if earliest < day <= self.today}
        return sorted(within | {min(earliest, self.today)}, reverse=True)

    def _rows(self, on: date) -> AccountRows | None:
        """What hung and ran on a day, as well known as today."""
        setup, schedule = _latest(self.setups, on), _latest(self.schedules, on)
        if schedule is None and self.schedules:
            schedule = min(self.schedules, key=lambda one: (one.since, one.id))
        if setup is None or schedule is None:
            return None
        rows = self._under_the_same_lamps(setup)
        if rows is None:
            rows = accounts.rows_of(self.db, self.tank, today=self.today, setup=setup)
        there = tuple(_where(one, self.moves.get(one.id, ()), on) for one in self.animals)
        ran = days.days_of(self.db, schedule.id)
        return replace(rows, schedule=schedule, days=ran, animals=there)

    def _under_the_same_lamps(self, setup: Setup) -> AccountRows | None:
        stated = self.now.readings is not None
        hung = light.hung_over(self.db, setup.id, as_stated=stated)
        same = sorted(one.stated.row.id for one in hung) == sorted(
            one.stated.row.id for one in self.now.hung
        )
        return replace(self.now, setup=setup, hung=hung) if same and hung else None


Dated = TypeVar("Dated", Setup, Schedule)


def _latest(dated: Sequence[Dated], on: date) -> Dated | None:
    past = [one for one in dated if one.since <= on]
    return max(past, key=lambda one: (one.since, one.id), default=None)


def _where(animal: Animal, moves: Sequence[AnimalMove], on: date) -> Animal:
    """The animal where it sat on a day."""
    later = next((move for move in moves if move.moved_on > on), None)
    if later is None:
        return animal
    place = {
        "x_cm": later.from_x_cm,
        "y_cm": later.from_y_cm,
        "depth_cm": later.from_depth_cm,
    }
    return animal.model_copy(update=place)


# Working out


def followed_by(rows: LivedRows) -> dict[int, Followed]:
    """What each animal is used to, by its id; nobody where the tank has no known light."""
    lit = [_light(one) for one in rows.stretches]
    if not lit:
        return {}
    hours = _hours(rows.stretches[0].rows)
    return {
        animal.id: _followed(rows, animal, [one[place] for one in lit], hours)
        for place, animal in enumerate(rows.animals)
    }


def lives_in(rows: LivedRows) -> dict[int, UsedTo]:
    """What each animal gets today, by its id."""
    if not rows.stretches:
        return {}
    lit = _light(replace(rows.stretches[-1], share=1.0))
    return {
        animal.id: UsedTo(name=animal.name, peak_ppfd=peak, dli_mol_m2_d=dli)
        for animal, (peak, dli) in zip(rows.animals, lit, strict=True)
    }


def rises(rows: LivedRows) -> dict[int, float]:
    """How much brighter each animal's light is than what it is used to, as a share, by its id.

    Only of those whose past is known.
    """
    used, now = followed_by(rows), lives_in(rows)
    return {
        key: rise_over(
            one.used_to, peak_ppfd=now[key].peak_ppfd, dli_mol_m2_d=now[key].dli_mol_m2_d
        )
        for key, one in used.items()
        if one.known
    }


def jumped(rows: LivedRows, found: Mapping[int, float]) -> tuple[tuple[str, float], ...]:
    """Who gets more over what it is used to than one week may bring, and by how much.

    Nobody where a step of a way set the light: that was the gentle way.
    """
    if rows.by_step:
        return ()
    return tuple(
        (animal.name, found[animal.id])
        for animal in rows.animals
        if found.get(animal.id, 0.0) > DEFAULT_WEEKLY_RISE
    )


def _followed(
    rows: LivedRows, animal: Animal, lit: Sequence[tuple[float, float]], hours: float
) -> Followed:
    said = rows.said.get(animal.id)
    since = max(said[0], animal.placed_on) if said else animal.placed_on
    lived = [
        Lived(days=(one.until - max(one.first, since)).days, peak_ppfd=peak, dli_mol_m2_d=dli)
        for one, (peak, dli) in zip(rows.stretches, lit, strict=True)
        if one.until > since or one.until == rows.today
    ]
    unknown = of_unknown_past(name=animal.name, low_ppfd=animal.low_ppfd, hours=hours)
    return followed(lived, start=said[1] if said else unknown, start_known=said is not None)


def _light(one: Stretch) -> list[tuple[float, float]]:
    """Peak and dose of each animal in a stretch, by the account."""
    found = accounts.tank_light(one.rows)
    lit = reckoning.animals_in(found.light if found else None, accounts.residents(one.rows))
    return [
        ((animal.ppfd or 0.0) * one.share, (animal.dli_mol_m2_d or 0.0) * one.share)
        for animal in lit
    ]


def _hours(rows: AccountRows) -> float:
    ran = [group.day for lamp in rows.lamps for group in lamp.fit.groups]
    return lit_hours(added(course(day, peak_ppfd=1) for day in ran))
