"""Setups as the comparing room takes them, and shared tanks as they are likened.

Load rows inside a transaction, build the side outside it.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlmodel import Session, col, func, select

from server.account.account import AnimalLight
from server.account.known_light import KnownLight
from server.account.reckoning import animals_in
from server.comparing.likeness import Likened
from server.comparing.side_by_side import Hanging, Run, Side
from server.db import accounts, club_day, days, light, measured, tanks
from server.db.accounts import AccountRows
from server.db.daylight import LampDay, lamp_days, lit_groups
from server.db.light import Hung
from server.dose.day import course
from server.models import Animal, HungLamp, LampModel, Member, Setup, Tank


@dataclass(frozen=True, kw_only=True)
class SetupRows:
    """Everything of one setup that a comparison needs, read once."""

    setup: Setup
    tank: Tank
    keeper: Member
    hung: tuple[Hung, ...]
    lamps: tuple[LampDay, ...]
    day_set: bool
    account: AccountRows
    animals: tuple[Animal, ...]
    current: bool
    today: date

    @property
    def days_unchanged(self) -> int | None:
        """Days this light has hung; None for a plan and for light that was changed since."""
        return (self.today - self.setup.since).days if self.current else None


def setup_rows(db: Session, setup_id: int, member_id: int) -> SetupRows | None:
    """A setup this member may see, or None."""
    found = tanks.setup_seen(db, setup_id, member_id)
    if found is None:
        return None
    setup, tank = found
    hung = light.hung_over(db, setup.id)
    current = tanks.current_setup(db, tank.id)
    today = club_day.today(db)
    on = today if setup.state == "plan" else max(setup.since, _until(db, tank.id, setup, today))
    ran = days.schedule_on(db, tank.id, on)
    groups = days.days_of(db, ran.id) if ran is not None else ()
    return SetupRows(
        setup=setup,
        tank=tank,
        keeper=db.get_one(Member, tank.owner_id),
        hung=hung,
        lamps=lamp_days(hung, groups, control=ran.control if ran is not None else ""),
        day_set=bool(groups),
        account=accounts.rows_of(db, tank, today=today, setup=setup),
        animals=tuple(tanks.animals_of(db, tank.id)),
        current=current is not None and current.id == setup.id,
        today=today,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """A setup's side with its light as the account knows it."""

    side: Side
    light: KnownLight | None
    animals: tuple[AnimalLight, ...]


def known(rows: SetupRows) -> Known:
    """The setup ready to be compared, put right by its readings; numbers are crunched here."""
    told = accounts.tank_light(rows.account)
    animals = animals_in(told.light if told else None, accounts.residents(rows.account))
    planned = side_of(rows)
    if told is None or not told.light.measured:
        return Known(side=planned, light=told.light if told else None, animals=animals)
    at_power = told.light.hung_as(measured.plan_over(rows.tank, rows.account.hung))
    right = at_power.corrected
    side = replace(
        planned,
        tank=right.tank,
        water=right.water,
        emitters=right.emitters,
        half_width=lambda points: at_power.at(points).half_width,
    )
    return Known(side=side, light=told.light, animals=animals)


def side_of(rows: SetupRows) -> Side:
    """The setup as planned."""
    scene = light.scene(rows.tank, rows.hung)
    return Side(
        tank=scene.tank,
        water=scene.water,
        emitters=scene.emitters,
        runs=_runs(rows),
        lamps=tuple(_hanging(one) for one in rows.hung),
        half_width=None,
        days_unchanged=rows.days_unchanged,
    )


def _runs(rows: SetupRows) -> tuple[Run, ...]:
    groups = lit_groups(rows.tank, rows.hung, rows.lamps)
    return tuple(
        Run(
            emitters=group.emitters,
            watts=group.watts,
            course=course(group.day, peak_ppfd=100),
        )
        for group in groups
    )


def _hanging(one: Hung) -> Hanging:
    stated = one.stated
    return Hanging(
        name=stated.row.name,
        kind=stated.row.kind,
        spectrum=stated.lamp.spectrum(one.levels or None),
        ppf_umol_s=stated.lamp.ppf_umol_s * one.row.power,
        height_cm=one.row.height_cm,
        power=one.row.power,
        beam_deg=stated.lamp.beam_deg,
    )


def _until(db: Session, tank_id: int, setup: Setup, today: date) -> date:
    """The last day a setup hung, for the schedule that ran under it."""
    later = [
        other.since
        for other in tanks.setups_of(db, tank_id)
        if other.state == "hung" and (other.since, other.id) > (setup.since, setup.id)
    ]
    return min(later, default=today)


# Tanks alike


@dataclass(frozen=True, kw_only=True)
class Shared:
    """A shared tank with what likens it."""

    tank: Tank
    keeper: Member
    setup: Setup | None
    likened: Likened


def likened(db: Session, rows: Sequence[tuple[Tank, Member]]) -> list[Shared]:
    """Tanks with their animals and kinds of lamp, in three questions whatever their number."""
    ids = [tank.id for tank, _ in rows]
    setups = _current_setups(db, ids)
    kinds = _kinds(db, {setup.id: tank_id for tank_id, setup in setups.items()})
    groups = _groups(db, ids)
    return [
        Shared(
            tank=tank,
            keeper=keeper,
            setup=setups.get(tank.id),
            likened=Likened(
                length_cm=tank.length_cm,
                width_cm=tank.width_cm,
                depth_cm=tank.depth_cm,
                clear_walls=_clear_walls(tank),
                cover=tank.cover,
                groups=groups.get(tank.id, Counter()),
                kinds=kinds.get(tank.id, Counter()),
            ),
        )
        for tank, keeper in rows
    ]


def _current_setups(db: Session, ids: Sequence[int]) -> dict[int, Setup]:
    found: dict[int, Setup] = {}
    for start in range(0, len(ids), 500):  # below SQLite's limit of bound values
        found |= tanks.current_setups(db, ids[start : start + 500])
    return found


def _kinds(db: Session, tank_of: dict[int, int]) -> dict[int, Counter[str]]:
    found: dict[int, Counter[str]] = {}
    ids = list(tank_of)
    for start in range(0, len(ids), 500):
        hung = (
            select(HungLamp.setup_id, LampModel.kind, func.count())
            .join(LampModel, col(LampModel.id) == col(HungLamp.lamp_model_id))
            .where(col(HungLamp.setup_id).in_(ids[start : start + 500]))
            .group_by(col(HungLamp.setup_id), col(LampModel.kind))
        )
        for setup_id, kind, count in db.exec(hung):
            found.setdefault(tank_of[setup_id], Counter())[kind] += count
    return found


def _groups(db: Session, ids: Sequence[int]) -> dict[int, Counter[str]]:
    found: dict[int, Counter[str]] = {}
    for start in range(0, len(ids), 500):
        living = (
            select(Animal.tank_id, Animal.group, func.count())
            .where(col(Animal.tank_id).in_(ids[start : start + 500]), col(Animal.left_on).is_(None))
            .group_by(col(Animal.tank_id), col(Animal.group))
        )
        for tank_id, group, count in db.exec(living):
            found.setdefault(tank_id, Counter())[group] += count
    return found


def _clear_walls(tank: Tank) -> int:
    walls = (tank.wall_left, tank.wall_right, tank.wall_front, tank.wall_back)
    return sum(wall == "clear" for wall in walls)
