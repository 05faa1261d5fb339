"""The made-up tanks through time: their days, one way up, notes, chores done."""

from dataclasses import dataclass, replace
from datetime import date

from sqlmodel import Session

from server.db import acclimation, chores, days, history, light, tanks
from server.db.acclimation import KnownAs
from server.db.daylight import lamp_days, light_at, lit_groups
from server.db.days import DayWords, GroupDay
from server.db.demo import sheets
from server.db.demo.tanks import Ids
from server.db.goal import Goal, notched
from server.db.moments import Moment, moment
from server.dose.acclimation import plan
from server.dose.day import Day
from server.dose.ladder import Means
from server.dose.together import light_of, shape_of
from server.dose.used_to import UsedTo
from server.models import Club, Schedule, Setup, Tank


def fill(db: Session, *, ids: Ids, today: date) -> None:
    """Days first: the way up leads from one to another."""
    zone = db.get_one(Club, 1).time_zone
    for row in sheets.rows("days"):
        _day(db, row, ids, zone, today)
    for row in sheets.rows("acclimations"):
        _way_up(db, row, ids, today)
    for row in sheets.rows("notes"):
        on = sheets.days_ago(row, "days_ago", today)
        history.add_note(db, tank_id=ids.tanks[row["tank"]], on=on, words=row["words"], by_id=None)
    for row in sheets.rows("chores_done"):
        on = sheets.days_ago(row, "days_ago", today)
        tank_id = ids.tanks[row["tank"]]
        chores.mark_done(db, tank_id=tank_id, chore=row["chore"], on=on, by_id=None)


def _day(db: Session, row: sheets.Row, ids: Ids, zone: str, today: date) -> None:
    words = DayWords(
        since=sheets.days_ago(row, "days_ago", today),
        time_zone=zone,
        control=row["control"],
        view_from_h=_hour(row["view_from"]) if row["view_from"] else None,
        view_to_h=_hour(row["view_to"]) if row["view_to"] else None,
        reason=row["reason"],
    )
    group = GroupDay(day=_points(row["points"]), channel=row["channel"])
    days.save_schedule(db, tank_id=ids.tanks[row["tank"]], words=words, days=[group], by_id=None)


def _points(cell: str) -> Day:
    points = [point.split() for point in cell.split("|")]
    return Day(
        hours=tuple(_hour(time) for time, _ in points),
        levels=tuple(float(level) for _, level in points),
    )


def _hour(time: str) -> float:
    hour, minute = time.split(":")
    return int(hour) + int(minute) / 60


@dataclass(frozen=True, kw_only=True)
class _Start:
    """Where a way up begins: the tank as it is, and what its animals get."""

    tank: Tank
    now: Moment
    known: tuple[KnownAs, ...]


def _way_up(db: Session, row: sheets.Row, ids: Ids, today: date) -> None:
    start = _start(db, ids.tanks[row["tank"]], today)
    assert start.now.schedule is not None
    setup = _goal_setup(db, row, start, today)
    goal = Goal(
        tank=start.tank,
        hung=light.hung_over(db, setup.id),
        days=start.now.days,
        control=start.now.control,
    )
    means = Means(least_power=sheets.sure_number(row, "least_power_percent") / 100)
    found = plan(
        used_to=[one.used_to for one in start.known],
        field=goal.field(start.now.animals),
        days=goal.able(1.0),
        able=goal.able,
        means=notched(means, goal),
        start=today,
        weekly=sheets.sure_number(row, "weekly_percent") / 100,
    )
    acclimation.begin(
        db,
        tank_id=start.tank.id,
        goal_setup=setup,
        goal_schedule=db.get_one(Schedule, start.now.schedule.id),
        plan=found,
        means=means,
        known=start.known,
        step_days=7,
        by_id=start.tank.owner_id,
    )


def _start(db: Session, tank_id: int, today: date) -> _Start:
    tank, now = db.get_one(Tank, tank_id), moment(db, tank_id, today)
    groups = lit_groups(tank, now.hung, lamp_days(now.hung, now.days, control=now.control))
    lit = light_of(
        light_at(tank, groups, now.animals), shape_of(tuple(group.day for group in groups))
    )
    known = tuple(
        KnownAs(
            animal_id=animal.id,
            used_to=UsedTo(name=animal.name, peak_ppfd=float(peak), dli_mol_m2_d=float(dli)),
            basis="the light of the tank as it is now",
        )
        for animal, peak, dli in zip(now.animals, lit.peak, lit.dli, strict=True)
    )
    return _Start(tank=tank, now=now, known=known)


def _goal_setup(db: Session, row: sheets.Row, start: _Start, today: date) -> Setup:
    power = sheets.sure_number(row, "goal_power_percent") / 100
    lamps = [replace(tanks.place_of(one.row), power=power) for one in start.now.hung]
    return tanks.save_setup(
        db,
        tank_id=start.tank.id,
        lamps=lamps,
        since=today,
        reason="",
        name=row["goal_name"],
        state="plan",
        by_id=start.tank.owner_id,
    )
