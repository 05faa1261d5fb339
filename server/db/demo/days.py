"""The made-up tanks through time: their days, one way up, notes, chores done."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby

from sqlmodel import Session

from server.db import acclimation, chores, days, history, lived_under, tanks
from server.db.acclimation import KnownAs
from server.db.days import DayWords, GroupDay
from server.db.demo import sheets
from server.db.demo.tanks import Ids
from server.db.goal import goal_of, notched
from server.dose.acclimation import plan
from server.dose.day import Day
from server.dose.ladder import Means
from server.models import Club, Setup, Tank


def fill(db: Session, *, ids: Ids, today: date) -> None:
    """Days first: the way up leads from one to another."""
    zone = db.get_one(Club, 1).time_zone
    together = groupby(sheets.rows("days"), key=lambda row: (row["tank"], row["days_ago"]))
    for _, schedule in together:
        _day(db, list(schedule), ids, zone, today)
    for row in sheets.rows("acclimations"):
        _way_up(db, row, ids, today)
    for row in sheets.rows("notes"):
        on = sheets.days_ago(row, "days_ago", today)
        history.add_note(db, tank_id=ids.tanks[row["tank"]], on=on, words=row["words"], by_id=None)
    for row in sheets.rows("chores_done"):
        on = sheets.days_ago(row, "days_ago", today)
        tank_id = ids.tanks[row["tank"]]
        chores.mark_done(db, tank_id=tank_id, chore=row["chore"], on=on, by_id=None)


def _day(db: Session, rows: Sequence[sheets.Row], ids: Ids, zone: str, today: date) -> None:
    """One schedule: its first row is of all lamps, others are of single lamps and channels."""
    first = rows[0]
    words = DayWords(
        since=sheets.days_ago(first, "days_ago", today),
        time_zone=zone,
        control=first["control"],
        view_from_h=_hour(first["view_from"]) if first["view_from"] else None,
        view_to_h=_hour(first["view_to"]) if first["view_to"] else None,
        reason=first["reason"],
    )
    groups = [_group(row, ids) for row in rows]
    tank_id = ids.tanks[first["tank"]]
    days.save_schedule(db, tank_id=tank_id, words=words, days=groups, by_id=None)


def _group(row: sheets.Row, ids: Ids) -> GroupDay:
    return GroupDay(
        day=_points(row["points"]),
        lamp_model_id=ids.lamps[row["lamp"]] if row["lamp"] else None,
        lamp_number=int(row["number"]),
        channel=row["channel"],
        control=row["control"] if row["lamp"] else "",
    )


def _points(cell: str) -> Day:
    points = [point.split() for point in cell.split("|")]
    return Day(
        hours=tuple(_hour(time) for time, _ in points),
        levels=tuple(float(level) for _, level in points),
    )


def _hour(time: str) -> float:
    hour, minute = time.split(":")
    return int(hour) + int(minute) / 60


def _way_up(db: Session, row: sheets.Row, ids: Ids, today: date) -> None:
    """Begins from the light of the tank as it is now."""
    tank = db.get_one(Tank, ids.tanks[row["tank"]])
    lived = lived_under.rows_of(db, tank, today)
    now, schedule = lived_under.lives_in(lived), days.current_schedule(db, tank.id)
    assert schedule is not None
    setup = _goal_setup(db, row, tank, today)
    goal = goal_of(db, tank, setup, schedule, today=today)
    means = Means(least_power=sheets.sure_number(row, "least_power_percent") / 100)
    found = plan(
        used_to=[now[animal.id] for animal in lived.animals],
        field=goal.field(lived.animals),
        days=goal.able(1.0),
        able=goal.able,
        means=notched(means, goal),
        start=today,
        weekly=sheets.sure_number(row, "weekly_percent") / 100,
    )
    acclimation.begin(
        db,
        tank_id=tank.id,
        goal_setup=setup,
        goal_schedule=schedule,
        plan=found,
        means=means,
        known=[
            KnownAs(
                animal_id=animal.id,
                used_to=now[animal.id],
                basis="the light of the tank as it is now",
            )
            for animal in lived.animals
        ],
        step_days=7,
        by_id=tank.owner_id,
    )


def _goal_setup(db: Session, row: sheets.Row, tank: Tank, today: date) -> Setup:
    power = sheets.sure_number(row, "goal_power_percent") / 100
    hung = tanks.current_setup(db, tank.id)
    assert hung is not None
    lamps = [replace(tanks.place_of(lamp), power=power) for lamp in tanks.lamps_of(db, hung.id)]
    return tanks.save_setup(
        db,
        tank_id=tank.id,
        lamps=lamps,
        since=today,
        reason="",
        name=row["goal_name"],
        state="plan",
        by_id=tank.owner_id,
    )
