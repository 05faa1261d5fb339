"""What the club knows, in a few figures. Only shared tanks count."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

from sqlmodel import Session, col, func, select

from server.models import Animal, LoanDay, MeasurementSession, Reading, Setup, Tank

MOST_PER_GROUP = 3


@dataclass(frozen=True, kw_only=True)
class Standing:
    """An animal of a shared tank under light that has not changed since a day."""

    animal: Animal
    tank: Tank
    setup: Setup


@dataclass(frozen=True, kw_only=True)
class ClubFigures:
    """tanks: shared ones in use; measured: those with readings; meter_days: lent days by month,
    the last twelve, oldest first; standing: by group, the longest unchanged first."""

    tanks: int
    measured: int
    sessions: int
    readings: int
    meter_days: tuple[tuple[date, int], ...]
    standing: dict[str, tuple[Standing, ...]]


def club_figures(db: Session, *, today: date) -> ClubFigures:
    shared = (col(Tank.shared).is_(True), col(Tank.archived_at).is_(None))
    sessions = (
        select(MeasurementSession.id)
        .join(Tank, col(Tank.id) == col(MeasurementSession.tank_id))
        .where(*shared, col(MeasurementSession.removed_at).is_(None))
    )
    measured = (
        select(func.count(func.distinct(MeasurementSession.tank_id)))
        .join(Tank, col(Tank.id) == col(MeasurementSession.tank_id))
        .where(*shared, col(MeasurementSession.removed_at).is_(None))
    )
    readings = (
        select(func.count())
        .select_from(Reading)
        .where(col(Reading.session_id).in_(sessions), col(Reading.struck_reason).is_(None))
    )
    return ClubFigures(
        tanks=db.exec(select(func.count()).select_from(Tank).where(*shared)).one(),
        measured=db.exec(measured).one(),
        sessions=db.exec(select(func.count()).select_from(sessions.subquery())).one(),
        readings=db.exec(readings).one(),
        meter_days=_meter_days(db, today),
        standing=_standing(db),
    )


def _meter_days(db: Session, today: date) -> tuple[tuple[date, int], ...]:
    """Lent days of all meters, month by month; a day to come is not counted."""
    months = [_month_before(today, back) for back in range(11, -1, -1)]
    asked = select(col(LoanDay.day)).where(LoanDay.day >= months[0], LoanDay.day <= today)
    counted = Counter(day.replace(day=1) for day in db.exec(asked))
    return tuple((month, counted[month]) for month in months)


def _month_before(today: date, back: int) -> date:
    month = today.replace(day=1)
    for _ in range(back):
        month = (month - timedelta(days=1)).replace(day=1)
    return month


def _standing(db: Session) -> dict[str, tuple[Standing, ...]]:
    """For each group of animals the few whose tank's light has stood unchanged longest.

    One animal per tank and group; the database ranks them, so that few rows travel.
    """
    setup_order = (col(Setup.since).desc(), col(Setup.id).desc())
    current = (
        select(
            col(Setup.id).label("setup_id"),
            col(Setup.tank_id),
            col(Setup.since),
            func.row_number()
            .over(partition_by=col(Setup.tank_id), order_by=setup_order)
            .label("place"),
        )
        .join(Tank, col(Tank.id) == col(Setup.tank_id))
        .where(Setup.state == "hung", col(Tank.shared).is_(True), col(Tank.archived_at).is_(None))
        .subquery()
    )
    first = (
        select(
            func.min(Animal.id).label("animal_id"),
            col(Animal.group),
            current.c.setup_id,
            current.c.since,
        )
        .join(current, current.c.tank_id == col(Animal.tank_id))
        .where(current.c.place == 1, col(Animal.left_on).is_(None))
        .group_by(col(Animal.group), current.c.setup_id, current.c.since)
        .subquery()
    )
    by_age = (first.c.since, first.c.setup_id)
    ranked = select(
        first.c.animal_id,
        first.c.setup_id,
        func.row_number().over(partition_by=first.c.group, order_by=by_age).label("place"),
    ).subquery()
    asked = (
        select(Animal, Tank, Setup)
        .join(ranked, ranked.c.animal_id == col(Animal.id))
        .join(Setup, col(Setup.id) == ranked.c.setup_id)
        .join(Tank, col(Tank.id) == col(Animal.tank_id))
        .where(ranked.c.place <= MOST_PER_GROUP)
        .order_by(col(Animal.group), col(Setup.since), col(Setup.id))
    )
    found: dict[str, list[Standing]] = {}
    for animal, tank, setup in db.exec(asked):
        found.setdefault(animal.group, []).append(Standing(animal=animal, tank=tank, setup=setup))
    return {group: tuple(standing) for group, standing in found.items()}
