"""What the club measured of a lamp is pooled, used by plans, and tells of no private tank."""

from dataclasses import dataclass
from datetime import date

import pytest
from sqlmodel import Session

from server.db import lamps, light, measured, tanks
from server.db.engine import Database
from server.db.lamp_knowledge import knowledge
from server.db.members import now
from server.models import LampMeasurement, LampModel, Setup, Tank
from tests.conftest import Cast


@dataclass(frozen=True)
class Hung:
    tank_id: int
    setup_id: int


def lamp(db: Session, name: str, ppf: float) -> LampModel:
    made = LampModel(
        name=name, kind="led_cluster", beam_deg=90, watts=80, ppf_umol_s=ppf, side_cm=8,
        created_at=now(),
    )  # fmt: skip
    db.add(made)
    db.flush()
    return made


def measure(
    db: Session, cast: Cast, model: LampModel, factor: float, *, shared: bool = True
) -> Hung:
    """A tank under this lamp, whose readings said the lamp gives so much of what it states."""
    assert model.id is not None and cast.ivo.id is not None
    words = tanks.TankWords(name="Reef", length_cm=90, width_cm=45, depth_cm=45, shared=shared)
    tank = tanks.add_tank(db, owner_id=cast.ivo.id, words=words)
    assert tank.id is not None
    place = tanks.LampPlace(lamp_model_id=model.id, x_cm=45, y_cm=22, height_cm=20)
    setup = tanks.save_setup(db, tank_id=tank.id, lamps=[place], since=date(2026, 1, 1), reason="")
    assert setup.id is not None
    (hung,) = tanks.lamps_of(db, setup.id)
    db.add(
        LampMeasurement(
            lamp_model_id=model.id,
            hung_lamp_id=hung.id or 0,
            tank_id=tank.id,
            member_id=cast.ivo.id,
            measured_on=date(2026, 2, 1),
            output_factor=factor,
            output_low=factor * 0.94,
            output_high=factor * 1.06,
            beam_deg=80,
            beam_low_deg=76,
            beam_high_deg=84,
            readings=12,
            created_at=now(),
        )
    )
    db.flush()
    return Hung(tank_id=tank.id, setup_id=setup.id)


def test_a_measured_lamp_is_carried_by_every_plan(club: Database, cast: Cast) -> None:
    with club.write() as db:
        model = lamp(db, "Gull", 200)
        hung = measure(db, cast, model, 0.8)
        (one,) = light.hung_over(db, hung.setup_id)
        (stated,) = light.hung_over(db, hung.setup_id, as_stated=True)
    assert one.stated.lamp.ppf_umol_s == pytest.approx(160)
    assert one.stated.lamp.beam_deg == pytest.approx(80)
    assert stated.stated.lamp.ppf_umol_s == 200 and stated.stated.measured is None


def test_a_setups_own_map_starts_from_what_is_stated(club: Database, cast: Cast) -> None:
    """Else its readings would count twice."""
    with club.write() as db:
        hung = measure(db, cast, lamp(db, "Gull", 200), 0.8)
        rows = measured.rows_of(
            db, db.get_one(Tank, hung.tank_id), db.get_one(Setup, hung.setup_id)
        )
    assert rows.hung[0].stated.lamp.ppf_umol_s == 200


def test_a_private_tanks_measurement_does_not_count(club: Database, cast: Cast) -> None:
    with club.write() as db:
        model = lamp(db, "Gull", 200)
        measure(db, cast, model, 0.5, shared=False)
        assert knowledge(db, [model]) == {}


def test_disagreement_is_kept_in_sight(club: Database, cast: Cast) -> None:
    with club.write() as db:
        model = lamp(db, "Gull", 200)
        for factor in (0.95, 0.97, 0.5):
            measure(db, cast, model, factor)
        found = knowledge(db, [model])[model.id or 0]
    assert found.output.disagree and found.output.farthest == 2
    assert found.output.low < 0.75 < found.output.high


def test_a_merged_double_lends_its_measurements_as_photons(club: Database, cast: Cast) -> None:
    with club.write() as db:
        kept, double = lamp(db, "Gull", 200), lamp(db, "Gull 24", 100)
        measure(db, cast, double, 1.8)
        lamps.merge(db, double.id or 0, kept.id or 0)
        found = knowledge(db, [kept])[kept.id or 0]
    assert found.output.value == pytest.approx(0.9)
    assert [one.row.lamp_model_id for one in found.told] == [double.id]


def test_a_measurement_taken_back_does_not_count(club: Database, cast: Cast) -> None:
    with club.write() as db:
        model = lamp(db, "Gull", 200)
        measure(db, cast, model, 0.8)
        row = db.get_one(LampMeasurement, 1)
        row.removed_at = now()
        db.add(row)
        db.flush()
        assert knowledge(db, [model]) == {}
