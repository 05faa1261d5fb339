"""What the club measured of its lamps, and what that says of a model.

Only measurements from tanks shown to the club count. A double that was merged away lends its
measurements to the model it became: they are carried over as photons, not as factors, because
the two may state different flux.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from sqlmodel import Session, col, or_, select

from server.comparing.pooled import Measured, Pooled, pooled
from server.models import LampMeasurement, LampModel, Member, Tank
from server.optics import efficacy
from server.optics.lamp import Kind

MOST_OFF = 20.0
"""A factor further from 1 than this is a slip, not a lamp."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """One measurement with where it comes from; factor: output against what the model states."""

    row: LampMeasurement
    tank: Tank
    member: Member | None
    factor: Measured


@dataclass(frozen=True, kw_only=True)
class Knowledge:
    """What the measurements of one model say together. beam: pooled as a factor of its angle."""

    told: tuple[Told, ...]
    output: Pooled
    beam: Pooled | None


def flux_of(model: LampModel) -> float:
    """Photon flux a model states, or the estimate from its watts and kind [µmol s⁻¹]."""
    if model.ppf_umol_s:
        return model.ppf_umol_s
    return efficacy.flux_from_watts(cast(Kind, model.kind), model.watts).ppf_umol_s


def knowledge(db: Session, models: Sequence[LampModel]) -> Mapping[int, Knowledge]:
    """What the club knows of these models, by id; models nobody measured are missing."""
    ids = [model.id for model in models]
    kept = {model.id: model for model in models}
    told: dict[int, list[Told]] = {}
    for row, double, tank, member in _rows(db, ids):
        model = kept.get(double.id) or kept[double.merged_into_id or 0]
        one = _told(row, double, model, tank, member)
        if one is not None:
            told.setdefault(model.id, []).append(one)
    return {model_id: _together(found, kept[model_id]) for model_id, found in told.items()}


def _rows(
    db: Session, ids: Sequence[int]
) -> list[tuple[LampMeasurement, LampModel, Tank, Member | None]]:
    """Measurements of these models and of doubles merged into them, oldest first."""
    asked = (
        select(LampMeasurement, LampModel, Tank, Member)
        .join(LampModel, col(LampModel.id) == col(LampMeasurement.lamp_model_id))
        .join(Tank, col(Tank.id) == col(LampMeasurement.tank_id))
        .join(Member, col(Member.id) == col(LampMeasurement.member_id), isouter=True)
        .where(
            or_(col(LampModel.id).in_(ids), col(LampModel.merged_into_id).in_(ids)),
            col(Tank.shared).is_(True),
            col(LampMeasurement.removed_at).is_(None),
        )
        .order_by(col(LampMeasurement.measured_on), col(LampMeasurement.id))
    )
    return [(row, double, tank, member) for row, double, tank, member in db.exec(asked)]


def _told(
    row: LampMeasurement, double: LampModel, model: LampModel, tank: Tank, member: Member | None
) -> Told | None:
    scale = flux_of(double) / flux_of(model)
    value = row.output_factor * scale
    if not 1 / MOST_OFF < value < MOST_OFF:
        return None
    factor = Measured(
        value=value, low=row.output_low * scale, high=row.output_high * scale, name=tank.name
    )
    return Told(row=row, tank=tank, member=member, factor=factor)


def _together(told: Sequence[Told], model: LampModel) -> Knowledge:
    beams = [found for one in told if (found := _beam(one.row, model)) is not None]
    return Knowledge(
        told=tuple(told),
        output=pooled([one.factor for one in told]),
        beam=pooled(beams) if beams else None,
    )


def _beam(row: LampMeasurement, model: LampModel) -> Measured | None:
    low, value, high = row.beam_low_deg, row.beam_deg, row.beam_high_deg
    if low is None or value is None or high is None:
        return None
    if not 0 < low <= value <= high or not math.isfinite(high):
        return None
    return Measured(
        value=value / model.beam_deg, low=low / model.beam_deg, high=high / model.beam_deg
    )
