"""What the club knows, in a few figures. Only shared tanks count."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlmodel import Session, col, func, select

from server.db.tanks import current_setups
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
    """For each group of animals the few whose tank's light has stood unchanged longest."""
    tanks = {
        tank.id or 0: tank
        for tank in db.exec(
            select(Tank).where(col(Tank.shared).is_(True), col(Tank.archived_at).is_(None))
        )
    }
    setups: dict[int, Setup] = {}
    for part in _parts(list(tanks)):
        setups |= current_setups(db, part)
    oldest = sorted(setups.values(), key=lambda setup: (setup.since, setup.id or 0))
    found: dict[str, list[Standing]] = {}
    for part in _parts([setup.tank_id for setup in oldest]):
        animals = _animals(db, part)
        for tank_id in part:
            for animal in animals.get(tank_id, []):
                _put(found, animal, tanks[tank_id], setups[tank_id])
    return {group: tuple(standing) for group, standing in sorted(found.items())}


def _put(found: dict[str, list[Standing]], animal: Animal, tank: Tank, setup: Setup) -> None:
    """One animal per tank and group, and only one that lived there as long as the light hung."""
    standing = found.setdefault(animal.group, [])
    if len(standing) < MOST_PER_GROUP and all(one.tank.id != tank.id for one in standing):
        standing.append(Standing(animal=animal, tank=tank, setup=setup))


def _animals(db: Session, tank_ids: Sequence[int]) -> dict[int, list[Animal]]:
    living = select(Animal).where(col(Animal.tank_id).in_(tank_ids), col(Animal.left_on).is_(None))
    found: dict[int, list[Animal]] = {}
    for animal in db.exec(living.order_by(col(Animal.id))):
        found.setdefault(animal.tank_id, []).append(animal)
    return found


def _parts(ids: Sequence[int], size: int = 400) -> list[Sequence[int]]:
    """Below SQLite's limit of bound values."""
    return [ids[start : start + size] for start in range(0, len(ids), size)]
