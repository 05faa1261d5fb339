"""What waits for a member today, gathered from tanks, loans and messages.

Each function looks at one thing and gives the things to do; `everything` joins them. A new kind
of chore is one more function in `SOURCES`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlmodel import Session

from server.db import acclimation, chores, loans, messages, meters, tanks
from server.db.accounts import AccountRows
from server.models import Loan, Member
from server.web import filters

SOON = timedelta(days=14)


@dataclass(frozen=True, kw_only=True)
class Todo:
    """One thing to do: what, where, and how pressing (0 most)."""

    words: str
    address: str
    told: str = ""
    rank: int = 5


@dataclass(frozen=True, kw_only=True)
class Desk:
    """Whose day it is, and their tanks as their accounts were read."""

    who: Member
    today: date
    tanks: Sequence[AccountRows]


Source = Callable[[Session, Desk], Sequence[Todo]]


def everything(db: Session, desk: Desk) -> list[Todo]:
    """All that waits, the most pressing first."""
    found = [todo for source in SOURCES for todo in source(db, desk)]
    return sorted(found, key=lambda todo: todo.rank)


def meter_in_hand(db: Session, desk: Desk) -> list[Todo]:
    """Loans that run, come soon, or are offered."""
    who, today = desk.who, desk.today
    names = {meter.id: meter.name for meter in meters.all_meters(db)}
    mine = loans.loans_of(db, who.id, since=today - timedelta(days=60))
    todos = (_loan(loan, names.get(loan.meter_id, "the meter"), today) for loan in mine)
    return [todo for todo in todos if todo is not None]


def _loan(loan: Loan, name: str, today: date) -> Todo | None:
    address = f"/meters/{loan.meter_id}"
    last = filters.day(loan.last_day)
    if loan.state == "offered":
        by = f", until {filters.day(loan.answer_by)}" if loan.answer_by else ""
        return Todo(words=f"Take or decline the offer of the {name}{by}", address=address, rank=1)
    if loan.state == "out" and loan.last_day < today:
        told = f"The loan ended on {last}."
        return Todo(words=f"Give the {name} back", address=address, told=told, rank=0)
    if loan.state == "out":
        told = "It is with you; measure while you have it."
        return Todo(words=f"Give the {name} back by {last}", address=address, told=told, rank=2)
    if loan.state == "booked" and loan.first_day <= today + SOON and loan.last_day >= today:
        told = f"Booked to {last}."
        words = f"Fetch the {name} on {filters.day(loan.first_day)}"
        return Todo(words=words, address=address, told=told, rank=4)
    return None


def unread(db: Session, desk: Desk) -> list[Todo]:
    count = messages.unread_count(db, desk.who.id)
    if not count:
        return []
    return [Todo(words=f"Read {filters.count(count, 'message')}", address="/messages", rank=3)]


def unfinished_tanks(db: Session, desk: Desk) -> list[Todo]:
    """Own tanks that lack a lamp, animals, or a first measurement of their light."""
    found = (_missing(rows) for rows in desk.tanks)
    return [todo for todo in found if todo is not None]


def _missing(rows: AccountRows) -> Todo | None:
    name, address = rows.tank.name, f"/tanks/{rows.tank.id}"
    if not rows.hung:
        return Todo(words=f"Hang a lamp over {name}", address=f"{address}/light")
    if not rows.animals:
        return Todo(words=f"Say who lives in {name}", address=f"{address}/animals/new")
    if rows.readings is None and rows.light_since is not None:
        told = f"Nobody has measured its light since {filters.day(rows.light_since)}."
        words = f"Measure the light of {name} under water"
        return Todo(words=words, address=f"{address}/sessions", told=told, rank=6)
    return None


def stewards_desk(db: Session, desk: Desk) -> list[Todo]:
    """Overdue loans and calibrations due, for stewards."""
    who, today = desk.who, desk.today
    if who.role != "steward":
        return []
    todos = []
    for meter in meters.all_meters(db):
        for loan in loans.loans_between(db, [meter.id], today - SOON * 4, today):
            if loan.state == "out" and loan.last_day < today and loan.member_id != who.id:
                told = f"It should have been back on {filters.day(loan.last_day)}."
                words = f"Ask after the {meter.name}"
                address = f"/meters/{meter.id}"
                todos.append(Todo(words=words, address=address, told=told, rank=1))
        newest = next(iter(meters.calibrations_of(db, meter.id)), None)
        if newest is not None and newest.due_on and newest.due_on <= today + SOON:
            words = f"Have the {meter.name} calibrated"
            told = f"Due on {filters.day(newest.due_on)}."
            todos.append(Todo(words=words, address=f"/meters/{meter.id}", told=told, rank=7))
    return todos


def ways_up(db: Session, desk: Desk) -> list[Todo]:
    """Steps of a way that are due, and ways that hold."""
    todos = []
    for tank in tanks.own_tanks(db, desk.who.id):
        way = acclimation.way_of(db, tank.id, today=desk.today)
        if way is None or way.state == "waiting":
            continue
        address = f"/tanks/{tank.id}/acclimation"
        if way.state == "held":
            words = f"Look at the animals of {tank.name}: the way up holds"
            todos.append(Todo(words=words, address=address, rank=1))
        else:
            words = (
                f"{tank.name}: step {way.coming.number} of the way up. Anything pale or shrunken?"
            )
            todos.append(Todo(words=words, address=address, rank=2))
    return todos


def chores_due(db: Session, desk: Desk) -> list[Todo]:
    """Chores that have come round, in one line."""
    due = chores.due_of_member(db, desk.who.id, today=desk.today, within_days=0)
    if not due:
        return []
    first = due[0]
    words = f"{first.due.chore.name} at {first.tank.name}"
    if len(due) > 1:
        words += f", and {filters.count(len(due) - 1, 'more chore', 'more chores')}"
    return [Todo(words=words, address="/chores", rank=8)]


SOURCES: tuple[Source, ...] = (
    meter_in_hand,
    unread,
    ways_up,
    unfinished_tanks,
    stewards_desk,
    chores_due,
)
