"""Tanks, what hangs over them at one time, and who lives in them.

Who may see what is decided here: a member sees their own tanks and the club's shared ones.
Everything else is `None`, exactly as if it did not exist.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime

from sqlmodel import Session, col, func, or_, select

from server.models import Animal, AnimalMove, HungLamp, MeasurementSession, Member, Setup, Tank


def _now() -> datetime:
    return datetime.now(UTC)


# Tanks


@dataclass(frozen=True, kw_only=True)
class TankWords:
    """What a keeper states about a tank; the columns of `Tank` that a form fills."""

    name: str
    length_cm: float
    width_cm: float
    depth_cm: float
    wall_left: str = "clear"
    wall_right: str = "clear"
    wall_front: str = "clear"
    wall_back: str = "clear"
    floor: str = "light_sand"
    cover: bool = False
    water: str = "usual"
    headroom_cm: float | None = None
    shared: bool = False
    note: str = ""


def own_tanks(db: Session, member_id: int, *, archived: bool = False) -> list[Tank]:
    """A member's tanks by name, either those in use or those set aside."""
    aside = col(Tank.archived_at)
    mine = select(Tank).where(
        Tank.owner_id == member_id, aside.is_not(None) if archived else aside.is_(None)
    )
    return list(db.exec(mine.order_by(func.lower(Tank.name), col(Tank.id))))


def shared_tanks(db: Session, *, but_of: int | None = None) -> list[tuple[Tank, Member]]:
    """Tanks shown to the club with their keepers, newest first; without those of one member."""
    shown = (
        select(Tank, Member)
        .join(Member, col(Member.id) == col(Tank.owner_id))
        .where(col(Tank.shared).is_(True), col(Tank.archived_at).is_(None))
    )
    if but_of is not None:
        shown = shown.where(Tank.owner_id != but_of)
    return list(db.exec(shown.order_by(col(Tank.created_at).desc(), col(Tank.id).desc())))


def tanks_seen_by(db: Session, member_id: int) -> list[Tank]:
    """Every tank in use that a member may see: own ones first, then by name."""
    seen = select(Tank).where(
        col(Tank.archived_at).is_(None),
        or_(Tank.owner_id == member_id, col(Tank.shared).is_(True)),
    )
    ranked = sorted(db.exec(seen), key=lambda t: (t.owner_id != member_id, t.name.lower(), t.id))
    return ranked


def tank_seen(db: Session, tank_id: int, member_id: int) -> Tank | None:
    """The tank, if this member may look at it: own (also set aside), or shared and in use."""
    tank = db.get(Tank, tank_id) if 0 < tank_id < 2**31 else None
    if tank is None or tank.owner_id == member_id:
        return tank
    return tank if tank.shared and tank.archived_at is None else None


def add_tank(db: Session, *, owner_id: int, words: TankWords) -> Tank:
    tank = Tank(owner_id=owner_id, created_at=_now(), **asdict(words))
    db.add(tank)
    db.flush()
    return tank


def change_tank(db: Session, tank_id: int, words: TankWords) -> None:
    tank = db.get_one(Tank, tank_id)
    for name, value in asdict(words).items():
        setattr(tank, name, value)
    db.add(tank)


def set_aside(db: Session, tank_id: int) -> None:
    """Takes a tank out of every list; nothing of it is deleted."""
    tank = db.get_one(Tank, tank_id)
    tank.archived_at = _now()
    db.add(tank)


def bring_back(db: Session, tank_id: int) -> None:
    tank = db.get_one(Tank, tank_id)
    tank.archived_at = None
    db.add(tank)


# Setups


@dataclass(frozen=True, kw_only=True)
class LampPlace:
    """One lamp as it is to hang; the columns of `HungLamp` that a form fills."""

    lamp_model_id: int
    x_cm: float
    y_cm: float
    height_cm: float
    power: float = 1.0
    turned: bool = False
    channel_levels: str = ""
    tilt_deg: float = 0.0
    toward_deg: float = 0.0


def place_of(lamp: HungLamp) -> LampPlace:
    """A hung lamp's place by itself, to start a new setup from."""
    return LampPlace(
        lamp_model_id=lamp.lamp_model_id,
        x_cm=lamp.x_cm,
        y_cm=lamp.y_cm,
        height_cm=lamp.height_cm,
        power=lamp.power,
        turned=lamp.turned,
        channel_levels=lamp.channel_levels,
        tilt_deg=lamp.tilt_deg,
        toward_deg=lamp.toward_deg,
    )


def current_setup(db: Session, tank_id: int) -> Setup | None:
    """What hangs over the tank now: the hung setup with the latest (since, id)."""
    return setup_on(db, tank_id, date.max)


def setup_on(db: Session, tank_id: int, day: date) -> Setup | None:
    """What hung over the tank on a day; None before the first lamp."""
    hung = select(Setup).where(
        Setup.tank_id == tank_id, Setup.state == "hung", col(Setup.since) <= day
    )
    return db.exec(hung.order_by(col(Setup.since).desc(), col(Setup.id).desc()).limit(1)).first()


def current_setups(db: Session, tank_ids: Sequence[int]) -> dict[int, Setup]:
    """The current setup of each of many tanks that has one, in one question."""
    hung = select(Setup).where(col(Setup.tank_id).in_(tank_ids), Setup.state == "hung")
    found: dict[int, Setup] = {}
    for setup in db.exec(hung.order_by(col(Setup.since), col(Setup.id))):
        found[setup.tank_id] = setup
    return found


def setups_of(db: Session, tank_id: int) -> list[Setup]:
    """All setups of a tank, plans not yet hung first, then newest first."""
    rows = db.exec(select(Setup).where(Setup.tank_id == tank_id))
    return sorted(rows, key=lambda s: (s.state == "plan", s.since, s.id), reverse=True)


def keep_to_oneself(db: Session, tank_id: int) -> Tank:
    """A tank that came from elsewhere: in use, and shown to the club only when its keeper says."""
    tank = db.get_one(Tank, tank_id)
    tank.shared, tank.archived_at = False, None
    db.add(tank)
    return tank


def setup(db: Session, setup_id: int | None) -> Setup | None:
    return db.get(Setup, setup_id) if setup_id else None


def setup_seen(db: Session, setup_id: int, member_id: int) -> tuple[Setup, Tank] | None:
    """A setup with its tank, if this member may look at the tank.

    A plan not yet hung belongs to the keeper alone.
    """
    setup = db.get(Setup, setup_id) if 0 < setup_id < 2**31 else None
    tank = None if setup is None else tank_seen(db, setup.tank_id, member_id)
    if setup is None or tank is None:
        return None
    if setup.state == "plan" and tank.owner_id != member_id:
        return None
    return setup, tank


def lamps_of(db: Session, setup_id: int) -> list[HungLamp]:
    """The lamps of a setup in their order."""
    hung = select(HungLamp).where(HungLamp.setup_id == setup_id)
    return list(db.exec(hung.order_by(col(HungLamp.position), col(HungLamp.id))))


def hung_lamp(db: Session, tank_id: int, hung_id: int) -> tuple[HungLamp, Setup] | None:
    """A lamp that hangs or hung over this tank, with its setup."""
    hung = db.get(HungLamp, hung_id) if 0 < hung_id < 2**31 else None
    setup = db.get(Setup, hung.setup_id) if hung else None
    if hung is None or setup is None or setup.tank_id != tank_id:
        return None
    return hung, setup


def lamps_of_setups(db: Session, setup_ids: Sequence[int]) -> dict[int, list[HungLamp]]:
    """The lamps of many setups by setup id, in one question."""
    found: dict[int, list[HungLamp]] = {setup_id: [] for setup_id in setup_ids}
    hung = select(HungLamp).where(col(HungLamp.setup_id).in_(setup_ids))
    for lamp in db.exec(hung.order_by(col(HungLamp.position), col(HungLamp.id))):
        found[lamp.setup_id].append(lamp)
    return found


def save_setup(
    db: Session,
    *,
    tank_id: int,
    lamps: Sequence[LampPlace],
    since: date,
    reason: str,
    name: str = "",
    state: str = "hung",
    by_id: int | None = None,
) -> Setup:
    """Writes what is set on a tank from `since` on, as a new row; old setups stay.

    One exception: a second change on the day the current setup began corrects that setup, as
    long as nobody measured under it. Plans always become rows of their own.
    """
    setup = _begun_on(db, tank_id, since) if state == "hung" else None
    if setup is None:
        setup = Setup(tank_id=tank_id, since=since, state=state, created_at=_now())
    setup.name, setup.reason, setup.created_by_id = name, reason or setup.reason, by_id
    setup.furnishing = db.get_one(Tank, tank_id).furnishing
    db.add(setup)
    db.flush()
    _hang(db, setup.id, lamps)
    return setup


def furnish(
    db: Session, tank_id: int, furnishing: str, *, since: date, reason: str, by_id: int | None
) -> None:
    """Rocks, rim, lid or growth as they stand from `since` on.

    It changes the light, so the lamps that hang begin a new setup of that day; readings taken
    before are carried over to it like after any other change.
    """
    tank = db.get_one(Tank, tank_id)
    if furnishing == tank.furnishing:
        return
    tank.furnishing = furnishing
    db.add(tank)
    hanging = current_setup(db, tank_id)
    if hanging is not None:
        lamps = [place_of(lamp) for lamp in lamps_of(db, hanging.id)]
        save_setup(
            db, tank_id=tank_id, lamps=lamps, since=since, reason=reason, name=hanging.name,
            by_id=by_id,
        )  # fmt: skip


def as_stood(tank: Tank, setup: Setup) -> Tank:
    """The tank as it was furnished under a hung setup; a plan is for the tank as it is now."""
    if setup.state != "hung" or setup.furnishing == tank.furnishing:
        return tank
    return tank.model_copy(update={"furnishing": setup.furnishing})


def hang_plan(db: Session, setup_id: int, *, since: date, reason: str) -> Setup:
    """A plan goes up over the water: it becomes a hung setup of that day."""
    setup = db.get_one(Setup, setup_id)
    setup.state, setup.since, setup.reason = "hung", since, reason or setup.reason
    setup.furnishing = db.get_one(Tank, setup.tank_id).furnishing
    db.add(setup)
    return setup


def change_plan(db: Session, setup_id: int, *, lamps: Sequence[LampPlace], name: str) -> Setup:
    """A plan not yet hung may be redrawn in place."""
    setup = db.get_one(Setup, setup_id)
    assert setup.state == "plan"
    setup.name = name
    db.add(setup)
    _hang(db, setup_id, lamps)
    return setup


def discard_plan(db: Session, setup_id: int) -> None:
    """A plan that never hung is thrown away; IntegrityError when something stands on it."""
    setup = db.get_one(Setup, setup_id)
    assert setup.state == "plan"
    for lamp in lamps_of(db, setup_id):
        db.delete(lamp)
    db.flush()
    db.delete(setup)
    db.flush()


def followed_on(db: Session, setup: Setup) -> date | None:
    """The day another light took over from a hung setup; None while nothing has."""
    later = select(Setup).where(Setup.tank_id == setup.tank_id, Setup.state == "hung")
    ranked = sorted((one.since, one.id) for one in db.exec(later))
    after = [since for since, key in ranked if (since, key) > (setup.since, setup.id)]
    return after[0] if after else None


def session_counts(db: Session, setup_ids: Sequence[int]) -> Mapping[int, int]:
    """How many measurement sessions stand on each setup."""
    counted = (
        select(MeasurementSession.setup_id, func.count())
        .where(
            col(MeasurementSession.setup_id).in_(setup_ids),
            col(MeasurementSession.removed_at).is_(None),
        )
        .group_by(col(MeasurementSession.setup_id))
    )
    return {setup_id: count for setup_id, count in db.exec(counted) if setup_id is not None}


def _begun_on(db: Session, tank_id: int, since: date) -> Setup | None:
    """The current setup, if it began that very day and was not measured."""
    current = current_setup(db, tank_id)
    if current is None or current.since != since or current.id is None:
        return None
    return None if session_counts(db, [current.id]) else current


def _hang(db: Session, setup_id: int, lamps: Sequence[LampPlace]) -> None:
    """Rows are changed in place where they can be, so that what refers to a lamp stays."""
    rows = lamps_of(db, setup_id)
    for position, place in enumerate(lamps):
        row = rows[position] if position < len(rows) else None
        values = asdict(place) | {"position": position}
        if row is None:
            row = HungLamp(setup_id=setup_id, **values)
        for name, value in values.items():
            setattr(row, name, value)
        db.add(row)
    for row in rows[len(lamps) :]:
        db.delete(row)
    db.flush()


# Animals


@dataclass(frozen=True, kw_only=True)
class AnimalWords:
    """What a keeper states about an animal; the columns of `Animal` that a form fills."""

    name: str
    group: str
    x_cm: float
    y_cm: float
    depth_cm: float
    low_ppfd: float
    high_ppfd: float
    range_source: str
    placed_on: date
    compensation_ppfd: float | None = None
    saturation_ppfd: float | None = None
    note: str = ""


def animals_of(db: Session, tank_id: int, *, on: date | None = None) -> list[Animal]:
    """Who lives in the tank, by row: now, or on a day that is past."""
    there = select(Animal).where(Animal.tank_id == tank_id)
    if on is None:
        there = there.where(col(Animal.left_on).is_(None))
    else:
        there = there.where(
            col(Animal.placed_on) <= on,
            or_(col(Animal.left_on).is_(None), col(Animal.left_on) > on),
        )
    return list(db.exec(there.order_by(col(Animal.id))))


def animals_gone(db: Session, tank_id: int) -> list[Animal]:
    """Who lived there and left, latest first."""
    gone = select(Animal).where(Animal.tank_id == tank_id, col(Animal.left_on).is_not(None))
    return list(db.exec(gone.order_by(col(Animal.left_on).desc(), col(Animal.id).desc())))


def animal_counts(db: Session, tank_ids: Sequence[int]) -> Mapping[int, int]:
    """How many animals live in each of many tanks."""
    counted = (
        select(Animal.tank_id, func.count())
        .where(col(Animal.tank_id).in_(tank_ids), col(Animal.left_on).is_(None))
        .group_by(col(Animal.tank_id))
    )
    return dict(db.exec(counted).all())


def animal_in(db: Session, tank_id: int, animal_id: int) -> Animal | None:
    """The animal, if it lives or lived in this tank."""
    animal = db.get(Animal, animal_id) if 0 < animal_id < 2**31 else None
    return animal if animal is not None and animal.tank_id == tank_id else None


def add_animal(db: Session, tank_id: int, words: AnimalWords) -> Animal:
    animal = Animal(tank_id=tank_id, **asdict(words))
    db.add(animal)
    db.flush()
    return animal


def change_animal(db: Session, animal_id: int, words: AnimalWords, *, on: date) -> None:
    """Changes what is stated of an animal; where it sat until that day is remembered."""
    animal = db.get_one(Animal, animal_id)
    here = (animal.x_cm, animal.y_cm, animal.depth_cm)
    if here != (words.x_cm, words.y_cm, words.depth_cm) and animal.placed_on < on:
        _remember_place(db, animal, on)
    for name, value in asdict(words).items():
        setattr(animal, name, value)
    db.add(animal)


def _remember_place(db: Session, animal: Animal, on: date) -> None:
    """One row a day: a second move on a day only corrects the first."""
    same = select(AnimalMove).where(AnimalMove.animal_id == animal.id, AnimalMove.moved_on == on)
    if db.exec(same.limit(1)).first() is None:
        db.add(
            AnimalMove(
                animal_id=animal.id,
                moved_on=on,
                from_x_cm=animal.x_cm,
                from_y_cm=animal.y_cm,
                from_depth_cm=animal.depth_cm,
            )
        )


def animal_left(db: Session, animal_id: int, day: date | None) -> None:
    """The animal left on that day; None brings it back."""
    animal = db.get_one(Animal, animal_id)
    animal.left_on = day
    db.add(animal)
