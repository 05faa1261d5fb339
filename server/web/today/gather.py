"""What waits for a member today, gathered from tanks, loans and messages.

Each function looks at one thing and gives the things to do; `everything` joins them. A new kind
of chore is one more function in `SOURCES`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlmodel import Session, col, select

from server.db import acclimation, chores, loans, messages, meters, tanks
from server.models import Loan, MeasurementSession, Member, MeterCalibration, Tank
from server.web import filters

SOON = timedelta(days=14)


@dataclass(frozen=True, kw_only=True)
class Todo:
    """One thing to do: what, where, and how pressing (0 most)."""

    words: str
    address: str
    told: str = ""
    rank: int = 5


Source = Callable[[Session, Member, date], Sequence[Todo]]


def everything(db: Session, who: Member, today: date) -> list[Todo]:
    """All that waits, the most pressing first."""
    found = [todo for source in SOURCES for todo in source(db, who, today)]
    return sorted(found, key=lambda todo: todo.rank)


def meter_in_hand(db: Session, who: Member, today: date) -> list[Todo]:
    """Loans that run, come soon, or are offered."""
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


def unread(db: Session, who: Member, today: date) -> list[Todo]:
    count = messages.unread_count(db, who.id)
    if not count:
        return []
    return [Todo(words=f"Read {filters.count(count, 'message')}", address="/messages", rank=3)]


def unfinished_tanks(db: Session, who: Member, today: date) -> list[Todo]:
    """Own tanks that lack a lamp, animals, or a first measurement of their light."""
    own = tanks.own_tanks(db, who.id)
    ids = [tank.id for tank in own]
    setups = tanks.current_setups(db, ids)
    animals = tanks.animal_counts(db, ids)
    measured = _measured(db, [setup.id for setup in setups.values()])
    todos = []
    for tank in own:
        key = tank.id
        setup = setups.get(key)
        todo = _missing(tank, setup is not None, animals.get(key, 0))
        if todo is None and setup is not None and setup.id not in measured:
            told = f"Its light is planned since {filters.day(setup.since)}, not measured."
            words = f"Prove the light of {tank.name} under water"
            todo = Todo(words=words, address=f"/tanks/{key}/sessions", told=told, rank=6)
        if todo is not None:
            todos.append(todo)
    return todos


def _missing(tank: Tank, lit: bool, animals: int) -> Todo | None:
    if not lit:
        return Todo(words=f"Hang a lamp over {tank.name}", address=f"/tanks/{tank.id}/light")
    if not animals:
        words = f"Say who lives in {tank.name}"
        return Todo(words=words, address=f"/tanks/{tank.id}/animals/new")
    return None


def _measured(db: Session, setup_ids: Sequence[int]) -> set[int | None]:
    rounds = select(MeasurementSession.setup_id).where(
        col(MeasurementSession.setup_id).in_(setup_ids),
        col(MeasurementSession.removed_at).is_(None),
    )
    return set(db.exec(rounds))


def stewards_desk(db: Session, who: Member, today: date) -> list[Todo]:
    """Overdue loans and calibrations due, for stewards."""
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
        newest = _newest_calibration(db, meter.id)
        if newest is not None and newest.due_on and newest.due_on <= today + SOON:
            words = f"Have the {meter.name} calibrated"
            told = f"Due on {filters.day(newest.due_on)}."
            todos.append(Todo(words=words, address=f"/meters/{meter.id}", told=told, rank=7))
    return todos


def _newest_calibration(db: Session, meter_id: int) -> MeterCalibration | None:
    return next(iter(meters.calibrations_of(db, meter_id)), None)


def ways_up(db: Session, who: Member, today: date) -> list[Todo]:
    """Steps of acclimation that are due, and plans that hold."""
    todos = []
    for tank in tanks.own_tanks(db, who.id):
        plan = acclimation.under_way(db, tank.id)
        if plan is None:
            continue
        address = f"/tanks/{tank.id}/acclimation"
        step = acclimation.next_step(acclimation.steps_of(db, plan.id))
        if plan.state == "held":
            words = f"Look at the animals of {tank.name}: the way up holds"
            todos.append(Todo(words=words, address=address, rank=1))
        elif step is not None and step.due_on <= today:
            words = f"{tank.name}: step {step.number} of the way up. Anything pale or shrunken?"
            todos.append(Todo(words=words, address=address, rank=2))
    return todos


def chores_due(db: Session, who: Member, today: date) -> list[Todo]:
    """Chores that have come round, in one line."""
    due = chores.due_of_member(db, who.id, today=today, within_days=0)
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
