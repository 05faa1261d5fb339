"""What readings said of a lamp, kept on the club's shelf with its provenance."""

from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlmodel import Session, col, select

from server.db.measured import Measured
from server.models import HungLamp, LampMeasurement


@dataclass(frozen=True, kw_only=True)
class Learnt:
    """Output and beam of one hung lamp, ready to be kept."""

    lamp_model_id: int
    hung_lamp_id: int
    tank_id: int
    measured_on: date
    output: tuple[float, float, float]
    """Against what the model states: value, and the ends of the 80 % interval."""
    beam_deg: tuple[float, float, float] | None
    readings: int
    typical_error_percent: float | None


def learnt(found: Measured, hung_lamp_id: int) -> Learnt | None:
    """What a setup's map says of one of its lamps; None for another's lamp or without readings.

    Works from loaded rows; no transaction is needed.
    """
    fit = found.map.fit
    for one, factor in zip(found.rows.hung, fit.lamp_factors, strict=True):
        if one.row.id == hung_lamp_id and found.measured:
            beam = fit.beam_deg
            return Learnt(
                lamp_model_id=one.stated.row.id,
                hung_lamp_id=hung_lamp_id,
                tank_id=found.rows.tank.id,
                measured_on=max(survey.session.taken_on for survey in found.used),
                output=(factor.value, factor.low, factor.high),
                beam_deg=(beam.value, beam.low, beam.high) if beam else None,
                readings=len(found.map.used),
                typical_error_percent=fit.typical_error_percent,
            )
    return None


def keep(db: Session, what: Learnt, *, by_id: int | None) -> LampMeasurement:
    """Keeps a measurement; a newer one of the same hung lamp takes the place of the older."""
    mine = select(LampMeasurement).where(LampMeasurement.hung_lamp_id == what.hung_lamp_id)
    row = db.exec(mine).first() or LampMeasurement(
        lamp_model_id=what.lamp_model_id,
        hung_lamp_id=what.hung_lamp_id,
        tank_id=what.tank_id,
        measured_on=what.measured_on,
        output_factor=1.0,
        output_low=1.0,
        output_high=1.0,
        readings=0,
        created_at=datetime.now(UTC),
    )
    row.lamp_model_id, row.measured_on, row.member_id = what.lamp_model_id, what.measured_on, by_id
    row.output_factor, row.output_low, row.output_high = what.output
    beam = what.beam_deg or (None, None, None)
    row.beam_deg, row.beam_low_deg, row.beam_high_deg = beam
    row.readings, row.typical_error_percent = what.readings, what.typical_error_percent
    row.removed_at = None
    db.add(row)
    db.flush()
    return row


def take_away(db: Session, hung_lamp_id: int) -> None:
    """Takes a measurement off the lamp; it can be kept again from the verdict page."""
    mine = select(LampMeasurement).where(LampMeasurement.hung_lamp_id == hung_lamp_id)
    for row in db.exec(mine):
        row.removed_at = datetime.now(UTC)
        db.add(row)


def kept_lamps(db: Session, setup_id: int) -> set[int]:
    """Hung lamps of a setup whose measurement is kept."""
    rows = (
        select(LampMeasurement.hung_lamp_id)
        .join(HungLamp, col(HungLamp.id) == col(LampMeasurement.hung_lamp_id))
        .where(HungLamp.setup_id == setup_id, col(LampMeasurement.removed_at).is_(None))
    )
    return set(db.exec(rows))
