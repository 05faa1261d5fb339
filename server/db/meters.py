"""The club's meters: what they are, their state, calibrations, condition and handovers."""

import secrets
from datetime import date

from sqlmodel import Session, col, select

from server.db.lending_rule import calendar_name
from server.db.members import now
from server.models import Handover, Loan, Meter, MeterCalibration, MeterCondition, MeterRest

# Letters and figures that are not mistaken for each other on a small label.
_PLAIN = "23456789abcdefghjkmnpqrstuvwxyz"


def all_meters(db: Session) -> list[Meter]:
    return list(db.exec(select(Meter).order_by(col(Meter.name), col(Meter.id))))


def meter(db: Session, meter_id: int) -> Meter | None:
    return db.get(Meter, meter_id)


def in_use(db: Session) -> list[Meter]:
    """The club's meters that are not lost, in the order they came."""
    return list(db.exec(select(Meter).where(Meter.state != "lost").order_by(col(Meter.id))))


def at_home_with(db: Session, member_id: int, today: date) -> Meter | None:
    """The meter the member has on loan today; the club's only one where there is but one."""
    lent = select(Meter).join(Loan, col(Loan.meter_id) == col(Meter.id))
    lent = lent.where(Loan.member_id == member_id, Loan.first_day <= today, Loan.last_day >= today)
    found = db.exec(lent).first()
    if found is not None:
        return found
    known = in_use(db)
    return known[0] if len(known) == 1 else None


def meter_by_label(db: Session, code: str) -> Meter | None:
    return db.exec(select(Meter).where(Meter.label_code == code.lower())).first()


def meter_by_feed(db: Session, secret: str) -> Meter | None:
    return db.exec(select(Meter).where(Meter.feed_secret == secret)).first()


def add_meter(
    db: Session,
    *,
    name: str,
    reads: str,
    immersion_factor: float,
    case_contents: str = "",
    keeper: str = "",
) -> Meter:
    found = Meter(
        name=name,
        reads=reads,
        immersion_factor=immersion_factor,
        case_contents=case_contents,
        keeper=keeper,
        label_code=_label_code(db),
        feed_secret=secrets.token_urlsafe(24),
        created_at=now(),
    )
    db.add(found)
    db.flush()
    calendar_name(db)  # made with the first meter, so that feeds never change their ids
    return found


def change_meter(
    db: Session,
    meter_id: int,
    *,
    name: str,
    reads: str,
    immersion_factor: float,
    case_contents: str,
    keeper: str,
) -> Meter:
    """A meter's particulars, as a steward states them."""
    found = db.get_one(Meter, meter_id)
    found.name, found.reads, found.immersion_factor = name, reads, immersion_factor
    found.case_contents, found.keeper = case_contents, keeper
    db.add(found)
    return found


def with_label(db: Session, found: Meter) -> Meter:
    """Meters from before there were labels and feeds get theirs."""
    if found.label_code is None:
        found.label_code = _label_code(db)
    if found.feed_secret is None:
        found.feed_secret = secrets.token_urlsafe(24)
    db.add(found)
    db.flush()
    return found


def renew_feed(db: Session, found: Meter) -> None:
    found.feed_secret = secrets.token_urlsafe(24)
    db.add(found)


def _label_code(db: Session) -> str:
    while True:
        code = "".join(secrets.choice(_PLAIN) for _ in range(6))
        if meter_by_label(db, code) is None:
            return code


def rest(db: Session, rest_id: int) -> MeterRest | None:
    return db.get(MeterRest, rest_id)


def rests_of(db: Session, meter_ids: list[int]) -> list[MeterRest]:
    statement = (
        select(MeterRest)
        .where(col(MeterRest.meter_id).in_(meter_ids))
        .order_by(col(MeterRest.first_day))
    )
    return list(db.exec(statement))


# Calibrations and condition


def calibrations_of(db: Session, meter_id: int) -> list[MeterCalibration]:
    statement = (
        select(MeterCalibration)
        .where(MeterCalibration.meter_id == meter_id)
        .order_by(col(MeterCalibration.done_on).desc(), col(MeterCalibration.id).desc())
    )
    return list(db.exec(statement))


def calibration_on(db: Session, meter_id: int, day: date) -> MeterCalibration | None:
    """The calibration in force on a day: the newest that was done by then."""
    statement = (
        select(MeterCalibration)
        .where(MeterCalibration.meter_id == meter_id, MeterCalibration.done_on <= day)
        .order_by(col(MeterCalibration.done_on).desc(), col(MeterCalibration.id).desc())
    )
    return db.exec(statement).first()


def calibration_factor_on(db: Session, meter_id: int | None, day: date) -> float:
    """What a reading of that day is multiplied by; 1 where the meter's book says nothing."""
    found = None if meter_id is None else calibration_on(db, meter_id, day)
    return 1.0 if found is None else found.factor


def add_calibration(
    db: Session,
    meter_id: int,
    *,
    done_on: date,
    factor: float,
    due_on: date | None,
    note: str,
    by_id: int | None,
) -> None:
    db.add(
        MeterCalibration(
            meter_id=meter_id,
            done_on=done_on,
            factor=factor,
            due_on=due_on,
            note=note,
            entered_by_id=by_id,
            created_at=now(),
        )
    )


def condition_of(db: Session, meter_id: int, *, most: int = 50) -> list[MeterCondition]:
    statement = (
        select(MeterCondition)
        .where(MeterCondition.meter_id == meter_id)
        .order_by(col(MeterCondition.id).desc())
        .limit(most)
    )
    return list(db.exec(statement))


def note_condition(db: Session, meter_id: int, words: str, *, day: date, by_id: int | None) -> None:
    db.add(
        MeterCondition(
            meter_id=meter_id, day=day, words=words[:1000], member_id=by_id, created_at=now()
        )
    )


# Handovers


def open_handover(db: Session, meter_id: int) -> Handover | None:
    """A handover that one side has confirmed and the other has not."""
    statement = select(Handover).where(
        Handover.meter_id == meter_id, col(Handover.done_at).is_(None)
    )
    return db.exec(statement).first()


def start_handover(
    db: Session, meter_id: int, *, from_loan_id: int | None, to_loan_id: int | None
) -> Handover:
    """The open handover between these two, or a new one; one that no longer fits goes."""
    found = open_handover(db, meter_id)
    if found is not None and (found.from_loan_id, found.to_loan_id) == (from_loan_id, to_loan_id):
        return found
    if found is not None:
        db.delete(found)
        db.flush()
    started = Handover(
        meter_id=meter_id, from_loan_id=from_loan_id, to_loan_id=to_loan_id, started_at=now()
    )
    db.add(started)
    db.flush()
    return started


def sign_handover(
    db: Session,
    row: Handover,
    *,
    given_by_id: int | None = None,
    received_by_id: int | None = None,
) -> None:
    """One side confirms."""
    row.given_by_id = given_by_id or row.given_by_id
    row.received_by_id = received_by_id or row.received_by_id
    db.add(row)


def note_handover(db: Session, row: Handover, *, missing: list[str], note: str) -> None:
    """What was missing from the case, and what was seen."""
    row.missing, row.note = "\n".join(missing), note or row.note
    db.add(row)


def finish_handover(db: Session, row: Handover, *, on: date) -> None:
    """The meter has changed hands."""
    row.done_at, row.done_on = now(), on
    db.add(row)


def handovers_of(db: Session, meter_id: int, *, most: int = 50) -> list[Handover]:
    statement = (
        select(Handover)
        .where(Handover.meter_id == meter_id, col(Handover.done_at).is_not(None))
        .order_by(col(Handover.id).desc())
        .limit(most)
    )
    return list(db.exec(statement))
